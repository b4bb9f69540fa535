"""Everything that writes waits for its turn without a thread, so that reading finds one."""

from collections.abc import Callable, Iterator
from inspect import iscoroutinefunction
from typing import Any

from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from app.shared.routing import ExactRoute
from app.shared.turns import in_turn
from tests.house.test_operations import READS_BY_POST

_HOLD_NO_PEN = {
    "/sign-in": "passwords are checked before a session is written",
    "/sign-out": "a session is ended and nothing is booked",
    "/backups": "the book is read, by a thread of its own",
}


def test_whatever_writes_waits_for_its_turn(service: FastAPI) -> None:
    posted = [
        each
        for each in service.router.routes
        if isinstance(each, APIRoute) and (each.methods or set()) - {"GET", "HEAD"}
    ]
    waiting = in_turn(len).__code__
    at_once = {each.path for each in posted if each.endpoint.__code__ is not waiting}

    assert len(posted) - len(at_once) > 180
    assert at_once == READS_BY_POST.keys() | _HOLD_NO_PEN.keys()


def test_a_request_of_the_api_takes_one_thread_for_all_that_may_wait(service: FastAPI) -> None:
    # A dependency that is no coroutine would be handed to another thread, which a thread cannot.
    handed_over = {
        f"{route.path}: {called}"
        for route in service.router.routes
        if isinstance(route, ExactRoute) and not route.reads_itself
        for called in _all_called(route.dependant)
        if not (iscoroutinefunction(called) or iscoroutinefunction(type(called).__call__))
    }

    assert handed_over == set()


def _all_called(dependant: Dependant) -> Iterator[Callable[..., Any]]:
    assert dependant.call is not None
    yield dependant.call
    for each in dependant.dependencies:
        yield from _all_called(each)

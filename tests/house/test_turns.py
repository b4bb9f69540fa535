"""Everything that writes waits for its turn without a thread, so that reading finds one."""

from fastapi import FastAPI
from fastapi.routing import APIRoute

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
    at_once = {each.path for each in posted if not hasattr(each.endpoint, "__wrapped__")}

    assert len(posted) - len(at_once) > 180
    assert at_once == READS_BY_POST.keys() | _HOLD_NO_PEN.keys()

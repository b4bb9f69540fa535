"""What one thread works on from end to end, and what it cannot."""

import asyncio
import threading
from collections.abc import Generator
from types import coroutine

import pytest
from prometheus_client import REGISTRY

from app.shared.routing import ExactRoute
from app.shared.threads import in_a_thread, is_thread, run_through
from app.shared.turns import AT_ONCE, in_turn


def test_what_may_wait_runs_in_the_thread_it_is_called_in_or_in_one_of_its_own() -> None:
    asked = in_a_thread(is_thread)

    async def of_itself() -> bool:
        return await asked()

    assert run_through(of_itself) is True
    assert asyncio.run(of_itself()) is True


def test_what_waits_for_something_else_is_found_out_at_once() -> None:
    @coroutine
    def for_an_event() -> Generator[None, None, None]:
        yield

    async def waits() -> None:
        await for_an_event()

    with pytest.raises(RuntimeError, match="a thread cannot"):
        run_through(waits)


def test_what_may_wait_for_the_database_is_no_coroutine() -> None:
    async def look() -> None: ...

    with pytest.raises(TypeError, match="no coroutine"):
        ExactRoute("/look", look)


def test_who_waits_to_write_is_counted_as_long_as_they_wait() -> None:
    more, pen = 3, threading.Event()
    write = in_turn(pen.wait)

    def waiting() -> float | None:
        return REGISTRY.get_sample_value("jutebook_writes_waiting")

    async def at_work() -> list[bool]:
        all_of_them = asyncio.gather(*(write() for _ in range(AT_ONCE + more)))
        await asyncio.sleep(0)  # each begins: some to write, the others to wait
        assert waiting() == more
        pen.set()
        return await all_of_them

    assert asyncio.run(at_work()) == [True] * (AT_ONCE + more)
    assert waiting() == 0

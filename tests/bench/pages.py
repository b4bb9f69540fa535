"""How long every page takes on the demo, in this process: `python -m tests.bench pages`."""

import sys
from collections.abc import Iterator
from datetime import timedelta
from itertools import groupby
from statistics import median
from typing import NamedTuple

from sqlalchemy import event

from app.main import create_app
from app.schema import migrate
from app.settings import Settings
from app.shared.db import open_engine, writing
from app.shared.sign_in import add_token, add_user
from app.shared.staff import Role
from app.shared.times import now
from seed import play
from tests.api import Api
from tests.bench.machine import timed
from tests.web.conftest import PASSWORD, Visitor
from tests.web.every_page import book_the_rest, opened_with

TIMES = 5
SHOWN = 30
NOTHING = "/healthz"
"""An answer that asks nothing: what all that stands before a page takes."""


class PageTime(NamedTuple):
    """A page, the median of some times it was asked for."""

    page: str
    ms: float
    at_work_ms: float
    """How long this process itself worked."""
    statements: int


def measure(url: str, days: int) -> Iterator[PageTime]:
    """Play the demo, and time the slowest address of every page for an administrator."""
    engine = open_engine(url)
    migrate(engine)
    settings = Settings(database_url=url, _env_file=None)
    played = play(engine, settings, last_day=(now() - timedelta(days=1)).date(), days=days)
    with writing(engine) as session:
        token = add_token(session, "bench", [Role.ADMIN])
        add_user(session, "Ada", PASSWORD, [Role.ADMIN])
    engine.dispose()
    service = create_app(settings)
    api = Api(service, token)
    codes = book_the_rest(api, played)
    api.close()
    with Visitor(service) as ada:
        ada.sign_in("Ada")
        asked: list[str] = []
        event.listen(
            service.state.engine, "before_cursor_execute", lambda *said: asked.append(said[2])
        )
        yield _timed(ada, NOTHING, NOTHING, asked)
        for route, addresses in groupby(opened_with(codes), key=lambda each: each[0]):
            found = [_timed(ada, route, address, asked) for _, address in addresses]
            yield max(found, key=lambda each: each.at_work_ms)
    service.state.engine.dispose()


def _timed(ada: Visitor, route: str, address: str, asked: list[str]) -> PageTime:
    ada.get(address)
    took = []
    for _ in range(TIMES):
        asked.clear()
        took.append(timed(lambda: ada.get(address))[0])
    count = sum(each.startswith(("SELECT", "WITH")) for each in asked)
    ms, at_work_ms = (median(each) * 1000 for each in zip(*took, strict=True))
    return PageTime(route, ms, at_work_ms, count)


def print_pages(url: str, days: int) -> None:
    """Print a line for each of the slowest pages, and one for the rest."""
    say = sys.stdout.write
    nothing, *pages = measure(url, days)
    slowest_first = sorted(pages, key=lambda each: -each.at_work_ms)
    say("| page | ms | of them at work | statements |\n| --- | --: | --: | --: |\n")
    for each in (nothing, *slowest_first[:SHOWN]):
        say(f"| `{each.page}` | {each.ms:.0f} | {each.at_work_ms:.0f} | {each.statements} |\n")
    others = slowest_first[SHOWN:]
    if others:
        said = [f"up to {max(each[place] for each in others):.0f}" for place in (1, 2, 3)]
        say(f"| {len(others)} others | {' | '.join(said)} |\n")

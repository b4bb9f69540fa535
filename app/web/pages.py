"""All pages of the service, behind one door."""

from typing import Final

from fastapi import FastAPI

from app.web import (
    account,
    arriving,
    assets,
    blending,
    bringing,
    cleaning,
    coffees,
    contracting,
    counting,
    covering,
    crating,
    dispatching,
    door,
    finding,
    instruments,
    lots_for_buyers,
    measuring,
    moving,
    offline,
    packing,
    planning,
    printing,
    putting_away,
    readings,
    receiving,
    returning,
    roast_day,
    roasting,
    selling,
    start,
    stocking,
    store,
    tasting,
    units,
    voiding,
    weighing,
)
from app.web.refusals import tell_people
from app.web.tasks import Task

PAGES: Final = (
    start, door, account, finding, units, receiving, arriving, putting_away, printing, moving,
    measuring, roast_day, roasting, blending, cleaning, tasting, voiding, covering,
    contracting, planning, lots_for_buyers, coffees, store, counting, bringing, readings,
    instruments, packing, weighing, stocking, dispatching, returning, selling, crating, offline,
    assets,
)  # fmt: skip
"""Each module of pages has a `router`, and `TASKS` where it has any."""


def open_pages(app: FastAPI) -> None:
    """Serve the pages, and tell browsers in words why something was refused."""
    tasks: list[Task] = []
    for page in PAGES:
        app.include_router(page.router)
        tasks += getattr(page, "TASKS", ())
    app.state.tasks = tasks
    tell_people(app)

"""All pages of the service, behind one door."""

from typing import Final

from fastapi import FastAPI

from app.web import (
    account,
    assets,
    balancing,
    door,
    drilling,
    finding,
    holding,
    house,
    journal,
    labelling,
    measuring,
    moving,
    offline,
    people,
    recalling,
    start,
    tasting,
    tracing,
    units,
    voiding,
)
from app.web.offers import Offer
from app.web.refusals import tell_people
from app.web.tasks import Task

PAGES: Final = (
    start,
    door,
    account,
    finding,
    units,
    moving,
    measuring,
    holding,
    labelling,
    tasting,
    tracing,
    voiding,
    recalling,
    drilling,
    balancing,
    journal,
    people,
    house,
    offline,
    assets,
)
"""Each module of pages has a `router`, and `TASKS` and `OFFERS` where it has any."""


def open_pages(app: FastAPI) -> None:
    """Serve the pages, and tell browsers in words why something was refused."""
    tasks: list[Task] = []
    offers: list[Offer] = []
    for page in PAGES:
        app.include_router(page.router)
        tasks += getattr(page, "TASKS", ())
        offers += getattr(page, "OFFERS", ())
    app.state.tasks, app.state.offers = tasks, offers
    tell_people(app)

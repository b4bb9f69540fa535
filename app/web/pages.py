"""All pages of the service, behind one door."""

from typing import Final

from fastapi import FastAPI

from app.web import (
    account,
    adjusting,
    arriving,
    assets,
    backups,
    balancing,
    batches,
    blending,
    bringing,
    cancelling,
    casing,
    cleaning,
    coffees,
    contracting,
    counting,
    covering,
    crating,
    dispatching,
    door,
    drilling,
    finding,
    grading,
    green_records,
    holding,
    house,
    instruments,
    journal,
    lots_for_buyers,
    master_cards,
    material_lots,
    measuring,
    moving,
    offline,
    ordering,
    packing,
    people,
    photographing,
    planning,
    printing,
    putting_away,
    readings,
    recalling,
    receiving,
    record_voids,
    returning,
    roast_day,
    roasting,
    sampling,
    selling,
    standing_orders,
    start,
    stocking,
    store,
    taking_over,
    tasting,
    tracing,
    units,
    voiding,
    weighing,
    where_it_grew,
)
from app.web.offers import Offer
from app.web.refusals import tell_people
from app.web.tasks import Task

PAGES: Final = (
    start, door, account, finding, units, receiving, arriving, putting_away, printing, moving,
    measuring, roast_day, roasting, blending, cleaning, tasting, voiding, covering,
    contracting, planning, lots_for_buyers, coffees, store, counting, bringing, readings,
    instruments, packing, weighing, stocking, material_lots, dispatching, returning, selling,
    crating, holding, tracing, recalling, drilling, balancing, journal, master_cards, people,
    taking_over, house, backups, photographing, record_voids, sampling, casing,
    adjusting, cancelling, batches, ordering, standing_orders, grading, green_records,
    where_it_grew, offline, assets,
)  # fmt: skip
"""Each module of pages has a `router`, and `TASKS` and `OFFERS` where it has any."""


def open_pages(app: FastAPI) -> None:
    """Serve the pages, and tell browsers in words why something was refused."""
    tasks: list[Task] = []
    offers: list[Offer] = []
    for page in PAGES:
        app.router.routes += page.router.routes
        tasks += getattr(page, "TASKS", ())
        offers += getattr(page, "OFFERS", ())
    app.state.tasks, app.state.offers = tasks, offers
    tell_people(app)

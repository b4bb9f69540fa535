"""The web service: every package's routes behind one door."""

import gc
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import anyio.to_thread
from fastapi import FastAPI
from fastapi_offline import FastAPIOffline
from sqlalchemy import Engine

from app import __version__, doors
from app.bag import routes as bag
from app.buying import routes as buying
from app.cover import routes as cover
from app.cover.cards import routes as planning_cards
from app.cover.forecasts import routes as forecasts
from app.description import describe
from app.epcis import routes as epcis
from app.green import routes as green
from app.green.arrivals import photo_routes as photos
from app.green.arrivals import routes as arrivals
from app.green.certificates import routes as certificates
from app.green.condition import routes as condition
from app.green.contracts import routes as contracts
from app.green.counting import routes as counting
from app.green.evidence import routes as evidence
from app.green.instruments import routes as instruments
from app.green.picking import routes as picking
from app.green.readings import routes as readings
from app.labels import routes as labels
from app.ledger import routes as ledger
from app.ledger.journal import routes as journal
from app.ledger.replica import WAIT_S
from app.ledger.walk import bound_walks
from app.packing import routes as packing
from app.packing.charts import routes as charts
from app.packing.materials import routes as materials
from app.packing.recipes import routes as recipes
from app.packing.weighing import routes as weighing
from app.papers import routes as papers
from app.places import routes as places
from app.porter import Porter
from app.production import routes as production
from app.quality import routes as quality
from app.quality.grading import routes as grading
from app.recall import routes as recall
from app.recall.balance import routes as balance
from app.recall.drills import routes as drills
from app.recall.evidence import routes as case_evidence
from app.roasting import routes as roasting
from app.roasting import void_routes as roasting_voids
from app.roasting.batches import routes as batches
from app.roasting.colours import routes as roast_colours
from app.roasting.silos import adjustment_routes as adjustments
from app.roasting.silos import routes as silos
from app.roasting.styles import routes as styles
from app.scans import routes as scans
from app.sending import routes as sending
from app.sending.cases import routes as cases
from app.sending.crates import routes as crates
from app.sending.orders import routes as orders
from app.sending.picking import routes as picks
from app.sending.sales import routes as sales
from app.sending.standing import routes as standing_orders
from app.settings import Settings
from app.shared.db import open_engine
from app.shared.patience import GONE_AFTER_S
from app.shared.problem_pages import router as problem_pages
from app.shared.problems import explain_refusals
from app.shared.sign_in import TokenCounts
from app.shared.turns import share_threads
from app.signpost import Signpost
from app.tracing import routes as tracing
from app.tracing import void_routes as voids
from app.tracing.evidence import routes as unit_evidence
from app.tracing.flow import routes as flows
from app.value import routes as value
from app.web.pages import open_pages
from app.web.sessions import Guesses

PACKAGES = (
    green,
    contracts,
    arrivals,
    photos,
    readings,
    instruments,
    condition,
    evidence,
    picking,
    counting,
    certificates,
    places,
    roasting,
    roasting_voids,
    silos,
    adjustments,
    styles,
    roast_colours,
    batches,
    packing,
    materials,
    recipes,
    weighing,
    charts,
    sending,
    orders,
    standing_orders,
    production,
    cover,
    planning_cards,
    picks,
    cases,
    sales,
    crates,
    papers,
    quality,
    grading,
    ledger,
    journal,
    labels,
    tracing,
    voids,
    unit_evidence,
    flows,
    scans,
    recall,
    balance,
    drills,
    forecasts,
    value,
    case_evidence,
    buying,
    epcis,
)


def create_app(settings: Settings) -> FastAPI:
    """Build the service on the databases the settings name."""
    app = FastAPIOffline(
        title="Jutebook",
        version=__version__,
        summary="The book of a roastery's coffee, from the sack on the rack to the customer's bag.",
        docs_url="/api/docs",
        redoc_url=None,
        openapi_url="/api/openapi.json",
        static_url="/api/docs-files",
        # It would lead to whatever host the request names.
        redirect_slashes=False,
        lifespan=_lifespan,
    )
    open_book(app, settings)
    explain_refusals(app)
    routers = [package.router for package in PACKAGES]
    for router in (*routers, problem_pages, bag.router, doors.router):
        # Each with its whole path, and not router within router, which are searched thrice.
        app.router.routes += router.routes
    open_pages(app)
    app.router.middleware_stack = Signpost(app.router)
    describe(app)
    _let_the_porter_stand_before(app)
    return app


def _let_the_porter_stand_before(app: FastAPI) -> None:
    """Put the porter outside of all that Starlette wraps around the routes, its 500 included."""
    inside = app.build_middleware_stack
    at_once = app.state.settings.at_once
    app.build_middleware_stack = lambda: Porter(inside(), at_once)  # type: ignore[method-assign]


def open_book(app: FastAPI, settings: Settings) -> None:
    """Give the service its settings and the databases they name."""
    app.state.settings = settings
    app.state.engine = _open(settings, settings.database_url, GONE_AFTER_S)
    app.state.read_engine = (
        _open(settings, settings.read_database_url, WAIT_S)
        if settings.read_database_url
        else app.state.engine
    )
    app.state.guesses = Guesses(settings)
    app.state.token_counts = TokenCounts(settings.token_requests_a_minute)
    app.state.turnstile = bag.Turnstile()
    app.state.in_flight = set()
    app.state.in_flight_lock = threading.Lock()


def _open(settings: Settings, url: str, gone_after_s: float) -> Engine:
    engine = open_engine(
        url,
        busy_timeout_s=settings.busy_timeout_s,
        statement_timeout_s=settings.statement_seconds,
        gone_after_s=gone_after_s,
    )
    bound_walks(engine, settings.trace_most_units)
    return engine


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    limiter = anyio.to_thread.current_default_thread_limiter()
    limiter.total_tokens = app.state.settings.threads
    share_threads(app.state.settings.threads)
    # What is there at the start stays; looking through it again during a long trace only costs.
    gc.collect()
    gc.freeze()
    yield
    app.state.engine.dispose()
    app.state.read_engine.dispose()

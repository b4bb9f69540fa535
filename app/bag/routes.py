"""The doors for whoever holds a bag: no token, and no trace of them while they are switched off."""

from collections.abc import Callable
from functools import partial
from threading import Lock
from time import monotonic
from typing import Annotated, Any, Concatenate, Final, ParamSpec, TypeVar
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from sqlmodel import Session
from starlette.exceptions import HTTPException

from app.bag.pages import HEADERS, page
from app.bag.queries import bag, mark_of
from app.bag.rules import Story
from app.bag.schemas import BagOut, OriginOut
from app.ledger.replica import reading_all_booked
from app.settings import Settings
from app.shared.answers import Answer
from app.shared.db import ask_in
from app.shared.problems import Refused
from app.shared.routing import short_name
from app.standards.countries import country_name
from app.standards.gs1.links import parse_link
from app.standards.gs1.rules import RuleBroken

P = ParamSpec("P")
R = TypeVar("R")

MINUTE_S: Final = 60


class Turnstile:
    """Counts visitors of a minute, so that the roastery's own work is never crowded out.

    All of them together: behind a proxy they all come from one address.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._since, self._came = monotonic(), 0

    def pass_by(self, most: int) -> None:
        """Let one more in; busy where so many came within a minute."""
        with self._lock:
            at = monotonic()
            if at - self._since >= MINUTE_S:
                self._since, self._came = at, 0
            self._came += 1
            if self._came > most:
                raise Refused("busy", "Too many people ask after their bags just now.")


def _opened(request: Request) -> Settings:
    """Be absent while the roastery has not switched the pages on."""
    settings: Settings = request.app.state.settings
    if not settings.bag_pages:
        raise HTTPException(404)
    request.app.state.turnstile.pass_by(settings.bag_pages_a_minute)
    return settings


def _read(
    request: Request, query: Callable[Concatenate[Session, P], R], *args: P.args, **kwargs: P.kwargs
) -> R:
    """Read what is booked now: a hold of a minute ago must be seen by whoever holds the bag."""
    state = request.app.state
    opened = partial(reading_all_booked, state.read_engine, state.engine)
    return ask_in(opened, query, *args, **kwargs)


Opened = Annotated[Settings, Depends(_opened)]

router = APIRouter(tags=["bag"], generate_unique_id_function=short_name)

_ANSWERED: Final[dict[int | str, dict[str, Any]]] = {200: {"content": {"text/html": {}}}}


@router.get("/b/{mark}", response_model=BagOut, responses=_ANSWERED)
def show_bag(request: Request, settings: Opened, mark: str) -> Response:
    """Show what a bag is by its lot mark: a page, or JSON where that alone is accepted.

    Open to everybody, if the roastery has switched it on: product, countries of origin and roast
    date, of bags that were sent. Of coffee that is on hold or in an open recall case it says only
    to contact the roastery.
    """
    found = _read(request, bag, mark, suppliers=settings.bag_pages_name_suppliers)
    accepted = request.headers.get("accept", "")
    if "json" in accepted and "html" not in accepted:
        return _as_json(mark, found)
    text = page(mark, found, settings)
    return HTMLResponse(text, 200 if found else 404, headers=dict(HEADERS))


def _as_json(mark: str, found: Story | None) -> Response:
    if found is None:
        raise Refused("not-found", f"No bag with the mark {mark} is known here.")
    told = BagOut(
        lot_mark=mark,
        product=found.product,
        origins=[OriginOut(country=code, name=country_name(code)) for code in found.origins],
        roasted_from=found.roasted_from,
        roasted_until=found.roasted_until,
        suppliers=list(found.suppliers),
        contact_the_roastery=found.contact_the_roastery,
    )
    return Answer(told, headers=HEADERS)


@router.get("/01/{rest:path}", status_code=307, response_class=RedirectResponse)
def resolve_bag(request: Request, _: Opened, rest: str) -> Response:
    """Lead from a GS1 Digital Link of a trade item and its lot to the page of that bag."""
    address = f"https://bag.invalid{request.scope['raw_path'].decode('latin-1')}"
    try:
        elements = parse_link(address, zeros_may_lack=True)
    except RuleBroken as broken:
        raise HTTPException(404) from broken
    mark = _read(request, mark_of, elements)
    if mark is None:
        raise Refused("not-found", f"No bag of /01/{rest} is known here.")
    return RedirectResponse(
        f"/b/{quote(mark, safe='')}", 307, headers={"Cache-Control": "no-cache"}
    )

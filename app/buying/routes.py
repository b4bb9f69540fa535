"""Pictures for buyers, what they show, and the report."""

from fastapi import Response

from app.buying import queries
from app.buying.schemas import AgeMonthsOut, UseBy, UseOut
from app.cover.projecting import projection
from app.cover.routes import CoverAsked, DaysAhead, KeyAsked
from app.cover.schemas import By, ItemBy
from app.ledger.clerk import Reader
from app.shared.answers import PICTURE, Answer, Pdf, Svg
from app.shared.routing import api_router

router = api_router()


@router.get("/cover.svg", response_class=Svg, responses=PICTURE, tags=["cover"])
def draw_cover(clerk: Reader, asked: CoverAsked, by: By = "component") -> Response:
    """Draw how many days of everything there are, what runs out first at the top.

    What is on hold is drawn beside as what would be more if it were released. Of components and
    origins the day by which they are to be ordered is marked.
    """
    found = clerk.read(queries.board, by, asked, clerk.settings)
    from app.buying.drawing import board_of  # noqa: PLC0415 - takes seconds to load

    return Svg(board_of(found).svg())


@router.get("/cover/projection.svg", response_class=Svg, responses=PICTURE, tags=["cover"])
def draw_projection(
    clerk: Reader, key: KeyAsked, by: ItemBy = "component", days: DaysAhead = 90
) -> Response:
    """Draw projected stock with its band, the order point, what arrives and what is short."""
    found = clerk.read(projection, by, key, days, clerk.settings)
    from app.buying.drawing import projection_of  # noqa: PLC0415 - takes seconds to load

    return Svg(projection_of(found).svg())


@router.get("/cover/use", response_model=UseOut, tags=["cover"])
def show_use(clerk: Reader, key: KeyAsked, asked: CoverAsked, by: UseBy = "component") -> Response:
    """Say what was used of something on each day, and the averages that cover is reckoned by."""
    return Answer(clerk.read(queries.use_by_day, by, key, asked, clerk.settings))


@router.get("/cover/use.svg", response_class=Svg, responses=PICTURE, tags=["cover"])
def draw_use(clerk: Reader, key: KeyAsked, asked: CoverAsked, by: UseBy = "component") -> Response:
    """Draw what was used on each day as bars, closed days marked, both averages as lines."""
    found = clerk.read(queries.use_by_day, by, key, asked, clerk.settings)
    from app.buying.drawing import use_of  # noqa: PLC0415 - takes seconds to load

    return Svg(use_of(found).svg())


@router.get("/ageing/months", response_model=AgeMonthsOut, tags=["value"])
def show_age_by_month(clerk: Reader) -> Response:
    """Add up green on hand by whole months since its harvest, and since its arrival."""
    return Answer(clerk.read(queries.age_by_month, clerk.settings))


@router.get("/ageing/months.svg", response_class=Svg, responses=PICTURE, tags=["value"])
def draw_age_by_month(clerk: Reader) -> Response:
    """Draw green on hand by months since harvest and since arrival, in kilograms."""
    found = clerk.read(queries.age_by_month, clerk.settings)
    from app.buying.drawing import ages_of  # noqa: PLC0415 - takes seconds to load

    return Svg(ages_of(found).svg())


@router.get("/cover/report.pdf", response_class=Pdf, tags=["cover"])
def print_buying_report(clerk: Reader) -> Response:
    """Fetch the buying report of today as a PDF: board, what to order, projections and age.

    It names the day, the settings that it was reckoned by and what its figures do not know.
    """
    from app.buying import report  # noqa: PLC0415 - takes seconds to load

    found = clerk.read(report.bought, clerk.settings)
    name = f'inline; filename="buying-report-{found.orders.as_of}.pdf"'
    return Pdf(report.draw_report(found), headers={"Content-Disposition": name})

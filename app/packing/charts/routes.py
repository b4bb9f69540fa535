"""Charts of checks of weight, as pictures."""

from typing import Annotated

from fastapi import Depends, Query, Response

from app.ledger.clerk import Reader
from app.packing.charts import queries
from app.places.stays import Window
from app.shared.answers import PICTURE, Svg
from app.shared.codes import Code
from app.shared.routing import api_router
from app.shared.times import MomentIn

router = api_router("packing")


async def _window(
    since: Annotated[MomentIn | None, Query(alias="from")] = None,
    until: Annotated[MomentIn | None, Query(alias="to")] = None,
) -> Window:
    return Window(since, until)


@router.get("/packs/{code}/weighing-chart", response_class=Svg, responses=PICTURE)
def show_pack_weighing_chart(clerk: Reader, code: Code) -> Response:
    """Draw every weight of a pack with nominal, T1, T2 and the running mean.

    Bags below T1 and below T2 differ by shape, and the picture says in words what it shows.
    """
    chart = clerk.read(queries.pack_chart, code)
    from app.packing.charts.drawing import draw_pack  # noqa: PLC0415 - takes seconds to load

    return Svg(draw_pack(chart))


@router.get("/products/{sku}/weighing-chart", response_class=Svg, responses=PICTURE)
def show_product_weighing_chart(
    clerk: Reader, sku: str, window: Annotated[Window, Depends(_window)]
) -> Response:
    """Draw means and ranges of a product's checks with their control limits, 500 at the most."""
    chart = clerk.read(queries.chart_of_product, sku, window)
    from app.packing.charts.drawing import draw_product  # noqa: PLC0415 - takes seconds to load

    return Svg(draw_product(chart))

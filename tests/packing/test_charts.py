"""Charts of weights: what they show, that they can be read aloud, and that nothing slips in."""

import subprocess
import sys
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from fractions import Fraction

import httpx
import pytest
from sqlalchemy import Engine

from app.packing.charts.rules import Checked, PackChart, counted_once, product_chart, running_means
from app.packing.charts.wording import describe_pack
from app.standards.average_quantity import Check, limits
from tests.api import Api, kg, problem
from tests.makers import furnish, named_of_old, receive, roast, sack_codes

NOW = datetime(2026, 3, 4, tzinfo=UTC)
SVG = "{http://www.w3.org/2000/svg}"


def checked(pack: str, *net_mg: int) -> Checked:
    return Checked(pack, NOW, Check.DOUBLE, net_mg)


def test_a_first_sample_entered_again_with_the_second_counts_once() -> None:
    first, other, whole = checked("P-1", 1, 2), checked("P-2", 1, 2), checked("P-1", 1, 2, 3, 4)
    twin = checked("P-2", 1, 2)

    assert counted_once([first, other, whole, twin]) == [other, whole, twin]
    assert counted_once([whole, first]) == [whole, first]


def test_the_running_mean_is_that_of_all_bags_so_far() -> None:
    assert running_means([250_000, 251_000, 249_001]) == [
        250_000, 250_500, Fraction(750_001, 3),
    ]  # fmt: skip


def test_bags_at_t1_and_t2_are_not_below_them() -> None:
    # Directive 76/211/EEC, Annex I 2.4: T1 241 g and T2 232 g of a bag of 250 g.
    weights = [241_000, 240_999, 232_000, 231_999]
    chart = PackChart("P", "S", "N", limits(250, Check.DOUBLE), False, [weights])

    assert (chart.short(), chart.very_short()) == ([2, 3], [4])
    assert chart._replace(one_limit=True).very_short() == []
    assert "Below T1: bags 2, 3. Below T2: bag 4." in describe_pack(chart)[1]


def test_limits_need_two_checks_and_a_single_bag_has_no_range() -> None:
    one, single = checked("P-1", 250_000, 252_000), checked("P-2", 250_000)
    other = checked("P-3", 249_000, 251_000)

    few = product_chart("S", "N", 250, [one, single])
    enough = product_chart("S", "N", 250, [one, other])

    assert (len(few.points), few.left_out, list(few.means)) == (1, 1, [])
    # A2 of two weights is 1.880 (NIST/SEMATECH e-Handbook, 6.3.2.1, from memory).
    assert enough.means[0] == pytest.approx((250.5 - 3.76, 250.5, 250.5 + 3.76), abs=0.002)
    assert (enough.means_outside(), enough.ranges_outside()) == ([], [])


def test_a_check_outside_of_its_limits_is_told_by_number() -> None:
    alike = [checked(f"P-{i}", *[250_000, 251_000] * 15) for i in range(20)]
    off = checked("P-OFF", *[253_000, 254_000] * 15)
    wide = checked("P-WIDE", *[247_500, 253_500] * 15)

    chart = product_chart("S", "N", 250, [*alike, off, wide])

    assert (chart.means_outside(), chart.ranges_outside()) == ([21], [22])


@pytest.fixture
def pack(api: Api, engine: Engine) -> str:
    """A pack of 200 bags of a product whose name means something in XML and elsewhere."""
    furnish(api)
    api.post("/products", {"sku": "ODD-250", "name": "House", "nominal_g": 250})
    named_of_old(engine, "product", "House", 'House <script>&"$x$\x01')
    sack = sack_codes(receive(api, 70))[0]
    roast(api, {sack: 70}, 60, code="ROAST-1")
    made = {"code": "PACK-1", "product": "ODD-250", "bags": 200}
    api.post("/packs", made | {"from": [{"unit": "ROAST-1", "kg": 52}]})
    return "PACK-1"


def weigh(api: Api, *weights: str) -> None:
    net = [kg(each) for each in weights] + [kg("250.5")] * (30 - len(weights))
    api.post("/packs/PACK-1/check-weighings", {
        "weights_g": net, "weighed_at": "2026-03-04T09:00:00Z",
    })  # fmt: skip


def fetch(api: Api, path: str) -> tuple[httpx.Response, ET.Element]:
    answer = api.send("GET", path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("image/svg+xml")
    return answer, ET.fromstring(answer.text)  # noqa: S314 - our own


def test_the_chart_of_a_pack_can_be_read_aloud(api: Api, pack: str) -> None:
    weigh(api, "240.9", "231.9", "249")

    answer, root = fetch(api, f"/packs/{pack}/weighing-chart")

    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert description is not None
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-labelledby"] == f"{title.attrib['id']} {description.attrib['id']}"
    assert title.text == "Weights of pack PACK-1"
    assert description.text == (
        'ODD-250, House <script>&"$x$\ufffd: 30 bags weighed in 1 check. Nominal 250.0 g, T1 241.0 '
        "g, T2 232.0 g. Mean 249.51 g, lightest 231.9 g, heaviest 250.5 g. Below T1: bag 1. Below "
        "T2: bag 2."
    )
    said = {"".join(each.itertext()) for each in root.iter(f"{SVG}text")}
    assert said >= {"bag", "bag below T1", "bag below T2", "T1 241 g", "T2 232 g", "running mean"}
    assert "script" not in {each.tag.removeprefix(SVG) for each in root.iter()}
    assert "sandbox" in answer.headers["content-security-policy"]
    assert answer.content == api.send("GET", f"/packs/{pack}/weighing-chart").content


def test_the_chart_of_a_product_shows_its_checks_of_a_time(api: Api, pack: str) -> None:
    weigh(api, "249")
    weigh(api, "252")
    path = "/products/odd-250/weighing-chart"

    _, root = fetch(api, f"{path}?from=2026-03-04T09:00:00Z&to=2026-03-04T09:00:00Z")

    assert "means and ranges of 2 checks" in str(root.findtext(f"{SVG}desc"))
    for none in ("from=2026-03-04T09:00:01Z", "to=2026-03-04T08:59:59Z"):
        problem(api.send("GET", f"{path}?{none}"), 404, "not-found")
    backwards = api.send("GET", f"{path}?from=2026-03-05T00:00:00Z&to=2026-03-04T00:00:00Z")
    assert problem(backwards, 422, "invalid")["errors"][0]["parameter"] == "from"
    api.post(f"/units/{pack}/void", {"reason": "booked twice"})
    problem(api.send("GET", path), 404, "not-found")
    problem(api.send("GET", f"/packs/{pack}/weighing-chart"), 409, "voided")


@pytest.mark.parametrize(
    ("path", "status", "slug"),
    [
        ("/packs/PACK-1/weighing-chart", 404, "not-found"),
        ("/packs/ROAST-1/weighing-chart", 409, "wrong-kind"),
        ("/packs/NEVER-WAS/weighing-chart", 404, "unknown-code"),
        ("/products/NONE/weighing-chart", 404, "not-found"),
    ],
)
@pytest.mark.usefixtures("pack")
def test_there_is_no_chart_of_nothing(api: Api, path: str, status: int, slug: str) -> None:
    problem(api.send("GET", path), status, slug)


def test_the_service_starts_without_loading_what_draws() -> None:
    asked = "import sys, app.main; sys.exit('matplotlib' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", asked], check=False).returncode == 0  # noqa: S603

"""The packers' pages: a run with its dates shown before, check-weighing, packing material."""

from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.settings import Settings
from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, hidden_fields, words


@pytest.fixture
def house(api: Api) -> str:
    """Fill a roastery with a roast of the style House and bags for it; returns its code."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    api.post("/styles", {"name": "House"})
    api.post("/products", {"sku": "SINGLE-250", "name": "House single", "nominal_g": 250,
                           "shelf_life_months": 12, "style": "House"})  # fmt: skip
    api.post("/materials", {"code": "BAG-250", "name": "Bag with valve", "kind": "bag",
                            "unit": "piece", "has_valve": True})  # fmt: skip
    return str(roast(api, {sacks[0]: 60}, 50, style="House")["code"])


def test_a_run_shows_lot_mark_and_dates_before_and_is_booked_as_it_was_shown(
    api: Api,
    house: str,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    pia = visitor_as("warehouse")
    came = pia.fill(
        "/material", material="BAG-250", code="roll-9", quantity="500", supplier="Kappa Print",
        reference="DN 7",
    )  # fmt: skip
    assert "ROLL-9 booked: 500 of BAG-250." in words(pia.get(came.headers["location"]))
    statements()
    page = pia.get("/pack?product=SINGLE-250&bags=100")
    of_page = statements()
    assert f'value="{house}"' in page.text
    assert 'name="from.0.kg" type="text" inputmode="decimal" value="25"' in page.text
    asked = {"product": "SINGLE-250", "bags": "100", "from.3.unit": "R-1", "_ask": "oldest"}
    pressed = pia.post("/pack", hidden_fields(page.text) | asked)
    assert 'name="from.0.kg" type="text" inputmode="decimal" value="25"' in pressed.text
    assert "R-1" not in pressed.text
    kept = pia.post("/pack", hidden_fields(page.text) | asked | {"product": ""})
    assert 'value="R-1"' in kept.text
    typed = hidden_fields(page.text) | {
        "product": "SINGLE-250", "bags": "100", "from.0.unit": house, "from.0.kg": "25,2",
        "machine": "LINE-1", "materials.0.lot": "ROLL-9", "materials.0.issued": "110",
        "materials.0.used": "100", "materials.0.spoiled": "2", "materials.0.returned": "8",
    }  # fmt: skip

    looked = pia.post("/pack", typed | {"_ask": "look"})
    shown = words(looked)
    assert "Not booked yet: this goes onto the bags" in shown
    assert "Best before end" in shown
    assert "In no bag 0.2 kg" in shown
    assert "Roasted less than" not in shown
    assert api.get("/packs")["items"] == []
    booked = pia.post("/pack", typed)
    code = booked.headers["location"].rpartition("/")[2]
    assert f"L {code}" in shown
    told = words(pia.get(booked.headers["location"]))
    assert f"L {code}" in told
    for path in (booked.headers["location"], f"/u/{code}"):
        # One wording wherever the date of the bags is shown: that of the bag.
        assert "Best before end" in words(pia.get(path))
        assert "Mindestens haltbar bis Ende" in words(pia.get(path, accept_language="de"))
    assert "ROLL-9 BAG-250: 100 used, 2 spoiled" in told
    assert "House single" in words(pia.get("/packing"))
    assert of_page <= 5
    (lot,) = api.get("/material-lots")["items"]
    assert (str(lot["left"]), str(lot["spoiled"])) == ("398", "2") or str(lot["left"]) == "398.0"

    fields = hidden_fields(pia.get(f"/pack?corrects={code}").text)
    corrected = pia.post("/pack", fields | typed | {
        "bags": "98", "correction_reason": "two burst", "_key": "anew",
    })  # fmt: skip
    assert corrected.status_code == 303
    assert api.get(f"/packs/{code}")["voided"]
    book_is_sound()


def test_a_run_that_mixes_is_warned_of_and_one_of_too_little_is_refused(
    api: Api, house: str, visitor_as: Callable[..., Visitor]
) -> None:
    other = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50, style="House",
                  roasted_at="2026-03-03T08:00:00Z")  # fmt: skip
    pia = visitor_as("warehouse")
    typed = {"product": "SINGLE-250", "from__0__unit": house, "from__0__kg": "10"}

    mixed = pia.fill("/pack", **typed, from__1__unit=other["code"], from__1__kg="10",
                     bags="80", _ask="look")  # fmt: skip
    short = pia.fill("/pack", **typed, bags="41", _ask="look")

    assert "Another day of roasting is another pack." in words(mixed)
    assert "No packing material on record." in words(mixed)
    assert short.status_code == 422
    assert "only 10.0 kg were brought to the line" in words(short)
    assert 'value="41"' in short.text
    assert visitor_as("buyer").get("/pack").status_code == 403


def test_what_a_check_of_weights_points_out_is_said_in_the_language_of_the_page(
    api: Api, house: str, visitor_as: Callable[..., Visitor]
) -> None:
    code = pack(api, {house: 5}, 20, "SINGLE-250")["code"]
    pia = visitor_as("warehouse")
    api.post(f"/packs/{code}/check-weighings", {"weights_g": [251] * 18 + [231, 230]})

    (check,) = api.get(f"/check-weighings?pack={code}")["items"]
    in_english = words(pia.get(f"/weigh/{code}"))
    in_german = words(pia.get(f"/weigh/{code}", accept_language="de"))

    assert len(check["warnings"]) == 3
    # The API has its figures to the tenth at least, the page as short as they are.
    assert [
        each for each in check["warnings"] if each.replace(".0 g", " g") not in in_english
    ] == []
    for said in (
        "2 von 20 Beuteln liegen unter T2 (232 g): Kein solcher darf das Haus verlassen.",
        "Das laufende Mittel von 248,95 g liegt unter den 250 g des Etiketts.",
        "2 von 20 Beuteln liegen unter T1 (241 g).",
    ):
        assert said in in_german


def test_bag_after_bag_is_weighed_with_limits_and_advice_until_the_check_is_booked(
    api: Api,
    house: str,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
) -> None:
    code = pack(api, {house: 5}, 20, "SINGLE-250")["code"]
    pia = visitor_as("warehouse")
    assert pia.get(f"/weigh?pack={code.lower()}").headers["location"] == f"/weigh/{code}"
    first = pia.get(f"/weigh/{code}")
    form = {k: v for k, v in hidden_fields(first.text).items() if k != "weights_g"}
    # Directive 76/211/EEC, Annex I 2.4: of 200 to 300 g the tolerable negative error is 9 g.
    assert "T1 241 g T2 232 g" in words(first)

    def add(*weights: str) -> str:
        answer = pia.post(
            f"/weigh/{code}", form | {"weights_g": [*weights], "_ask": "more.weights_g"}
        )
        assert answer.status_code in {200, 422}
        return answer.text

    assert "Go on." in add("250,4")
    assert "Set the filler" in add("250.4", "240")
    statements()
    page = add("250.4", "240", "231")
    assert statements() <= 9
    assert "Stop: a bag is below T2. None of that kind may leave." in page
    assert f"/weigh/{code}/chart.svg?w=250400.240000.231000&amp;plan=every" in page
    assert "Below T2: bag 3." in page
    assert "damp is no weight in grams." in add("250", "damp")
    out = pia.post(f"/weigh/{code}", form | {"weights_g": ["250.4", "231", ""], "_ask": "out.1"})
    assert 'name="weights_g" value="250.4"' in out.text
    assert 'value="231"' not in out.text

    few = pia.post(f"/weigh/{code}", form | {"weights_g": ["251"] * 5})
    assert few.status_code == 422
    assert "this plan wants 20 weights, not 5" in words(few)
    assert few.text.count('name="weights_g" value="251"') == 5
    booked = pia.post(f"/weigh/{code}", form | {"weights_g": ["251"] * 19 + ["249.5"]})
    assert "Check of 20 bags booked: accepted, mean 250.925 g." in words(
        pia.get(booked.headers["location"])
    )
    (check,) = api.get(f"/check-weighings?pack={code}")["items"]
    assert check["finding"] == "accepted"
    chart = pia.get(f"/weigh/{code}/chart.svg?w=250000")
    assert chart.headers["content-type"] == "image/svg+xml"
    assert "21 bags weighed in 2 checks" in chart.text
    german = pia.get(f"/weigh/{code}/chart.svg?w=250400", Accept_Language="de").text
    assert 'xml:lang="de"' in german
    assert "21 Beutel gewogen in 2 Prüfungen." in german
    assert "schwerster 251 g" in german
    assert "laufendes Mittel" in german
    assert "running mean" not in german
    assert pia.get(f"/weigh/{code}/chart.svg?w=x").status_code == 422
    assert pia.get("/weigh/P-404").status_code == 404
    light = pia.post(f"/weigh/{code}", form | {"weights_g": ["251"] * 18 + ["231", "230"],
                                               "_key": "a second check"})  # fmt: skip
    heeded = pia.get(light.headers["location"]).text
    assert 'class="said mind"' in heeded
    assert "The pack is on hold now." in heeded
    undo = f"/void/check/{check['id']}?of={code}"
    assert f'href="{undo}"' in pia.get(f"/weigh/{code}").text
    back = pia.fill(undo, reason="the scale was not tared")
    assert back.headers["location"] == f"/weigh/{code}"
    assert api.get(f"/check-weighings?pack={code}")["items"][0]["voided"]
    assert f'href="{undo}"' not in pia.get(f"/weigh/{code}").text


class TestWhereItIsAnotherDayThanInUtc:
    """Kiritimati is fourteen hours ahead, the zone of twelve hours behind has no summer time."""

    @pytest.fixture
    def settings(self, database_url: str) -> Settings:
        ahead = datetime.now(UTC).hour >= 10
        zone = "Pacific/Kiritimati" if ahead else "Etc/GMT+12"
        return Settings(
            database_url=database_url, hold_on_arrival=False, time_zone=zone, _env_file=None
        )

    def test_packed_today_is_what_was_packed_on_the_day_there(
        self, api: Api, house: str, settings: Settings, visitor_as: Callable[..., Visitor]
    ) -> None:
        there = ZoneInfo(settings.time_zone)
        today = datetime.now(there).date()
        midnight = datetime.combine(today, time(), there)
        late, early = (
            pack(api, {house: 1}, 4, packed_at=at.isoformat())["code"]
            for at in (midnight - timedelta(seconds=1), midnight)
        )

        packed = words(visitor_as("warehouse").get("/packing"))

        assert datetime.now(UTC).date() != today
        assert early in packed
        assert late not in packed

"""What lots are by their papers: everything is kept as given, and a mark names one shipment."""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from app.shared.times import now
from tests.api import Api, kg
from tests.makers import furnish, receive
from tests.serving import ServiceProcess, Wire, at_once

MARK = "002/1961/0978"


def deliver(api: Api, *lots: dict[str, Any], at: str = "2026-03-02T08:00:00Z") -> Any:
    return api.post("/deliveries", note(*lots, at=at))


def note(*lots: dict[str, Any], at: str = "2026-03-02T08:00:00Z") -> dict[str, Any]:
    """Write a delivery note of lots of one sack each."""
    plain = {"name": "Sidama Washed", "origin": "ET", "sacks": [{"net_kg": 60}]}
    return {
        "supplier": "Finca El Roble",
        "received_at": at,
        "lots": [plain | lot for lot in lots],
    }


def refused(api: Api, body: dict[str, Any], status: int, slug: str) -> Any:
    """See a delivery refused, and nothing of it stored."""
    before = api.get("/entries?limit=500"), api.get("/lots?limit=500")
    problem = api.refuse("/deliveries", body, status, slug)
    assert (api.get("/entries?limit=500"), api.get("/lots?limit=500")) == before
    return problem


def codes(api: Api, query: str) -> list[str]:
    return [lot["code"] for lot in api.get(f"/lots?{query}")["items"]]


def test_everything_that_is_known_of_a_lot_is_kept_as_it_was_given(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    said = {
        "code": "GL-1", "origin": "et", "species": "Arabica", "variety": "Kurume, Wolisho",
        "region": "Guji", "producer": "Almaz Ç.", "process": "washed", "crop_year": "2025-2026",
        "altitude": {"from": 5600, "to": 6200, "unit": "ft"}, "ico_mark": " 10/56-978",
        "shipped_on": "2026-01-20", "harvest_ended_on": "2025-12-15",
    }  # fmt: skip

    [received] = deliver(api, said)["lots"]

    assert (received["mark"], received["coffee_year"]) == ("010/0056/0978", "2025/26")
    assert received["coffee_year_from"] == "shipped_on"
    lot = api.get("/lots/GL-1")
    for name in ("variety", "region", "producer", "process", "crop_year", "ico_mark",
                 "shipped_on", "harvest_ended_on"):  # fmt: skip
        assert lot[name] == said[name]
    assert (lot["origin"], lot["origin_name"], lot["species"]) == ("ET", "Ethiopia", "arabica")
    # The international foot is 0.3048 m exactly (yard and pound agreement of 1959).
    assert lot["altitude"] == {
        "from": 5600, "to": 6200, "unit": "ft", "from_m": kg("1706.88"), "to_m": kg("1889.76"),
    }  # fmt: skip
    assert lot["crop_years"] == {"start": 2025, "end": 2026}
    assert (lot["mark"], lot["mark_form"]) == ("010/0056/0978", "three_groups")
    assert (lot["coffee_year"], lot["coffee_year_from"]) == ("2025/26", "shipped_on")
    assert lot["same_shipment_as"] is None
    assert lot["claims"] == []
    book_is_sound()


def test_a_lot_of_which_little_is_known_says_so(api: Api) -> None:
    furnish(api)
    deliver(api, {"code": "GL-1", "crop_year": "Mayo a Julio", "ico_mark": "2014/2015"})

    lot = api.get("/lots/GL-1")

    for name in ("species", "variety", "region", "producer", "altitude", "shipped_on",
                 "harvest_ended_on", "crop_years", "mark", "same_shipment_as"):  # fmt: skip
        assert lot[name] is None
    assert (lot["crop_year"], lot["ico_mark"]) == ("Mayo a Julio", "2014/2015")
    assert lot["mark_form"] == "two_groups"
    assert (lot["coffee_year"], lot["coffee_year_from"]) == ("2025/26", "received_at")


@pytest.mark.parametrize(
    ("field", "value", "pointer"),
    [
        ("species", "coffea", "species"),
        ("variety", "  ", "variety"),
        ("region", "x" * 201, "region"),
        ("altitude", {"from": 1700}, "altitude/unit"),
        ("altitude", {"from": 1700, "unit": "km"}, "altitude/unit"),
        ("altitude", {"from": 1700, "to": 1699, "unit": "m"}, "altitude"),
        ("altitude", {"from": 9001, "unit": "m"}, "altitude"),
        ("altitude", {"from": 29528, "unit": "ft"}, "altitude"),
        ("altitude", {"from": -1, "unit": "m"}, "altitude/from"),
        ("altitude", {"from": True, "unit": "m"}, "altitude/from"),
        ("altitude", {"from": kg("1700.5"), "unit": "m"}, "altitude/from"),
        ("origin", "ZR", "origin"),
        ("origin", "ETH", "origin"),
        ("coffee_year", "2025", "coffee_year"),
        ("coffee_year", "2025/27", "coffee_year"),
        ("shipped_on", 20260120, "shipped_on"),
        ("shipped_on", "2026-02-30", "shipped_on"),
        ("shipped_on", "2026-03-04", "shipped_on"),
        ("harvest_ended_on", "2026-03-04", "harvest_ended_on"),
        ("same_shipment_as", "GL-0", "same_shipment_as"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_is_stored(
    api: Api, field: str, value: object, pointer: str
) -> None:
    furnish(api)

    problem = refused(api, note({"code": "GL-0"}, {field: value}), 422, "invalid")

    assert [error["pointer"] for error in problem["errors"]] == [f"#/lots/1/{pointer}"]


@pytest.mark.parametrize(
    "said",
    [
        {"altitude": {"from": 0, "unit": "m"}},
        {"altitude": {"from": 1700, "to": 1700, "unit": "m"}},
        {"altitude": {"from": 9000, "unit": "m"}},
        {"altitude": {"from": 29527, "unit": "ft"}},
        # Where it was loaded the day may have begun before ours.
        {"shipped_on": "2026-03-03", "harvest_ended_on": "2026-03-03"},
        {"species": "ROBUSTA", "crop_year": "9999", "ico_mark": "-"},
        {"crop_year": "0000"},
    ],
)
def test_what_is_just_possible_is_taken(api: Api, said: dict[str, Any]) -> None:
    furnish(api)

    deliver(api, {"code": "GL-1"} | said)

    assert api.get("/lots/GL-1")["code"] == "GL-1"


def test_a_withdrawn_country_code_is_refused_by_its_history(api: Api) -> None:
    # ISO 3166-3: ZR for Zaire was withdrawn on 14 July 1997.
    furnish(api)

    problem = refused(api, note({"origin": "zr"}), 422, "invalid")

    assert "Zaire" in problem["detail"]


@pytest.mark.parametrize(
    ("received", "said", "year", "source"),
    [
        # ITC Coffee Guide, Identification of exports: 1 October to 30 September.
        ("2025-10-01T00:00:00Z", {}, "2025/26", "received_at"),
        ("2025-09-30T23:59:59Z", {}, "2024/25", "received_at"),
        ("2025-10-01T01:00:00+02:00", {}, "2024/25", "received_at"),
        ("2025-11-01T08:00:00Z", {"shipped_on": "2025-09-30"}, "2024/25", "shipped_on"),
        ("2025-11-01T08:00:00Z", {"shipped_on": "2025-10-01"}, "2025/26", "shipped_on"),
        ("2025-11-01T08:00:00Z", {"coffee_year": "2024/2025"}, "2024/25", "coffee_year"),
        (
            "2025-11-01T08:00:00Z",
            {"coffee_year": "2024/25", "shipped_on": "2025-09-30"},
            "2024/25",
            "coffee_year",
        ),
    ],
)
def test_the_coffee_year_is_the_surest_that_is_known_and_says_where_it_comes_from(
    api: Api, received: str, said: dict[str, str], year: str, source: str
) -> None:
    furnish(api)

    [answered] = deliver(api, {"code": "GL-1", "ico_mark": MARK} | said, at=received)["lots"]

    lot = api.get("/lots/GL-1")
    for shown in (answered, lot, api.get(f"/deliveries/{lot['delivery']}")["lots"][0]):
        assert (shown["mark"], shown["coffee_year"], shown["coffee_year_from"]) == (
            MARK, year, source,
        )  # fmt: skip


def test_a_coffee_year_that_is_not_that_of_the_shipment_is_refused(api: Api) -> None:
    furnish(api)
    lot = {"shipped_on": "2025-10-01", "coffee_year": "2024/25"}

    problem = refused(api, note(lot), 422, "invalid")

    assert problem["errors"][0]["pointer"] == "#/lots/0/coffee_year"


def test_a_mark_that_a_lot_has_in_that_coffee_year_is_refused_and_the_lot_is_named(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    # ITC Coffee Guide, Identification of exports: the same mark and coffee year is the same
    # shipment. That zeros are dropped on sacks is from memory.
    furnish(api)
    deliver(api, {"code": "GL-1", "ico_mark": MARK})

    problem = refused(
        api, note({"code": "GL-2"}, {"code": "GL-3", "ico_mark": "2-1961-978"}), 409, "mark-taken"
    )

    assert problem["lots"] == ["GL-1"]
    assert (problem["ico_mark"], problem["coffee_year"]) == (MARK, "2025/26")
    assert problem["coffee_year_from"] == "received_at"
    assert problem["errors"][0]["pointer"] == "#/lots/1/ico_mark"
    assert "GL-1" in problem["detail"]
    book_is_sound()


def test_the_same_mark_in_another_coffee_year_is_another_shipment(api: Api) -> None:
    # ITC Coffee Guide, Identification of exports; ICO note of 6 September 2012: serials begin
    # again at 1 with each coffee year.
    furnish(api)
    deliver(api, {"code": "GL-1", "ico_mark": "003-0010-0007"}, at="2025-09-30T08:00:00Z")
    deliver(api, {"code": "GL-2", "ico_mark": "003-0010-0007"}, at="2025-10-01T08:00:00Z")

    assert [api.get(f"/lots/{lot}")["coffee_year"] for lot in ("GL-1", "GL-2")] == [
        "2024/25", "2025/26",
    ]  # fmt: skip
    late = {"code": "GL-3", "ico_mark": "3/10/7", "shipped_on": "2025-09-29"}
    assert refused(api, note(late), 409, "mark-taken")["lots"] == ["GL-1"]


def test_a_further_parcel_of_a_shipment_names_a_lot_of_it(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    deliver(api, {"code": "GL-1", "ico_mark": MARK})

    deliver(api, {"code": "GL-2", "ico_mark": "2/1961/978", "same_shipment_as": "gl-1"})
    deliver(api, {"code": "GL-3", "ico_mark": MARK, "same_shipment_as": "GL-2"})

    mates = [api.get(f"/lots/{lot}")["same_shipment_as"] for lot in ("GL-1", "GL-2", "GL-3")]
    assert mates == [None, "GL-1", "GL-2"]
    problem = refused(api, note({"ico_mark": MARK}), 409, "mark-taken")
    assert problem["lots"] == ["GL-1", "GL-2", "GL-3"]
    book_is_sound()


@pytest.mark.parametrize(
    "lot",
    [
        {"ico_mark": "002/1961/0979", "same_shipment_as": "GL-1"},
        {"ico_mark": MARK, "coffee_year": "2024/25", "same_shipment_as": "GL-1"},
        {"ico_mark": MARK, "same_shipment_as": "GL-0"},
        {"ico_mark": MARK, "same_shipment_as": "GL-404"},
        {"ico_mark": MARK, "same_shipment_as": "GL-2", "code": "GL-2"},
        {"ico_mark": "KE 9143", "same_shipment_as": "GL-1"},
        {"same_shipment_as": "GL-1"},
    ],
)
def test_a_lot_named_as_the_same_shipment_must_carry_its_mark_in_its_coffee_year(
    api: Api, lot: dict[str, Any]
) -> None:
    furnish(api)
    deliver(api, {"code": "GL-1", "ico_mark": MARK})
    deliver(api, {"code": "GL-0"})

    problem = refused(api, note(lot), 422, "invalid")

    assert problem["errors"][0]["pointer"] == "#/lots/0/same_shipment_as"


def test_two_lots_of_one_delivery_do_not_carry_one_mark_unless_one_names_the_other(
    api: Api,
) -> None:
    furnish(api)
    one, other = {"code": "GL-1", "ico_mark": MARK}, {"code": "GL-2", "ico_mark": "2/1961/978"}

    problem = refused(api, note(one, other), 409, "mark-taken")
    nameless = refused(api, note({"ico_mark": MARK}, other), 409, "mark-taken")
    deliver(api, one | {"same_shipment_as": "GL-2"}, other, {"code": "GL-3", "ico_mark": "2/1/1"})

    assert (problem["lots"], problem["errors"][0]["pointer"]) == (["GL-1"], "#/lots/1/ico_mark")
    assert nameless["lots"] == ["lot 1 of this delivery"]
    assert api.get("/lots/GL-1")["same_shipment_as"] == "GL-2"
    assert codes(api, f"ico_mark={MARK}") == ["GL-1", "GL-2"]


def test_lots_that_name_one_another_in_a_circle_do_not_pass_a_mark_by_the_book(api: Api) -> None:
    furnish(api)
    deliver(api, {"code": "GL-0", "ico_mark": MARK})
    circle = [
        {"code": f"GL-{n}", "ico_mark": MARK, "same_shipment_as": f"GL-{n % 3 + 1}"}
        for n in (1, 2, 3)
    ]

    problem = refused(api, note(*circle), 422, "invalid")
    chain = [*circle[:2], circle[2] | {"same_shipment_as": "GL-0"}]
    deliver(api, *chain)

    assert problem["errors"][0]["pointer"] == "#/lots/0/same_shipment_as"
    assert codes(api, f"ico_mark={MARK}") == ["GL-0", "GL-1", "GL-2", "GL-3"]


def test_the_mark_of_a_voided_lot_is_free_again(api: Api) -> None:
    furnish(api)
    deliver(api, {"code": "GL-1", "ico_mark": MARK})
    api.post("/units/GL-1/void", {"reason": "another customer's delivery"})

    named = note({"code": "GL-2", "ico_mark": MARK, "same_shipment_as": "GL-1"})
    assert refused(api, named, 422, "invalid")["errors"]
    deliver(api, {"code": "GL-2", "ico_mark": MARK})

    assert api.get("/lots/GL-2")["mark"] == MARK


@pytest.mark.parametrize("printed", ["KE 9143", "2014/2015", "11/11711/59", "0021961", "none"])
def test_what_is_no_mark_never_clashes(api: Api, printed: str) -> None:
    furnish(api)

    deliver(api, {"code": "GL-1", "ico_mark": printed}, {"code": "GL-2", "ico_mark": printed})

    assert codes(api, f"ico_mark={printed}") == ["GL-1", "GL-2"]
    assert [api.get(f"/lots/{lot}")["mark"] for lot in ("GL-1", "GL-2")] == [None, None]


def test_lots_are_found_by_any_printed_form_of_mark_and_crop(api: Api) -> None:
    furnish(api)
    deliver(
        api,
        {"code": "GL-1", "ico_mark": "2-1961-0978", "crop_year": "2025/26"},
        {"code": "GL-2", "ico_mark": "2/1961/10978", "crop_year": "2025"},
        {"code": "GL-3", "ico_mark": " KE 9143 ", "crop_year": "08/09 crop"},
        {"code": "GL-4"},
    )
    deliver(api, {"code": "GL-5", "ico_mark": MARK, "coffee_year": "2019/20"})

    for printed in (MARK, "2/1961/978", "002 - 1961 / 978"):
        assert codes(api, f"ico_mark={printed}") == ["GL-1", "GL-5"]
    assert codes(api, "ico_mark=KE 9143") == ["GL-3"]
    assert codes(api, "ico_mark=1/1/1") == []
    assert codes(api, "crop_year=2025-2026") == ["GL-1"]
    assert codes(api, "crop_year=2025") == ["GL-2"]
    assert codes(api, "crop_year=08/09 crop") == ["GL-3"]
    assert codes(api, f"ico_mark={MARK}&crop_year=2025/26&origin=ET") == ["GL-1"]
    assert codes(api, f"ico_mark={MARK}&origin=CO") == []


def test_the_age_of_a_crop_is_a_hint_by_the_settings(api: Api, service: FastAPI) -> None:
    furnish(api)
    old = (now() - timedelta(days=320)).date()
    deliver(api, {"code": "GL-1", "harvest_ended_on": str(old)}, at=f"{now():%Y-%m-%dT00:00:00Z}")
    shown = [api.get("/lots/GL-1")["crop_age"]]

    for months in ((11, 12), (1, 2)):
        settings: Settings = service.state.settings
        service.state.settings = settings.model_copy(
            update={"crop_amber_months": months[0], "crop_red_months": months[1]}
        )
        shown.append(api.get("/lots/GL-1")["crop_age"])

    assert [each["light"] for each in shown] == ["amber", "green", "red"]
    assert all(each["since"] == str(old) for each in shown)
    assert all(each["counted_from"] == "harvest_ended_on" for each in shown)
    assert api.get("/lots/GL-1")["held"] is False


def test_receivers_at_several_servers_take_a_mark_once(
    api: Api, engine: Engine, settings: Settings
) -> None:
    furnish(api)
    with writing(engine) as session:
        token = add_token(session, "ida", list(Role))
    bodies = [note({"code": f"GL-{number}", "ico_mark": MARK}) for number in range(6)]

    with (
        ServiceProcess(settings) as one,
        ServiceProcess(settings) as other,
        Wire(one.address, token) as line,
        Wire(other.address, token) as second,
    ):
        lines = zip([line, second] * 3, bodies, strict=True)
        answers = at_once([partial(wire.post, "/deliveries", body) for wire, body in lines])

    assert sorted(answer.status_code for answer in answers) == [201] + [409] * 5
    [taken] = codes(api, f"ico_mark={MARK}")
    for answer in answers:
        if answer.status_code == 409:
            assert answer.json()["type"] == "/problems/mark-taken"
            assert answer.json()["lots"] == [taken]


def test_a_retried_delivery_is_answered_as_before_and_does_not_clash_with_itself(api: Api) -> None:
    furnish(api)
    body = note({"code": "GL-1", "ico_mark": MARK})
    first = api.post("/deliveries", body, Idempotency_Key="dock-1")

    again = api.post("/deliveries", body, Idempotency_Key="dock-1")

    assert again == first


@pytest.mark.parametrize("act", ["UPDATE {} SET coffee_year = 1", "DELETE FROM {}"])
def test_what_was_read_of_a_lot_can_be_neither_changed_nor_deleted(
    api: Api, engine: Engine, act: str
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")

    with pytest.raises(DBAPIError, match="append-only"), writing(engine) as session:
        session.execute(text(act.format("lot_identity")))

"""Gradings of lots: both roundings, verdicts by named standards, screens, and what stands."""

from collections.abc import Callable
from typing import Any

import pytest

from app.settings import Settings
from tests.api import Api, kg, problem
from tests.makers import furnish, receive, sack_codes

LEFTOVERS = {
    "partial_black": 4, "partial_sour": 2, "broken": 12, "floater": 3, "slight_insect": 14,
}  # fmt: skip
"""Four full defects rounded down kind by kind, 6.4 exactly."""


@pytest.fixture
def lot(api: Api) -> str:
    furnish(api)
    receive(api, 60, lot="GL-2")
    receive(api, 60, 60, lot="GL-1", process="washed")
    return "GL-1"


def measure(api: Api, subject: str, kind: str, value: Any, taken_at: str) -> None:
    api.post("/readings", {"subject": subject, "kind": kind, "value": value, "taken_at": taken_at})


def grade(api: Api, lot: str = "GL-1", sample_g: int = 350, **more: Any) -> Any:
    return api.post(f"/lots/{lot}/gradings", {"sample_g": sample_g} | more)


def verdicts(grading: Any) -> dict[str, str]:
    return {each["standard"]: each["outcome"] for each in grading["verdicts"]}


def check(grading: Any, standard: str, name: str) -> Any:
    [verdict] = [each for each in grading["verdicts"] if each["standard"] == standard]
    return next(each for each in verdict["checks"] if each["check"] == name)


def test_a_count_is_answered_by_both_roundings(api: Api, lot: str) -> None:
    # Equivalents: SCA, Washed arabica green coffee defect poster (2018); rounding from memory.
    graded = grade(api, lot, defects=LEFTOVERS, species="arabica")

    nothing = {"floor": 0, "exact": 0, "fraction": "0"}
    both = {"floor": 4, "exact": kg("6.4"), "fraction": "32/5"}
    assert graded["full_defects"] == {
        "category_1": nothing, "category_2": both, "total": both,
        "table": "SCA, Washed arabica green coffee defect poster (2018)",
    }  # fmt: skip
    assert graded["defects"][0] == {
        "kind": "partial_black", "category": 2, "beans": 4, "equivalent": 3,
        "full_defects": {"floor": 1, "exact": kg("1.333"), "fraction": "4/3"},
    }  # fmt: skip
    assert graded["rounding"] == "floor"
    [sca] = [each for each in graded["verdicts"] if each["standard"] == "sca_washed_arabica"]
    assert sca["by_rounding"] == {"floor": "unknown", "exact": "misses"}
    assert sca["outcome"] == "unknown"  # nothing but the defects was measured


def test_everything_measured_and_in_order_meets_the_specialty_grade(api: Api, lot: str) -> None:
    measure(api, lot, "moisture", kg("11.4"), "2026-03-02T09:00:00Z")
    measure(api, lot, "water_activity", kg("0.55"), "2026-03-02T09:00:00Z")

    graded = grade(
        api, defects={"broken": 29}, quakers=0, quaker_sample_g=100, species="arabica",
        colour="bluish green", odour="clean", grader="Ilse", graded_at="2026-03-02T12:00:00Z",
    )  # fmt: skip

    assert verdicts(graded) == {
        "sca_washed_arabica": "meets",
        "ico_420_arabica": "not_judged",
        "ico_420_robusta": "not_judged",
        "older_classes_300g": "not_judged",
    }
    assert graded["moisture"] == {
        "value": kg("11.4"), "subject": "GL-1", "taken_at": "2026-03-02T09:00:00Z",
    }  # fmt: skip
    assert (graded["grader"], graded["entered_by"]) == ("Ilse", "admin")
    assert (graded["colour"], graded["odour"]) == ("bluish green", "clean")
    assert graded["graded_at"] == "2026-03-02T12:00:00Z"
    detail = check(graded, "ico_420_arabica", "sample mass")["detail"]
    assert detail.startswith("not judged: sample mass differs")


def test_without_a_moisture_reading_the_verdict_is_unknown(api: Api, lot: str) -> None:
    graded = grade(api, lot, defects={}, quakers=0, quaker_sample_g=100, species="arabica")

    assert verdicts(graded)["sca_washed_arabica"] == "unknown"
    assert graded["moisture"] is None
    assert check(graded, "sca_washed_arabica", "moisture")["outcome"] == "unknown"


def test_the_newest_reading_of_the_lot_or_a_sack_is_taken(api: Api, lot: str) -> None:
    sack = api.get("/sacks?lot=GL-1")["items"][1]["code"]
    measure(api, sack, "moisture", kg("12.6"), "2026-03-03T09:00:00Z")
    measure(api, lot, "moisture", kg("11"), "2026-03-02T09:00:00Z")
    measure(api, "GL-2", "moisture", kg("9"), "2026-03-04T09:00:00Z")

    graded = grade(api, lot, 300, defects={}, species="arabica")

    assert graded["moisture"]["value"] == kg("12.6")
    assert graded["moisture"]["subject"] == sack
    assert verdicts(graded)["ico_420_arabica"] == "misses"
    assert check(graded, "ico_420_arabica", "full defects")["outcome"] == "meets"


@pytest.mark.parametrize(
    ("beans", "standard", "outcome"),
    # ICO Resolution 420 (21 May 2004); ITC Coffee Guide, ICO minimum export standards.
    [
        (86, "ico_420_arabica", "meets"),
        (87, "ico_420_arabica", "misses"),
        (150, "ico_420_robusta", "meets"),
        (151, "ico_420_robusta", "misses"),
    ],
)
def test_who_names_a_standard_is_judged_by_it_alone(
    api: Api, lot: str, beans: int, standard: str, outcome: str
) -> None:
    measure(api, lot, "moisture", 11, "2026-03-02T09:00:00Z")

    graded = grade(api, lot, 300, defects={"full_black": beans}, standard=standard)

    assert verdicts(graded) == {standard: outcome}


def test_full_defects_of_a_certificate_are_taken_as_counted(api: Api, lot: str) -> None:
    counted = {"category_1": 0, "category_2": 6, "table": "the exporter's laboratory"}

    graded = grade(api, lot, full_defects=counted, species="arabica")

    assert graded["defects"] is None
    assert graded["full_defects"]["category_2"] == {"floor": 6, "exact": 6, "fraction": "6"}
    assert graded["full_defects"]["table"] == "the exporter's laboratory"
    assert verdicts(graded)["sca_washed_arabica"] == "misses"


def test_the_older_classes_name_a_grade(api: Api, lot: str) -> None:
    # FAO document x6939e, Annex 7: up to 8 full defects in 300 g is premium.
    graded = grade(api, lot, 300, defects={"shell": 40})

    [older] = [each for each in graded["verdicts"] if each["standard"] == "older_classes_300g"]
    assert (older["outcome"], older["grade"]) == ("classed", "premium")
    assert older["by_rounding"] == {"floor": "premium", "exact": "premium"}


def test_a_screen_analysis_answers_its_labels(api: Api, lot: str) -> None:
    graded = grade(
        api, lot, screens={"16": kg("27.5"), "18": kg("12.5"), "pan": 10, "17": kg("50.25")}
    )

    assert [line["label"] for line in graded["screens"]] == [
        "screen 18 up", "screen 17", "screen 16", "pan",
    ]  # fmt: skip
    assert graded["screens"][1] == {
        "label": "screen 17", "hole_mm": kg("6.746875"), "retained_pct": kg("50.25"),
        "up_label": "17 up", "up_pct": kg("62.75"),
    }  # fmt: skip
    assert graded["full_defects"] is None
    assert verdicts(graded)["sca_washed_arabica"] == "unknown"


def test_screens_may_miss_a_hundred_by_half_a_per_cent(api: Api, lot: str) -> None:
    # Our rule.
    for last in ("39.5", "40.5", "40"):
        assert grade(api, lot, screens={"18": 60, "17": kg(last)})["screens"]


NO_ANALYSES: list[dict[str, Any]] = [
    {"18": 60, "17": kg("39.499")},
    {"18": 60, "17": kg("40.501")},
    {"18.5": 100},
    {"18": 100, "O": 0},
    {"18": 101},
    {"18": -1, "17": 101},
    {},
    {"0": 100},
    {"18": 60, "18.0": 40},
]
"""Screens that do not add up to 100 within half a per cent (our rule), or are none."""


def test_screens_that_cannot_be_are_refused(api: Api, lot: str) -> None:
    for screens in NO_ANALYSES:
        body = {"sample_g": 350, "screens": screens}
        refusal = api.refuse(f"/lots/{lot}/gradings", body, 422, "invalid")
        assert refusal["errors"][0]["pointer"].startswith("#/screens"), screens
    assert api.get(f"/lots/{lot}/gradings")["items"] == []


def test_metric_sieves_keep_their_millimetres(api: Api, lot: str) -> None:
    graded = grade(api, lot, screen_series="mm", screens={"7.10": 40, "6.30": 60})

    assert [line["hole_mm"] for line in graded["screens"]] == [kg("7.10"), kg("6.30")]
    assert graded["screen_series"] == "mm"


MISFITS: list[tuple[dict[str, Any], str]] = [
    ({}, "#"),
    ({"defects": {"full_black": -1}}, "#/defects/full_black"),
    ({"defects": {"full_black": kg("1.5")}}, "#/defects/full_black"),
    ({"defects": {"full_black": True}}, "#/defects/full_black"),
    ({"defects": {"black": 1}}, "#/defects/black"),
    ({"defects": {}, "sample_g": 0}, "#/sample_g"),
    ({"defects": {}, "sample_g": kg("350.5")}, "#/sample_g"),
    ({"defects": {}, "standard": "house"}, "#/standard"),
    ({"defects": {}, "species": "liberica"}, "#/species"),
    ({"defects": {}, "sample": 9}, "#/sample"),
    ({"defects": {}, "quaker_sample_g": 100}, "#/quakers"),
    ({"defects": {}, "quakers": -1}, "#/quakers"),
    (
        {"defects": {}, "full_defects": {"category_1": 0, "category_2": 0, "table": "T"}},
        "#/full_defects",
    ),
    ({"full_defects": {"category_1": 0, "category_2": 0}}, "#/full_defects/table"),
    ({"defects": {}, "graded_at": "2026-03-02T12:00:00"}, "#/graded_at"),
    ({"defects": {}, "graded_at": "2999-03-02T12:00:00Z"}, "#/graded_at"),
]
"""Gradings that do not fit together, and the field that is at fault."""


def test_a_grading_that_does_not_fit_together_is_refused_by_its_field(api: Api, lot: str) -> None:
    for more, pointer in MISFITS:
        refusal = api.refuse(f"/lots/{lot}/gradings", {"sample_g": 350} | more, 422, "invalid")
        assert refusal["errors"][0]["pointer"].startswith(pointer), more
    assert api.get(f"/lots/{lot}/gradings")["items"] == []
    assert api.get("/entries")["items"][-1]["kind"] == "delivery"


def test_a_grading_is_done_on_a_sample_of_its_own_lot(api: Api, lot: str) -> None:
    mine = api.post("/samples", {"kind": "offer", "subject": lot})["id"]
    other = api.post("/samples", {"kind": "offer", "subject": "GL-2"})["id"]
    typical = api.post("/samples", {"kind": "type", "typical_of": "Sidama"})["id"]
    undone = api.post("/samples", {"kind": "offer", "subject": lot})["id"]
    api.post(f"/samples/{undone}/void", {"reason": "slip"})

    for number in (other, typical, undone):
        body = {"sample": number, "sample_g": 350, "defects": {}}
        refusal = api.refuse(f"/lots/{lot}/gradings", body, 422, "invalid")
        assert refusal["errors"][0]["pointer"] == "#/sample"
    assert grade(api, lot, sample=mine, defects={})["sample"] == mine


def test_gradings_are_listed_as_they_were_judged_then(api: Api, lot: str) -> None:
    before = grade(api, lot, defects=LEFTOVERS, quakers=0, quaker_sample_g=100,
                   species="arabica", notes="first", screens={"18": 100})  # fmt: skip
    grade(api, "GL-2", defects={})
    measure(api, lot, "moisture", 11, "2026-03-02T09:00:00Z")
    after = grade(api, lot, defects={}, species="arabica")

    first = api.get(f"/lots/{lot}/gradings?limit=1")
    second = api.get(f"/lots/{lot}/gradings?limit=1&cursor={first['next']}")

    assert first["items"] == [before]
    assert second == {"items": [after], "next": None}


def test_the_grade_that_stands_is_judged_by_what_is_known_now(api: Api, lot: str) -> None:
    grade(api, lot, defects={}, quakers=0, quaker_sample_g=100, species="arabica",
          graded_at="2026-03-02T12:00:00Z")  # fmt: skip
    grade(api, lot, defects={"full_black": 1}, graded_at="2026-03-01T12:00:00Z")
    assert verdicts(api.get(f"/lots/{lot}/grade")["grading"])["sca_washed_arabica"] == "unknown"

    measure(api, lot, "moisture", 11, "2026-03-03T09:00:00Z")
    measure(api, lot, "water_activity", kg("0.699"), "2026-03-03T09:00:00Z")

    stands = api.get(f"/lots/{lot}/grade")
    assert verdicts(stands["grading"])["sca_washed_arabica"] == "meets"
    assert stands["moisture"]["value"] == 11
    assert stands["water_activity"]["value"] == kg("0.699")
    then = api.get(f"/lots/{lot}/gradings")["items"][0]
    assert then["id"] == stands["grading"]["id"]
    assert verdicts(then)["sca_washed_arabica"] == "unknown"


def test_a_lot_without_a_grading_has_no_grade(api: Api, lot: str) -> None:
    assert api.get(f"/lots/{lot}/grade") == {
        "lot": "GL-1", "moisture": None, "water_activity": None, "grading": None,
        "cupping": None, "scores": [],
    }  # fmt: skip


def test_a_voided_grading_does_not_stand_and_stays_in_the_list(
    api: Api, lot: str, book_is_sound: Callable[[], None]
) -> None:
    kept = grade(api, lot, defects={}, graded_at="2026-03-01T12:00:00Z")
    slip = grade(api, lot, defects={"fungus": 3}, graded_at="2026-03-02T12:00:00Z")

    voided = api.post(f"/lots/{lot}/gradings/{slip['id']}/void", {"reason": "another lot's tray"})

    assert (voided["id"], voided["lot"], voided["given_back_kg"]) == (slip["id"], "GL-1", {})
    assert api.get(f"/lots/{lot}/grade")["grading"]["id"] == kept["id"]
    assert [each["voided"] for each in api.get(f"/lots/{lot}/gradings")["items"]] == [False, True]
    again = f"/lots/{lot}/gradings/{slip['id']}/void"
    api.refuse(again, {"reason": "again"}, 409, "already-done")
    api.refuse(f"/lots/GL-2/gradings/{kept['id']}/void", {"reason": "slip"}, 404, "not-found")
    api.refuse(f"/lots/{lot}/gradings/99/void", {"reason": "slip"}, 404, "not-found")
    book_is_sound()


def test_only_lots_are_graded(api: Api, lot: str) -> None:
    sack = sack_codes(receive(api, 60))[0]
    assert lot

    body = {"sample_g": 350, "defects": {}}
    api.refuse(f"/lots/{sack}/gradings", body, 409, "wrong-kind")
    api.refuse("/lots/NOWHERE-1/gradings", body, 404, "unknown-code")
    problem(api.send("GET", f"/lots/{sack}/grade"), 409, "wrong-kind")
    problem(api.send("GET", f"/lots/{sack}/sample-plan"), 409, "wrong-kind")
    problem(api.send("GET", "/lots/NOWHERE-1/gradings"), 404, "unknown-code")


@pytest.mark.parametrize("role", ["warehouse", "roaster", "buyer"])
def test_grading_is_quality_s(api_as: Callable[..., Api], lot: str, role: str) -> None:
    body = {"sample_g": 350, "defects": {}}

    answer = api_as(role).send("POST", f"/lots/{lot}/gradings", body)

    assert problem(answer, 403, "forbidden")["permission"] == "lots:grade"
    assert api_as("quality").post(f"/lots/{lot}/gradings", body)["grader"] == "quality"


class TestOtherSettings:
    """A roastery that counts leftovers and draws its own bands."""

    @pytest.fixture
    def settings(self, database_url: str) -> Settings:
        return Settings(
            database_url=database_url, hold_on_arrival=False, defect_rounding="exact",
            older_class_limits=(5, 6, 23, 86), screen_tolerance_pct=0, sample_share_pct=50,
            sample_fewest_sacks=1, _env_file=None,
        )  # fmt: skip

    def test_leftovers_count_where_the_roastery_says_so(self, api: Api, lot: str) -> None:
        graded = grade(api, lot, defects=LEFTOVERS, standard="sca_washed_arabica")

        assert verdicts(graded) == {"sca_washed_arabica": "misses"}
        assert graded["verdicts"][0]["by_rounding"]["floor"] == "unknown"
        in_300_g = grade(api, lot, 300, defects=LEFTOVERS, standard="older_classes_300g")
        assert in_300_g["verdicts"][0]["grade"] == "exchange"
        assert in_300_g["verdicts"][0]["by_rounding"]["floor"] == "specialty"

    def test_screens_without_a_tolerance_add_up_to_a_hundred(self, api: Api, lot: str) -> None:
        body = {"sample_g": 350, "screens": {"18": kg("99.999")}}

        api.refuse(f"/lots/{lot}/gradings", body, 422, "invalid")

        assert grade(api, lot, screens={"18": 100})["screens"]

    def test_the_share_of_sacks_is_the_roastery_s(self, api: Api, lot: str) -> None:
        assert lot
        receive(api, *[60] * 11, lot="GL-3")

        assert api.get("/lots/GL-3/sample-plan")["sacks_to_sample"] == 6


def test_limits_of_classes_run_upward() -> None:
    with pytest.raises(ValueError, match="run upward"):
        Settings(older_class_limits=(5, 5, 23, 86), _env_file=None)

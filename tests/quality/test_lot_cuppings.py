"""Cuppings of green lots: a score belongs to a form with its name and version."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from app.settings import Settings
from tests.api import Api, kg, problem
from tests.makers import furnish, receive, sack_codes

SECTIONS = (
    "fragrance_aroma", "flavour", "aftertaste", "acidity", "body", "balance", "overall",
)  # fmt: skip
SOUND = {"uniformity": True, "clean_cup": True, "sweetness": True}
FORM = {"form": "sca-arabica", "form_version": "classic"}


@pytest.fixture
def lot(api: Api) -> str:
    furnish(api)
    receive(api, 60, lot="GL-2")
    receive(api, 60, lot="GL-1")
    return "GL-1"


def filled_in(points: Decimal | int = Decimal("7.50"), **more: Any) -> dict[str, Any]:
    return FORM | {"sections": dict.fromkeys(SECTIONS, points), "cups": [SOUND] * 5} | more


def typed(score: Any, form: str = "house", version: str = "1", **more: Any) -> dict[str, Any]:
    return {"form": form, "form_version": version, "score": score} | more


def test_the_score_is_added_up_from_the_form(api: Api, lot: str) -> None:
    # Form: lesson on the arabica cupping form, baristahustle.com.
    cupped = api.post(
        f"/lots/{lot}/cuppings",
        filled_in(taster="Ilse", notes="red plum", cupped_at="2026-03-03T10:00:00Z"),
    )

    assert cupped["score"] == kg("82.5")
    assert cupped["on_form"]["points"] == {"sections": kg("52.5"), "cups": 30, "deduction": 0}
    assert cupped["on_form"]["sections"]["body"] == kg("7.5")
    assert cupped["specialty"] is True
    assert (cupped["form"], cupped["form_version"]) == ("sca-arabica", "classic")
    assert (cupped["taster"], cupped["entered_by"]) == ("Ilse", "admin")
    assert api.get(f"/lots/{lot}/cuppings")["items"] == [cupped]


def test_two_tainted_cups_take_the_lot_below_the_specialty_line(api: Api, lot: str) -> None:
    # Deduction: from memory.
    tainted = SOUND | {"off_taste": "taint"}

    cupped = api.post(
        f"/lots/{lot}/cuppings", filled_in(cups=[tainted, tainted, SOUND, SOUND, SOUND])
    )

    assert (cupped["score"], cupped["specialty"]) == (kg("78.5"), False)
    assert cupped["on_form"]["points"]["deduction"] == 4
    assert cupped["on_form"]["cups"][1] == tainted


def test_a_score_without_sections_is_taken_with_its_form(api: Api, lot: str) -> None:
    cupped = api.post(f"/lots/{lot}/cuppings", typed(kg("86.25"), "CVA affective", "2023"))

    assert (cupped["score"], cupped["on_form"]) == (kg("86.25"), None)
    assert cupped["specialty"] is None
    given = api.post(f"/lots/{lot}/cuppings", typed(80, "SCA-Arabica", "Classic"))
    assert (given["form"], given["form_version"]) == ("sca-arabica", "classic")
    assert given["specialty"] is True
    assert given["taster"] == "admin"


def test_the_mean_of_several_tasters_may_fall_between_the_steps(api: Api, lot: str) -> None:
    refusal = api.refuse(f"/lots/{lot}/cuppings", typed(kg("84.58")), 422, "invalid")
    assert refusal["errors"][0]["pointer"] == "#/score"

    cupped = api.post(f"/lots/{lot}/cuppings", typed(kg("84.58"), tasters=3))

    assert (cupped["score"], cupped["tasters"]) == (kg("84.58"), 3)


MISFITS: list[tuple[dict[str, Any], str]] = [
    (filled_in(score=kg("82.5")), "#/score"),
    (FORM, "#/score"),
    (FORM | {"cups": [SOUND] * 5}, "#/sections"),
    (FORM | {"cups": [SOUND] * 5, "score": 82}, "#/sections"),
    (filled_in(form="house"), "#/form"),
    (filled_in(form_version="2023"), "#/form"),
    (filled_in(tasters=2), "#/tasters"),
    (filled_in(cups=[SOUND] * 4), "#/cups"),
    (filled_in(cups=None), "#/cups"),
    (filled_in(cups=[SOUND | {"off_taste": "mould"}] * 5), "#/cups/0/off_taste"),
    (filled_in(sections={"body": 7}), "#/sections"),
    (filled_in(sections=dict.fromkeys([*SECTIONS, "crema"], 7)), "#/sections/crema"),
    (filled_in(kg("5.75")), "#/sections/fragrance_aroma"),
    (filled_in(kg("10.25")), "#/sections/fragrance_aroma"),
    (filled_in(kg("7.1")), "#/sections/fragrance_aroma"),
    (filled_in(kg("7.125")), "#/sections/fragrance_aroma"),
    (typed(kg("100.25")), "#/score"),
    (typed(kg("-0.25")), "#/score"),
    (typed("84"), "#/score"),
    (typed(84, tasters=0), "#/tasters"),
    (typed(84, sample=7), "#/sample"),
    (typed(84, form=" "), "#/form"),
    (typed(84, cupped_at="2999-01-01T00:00:00Z"), "#/cupped_at"),
    ({"score": 84, "form": "house"}, "#/form_version"),
]
"""Forms that cannot be, and the field that is at fault."""


def test_a_form_that_cannot_be_is_refused_by_its_field(api: Api, lot: str) -> None:
    for body, pointer in MISFITS:
        refusal = api.refuse(f"/lots/{lot}/cuppings", body, 422, "invalid")
        assert refusal["errors"][0]["pointer"] == pointer, body
    assert api.get(f"/lots/{lot}/cuppings")["items"] == []


def test_a_score_runs_from_0_to_100_in_quarters(api: Api, lot: str) -> None:
    for score in (0, kg("0.25"), kg("99.75"), 100):
        assert api.post(f"/lots/{lot}/cuppings", typed(score))["score"] == score


def test_scores_of_different_forms_are_never_put_together(api: Api, lot: str) -> None:
    for day, body in enumerate(
        [typed(80), typed(84, "HOUSE"), typed(90, version="2"), filled_in(8), typed(82)], 1
    ):
        api.post(f"/lots/{lot}/cuppings", body | {"cupped_at": f"2026-03-0{day}T10:00:00Z"})
    api.post("/lots/GL-2/cuppings", typed(70))

    stands = api.get(f"/lots/{lot}/grade")

    assert stands["cupping"]["score"] == 82
    assert [
        (each["form"], each["form_version"], each["cuppings"], each["latest"], each["lowest"],
         each["highest"])
        for each in stands["scores"]
    ] == [
        ("house", "1", 3, 82, 80, 84),
        ("sca-arabica", "classic", 1, 86, 86, 86),
        ("house", "2", 1, 90, 90, 90),
    ]  # fmt: skip
    assert stands["scores"][0]["latest_at"] == "2026-03-05T10:00:00Z"


def test_a_voided_cupping_does_not_count_and_stays_in_the_list(
    api: Api, lot: str, book_is_sound: Callable[[], None]
) -> None:
    api.post(f"/lots/{lot}/cuppings", typed(80))
    slip = api.post(f"/lots/{lot}/cuppings", typed(48))

    voided = api.post(f"/lots/{lot}/cuppings/{slip['id']}/void", {"reason": "84, not 48"})

    assert (voided["lot"], voided["reason"]) == ("GL-1", "84, not 48")
    assert api.get(f"/lots/{lot}/grade")["cupping"]["score"] == 80
    assert [each["voided"] for each in api.get(f"/lots/{lot}/cuppings")["items"]] == [False, True]
    void = f"/lots/{lot}/cuppings/{slip['id']}/void"
    api.refuse(void, {"reason": "again"}, 409, "already-done")
    api.refuse(f"/lots/GL-2/cuppings/{slip['id']}/void", {"reason": "slip"}, 404, "not-found")
    book_is_sound()


def test_a_cupping_of_a_lot_leaves_roasts_alone(api: Api, lot: str) -> None:
    sack = sack_codes(receive(api, 60))[0]
    api.post(f"/lots/{lot}/cuppings", typed(80))

    api.refuse(f"/roasts/{lot}/cuppings", {"verdict": "release"}, 409, "wrong-kind")
    api.refuse(f"/lots/{sack}/cuppings", typed(80), 409, "wrong-kind")


@pytest.mark.parametrize("role", ["warehouse", "roaster", "buyer"])
def test_cupping_a_lot_is_quality_s(api_as: Callable[..., Api], lot: str, role: str) -> None:
    answer = api_as(role).send("POST", f"/lots/{lot}/cuppings", typed(80))

    assert problem(answer, 403, "forbidden")["permission"] == "lots:grade"
    assert api_as("quality").post(f"/lots/{lot}/cuppings", typed(80))["entered_by"] == "quality"


class TestOtherDeductions:
    """A roastery whose off-tastes cost more."""

    @pytest.fixture
    def settings(self, database_url: str) -> Settings:
        return Settings(
            database_url=database_url, cup_taint_points=3, cup_fault_points=6, _env_file=None
        )

    def test_an_off_taste_costs_what_the_roastery_set(self, api: Api, lot: str) -> None:
        off = [SOUND | {"off_taste": "taint"}, SOUND | {"off_taste": "fault"}]

        cupped = api.post(f"/lots/{lot}/cuppings", filled_in(cups=off + [SOUND] * 3))

        assert cupped["on_form"]["points"]["deduction"] == 9

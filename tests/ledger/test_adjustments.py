"""Adjustments that make a unit heavier: booked as they are said, and pointed out."""

from tests.api import Api, kg
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes


def test_a_unit_that_comes_to_more_than_it_was_made_of_is_pointed_out(api: Api) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60))
    roast(api, {sack: 30}, 25, code="R-1")
    pack(api, {"R-1": kg("10.1")}, 40, code="P-1")
    dispatch(api, {"P-1": 12}, code="D-1")
    api.post("/returns", {
        "dispatch": "D-1", "lines": [{"pack": "P-1", "bags": 2}], "reason": "torn",
    })  # fmt: skip

    def warned(unit: str, mass: str) -> list[str]:
        body = {"unit": unit, "kg": kg(mass), "reason": "count"}
        said: list[str] = api.post("/adjustments", body)["warnings"]
        return said

    # Nothing weighs more than went into it: conservation of mass.
    assert warned("R-1", "5") == []
    [said] = warned("R-1", "0.001")
    assert said == (
        "roast R-1 comes to 30.001 kg in all by this, more than the 30.0 kg it was made of: "
        "weigh again."
    )
    assert warned(sack, "-0.3") == []
    assert warned(sack, "0.3") == []
    assert len(warned(sack, "0.001")) == 1
    assert warned("P-1", "0.1") == []
    assert len(warned("P-1", "0.001")) == 1
    assert api.get("/units/R-1")["left_kg"] == kg("19.901")

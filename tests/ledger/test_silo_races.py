"""Two people at the last kilograms in a silo at the same moment."""

from collections import Counter
from functools import partial

from tests.api import Api, problem
from tests.makers import receive, roast, sack_codes
from tests.serving import Wire, at_once


def test_the_last_kilograms_in_a_silo_are_poured_once(api: Api, wire: Wire, sack: str) -> None:
    api.post("/locations", {"code": "SILO-1", "kind": "silo"})
    for drawn in (sack, *sack_codes(receive(api, 10))):
        roast(api, {drawn: 10}, 8, to="SILO-1")
    pour = {"parts": [{"place": "SILO-1", "kg": 10}]}

    answers = at_once([partial(wire.post, "/blends", pour)] * 4)

    assert Counter(answer.status_code for answer in answers) == {201: 1, 409: 3}
    for answer in answers:
        if answer.status_code == 409:
            assert problem(answer, 409, "insufficient-stock")["left_kg"] == 6
    assert [row["kg"] for row in wire.get("/locations/SILO-1/contents")["items"]] == [3, 3]

"""A first walk along the whole chain."""

from collections.abc import Callable

from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes


def test_coffee_goes_from_the_sack_to_the_customer(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, kg("60.2"), lot="GL-1"))

    batch = roast(api, {sacks[0]: 60}, end_kg=51)
    mixed = blend(api, {batch["code"]: 50})
    bags = pack(api, {mixed["code"]: 50}, bags=200)
    sent = dispatch(api, {bags["code"]: 12})

    forward = api.get(f"/trace/{sacks[0]}?direction=forward")
    assert [unit["code"] for unit in forward["units"]] == [
        sacks[0],
        batch["code"],
        mixed["code"],
        bags["code"],
        sent["code"],
    ]
    assert forward["customers"][0]["customer"] == "Café Nord"
    assert forward["customers"][0]["kg"] == 3
    book_is_sound()

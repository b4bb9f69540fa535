"""Cases, crates with bags and pallets at their pages: built up, added to, taken apart."""

from collections.abc import Callable

import pytest

from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, words


@pytest.fixture
def packs(api: Api) -> list[str]:
    """Two packs of 20 bags."""
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    return [pack(api, {made: 5}, 20)["code"] for _ in range(2)]


def test_cases_are_packed_set_onto_a_pallet_and_taken_apart(
    api: Api,
    packs: list[str],
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    pia = visitor_as("warehouse")
    assert f'href="/cases?contents.0.pack={packs[0]}"' in pia.get(f"/u/{packs[0]}").text
    opened = pia.get(f"/cases?contents.0.pack={packs[0]}")
    assert f'value="{packs[0]}"' in opened.text

    built = pia.fill("/cases", kind="case", contents__0__pack=packs[0], contents__0__bags="6")
    case = built.headers["location"].rpartition("/")[2]
    assert f"{case} holds 6 bags." in words(pia.get(built.headers["location"]))
    assert pia.get(f"/find?text={case}").headers["location"] == f"/cases/{case}"
    too_many = pia.fill("/cases", kind="case", contents__0__pack=packs[0], contents__0__bags="15")
    assert too_many.status_code == 409
    assert "20 bags left, 6 of them in cases" in words(too_many)
    assert 'value="15"' in too_many.text
    more = pia.fill(f"/cases/{case}/contents", contents__0__pack=packs[1], contents__0__bags="2")
    assert more.status_code == 303
    pallet = pia.fill(
        "/cases", kind="pallet", contents__0__pack=case, contents__0__bags="",
        contents__1__pack=packs[1], contents__1__bags="10",
    ).headers["location"].rpartition("/")[2]  # fmt: skip
    statements()
    listed = words(pia.get("/cases"))
    assert statements() <= 12
    assert f"{pallet} pallet" in listed
    assert f"{case} case" not in listed
    shown = words(pia.get(f"/cases/{pallet}")).replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert "Bags 18 Coffee in it 4.5 kg" in shown
    assert pia.get(f"/case/{case}/label.pdf").content.startswith(b"%PDF")
    assert f'href="/cases/{pallet}"' in pia.get(f"/cases/{case}").text

    out = f"/cases/{pallet}/take-apart"
    filled = {"contents.0.pack": packs[1], "contents.0.bags": ""}
    nothing = pia.fill(out, **filled)
    some = pia.fill(out, **filled | {
        "contents.0.bags": "4", "contents.1.case": case, "reason": "order was changed",
    })  # fmt: skip
    rest = pia.fill(out, **filled, _all="yes")
    assert nothing.status_code == 422
    assert "Say what was taken out, or take all of it apart." in words(nothing)
    assert (some.status_code, rest.status_code) == (303, 303)
    assert f"{pallet} is apart." in words(pia.get(rest.headers["location"]))
    assert api.get(f"/cases/{case}")["state"] == "here"
    assert (api.get(f"/cases/{case}")["pallet"], api.get(f"/cases/{pallet}")["bags"]) == (None, 0)
    buyer = visitor_as("buyer")
    assert buyer.get("/cases").status_code == 403
    assert "Put more in" not in words(buyer.get(f"/cases/{case}"))
    book_is_sound()

"""Weights that are not what the book has, at their page: of a unit, and of what has mixed."""

from collections.abc import Callable

from tests.api import Api
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.conftest import Visitor, words


def test_a_unit_or_all_that_mixed_in_a_place_becomes_lighter_or_heavier(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    api.post("/locations", {"code": "SILO-1", "kind": "silo"})
    for _ in range(2):
        made = roast(api, {sacks[0]: 12}, 10)["code"]
        api.post("/moves", {"sacks": [made], "to": "SILO-1"})
    sam = visitor_as("warehouse")

    assert f'href="/adjust?what={sacks[1]}"' in sam.get(f"/u/{sacks[1]}").text
    assert 'href="/adjust?what=SILO-1"' in sam.get("/places/SILO-1").text
    statements()
    asked = words(sam.get(f"/adjust?what={sacks[1]}"))
    assert statements() <= 4
    page = f"/adjust?what={sacks[1]}"
    nameless = sam.fill(page, what=sacks[1], kg="0,35", reason="spill")
    spilled = sam.fill(page, what=sacks[1].lower(), _way="less", kg="0,35", reason="spill")
    found = sam.fill("/adjust", what=sacks[1], _way="more", kg="0,1", reason="count", note="again")
    much = sam.fill("/adjust", what=sacks[1], _way="less", kg="600", reason="spill")
    apart = sam.fill("/adjust", what=made, _way="less", kg="1", reason="spill")
    silo = sam.fill("/adjust", what="silo-1", _way="less", kg="1", reason="spill")

    assert "The book has 60 kg." in asked.replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert nameless.status_code == 422
    assert 'value="0,35"' in nameless.text
    assert spilled.headers["location"] == "/adjust"
    assert found.status_code == 303
    assert str(api.get(f"/sacks/{sacks[1]}")["on_hand_kg"]) == "59.75"
    assert [str(each["kg"]) for each in api.get(f"/adjustments?unit={sacks[1]}")["items"]] == [
        "-0.35",
        "0.1",
    ]
    assert much.status_code == 409
    assert 'value="600"' in much.text
    assert apart.status_code == 409
    assert "adjust what is in the place" in words(apart)
    assert silo.status_code == 303
    assert "SILO-1: -1 kg, to each by its part." in words(sam.get("/adjust")).replace(
        "\N{NARROW NO-BREAK SPACE}", " "
    )
    assert str(api.get(f"/roasts/{made}")["left_kg"]) == "9.5"
    assert sam.get("/adjust?what=A-01").status_code == 422
    assert visitor_as("buyer").get("/adjust").status_code == 403
    book_is_sound()


def test_a_sign_beside_less_or_more_is_refused_and_what_the_book_has_stays_on_the_page(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-7"))
    sam = visitor_as("warehouse")

    for way in ("less", "more"):
        for typed in ("-0,35", "+0,35", "\N{MINUS SIGN}0,35"):
            signed = sam.fill("/adjust", what=sack.lower(), _way=way, kg=typed, reason="count")
            assert signed.status_code == 422
            assert "Write it without a sign: less or more is said above it." in words(signed)
            assert "The book has 60" in words(signed)
            assert f'value="{typed}"' in signed.text
    much = sam.fill("/adjust", what=sack, _way="less", kg="600", reason="spill")
    nothing = sam.fill("/adjust", what="S-404", _way="less", kg="1", reason="spill")

    assert api.get("/adjustments")["items"] == []
    assert (much.status_code, "The book has 60" in words(much)) == (409, True)
    assert (nothing.status_code, "The book has" in words(nothing)) == (404, False)

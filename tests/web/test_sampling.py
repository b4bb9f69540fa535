"""Samples at their page, and what was put on record by mistake and is taken back."""

from collections.abc import Callable

from tests.api import Api, kg
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.conftest import Visitor, words


def test_a_sample_is_drawn_by_its_plan_and_taken_back(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, *[60] * 12, lot="GL-7"))
    noor = visitor_as("warehouse")
    assert 'href="/samples?of=GL-7"' in noor.get("/arrivals/GL-7").text
    assert "Of which lot or sack" in words(noor.get("/samples"))
    statements()
    page = noor.get("/samples?of=gl-7")
    assert statements() <= 9
    # ISO 4072 as the trade remembers it: 10 % of the sacks and never fewer than 10.
    assert "Sacks to sample 10 / 12 Out of each 150 g" in words(page)

    few = noor.fill("/samples?of=GL-7", _sacks="\n".join(sacks[:2]), _each="0,15", kind="arrival")
    strange = noor.fill("/samples?of=GL-7", _sacks="S-404", _each="150", kind="arrival")
    unread = noor.fill("/samples?of=GL-7", _sacks=sacks[0], _each="much", kind="arrival")
    drawn = noor.fill(
        "/samples?of=GL-7", _sacks="\n".join([*sacks[:9], sacks[0]]), _each="150", kind="arrival"
    )
    told = words(noor.get(drawn.headers["location"])).replace("\N{NARROW NO-BREAK SPACE}", " ")

    assert (few.status_code, strange.status_code, unread.status_code) == (422, 404, 422)
    assert f">{sacks[0]}\n{sacks[1]}</textarea>" in few.text
    assert "A number is wanted here" in words(unread)
    assert "Sample 1: 1.35 kg out of 9 sacks. The plan wants 10 sacks." in told
    assert str(api.get("/lots/GL-7")["on_hand_kg"]) == "718.65"
    own = noor.fill(f"/samples?of={sacks[11]}", _sacks=sacks[11], _each="300", kind="retained")
    assert own.headers["location"] == f"/samples?of={sacks[11]}"
    back = noor.fill("/void/sample/1?of=GL-7", reason="the wrong lot")
    assert back.headers["location"] == "/samples?of=GL-7"
    assert "Voided." in words(noor.get(back.headers["location"]))
    assert str(api.get("/lots/GL-7")["on_hand_kg"]) == "719.7"
    assert visitor_as("buyer").get("/samples").status_code == 403
    book_is_sound()


def test_what_was_put_on_record_by_mistake_is_taken_back_where_it_is_listed(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, lot="GL-7"))
    code = roast(api, {sacks[0]: 30}, 25, profile_hit=False)["code"]
    api.post("/readings", {"subject": "GL-7", "kind": "moisture", "value": kg("13.4")})
    api.post(f"/roasts/{code}/colours", {"values": [61]})
    api.post(f"/roasts/{code}/cuppings", {"verdict": "release"})
    api.post("/instruments", {"code": "METER-1", "name": "Meter", "kinds": ["moisture"]})
    api.post("/instruments/METER-1/calibrations",
             {"calibrated_on": "2026-03-01", "against": "oven", "result": "passed"})  # fmt: skip
    noor, quill = visitor_as("warehouse"), visitor_as("quality")

    told = ""
    for somebody, listed, act in (
        (noor, "/readings/GL-7", "/void/reading/1?of=GL-7"),
        (noor, f"/roasted/{code}", f"/void/colour/2?of={code}"),
        (quill, f"/cup/{code}", f"/void/tasting/1?of={code}"),
        (quill, "/instruments/METER-1", "/void/calibration/1?of=METER-1"),
    ):
        assert f'href="{act}"' in somebody.get(listed).text
        assert somebody.fill(act).status_code == 422
        done = somebody.fill(act, reason="typed in twice")
        assert done.status_code == 303, act
        told += words(somebody.get(done.headers["location"]))
        assert f'href="{act}"' not in somebody.get(listed).text
        assert somebody.fill(act, reason="again").status_code == 409
    assert told.count("It stays to be read, and counts for nothing.") == 4
    assert told.count("The hold it placed stays until quality releases it.") == 1
    assert api.get(f"/roasts/{code}")["disposition"] == "set_aside"
    assert noor.get(f"/void/tasting/1?of={code}").status_code == 403
    assert noor.get("/void/roast/1").status_code == 404
    kept = noor.fill(f"/void/colour/1?of={code}", reason="typed in twice")
    assert kept.status_code == 409
    assert "its gate went by it" in words(kept)

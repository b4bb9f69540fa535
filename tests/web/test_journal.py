"""The journal, mass balances and corrections of adjustments at the pages."""

import ast
import re
from collections.abc import Callable
from decimal import Decimal

from sqlalchemy import Engine, text

from app.shared.times import now
from app.web.acts import ACTS
from tests.api import Api
from tests.house.source import called, modules
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, words


def test_the_journal_is_read_by_person_code_action_and_day_with_its_proof(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    made = roast(api, {sacks[0]: 30}, 25)["code"]
    noor, buyer = visitor_as("warehouse"), visitor_as("buyer")
    noor.fill("/move", to="B-02", sacks=sacks[1])

    whole = words(noor.get("/journal"))
    hers = words(noor.get("/journal?who=warehouse"))
    roasts = words(noor.get("/journal?kind=roast"))
    of_sack = words(noor.get(f"/journal?code={sacks[0].lower()}"))
    today = words(noor.get(f"/journal?on={now().date()}"))
    long_ago = words(noor.get("/journal?on=2020-01-01"))
    earlier = words(noor.get("/journal?before=3"))
    unknown = noor.get("/journal?code=S-404")
    wrong = noor.get("/journal?on=yesterday")
    number = next(e["id"] for e in api.get("/entries")["items"] if e["kind"] == "roast")
    entry = words(noor.get(f"/journal/{number}"))
    said = words(buyer.get(f"/journal/{number}"))
    check = words(noor.get("/journal/check"))
    export = buyer.get("/journal/export")

    assert "move warehouse" in whole
    assert "move warehouse" in hers
    assert "roast" not in hers.partition("Entries")[2].partition("Show them")[2]
    assert "roast admin" in roasts
    assert "delivery admin" in of_sack
    assert "roast admin" in of_sack
    assert "move warehouse" not in of_sack
    assert "roast admin" in today
    assert "No entry is like that." in long_ago
    assert "roast admin" not in earlier
    assert (unknown.status_code, wrong.status_code) == (404, 422)
    assert made in entry
    assert "Its hash fits, and it carries the hash of the entry before it." in entry
    assert "What was said" not in entry
    assert "DRUM-75" in said
    assert 'role="status"' not in buyer.get(f"/journal/{number}").text
    assert "Sound: the chain" in check
    assert export.headers["content-type"] == "application/x-ndjson"
    assert noor.get("/journal/export").status_code == 403
    assert noor.get("/journal/9999").status_code == 404


def test_an_entry_that_somebody_changed_by_hand_does_not_prove(
    api: Api, engine: Engine, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    noor = visitor_as("warehouse")
    with engine.begin() as connection:
        if engine.dialect.name == "sqlite":
            for name in connection.scalars(text(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'entry'"
            )).all():  # fmt: skip
                connection.execute(text(f"DROP TRIGGER {name}"))
        else:
            connection.execute(text("ALTER TABLE entry DISABLE TRIGGER USER"))
        connection.execute(text("UPDATE entry SET who = 'nobody' WHERE id = 2"))

    entry, check = words(noor.get("/journal/2")), words(noor.get("/journal/check"))
    with engine.begin() as connection:  # the database is used by other tests after this one
        if engine.dialect.name == "postgresql":
            connection.execute(text("ALTER TABLE entry ENABLE TRIGGER USER"))

    assert "entry 2 was changed: its hash does not fit" in entry
    assert "Not sound: 1 differences." in check


def test_a_mass_balance_names_each_figure_and_closes(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    roast(api, {sacks[0]: 30}, 25)
    api.post("/adjustments", {"unit": sacks[1], "kg": -2, "reason": "spill"})
    noor = visitor_as("warehouse")

    page = noor.get("/mass-balance?code=GL-7")
    told, house = words(page), words(noor.get("/mass-balance"))
    unknown = noor.get("/mass-balance?code=NO-SUCH")

    # 120 kg came; 30 kg were roasted, 2 kg spilled, 88 kg are left.
    assert "Mass balance of GL-7" in told
    assert "spilled 2 kg" in told
    assert "Left 88 kg" in told
    assert "It closes to the gram: no break." in told
    assert "/journal/" in page.text
    assert "<svg" in page.text
    assert "lost in roasting 5 kg" in house
    assert unknown.status_code == 404


def test_an_entry_of_a_recall_or_a_drill_leads_to_its_case(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, lot="GL-7"))
    packed = pack(api, {roast(api, {sacks[0]: 60}, 50)["code"]: 40}, 160)["code"]
    dispatch(api, {packed: 100})
    quill, buyer = visitor_as("quality"), visitor_as("buyer")
    opened = quill.fill(
        "/recalls/new", kind="withdrawal", start__units=packed, trigger__kind="complaint",
        trigger__text="a customer found a stone", hazard="stones",
    )  # fmt: skip
    case = opened.headers["location"]
    quill.fill(f"{case}/do/stop", reason="stones")
    quill.fill(f"{case}/do/notice?customer=Café Nord", customer="Café Nord", how="phone")
    quill.fill(f"{case}/do/acknowledge", customer="Café Nord")
    quill.fill(f"{case}/do/report", customer="Café Nord", held_bags="60", destroyed_bags="30")
    quill.fill(f"{case}/do/close", reason="over")
    drawn = quill.fill("/drills/draw", seed="7").headers["location"]
    drill = quill.fill(drawn, scenario="a supplier rings").headers["location"]
    quill.fill(f"{drill}/complete")
    buyer.fill(f"{drill}/sign-off", note="seen")

    statements()
    page, counted = quill.get("/journal").text, statements()
    rows = re.findall(r'<tr><td><a class="code" href="/journal/(\d+)">.*?</tr>', page, re.DOTALL)
    kinds = {str(each["id"]): each["kind"] for each in api.get("/entries?limit=500")["items"]}
    led = {
        number: re.findall(
            r'href="(/(?:recalls|drills)/[^"]+)"', quill.get(f"/journal/{number}").text
        )
        for number in rows
    }

    assert {kinds[number] for number, found in led.items() if found == [case]} == {
        "recall opened", "recall stopped", "recall notice", "recall acknowledged",
        "recall report", "recall closed",
    }  # fmt: skip
    assert {kinds[number] for number, found in led.items() if found == [drill]} == {
        "drill picked", "recall opened", "drill completed", "drill signed off",
    }  # fmt: skip
    assert page.count(f'href="{case}"') == 6
    assert page.count(f'href="{drill}"') == 4
    assert quill.get(drill).status_code == 200
    assert counted <= 5


def test_an_adjustment_is_taken_back_after_a_look_at_it(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-7"))
    api.post("/adjustments", {"unit": sack, "kg": -2, "reason": "spill", "note": "torn"})
    for _each in range(50):
        api.post("/adjustments", {"unit": sack, "kg": Decimal("-0.01"), "reason": "sample"})
    noor = visitor_as("warehouse")

    latest = noor.get(f"/adjustments?unit={sack}")
    listed = words(noor.get(f"/adjustments?before=2&unit={sack}"))
    page = words(noor.get("/adjustments/1/void"))
    done = noor.fill("/adjustments/1/void", reason="was another sack")
    after = words(noor.get(done.headers["location"]))

    assert 'href="/adjustments/51/void"' in latest.text
    assert 'href="/adjustments/1/void"' not in latest.text
    assert f"/adjustments?unit={sack}&amp;before=2" in latest.text
    assert "spill" in listed
    assert "It booked -2 kg: spilled." in page.replace("\N{MINUS SIGN}", "-")
    assert f"{sack} now holds 59.5 kg." in after
    assert "voids 1" in after
    assert noor.get("/adjustments/99/void").status_code == 404
    assert visitor_as("buyer").get("/adjustments/1/void").status_code == 403
    book_is_sound()


def test_every_action_of_the_journal_has_a_name_in_the_language_of_the_page(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    booked = {
        str(call.args[0].value)
        for module in modules("app")
        for call in module.calls()
        if called(call) in {"Posting", "note"} and call.args
        if isinstance(call.args[0], ast.Constant)
    }
    cards = {
        str(call.args[0].value)
        for module in modules("app")
        for call in module.calls()
        if called(call) == "Shelf" and isinstance(call.args[0], ast.Constant)
    }
    by_name = {"opening stock", "delivery", "adjustment", "blend", "pack"}
    furnish(api)
    receive(api, 60, lot="GL-7")
    ada = visitor_as("admin")

    assert len(booked) > 50
    assert len(cards) > 10
    kinds = (
        booked | by_name | {f"{card} {done}" for card in cards for done in ("entered", "changed")}
    )
    assert set(ACTS) - kinds == {"packing material counted", "packing material written off"}
    assert kinds - set(ACTS) == set()
    page = words(ada.get("/journal", Accept_Language="de"))
    assert "Lieferung" in page
    assert "Maschine angelegt" in page

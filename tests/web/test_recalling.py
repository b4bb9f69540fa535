"""The recall desk without a browser: from what is suspected to the closing of the case."""

from collections.abc import Callable
from io import BytesIO
from zipfile import ZipFile

from tests.api import Api
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, words


def test_a_case_is_opened_stopped_told_reported_and_closed_at_the_pages(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    made = roast(api, {sacks[0]: 60}, 50)["code"]
    packed = pack(api, {made: 40}, 160)["code"]
    sent = dispatch(api, {packed: 100})["code"]
    quill, buyer = visitor_as("quality"), visitor_as("buyer")

    told_nothing = quill.fill(
        "/recalls/new", kind="inquiry", start__units=packed, trigger__kind="other"
    )
    opened = quill.fill(
        "/recalls/new", kind="withdrawal", start__units=packed, start__behind="roast",
        trigger__kind="complaint", trigger__text="a customer found a stone", hazard="stones",
    )  # fmt: skip
    case = opened.headers["location"]
    statements()
    page = words(quill.get(case))
    counted = statements()
    early = quill.fill(f"{case}/do/notice", customer="Café Nord", how="phone")
    stopped = quill.fill(f"{case}/do/stop", reason="stones")
    after = words(quill.get(stopped.headers["location"]))
    asked = words(quill.get(f"{case}/do/notice?customer=Café Nord"))
    told = quill.fill(f"{case}/do/notice?customer=Café Nord", customer="Café Nord", how="phone")
    says = words(quill.get(told.headers["location"]))
    quill.fill(f"{case}/do/acknowledge", customer="Café Nord")
    quill.fill(f"{case}/do/report", customer="Café Nord", held_bags="60", destroyed_bags="30")
    reported = words(quill.get(case))
    before_closing = words(quill.get(f"{case}/do/close"))
    in_german = words(quill.get(case, accept_language="de"))
    closed = words(quill.get(quill.fill(f"{case}/do/close", reason="over").headers["location"]))

    assert told_nothing.status_code == 422
    assert 'aria-invalid="true"' in told_nothing.text
    assert "Recall case: scoped" in page
    assert "nothing was stopped" in page
    assert "competent authority" in page
    assert counted <= 40
    assert early.status_code == 409
    assert "has not been stopped" in words(early)
    assert "units are on hold: 25 kg and 60 bags in the house." in after
    assert "Ida, +49 000 1234. Bags sent there: 100; back: 0." in asked
    assert "Tell them" in after
    assert "The notice has to say" in says
    assert "They acknowledged" in says
    assert "Café Nord Ida, +49 000 1234" in reported
    assert "The account closes to the bag." in reported
    assert "10 bags are unaccounted for" in before_closing
    assert "Beutel ohne Verbleib: 10" in in_german
    assert "unaccounted" not in in_german
    assert "closed" in closed
    assert api.get(f"/packs/{packed}")["held"]
    assert sent in words(quill.get(f"/u/{packed}"))
    assert buyer.get(case).status_code == 200
    assert buyer.get(f"{case}/do/reopen").status_code == 403
    assert case.rpartition("/")[2] in words(buyer.get("/recalls"))
    _files_can_be_fetched(quill, case)
    book_is_sound()


def _files_can_be_fetched(quill: Visitor, case: str) -> None:
    pdf, sheet = quill.get(f"{case}/case.pdf"), quill.get(f"{case}/case.xlsx")
    tables, events = quill.get(f"{case}/case.zip"), quill.get(f"{case}/scopes/1/events.jsonld")
    assert pdf.content.startswith(b"%PDF")
    assert sheet.content.startswith(b"PK")
    assert any(name.endswith(".csv") for name in ZipFile(BytesIO(tables.content)).namelist())
    assert events.json()["type"] == "EPCISDocument"
    assert "<svg" in quill.get(f"{case}/picture").text
    assert quill.get(f"{case}/picture.svg").content.startswith(b"<?xml")
    german = quill.get(f"{case}/picture.svg", accept_language="de").text
    assert 'xml:lang="de"' in german
    assert "wohin der Kaffee ging" in german
    assert quill.get(f"{case}/case.exe").status_code in {404, 422}


def test_a_case_begins_at_a_machine_or_a_place_and_is_widened(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    api.post("/moves", {"sacks": sacks, "to": "B-02"})
    roast(api, {sacks[0]: 60}, 50)
    quill = visitor_as("quality")

    asked = quill.get("/recalls/new?by=machine")
    opened = quill.fill(
        "/recalls/new?by=machine", kind="inquiry", start__machine="drum-75",
        trigger__kind="machine_and_time", trigger__text="a bearing broke",
    )  # fmt: skip
    case = opened.headers["location"]
    wider = quill.fill(f"{case}/do/scope?by=location", start__location="B-02")
    nothing = quill.fill(f"{case}/do/scope?by=location", start__location="A-01")
    page = words(quill.get(case))

    assert 'name="start.machine"' in asked.text
    assert opened.status_code == 303
    assert wider.status_code == 303
    assert nothing.status_code == 404
    assert 'name="start.location"' in nothing.text
    assert "Scope 2" in page
    assert "Nothing of it left the house." in page


def test_a_drill_is_drawn_timed_completed_and_signed_off_by_somebody_else(
    api: Api,
    visitor_as: Callable[..., Visitor],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, lot="GL-7"))
    packed = pack(api, {roast(api, {sacks[0]: 60}, 50)["code"]: 40}, 160)["code"]
    dispatch(api, {packed: 100})
    quill, buyer, noor = (visitor_as(role) for role in ("quality", "buyer", "warehouse"))

    due = words(quill.get("/drills"))
    drawn = quill.fill("/drills/draw", seed="7")
    new = words(quill.get(drawn.headers["location"]))
    begun = quill.fill(drawn.headers["location"], scenario="a supplier rings")
    drill = begun.headers["location"]
    running = words(quill.get(drill))
    stopped = quill.fill(f"{drill}/complete", gaps__0="nobody knew the number of the baker")
    after = words(quill.get(stopped.headers["location"]))
    own = quill.fill(f"{drill}/sign-off", note="fine")
    offered = [f"{drill}/sign-off" in each.get(page).text
               for each in (quill, buyer) for page in (drill, "/drills")]  # fmt: skip
    signed = words(buyer.get(buyer.fill(f"{drill}/sign-off", note="seen").headers["location"]))
    listed = words(buyer.get("/drills"))

    assert "A drill is due." in due
    assert "GL-7" in new
    assert packed in new
    assert "The clock runs." in running
    assert "Forward from GL-7" in running
    assert "The clock stopped after" in after
    assert "The goal was met." in after
    assert "nobody knew the number of the baker" in after
    assert own.status_code == 409
    assert offered == [False, False, True, True]
    assert "Somebody else signs it off" in after
    assert "Signed off by buyer" in signed
    assert "A drill is due." not in listed
    assert noor.get(f"{drill}/complete").status_code == 403
    assert noor.get(f"{drill}/sign-off").status_code == 403
    assert not api.get(f"/packs/{packed}")["held"]
    book_is_sound()

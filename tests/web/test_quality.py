"""The pages of quality without a browser: stopping, releasing, tasting, undoing, labels."""

import re
from collections.abc import Callable

from tests.api import Api
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, hidden_fields, words


def test_the_page_of_a_unit_says_what_is_known_and_offers_what_somebody_may_do(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    lot = receive(
        api, 60, 60, lot="GL-7", ico_mark="010/0123/0045", process="washed", crop_year="2025/26"
    )
    made = roast(api, {sack_codes(lot)[0]: 30}, 25, style="House", colour=70)
    api.post(f"/roasts/{made['code']}/cuppings", {"verdict": "release", "score": 84.5})
    packed = pack(api, {made["code"]: 20}, 80)
    sent = dispatch(api, {packed["code"]: 12})
    back = api.post("/returns", {
        "dispatch": sent["code"], "reason": "torn", "lines": [{"pack": packed["code"], "bags": 2}],
    })["lines"][0]["code"]  # fmt: skip
    ada, noor = visitor_as("admin"), visitor_as("buyer")

    counted, told = [], {}
    for code in ("GL-7", sack_codes(lot)[0], made["code"], packed["code"], sent["code"], back):
        statements()
        told[code] = words(ada.get(f"/u/{code}"))
        counted.append(statements())

    for code, said in (
        ("GL-7", "Finca El Roble"), ("GL-7", "010/0123/0045"), ("GL-7", "Ethiopia"),
        (sack_codes(lot)[0], "Came in sound"), (sack_codes(lot)[0], "number 1"),
        (made["code"], "released by tasting"), (made["code"], "missed:"),
        (made["code"], "Tasted: release, 84.5"),
        (packed["code"], "Bags sent Came back Dispatch Contact"),
        (packed["code"], f"12 2 {sent['code']} Ida, +49 000 1234"),
        (packed["code"], "68 of 80 left"), (sent["code"], "Café Nord"),
        (back, "Came back from Café Nord"), (back, "Release hold"),
    ):  # fmt: skip
        assert said in told[code], (code, said)
    assert max(counted) <= 7
    for deed in ("Stop it", "Taste it", "Void", "Print its label"):
        assert deed in told[made["code"]]
        assert deed not in words(noor.get(f"/u/{made['code']}"))
    assert "Taste it" not in told["GL-7"]


def test_each_kind_of_unit_leads_to_what_is_done_with_it_as_it_stands(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    api.post("/moves", {"sacks": [sacks[0]], "to": "A-01"})
    made = roast(api, {sacks[0]: 30}, 25, style="House")["code"]
    packed = pack(api, {made: 20}, 80)["code"]
    sent = dispatch(api, {packed: 12})["code"]
    ada, buyer = visitor_as("admin"), visitor_as("buyer")

    for code, leads, not_yet in (
        ("GL-7", "/readings/GL-7", "/move?"), ("GL-7", "/coffee?text=GL-7", "/put-away?"),
        (sacks[0], f"/move?sacks={sacks[0]}", "/put-away?"),
        (sacks[1], f"/put-away?sacks={sacks[1]}", "/move?"),
        (sacks[1], f"/moisture?subject={sacks[1]}", "/weigh/"),
        (made, f"/roasted/{made}", "/packed/"), (made, f"/roast?corrects={made}", "/weigh/"),
        (packed, f"/packed/{packed}", "/roasted/"), (packed, f"/weigh/{packed}", "/cup/"),
        (sent, f"/sent/{sent}", "/packed/"), (sent, f"/returns?dispatch={sent}", "/hold?"),
    ):  # fmt: skip
        page = ada.get(f"/u/{code}").text
        deeds = page.partition('class="deeds"')[2].partition('<ol class="life"')[0]
        assert f'href="{leads}"' in deeds, (code, leads)
        assert not_yet not in deeds, (code, not_yet)
        assert ada.get(leads).status_code == 200, leads
    usual, _details, others = page.partition("<details class=")
    usual = usual.partition('class="deeds"')[2]
    assert re.findall('href="([^"?]+)', usual) == [f"/sent/{sent}", "/returns"]
    assert re.findall('href="([^"?]+)', others.partition("</ul>")[0])[-1] == f"/void/{sent}"
    told = buyer.get(f"/u/{packed}").text
    assert f"/packed/{packed}" in told
    assert f"/weigh/{packed}" not in told


def test_coffee_is_stopped_by_scanning_and_let_go_with_a_reason_by_quality_alone(
    api: Api,
    visitor_as: Callable[..., Visitor],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60, lot="GL-7"))
    noor, quill = visitor_as("warehouse"), visitor_as("quality")

    no_reason = noor.fill("/hold", units=f"{sacks[0]}\n{sacks[1]}", reason="")
    stopped = noor.fill("/hold", units=f"{sacks[0]}\n{sacks[1]}", reason="smells of petrol")
    told = words(noor.get(stopped.headers["location"]))
    noor.fill("/hold", units="GL-7", reason="papers are missing")
    listed = words(quill.get("/holds"))
    opened = quill.get("/holds/1/release")
    forbidden = noor.get("/holds/1/release")
    released = quill.fill("/holds/1/release", reason="was the lorry")
    after = words(quill.get(released.headers["location"]))
    late = hidden_fields(opened.text) | {"reason": "once more"}
    again = quill.post("/holds/1/release", late)

    assert no_reason.status_code == 422
    assert "2 units are stopped: hold 1." in told
    assert "smells of petrol" in listed
    assert sacks[1] in listed
    assert "by warehouse" in listed
    assert "cannot say that it is fit to drink" in words(opened)
    assert forbidden.status_code == 403
    assert "Hold 1 is released." in after
    assert "smells of petrol" not in after.partition("released.")[2]
    assert "papers are missing" in after
    assert again.status_code == 409
    assert quill.get("/holds/99/release").status_code == 404
    assert [each["release_reason"] for each in api.get("/holds")["items"]] == [
        "was the lorry", None,
    ]  # fmt: skip
    book_is_sound()


def test_a_roast_that_was_set_aside_is_tasted_and_the_next_one_is_offered(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60))
    late, next_one = (
        roast(api, {sack: 30}, 25, style="House", profile_hit=False)["code"] for sack in sacks
    )
    quill, roaster = visitor_as("quality"), visitor_as("roaster")

    waiting = words(quill.get("/cup"))
    page = words(quill.get(f"/cup/{late}"))
    no_why = quill.fill(f"/cup/{late}", verdict="blend_in")
    tasted = quill.fill(
        f"/cup/{late}", verdict="blend_in", reason="flat", score="81,25", notes="flat, sweet",
        at_most_pct="10", cuppers__0="Ida Berg", cuppers__1="Noor",
    )  # fmt: skip
    after = words(quill.get(tasted.headers["location"]))

    assert late in waiting
    assert next_one in waiting
    assert "missed:" in page
    assert no_why.status_code == 422
    assert f"{late}: for blends, up to a share. At most 10 % of a blend." in after
    assert late not in after.partition("of a blend.")[2]
    assert next_one in after
    (cupping,) = api.get(f"/roasts/{late}/cuppings")["items"]
    assert cupping["cuppers"] == ["Ida Berg", "Noor"]
    assert str(cupping["score"]) == "81.25"
    assert roaster.get(f"/cup/{late}").status_code == 403
    book_is_sound()


def test_an_entry_is_undone_after_a_look_at_all_it_takes_with_it(
    api: Api,
    visitor_as: Callable[..., Visitor],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60))
    made = roast(api, {sacks[0]: 30}, 25)["code"]
    packed = pack(api, {made: 20}, 80)["code"]
    sent = dispatch(api, {packed: 12})["code"]
    noor = visitor_as("warehouse")

    page = noor.get(f"/void/{made}")
    late = dispatch(api, {packed: 1})["code"]
    outdated = noor.post(f"/void/{made}", hidden_fields(page.text) | {"reason": "wrong drum"})
    voided = noor.fill(f"/void/{made}", reason="wrong drum")
    after = words(noor.get(voided.headers["location"]))

    assert f"{sent} dispatch Café Nord 12" in words(page)
    assert "nothing comes back by it" in words(page)
    assert "Void all 3" in words(page)
    assert outdated.status_code == 409
    assert late in words(outdated)
    assert "Void all 4" in words(outdated)
    assert "4 units are voided; what went into them is given back." in after
    assert "Void " not in after
    assert str(api.get(f"/sacks/{sacks[0]}")["on_hand_kg"]) == "60.0"
    assert visitor_as("buyer").get(f"/void/{packed}").status_code == 403
    book_is_sound()


def test_labels_are_ordered_and_fetched_as_a_pdf(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    noor = visitor_as("warehouse")

    ready = noor.fill("/labels", codes=" ".join(sacks), size="large")
    again = noor.fill("/labels?lot=GL-7", lot="GL-7", size="large")
    told = words(noor.get(again.headers["location"]))
    pdf = noor.get(f"{ready.headers['location']}.pdf")

    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF")
    assert "Some were printed before" in told
    assert sacks[1] in told
    assert noor.fill("/labels", codes="S-404", size="large").status_code == 404

"""Green lots graded and cupped at their pages, judged before booking, and taken back."""

import re
from collections.abc import Callable

import pytest

from app.web import grading
from tests.api import Api, kg
from tests.makers import furnish, receive, sack_codes
from tests.web.conftest import Visitor, filled_fields, words

# SCA, Washed arabica green coffee defect poster (2018): 350 g, no full defect of category 1 and at
# most five in all; three partial blacks or five broken beans make one full defect.
COUNTED = {"defects.full_black": "0", "defects.partial_black": "7", "defects.broken": "9"}


def test_a_sample_is_graded_looked_at_first_and_taken_back(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-7"))
    drawn = {"subject": "GL-7", "kind": "arrival", "from": [{"sack": sack, "kg": kg("0.5")}]}
    sample = api.post("/samples", drawn)["id"]
    for kind, value in (("moisture", "11.2"), ("water_activity", "0.55")):
        api.post("/readings", {"subject": "GL-7", "kind": kind, "value": kg(value)})
    quill, noor = visitor_as("quality"), visitor_as("warehouse")

    assert 'href="/grades/GL-7"' in quill.get("/u/GL-7").text
    assert 'href="/grades/GL-7"' in quill.get("/samples?of=GL-7").text
    page = quill.get("/grades/GL-7/grade")
    screens = {"screens.18": "30", "screens.16": "60,5", "screens.pan": "9,5"}
    form = filled_fields(page.text) | COUNTED | screens | {
        "sample": str(sample), "quakers": "0", "quaker_sample_g": "100", "species": "arabica",
        "standard": "sca_washed_arabica",
    }  # fmt: skip
    looked = quill.post("/grades/GL-7/grade", form | {"_ask": "look"})
    assert "Not booked yet: it comes to this." in words(looked)
    assert "SCA specialty grade, washed arabica, 350 g : met" in words(looked)
    assert api.get("/lots/GL-7/gradings")["items"] == []
    off = quill.post("/grades/GL-7/grade", form | {"screens.18": "40"})
    whole = quill.post("/grades/GL-7/grade", form | {"defects.broken": "1,5"})
    booked = quill.post("/grades/GL-7/grade", form)

    assert off.status_code == 422
    assert whole.status_code == 422
    assert 'value="1,5"' in whole.text
    assert booked.headers["location"] == "/grades/GL-7"
    [kept] = api.get("/lots/GL-7/gradings")["items"]
    assert kept["sample"] == sample
    assert [line["retained_pct"] for line in kept["screens"]] == [30, kg("60.5"), kg("9.5")]
    full = kept["full_defects"]
    # 7 / 3 + 9 / 5, by hand.
    assert (full["category_1"]["floor"], full["category_2"]["fraction"]) == (0, "62/15")
    statements()
    told = words(noor.get("/grades/GL-7"))
    assert statements() <= 12
    assert "Full defects, category 1 0 Category 2 4.133 Moisture 11.2 % Water activity 0.55" in told
    assert "washed arabica, 350 g : met" in told
    assert "/grades/GL-7/grade" not in noor.get("/grades/GL-7").text
    assert noor.get("/grades/GL-7/grade").status_code == 403

    # Looking took a number of PostgreSQL's, which it does not give back.
    undo = f"/void/grading/{kept['id']}?of=GL-7"
    back = quill.fill(undo, reason="the other sample")
    assert back.headers["location"] == "/grades/GL-7"
    assert api.get("/lots/GL-7/gradings")["items"][0]["voided"]
    assert undo not in quill.get("/grades/GL-7").text
    book_is_sound()


def test_a_lot_is_cupped_on_the_form_or_by_its_score_and_taken_back(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    quill = visitor_as("quality")
    page = quill.get("/grades/GL-7/cup")
    names = ("fragrance_aroma", "flavour", "aftertaste", "acidity", "body", "balance", "overall")
    form = filled_fields(page.text) | {f"sections.{name}": "7,75" for name in names}
    form["cups.2.off_taste"] = "taint"
    form.pop("cups.2.clean_cup")
    between = quill.post("/grades/GL-7/cup", form | {"sections.body": "7,8"})
    cupped = quill.post("/grades/GL-7/cup", form)
    # Seven sections of 7.75, thirty points of the cups less the two of one, two for a taint.
    assert "Cupping 1 is booked: 80.25 on sca-arabica classic." in words(quill.get("/grades/GL-7"))
    other = quill.fill("/grades/GL-7/cup?other=true", form="Ours", form_version="3", score="86,5",
                       notes="plum")  # fmt: skip
    bare = quill.fill("/grades/GL-7/cup?other=true", form="Ours", form_version="3")

    assert between.status_code == 422
    assert 'value="7,8"' in between.text
    assert 'name="cups.2.clean_cup" type="checkbox" value="true">' in between.text
    assert cupped.headers["location"] == "/grades/GL-7"
    assert (other.status_code, bare.status_code) == (303, 422)
    told = words(quill.get("/grades/GL-7"))
    assert "Score on Ours 3 86.5" in told
    assert "Ours 3. plum" in told
    back = quill.fill("/void/lot-cupping/2?of=GL-7", reason="the wrong tray")
    assert back.headers["location"] == "/grades/GL-7"
    assert "Score on Ours" not in words(quill.get("/grades/GL-7"))
    book_is_sound()


def test_of_many_samples_the_latest_is_filled_in(
    api: Api, visitor_as: Callable[..., Visitor], monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-7"))
    drawn = {"subject": "GL-7", "kind": "arrival", "from": [{"sack": sack, "kg": kg("0.5")}]}
    numbers = [api.post("/samples", drawn)["id"] for _ in range(3)]
    monkeypatch.setattr(grading, "_MOST", 2)

    page = visitor_as("quality").get("/grades/GL-7/grade").text

    assert filled_fields(page)["sample"] == str(numbers[2])
    assert f'<option value="{numbers[0]}"' not in page


def test_sieves_are_typed_in_millimetres_with_the_sign_of_the_reader(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    quill = visitor_as("quality")
    german = {"Accept_Language": "de"}
    form = filled_fields(quill.get("/grades/GL-7/grade").text)
    rows = {"_sieves.0.mm": "7,10", "_sieves.0.pct": "40", "_sieves.1.mm": "", "_sieves.1.pct": "",
            "_sieves.2.mm": "6.3", "_sieves.2.pct": "50,5", "screens.pan": "9,5"}  # fmt: skip

    def refused(**typed: str) -> dict[str, str]:
        sent = form | rows | {name.replace("__", "."): said for name, said in typed.items()}
        answer = quill.post("/grades/GL-7/grade", sent)
        assert answer.status_code == 422
        found = re.findall(r'<p class="error" id="f-([\w-]+)-error"[^>]*>([^<]*)</p>', answer.text)
        return dict(found)

    more = quill.post("/grades/GL-7/grade", form | rows | {"_ask": "more._sieves"})
    twice = refused(_sieves__2__mm="7.1")
    both = refused(screens__18="30")
    bare = refused(_sieves__2__pct="")
    beyond = refused(_sieves__2__pct="101")
    odd = refused(_sieves__2__mm="wide")
    fine = refused(_sieves__2__mm="6,305", _sieves__0__mm="")
    looked = quill.post("/grades/GL-7/grade", form | rows | {"_ask": "look"}, **german)
    booked = quill.post("/grades/GL-7/grade", form | rows, **german)

    assert (more.status_code, 'name="_sieves.3.mm"' in more.text) == (200, True)
    assert '<details class="more" open>' in more.text
    assert twice == {"_sieves-2-mm": "That sieve stands there twice."}
    either = "Either numbered screens or sieves in millimetres."
    assert both == {"_sieves-0-mm": either, "_sieves-2-mm": either}
    assert bare == {"_sieves-2-pct": "This is needed."}
    assert beyond == {"_sieves-2-pct": "At most 100 is wanted."}
    assert odd["_sieves-2-mm"].startswith("A number is wanted here")
    assert fine == {
        "_sieves-0-mm": "This is needed.",
        "_sieves-2-mm": "This can be read in two ways. Write it with the decimal sign ..",
    }
    assert (looked.status_code, 'value="7,10"' in looked.text) == (200, True)
    assert booked.headers["location"] == "/grades/GL-7"
    [kept] = api.get("/lots/GL-7/gradings")["items"]
    assert kept["screen_series"] == "mm"
    assert [(line["label"], line["retained_pct"]) for line in kept["screens"]] == [
        ("screen 7.10 mm up", 40),
        ("screen 6.30 mm, below 7.10 mm", kg("50.5")),
        ("pan", kg("9.5")),
    ]


def test_the_grades_of_a_lot_say_that_it_is_on_hold(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    [sack, _other] = sack_codes(receive(api, 60, 60, lot="GL-7"))
    receive(api, 60, lot="GL-8")
    api.post("/holds", {"units": [sack, "GL-8"], "reason": "smells musty"})
    noor = visitor_as("warehouse")
    said = "On hold: it must not be used until quality releases it."

    assert [said in words(noor.get(f"/grades/{lot}")) for lot in ("GL-7", "GL-8")] == [False, True]


def test_a_score_that_is_missing_is_asked_for_at_the_same_page_whatever_form_it_is_of(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    quill = visitor_as("quality")
    other = "/grades/GL-7/cup?other=true"

    bare = quill.fill(other, form="sca-arabica", form_version="classic", score="", notes="plum")
    sheet = quill.fill("/grades/GL-7/cup", notes="plum")
    back = quill.get("/grades/GL-7/cup?_other=true&form=sca-arabica&form_version=classic")
    ticked = quill.get(
        "/grades/GL-7/cup?form=sca-arabica&form_version=classic&cups.0.sweetness=true"
    )
    scored = quill.fill(other, form="sca-arabica", form_version="classic", score="86")

    assert (bare.status_code, sheet.status_code) == (422, 422)
    for page in (bare, back):
        assert 'name="score"' in page.text
        assert 'name="sections.body"' not in page.text
        assert 'value="sca-arabica"' in page.text
    assert "a score is wanted" in words(bare)
    assert 'name="sections.body"' in sheet.text
    assert [name for name in filled_fields(ticked.text) if name.endswith("sweetness")] == [
        "cups.0.sweetness"
    ]
    assert scored.status_code == 303

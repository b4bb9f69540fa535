"""One catalogue, two languages; numbers, times and masses as somebody reads and writes them."""

import re
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from fastapi import FastAPI

from app.settings import Settings
from app.shared.days import days_in
from app.shared.kinds import KINDS
from app.web.forms import Unreadable, read_number
from app.web.plain import words_of
from app.web.rendering import TEMPLATES
from app.web.shown import kg_of_pounds, mass, moment, number
from app.web.texts import Manner, _, language_asked, speaking
from tests.api import Api
from tests.makers import furnish, receive
from tests.web import catalogue
from tests.web.conftest import Visitor, hidden_fields, words

GERMAN = Manner("de")


@pytest.mark.parametrize("language", catalogue.translated())
def test_every_text_has_its_words_in_every_language(language: str) -> None:
    assert list(catalogue.flaws(language)) == []


def test_no_refusal_speaks_to_people_of_members_and_headers_of_the_api() -> None:
    spoken = {slug: " ".join(words_of(slug)) for slug in KINDS}

    assert {
        (slug, word)
        for slug, said in spoken.items()
        for word in re.findall("`([^`]+)`", said)
        if not word.startswith("jutebook ")
    } == set()


def test_of_nothing_nothing_is_said() -> None:
    # GNU gettext, "The Format of PO Files": the empty message is the header of its catalogue.
    with speaking(GERMAN):
        assert _("") == ""


def test_no_part_of_a_page_takes_the_name_of_another() -> None:
    for template in TEMPLATES.glob("*.html"):
        named = Counter(re.findall(r"{%-? *macro +(\w+)", template.read_text()))
        assert [name for name, often in named.items() if often > 1] == [], template.name


def test_a_browser_is_answered_in_the_language_it_asks_for_if_there_is_one() -> None:
    asked = {"de-AT,de;q=0.9,en;q=0.8": "de", "fr,en;q=0.5": "en", "": "en", "fr": "en"}

    assert {header: language_asked(header) for header in asked} == asked


def test_numbers_and_times_are_written_by_locale() -> None:
    # Unicode CLDR, common/main/de.xml and en_GB.xml: decimal sign, grouping, order of a date.
    at = datetime(2026, 3, 31, 5, 30, tzinfo=UTC)
    with speaking(GERMAN), days_in("Europe/Berlin"):
        assert (number(Decimal("19200.5")), moment(at)) == ("19.200,5", "31.03.2026, 07:30")
    with speaking(Manner("en")):
        assert (number(Decimal("19200.5")), moment(at)) == ("19,200.5", "31 Mar 2026, 05:30")


def test_a_mass_is_shown_in_pounds_and_typed_pounds_are_kept_to_the_gram() -> None:
    # NIST Handbook 44, appendix C: 1 pound is 0.453 592 37 kg exactly.
    with speaking(Manner("en", "lb")):
        assert mass(60_000) == "132.28\N{NARROW NO-BREAK SPACE}lb"
    assert kg_of_pounds(Decimal("132.28")) == Decimal("60.001")
    assert kg_of_pounds(Decimal(1)) == Decimal("0.454")


def test_a_number_is_read_with_either_sign_unless_it_could_be_two() -> None:
    with speaking(GERMAN):
        assert read_number("1,234") == Decimal("1.234")
        assert read_number("11.4") == Decimal("11.4")
        assert read_number("-0,35") == Decimal("-0.35")
        for two in ("1.234", "1.234,5", "1 234", "1e3", "½", "٣"):
            with pytest.raises(Unreadable):
                read_number(two)


def test_somebody_who_chose_german_and_pounds_sees_and_types_so(
    api: Api, service: FastAPI, settings: Settings, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    service.state.settings = settings.model_copy(update={"time_zone": "Europe/Berlin"})
    noor = visitor_as("warehouse")
    form = hidden_fields(noor.get("/account").text)
    noor.post("/account/manner", form | {"language": "de", "mass_unit": "lb"})

    page = noor.get("/u/GL-7")
    refused = noor.fill("/moisture", subject="GL-7", value="feucht")
    told = noor.get(
        noor.fill("/moisture", subject="GL-7", value="11,4",
                  taken_at="2026-03-02T09:30").headers["location"]
    )  # fmt: skip
    lost = noor.get("/no-such-page")
    unheard = noor.fill("/move", to="A-01", sacks="S-404")

    assert '<html lang="de">' in page.text
    assert "132,28\N{NARROW NO-BREAK SPACE}lb" in page.text
    assert "02.03.2026, 09:00" in words(page)
    assert "Hier gehört eine Zahl hin, etwa 11,4" in words(refused)
    assert "GL-7: 11,4 % Feuchte." in words(told)
    assert words(lost).startswith("Nicht da")
    # What an act says is English: after the title in words of the page, and marked as what it is.
    assert re.search(r'<h2>[^<]+</h2>\s*<p lang="en">[^<]*S-404', unheard.text)
    assert "No such code" not in unheard.text
    taken = api.get("/readings?subject=GL-7")["items"][0]
    assert (str(taken["value"]), taken["taken_at"]) == ("11.4", "2026-03-02T08:30:00Z")


def test_what_is_wrong_with_a_field_is_said_in_the_language_of_the_page_or_marked_as_english(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    noor = visitor_as("warehouse")
    form = hidden_fields(noor.get("/account").text)
    noor.post("/account/manner", form | {"language": "de", "mass_unit": "kg"})

    typed = noor.fill("/arrivals/GL-7/exception", kind="soaked", sacks="0", kg="60,0005",
                      location="?", note="x" * 3000, codes="-")  # fmt: skip
    by_an_act = noor.fill("/labels", lot="GL-7", size="large", start_at="5")

    told = dict(re.findall(r'<p class="error" id="f-(\w+)-error">([^<]*)</p>', typed.text))
    assert told == {
        "kind": "Wählen Sie etwas von dem, was angeboten wird.",
        "sacks": "Hier gehört mindestens 1 hin.",
        "kg": "60,0005 kg ist feiner als ein Gramm: höchstens 3 Nachkommastellen.",
        "location": "So wird es nicht geschrieben: Achten Sie auf Buchstaben, Ziffern und Zeichen.",
        "codes": "Ein Code hat 2 bis 32 Zeichen: A-Z, 0-9, Punkt, Unterstrich und Bindestrich, "
        "und beginnt mit Buchstabe oder Ziffer.",
        "note": "Höchstens 2000 Zeichen werden aufbewahrt.",
    }
    assert '<p class="error" id="f-start_at-error" lang="en">only a sheet' in by_an_act.text

"""What labels say of what the book knows."""

from datetime import date

import pytest

from app.labels.pieces import Face
from app.labels.wording import (
    DISPOSITIONS,
    PLACES,
    BlendFacts,
    PlaceFacts,
    RoastFacts,
    SackFacts,
    blend,
    country,
    place,
    printed,
    roast,
    sack,
)
from app.places.tables import PlaceKind
from app.quality.rules import Disposition
from app.shared.texts import speech_in
from app.standards.handling import HEAVY

DAY = date(2026, 3, 2)


def texts(face: Face) -> list[str]:
    return [item.text for item in face.items]


def a_sack(net_g: int = 69_000, left_g: int | None = None, *, held: bool = False) -> Face:
    left = net_g if left_g is None else left_g
    return sack(
        SackFacts("S-1", "GL-1", "Sidama", "ET", 3, 40, net_g, left, DAY, "B-02", held), 25_000
    )


@pytest.mark.parametrize(("left_g", "caution"), [(25_001, HEAVY), (25_000, None), (1, None)])
def test_a_sack_is_called_heavy_above_the_limit_and_not_at_it(
    left_g: int, caution: str | None
) -> None:
    assert a_sack(69_000, left_g).caution == caution


def test_an_opened_sack_says_what_is_left() -> None:
    assert "69.0 kg net, 12.5 kg left" in texts(a_sack(69_000, 12_500))
    assert "69.0 kg net" in texts(a_sack(69_000))


def test_the_caution_names_no_harmless_mass() -> None:
    assert "safe" not in HEAVY.lower()
    assert not any(character.isdigit() for character in HEAVY)


@pytest.mark.parametrize(("disposition", "held", "marks"), [
    ("passed", False, ()),
    ("released", True, ("ON HOLD",)),
    ("set_aside", False, ("SET ASIDE",)),
    ("set_aside", True, ("SET ASIDE", "ON HOLD")),
    ("rejected", False, ("REJECTED",)),
    ("blend_in", False, ("BLEND ONLY",)),
    ("rework", False, ("REWORK",)),
    ("scrapped", False, ("SCRAPPED",)),
])  # fmt: skip
def test_a_roast_carries_every_mark_that_stops_it(
    disposition: str, held: bool, marks: tuple[str, ...]
) -> None:
    face = roast(RoastFacts("R-1", None, "DRUM-75", DAY, 17_000, disposition, held))

    assert face.marks == marks
    assert texts(face)[0] == "Roast"


def test_what_is_not_known_is_not_named() -> None:
    assert texts(place(PlaceFacts("A", "rack", None, None))) == ["Rack"]
    assert texts(blend(BlendFacts("B-1", None, None, DAY, 1000, held=False))) == [
        "Blend", "1.0 kg", "blended 2026-03-02",
    ]  # fmt: skip


@pytest.mark.parametrize(("code", "name"), [
    # ISO 3166-1 by way of pycountry, with the names in common use.
    ("ET", "Ethiopia"), ("VN", "Vietnam"), ("TZ", "Tanzania"), ("BO", "Bolivia"), ("XX", "XX"),
])  # fmt: skip
def test_a_country_has_its_common_name(code: str, name: str) -> None:
    assert country(code) == name


def test_a_first_print_is_not_called_a_reprint() -> None:
    assert printed(17, 0) == "print 17"
    assert printed(17, 2) == "print 17, reprint 2"


def test_a_label_of_a_german_house_speaks_german_whoever_prints_it() -> None:
    german = speech_in("de")
    facts = SackFacts("S-1", "GL-1", "Sidama", "ET", 3, 40, 69_000, 12_500, DAY, "B-02", True)
    set_aside = RoastFacts("R-1", None, "DRUM-15", DAY, 50_400, "set_aside", held=False)

    # Dates, decimal signs and names of countries: Unicode CLDR, common/main/de.xml.
    assert [text.replace("\N{NARROW NO-BREAK SPACE}", " ") for text in texts(
        sack(facts, 10_000, german)
    )] == [
        "Sidama", "69 kg netto, 12,5 kg übrig", "Partie GL-1, Sack 3 von 40",
        "Äthiopien, angekommen 02.03.2026", "Platz B-02",
    ]  # fmt: skip
    assert sack(facts, 10_000, german).marks == ("GESPERRT",)
    assert str(sack(facts, 10_000, german).caution).startswith("Schwer: mit Hebehilfe")
    assert roast(set_aside, german).marks == ("BEISEITE",)
    assert place(PlaceFacts("B-02", "rack", None, 600_000), german).items[0].text == "Regal"
    assert {*PlaceKind} == {*PLACES}
    assert {*Disposition} == {*DISPOSITIONS}

"""Cupping forms: how a score is made of what is on the form.

A score means something only beside the form it was given on, so every form has a name and a
version, and nothing here combines the scores of two forms.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

HIGHEST_SCORE = Decimal(100)
SPECIALTY_LINE = Decimal(80)
"""A coffee is called specialty from here up, this included (Scientific Reports 12, article
s41598-022-06676-9)."""
STEP = Decimal("0.25")


class OffTaste(StrEnum):
    """What can be wrong with one cup."""

    TAINT = "taint"
    """Small."""
    FAULT = "fault"
    """Grave."""


@dataclass(frozen=True)
class Form:
    """What stands on a form."""

    name: str
    version: str
    sections: tuple[str, ...]
    """Scored once for all cups."""
    lowest: Decimal
    highest: Decimal
    cup_sections: tuple[str, ...]
    """Scored cup by cup: a cup has it or lacks it."""
    cups: int
    cup_points: int
    """What one cup earns in one of them."""

    def is_called(self, name: str, version: str) -> bool:
        """Tell whether somebody means this form, whatever the capitals."""
        return same_form((self.name, self.version), (name, version))


CLASSIC = Form(
    name="sca-arabica",
    version="classic",
    sections=(
        "fragrance_aroma", "flavour", "aftertaste", "acidity", "body", "balance", "overall",
    ),
    lowest=Decimal(6),
    highest=Decimal(10),
    cup_sections=("uniformity", "clean_cup", "sweetness"),
    cups=5,
    cup_points=2,
)  # fmt: skip
"""The classic arabica form: seven sections of 6 to 10 in steps of 0.25, and three of ten points
over five cups (lesson on the arabica cupping form, baristahustle.com). The names of the seven are
from memory."""

FORMS = (CLASSIC,)
"""Forms whose arithmetic is known here; on any other one a score is taken as it was given."""


@dataclass(frozen=True)
class Cup:
    """One cup of the table: which cup sections it has, and what is wrong with it."""

    has: frozenset[str]
    off_taste: OffTaste | None = None


@dataclass(frozen=True)
class Points:
    """How a score comes about."""

    sections: Decimal
    cups: Decimal
    deduction: Decimal

    @property
    def score(self) -> Decimal:
        """The score of the form."""
        return self.sections + self.cups - self.deduction


@dataclass(frozen=True)
class Flaw:
    """What keeps a form from being added up, and where it stands."""

    where: tuple[str | int, ...]
    why: str


def same_form(one: tuple[str, str], other: tuple[str, str]) -> bool:
    """Tell whether two names and versions mean one form."""
    return [part.strip().casefold() for part in one] == [part.strip().casefold() for part in other]


def known_form(name: str, version: str) -> Form | None:
    """Find a form whose arithmetic is known."""
    return next((form for form in FORMS if form.is_called(name, version)), None)


def on_step(score: Decimal) -> bool:
    """Tell whether a score or a section stands on a quarter."""
    return score % STEP == 0


def reaches_the_line(score: Decimal) -> bool:
    """Tell whether a score is at the specialty line or above."""
    return score >= SPECIALTY_LINE


def flaws(form: Form, sections: Mapping[str, Decimal], cups: Sequence[Cup]) -> Iterator[Flaw]:
    """Name what is missing, unknown or out of its scale."""
    for name in form.sections:
        if name not in sections:
            yield Flaw(("sections",), f"{name} lacks: the form has {', '.join(form.sections)}")
    for name, points in sections.items():
        if name not in form.sections:
            yield Flaw(("sections", name), f"the form {form.name} has no section {name}")
        elif not form.lowest <= points <= form.highest or not on_step(points):
            yield Flaw(
                ("sections", name),
                f"{points}: a section runs from {form.lowest} to {form.highest} in steps of {STEP}",
            )
    if len(cups) != form.cups:
        yield Flaw(("cups",), f"{len(cups)} cups: the form has {form.cups}")


def add_up(
    form: Form,
    sections: Mapping[str, Decimal],
    cups: Sequence[Cup],
    deductions: Mapping[OffTaste, int],
) -> Points:
    """Add up a form that has no flaw; `deductions` says what one cup with an off-taste costs."""
    has = sum(len(cup.has & frozenset(form.cup_sections)) for cup in cups)
    off_tastes = [cup.off_taste for cup in cups if cup.off_taste is not None]
    return Points(
        sections=sum((sections[name] for name in form.sections), Decimal()),
        cups=Decimal(has * form.cup_points),
        deduction=Decimal(sum(deductions[each] for each in off_tastes)),
    )

"""Telling what a scanned text is."""

from collections.abc import Sequence

from sqlmodel import Session

from app.scans import finding, rules
from app.scans.rules import Reading, ScanKind
from app.scans.schemas import FoundOut, Said, ScanIn, ScanOut
from app.shared.codes import Standing, standing
from app.shared.problems import FieldRefused, Refused
from app.standards.gs1.elements import Element
from app.standards.gs1.rules import RuleBroken
from app.standards.ico_marks import Mark


def scan(session: Session, asked: ScanIn) -> ScanOut:
    """Tell what a text is and what of the house it names.

    Raises:
        Refused: `malformed-gs1`, naming the rule that a text of GS1 breaks; `invalid` for blanks.
    """
    text = rules.tidy(asked.text)
    if not text:
        raise FieldRefused("#/text", "nothing was read: there are only blanks")
    try:
        return _told(session, text)
    except RuleBroken as broken:
        raise Refused(
            "malformed-gs1",
            f"{broken.detail[0].upper()}{broken.detail[1:]}.",
            rule=broken.rule,
            ai=broken.ai,
            errors=[{"pointer": "#/text", "detail": broken.detail}],
        ) from broken


def _told(session: Session, text: str) -> ScanOut:
    possible = rules.readings(text)
    sought = [(reading, *_sought(session, reading)) for reading in possible]
    if not any(found for _, found, _ in sought):
        unmarked = rules.unmarked(text)
        if unmarked is not None:
            sought = [(unmarked, *_sought(session, unmarked))]
    # What was found decides; where nothing was, the last is the most particular form.
    reading, _, why_not = next((each for each in sought if each[1]), sought[-1])
    missed = not any(found for _, found, _ in sought)
    misread = missed and standing(reading.read_as) is Standing.MISREAD
    return ScanOut(
        text=text,
        kind=ScanKind.MISREAD if misread else reading.kind,
        read_as=reading.read_as,
        says=_says(reading),
        found=[each for _, found, _ in sought for each in found],
        why_not=_MISREAD if misread else why_not,
    )


_MISREAD = "Misread: a character is wrong or two were swapped. Scan or type it again."


def _sought(session: Session, reading: Reading) -> tuple[list[FoundOut], str | None]:
    """Look a reading up; says beside it why there is nothing, or nothing more."""
    if reading.elements:
        return finding.by_elements(session, reading.elements)
    if reading.mark is not None:
        found = finding.by_mark(session, reading.mark)
        return found, None if found else f"No lot here carries the mark {reading.read_as}."
    if reading.kind is ScanKind.CODE:
        return _carrying(finding.by_code(session, reading.read_as), reading.read_as)
    return [], "No code, GS1 text or ICO mark has this form."


def _carrying(found: list[FoundOut], code: str) -> tuple[list[FoundOut], str | None]:
    if not found:
        return found, f"Nothing here carries the code {code}."
    if all(each.voided for each in found):
        return found, f"{code} was voided."
    return found, None


def _says(reading: Reading) -> dict[str, Said]:
    said = {each.ai: _of_element(each) for each in reading.elements}
    return said | (_of_mark(reading.mark) if reading.mark else {})


def _of_element(element: Element) -> Said:
    day = element.day
    return Said(
        title=element.title,
        value=element.value,
        day=day,
        day_is_open=element.day_is_open if day else None,
        amount=element.amount,
    )


def _of_mark(mark: Mark) -> dict[str, Said]:
    parts: Sequence[str] = mark.canonical.split("/")
    return {
        name: Said(title=title, value=part)
        for (name, title), part in zip(_PARTS_OF_A_MARK, parts, strict=True)
    }


_PARTS_OF_A_MARK = (
    ("country", "Country of origin, by its ICO number"),
    ("exporter", "Exporter, by the number its country gave it"),
    ("serial", "Shipment, counted from 1 each 1 October"),
)

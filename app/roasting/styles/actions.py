"""Entering and changing styles, and finding the one a roast names."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.card_versions import keep
from app.ledger.cards import CardOut, Shelf, add, change
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.roasting.machines import machine_for
from app.roasting.rules import ColourForm, Figure, ShadeTarget
from app.roasting.styles.schemas import SlotIn, StyleChange, StyleIn, StyleOut
from app.roasting.styles.tables import Style
from app.roasting.tables import MachineKind
from app.settings import Settings
from app.shared.mass import kg_from_grams
from app.shared.problems import FieldRefused, Refused

STYLES = Shelf("style", Style, StyleOut, key="name", folded="name_key")


class Targets(NamedTuple):
    """What a roast of a style is held to; None where the style says nothing."""

    loss_range: tuple[Decimal, Decimal] | None
    shade: ShadeTarget
    colour_tolerance: Decimal | None
    profile: Sequence[Figure]
    """The figures of the profile that the style names, with what the roast had."""


def add_style(pen: Pen, asked: StyleIn) -> CardOut:
    """Enter a style as its first version."""
    _refuse_other_machines(pen, asked.machine)
    _refuse_other_lots(pen, asked.green)
    return keep(pen, STYLES, add(pen, STYLES, asked))


def change_style(pen: Pen, name: str, asked: StyleChange, if_match: str | None) -> CardOut:
    """Change a style: roasts until now stay judged by the version that was."""
    _refuse_other_machines(pen, asked.machine)
    _refuse_other_lots(pen, asked.green)
    return keep(pen, STYLES, change(pen, STYLES, name, asked, if_match))


def _refuse_other_machines(pen: Pen, code: str | None) -> None:
    if code is not None:
        machine_for(pen, code, MachineKind.ROASTER)


def _refuse_other_lots(pen: Pen, slots: Sequence[SlotIn] | None) -> None:
    """Point at a code of a slot that is no lot, or at one that was voided."""
    for i, slot in enumerate(slots or []):
        for j, code in enumerate(slot.lots):
            try:
                live(unit_by_code(pen.session, code, UnitKind.LOT))
            except Refused as refusal:
                raise FieldRefused(
                    f"#/green/{i}/lots/{j}", refusal.detail, "unknown-reference"
                ) from refusal


def style_named(session: Session, name: str | None) -> Style | None:
    """Find the style a roast names; a word that is none stays a word."""
    if name is None:
        return None
    # Not `find`, which takes a name of digits for the number of another style's card.
    key = STYLES.fold(name)
    return session.scalars(select(Style).where(col(Style.name_key) == key)).first()


def targets(
    style: Style, settings: Settings, drop_c: Decimal | None = None, total_s: int | None = None
) -> Targets:
    """Say what roasts of a style are held to now, and how one that had these figures did."""
    loss, tolerance = _number(style.loss_milli), _number(style.loss_tolerance_milli)
    loss_range = None
    if loss is not None:
        off = settings.style_loss_tolerance if tolerance is None else tolerance
        loss_range = (max(loss - off, Decimal(0)), loss + off)
    shade = ShadeTarget(
        _number(style.colour_milli), Decimal(0), style.colour_scale, _form(style.colour_form)
    )
    profile = list(_profile(style, settings, drop_c, total_s))
    return Targets(loss_range, shade, _number(style.colour_tolerance_milli), profile)


def _profile(
    style: Style, settings: Settings, drop_c: Decimal | None, total_s: int | None
) -> Iterator[Figure]:
    drop, off = _number(style.drop_milli), _number(style.drop_tolerance_milli)
    if drop is not None:
        tolerance = settings.drop_tolerance_c if off is None else off
        yield Figure("drop temperature", "°C", drop_c, drop, tolerance)
    if style.total_s is not None:
        seconds = style.total_tolerance_s
        within = settings.total_tolerance_s if seconds is None else seconds
        yield Figure("total time", "s", total_s, style.total_s, within)


def _form(form: str | None) -> ColourForm | None:
    return None if form is None else ColourForm(form)


def _number(thousandths: int | None) -> Decimal | None:
    return None if thousandths is None else kg_from_grams(thousandths)

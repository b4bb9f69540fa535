"""Cards as forms: filled in with what stands on them, and read back as what was changed.

What nobody touched is not sent, so that no mass is rounded by being shown in pounds and the journal
says what was changed; what was emptied is taken off the card.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final, TypeVar

from pydantic import BaseModel

from app.ledger.cards import CardOut
from app.ledger.schemas import Change
from app.shared.mass import kg_from_grams
from app.web import forms
from app.web.desk import Desk
from app.web.forms import KEY_FIELD, Form
from app.web.shown import typed_mass, typed_number
from app.web.texts import _

Body = TypeVar("Body", bound=BaseModel)
Changed = TypeVar("Changed", bound=Change)

VERSION_FIELD: Final = "_version"
"""The field that carries the version of the card that a form was filled in with."""
_TICKED: Final = frozenset({"kinds", "weekdays"})
"""Fields that are ticked, at least one of each: on the card they stand in one order, joined by
commas."""


def filled(card: CardOut, body: type[BaseModel]) -> dict[str, str]:
    """Fill the fields of a form with what stands on a card."""
    found: dict[str, str] = {}
    for name, info in body.model_fields.items():
        value, field = getattr(card, name), info.alias or name
        if isinstance(value, list) and not any(isinstance(each, BaseModel) for each in value):
            found |= {field: ",".join(map(str, value))} if value else {}
            continue
        if value is None or isinstance(value, list):  # rows have fields of their own
            continue
        if name.endswith("_g"):
            found |= typed_mass(field, value)
            continue
        if name.endswith("_milli"):
            said = typed_number(kg_from_grams(value))
        elif isinstance(value, bool):
            said = str(value).lower()
        elif isinstance(value, Decimal | int):
            said = typed_number(value)
        else:
            said = str(value)
        found[field] = said
    return found


Lists = Mapping[str, Sequence[str]]
"""The lists of a card whose rows are fields of its form, and what stands in a row."""

NO_LISTS: Final[Lists] = {}


def _rows(card: CardOut, lists: Lists) -> Iterator[tuple[str, str]]:
    """Fill the fields of rows with what stands in the lists of a card."""
    for name, members in lists.items():
        for number, row in enumerate(getattr(card, name) or ()):
            written = row.model_dump(by_alias=True)
            for member in [each for each in members if written[each] is not None]:
                yield f"{name}.{number}.{member}", _told(written[member])


def _told(value: object) -> str:
    if isinstance(value, list):
        return " ".join(map(str, value))
    return typed_number(value) if isinstance(value, Decimal | int) else str(value)


def opened(card: CardOut, body: type[Body], lists: Lists = NO_LISTS) -> Form[Body]:
    """Make a form to change a card with, the rows of these lists among its fields."""
    form = forms.blank(body, **filled(card, body), **dict(_rows(card, lists)))
    kinds = {name: said[0].split(",") for name, said in form.typed.items() if name in _TICKED}
    form.typed = {**form.typed, **kinds, VERSION_FIELD: [str(card.version)]}
    return form


def changed(
    desk: Desk, card: CardOut, body: type[Changed], lists: Lists = NO_LISTS
) -> Form[Changed]:
    """Read what was changed of a card; the form shows all that was typed.

    Of `lists` nothing is sent where no row was touched, and all rows where one was.
    """
    was = filled(card, body)
    same = _same_rows(desk, card, lists)
    touched = {
        name: values
        for name, values in desk.typed.items()
        if name == KEY_FIELD or ",".join(values).strip() != was.get(name, "")
        if name.partition(".")[0] not in same
    }
    form = forms.sent(body, touched)
    form.typed = desk.typed
    if form.unfinished:
        return form
    emptied = _emptied(body, touched, was)
    none: dict[str, list[object]] = {
        name: [] for name, member in emptied.items() if isinstance(getattr(card, member), list)
    }
    needed = [name for name in emptied if emptied[name] in body.never_null and name not in none]
    cleared = [name for name in lists if name not in same and not _said_rows(desk, name)]
    needed += [name for name in cleared if name in body.never_null]
    form.errors |= dict.fromkeys(needed, _("This is needed."))
    # Of boxes that are not ticked a browser sends nothing, not even their name.
    unticked = _TICKED & was.keys() - desk.typed.keys()
    form.errors |= dict.fromkeys(unticked, _("Tick at least one."))
    if form.errors:
        form.asked = None
    if form.asked is not None:
        update = {member: none.get(name) for name, member in emptied.items()}
        update |= dict.fromkeys(cleared)
        form.asked = form.asked.model_copy(update=update)
    return form


def _said_rows(desk: Desk, name: str) -> dict[str, str]:
    said = {field: "".join(values).strip() for field, values in desk.typed.items()}
    return {field: value for field, value in said.items() if value and field.startswith(f"{name}.")}


def _same_rows(desk: Desk, card: CardOut, lists: Lists) -> list[str]:
    """Name the lists in which every row says what stands on the card."""
    return [
        name for name in lists if _said_rows(desk, name) == dict(_rows(card, {name: lists[name]}))
    ]


def _emptied(
    body: type[Change], touched: Mapping[str, Any], was: Mapping[str, str]
) -> dict[str, str]:
    """Name the fields that had something in them and have nothing any more, and their members."""
    members = {info.alias or name: name for name, info in body.model_fields.items()}
    blank = [name for name, said in touched.items() if name in was and not "".join(said).strip()]
    found = {name: members.get(name.partition(":")[0]) for name in blank}
    return {name: member for name, member in found.items() if member is not None}


def tag_of(desk: Desk) -> str:
    """Name the version that was changed, as `If-Match` does."""
    said = desk.typed.get(VERSION_FIELD, [""])[0]
    return f'"{said}"'

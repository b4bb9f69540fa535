"""Cards as forms: filled in with what stands on them, and read back as what was changed.

What nobody touched is not sent, so that no mass is rounded by being shown in pounds and the journal
says what was changed; what was emptied is taken off the card.
"""

from collections.abc import Mapping
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
_TICKED: Final = frozenset({"kinds"})
"""Fields that are ticked: on the card they stand in one order, joined by commas."""


def filled(card: CardOut, body: type[BaseModel]) -> dict[str, str]:
    """Fill the fields of a form with what stands on a card."""
    found: dict[str, str] = {}
    for name, info in body.model_fields.items():
        value, field = getattr(card, name), info.alias or name
        if value is None or isinstance(value, list):  # a list is no field of its own
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


def opened(card: CardOut, body: type[Body]) -> Form[Body]:
    """Make a form to change a card with."""
    form = forms.blank(body, **filled(card, body))
    kinds = {name: said[0].split(",") for name, said in form.typed.items() if name in _TICKED}
    form.typed = {**form.typed, **kinds, VERSION_FIELD: [str(card.version)]}
    return form


def changed(desk: Desk, card: CardOut, body: type[Changed]) -> Form[Changed]:
    """Read what was changed of a card; the form shows all that was typed."""
    was = filled(card, body)
    touched = {
        name: values
        for name, values in desk.typed.items()
        if name == KEY_FIELD or ",".join(values).strip() != was.get(name, "")
    }
    form = forms.sent(body, touched)
    form.typed = desk.typed
    emptied = _emptied(body, touched, was)
    for name in [name for name, member in emptied.items() if member in body.never_null]:
        form.errors[name] = _("This is needed.")
    if form.errors:
        form.asked = None
    if form.asked is not None:
        form.asked = form.asked.model_copy(update=dict.fromkeys(emptied.values()))
    return form


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

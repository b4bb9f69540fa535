"""Entering and changing purchase contracts."""

from app.green.actions import SUPPLIERS
from app.green.contracts.queries import contract_out
from app.green.contracts.schemas import (
    PAIRED,
    ContractCard,
    ContractChange,
    ContractIn,
    ContractOut,
    refuse_half,
)
from app.green.contracts.shelf import CONTRACTS
from app.ledger import cards
from app.ledger.cards import card_at, named
from app.ledger.posting import Pen
from app.shared.problems import FieldRefused
from app.shared.versions import card_tags, require_match


def add_contract(pen: Pen, asked: ContractIn, prices: bool) -> ContractOut:
    """Enter a contract with a supplier that is known."""
    supplier = named(pen.session, SUPPLIERS, asked.supplier, "#/supplier")
    assert supplier.id is not None  # noqa: S101 - read from the database
    _refuse_half(asked.model_dump())
    # Constructed, not validated: what was asked has been, and holds grams by now.
    card = ContractCard.model_construct(
        **asked.model_dump(exclude={"supplier"}), supplier_id=supplier.id
    )
    cards.add(pen, CONTRACTS, card)
    entered = card_at(pen.session, CONTRACTS, asked.reference)
    return contract_out(pen.session, entered, pen.settings, prices=prices)


def change_contract(
    pen: Pen, reference: str, asked: ContractChange, if_match: str | None, prices: bool
) -> ContractOut:
    """Change what was agreed; its reference and its supplier stay."""
    tags = card_tags(if_match)
    card = card_at(pen.session, CONTRACTS, reference)
    require_match(tags, card.version)
    changes = asked.model_dump(exclude_unset=True)
    _refuse_half({name: getattr(card, name) for name in PAIRED} | changes)
    cards.change(pen, CONTRACTS, reference, asked, tags)
    return contract_out(pen.session, card, pen.settings, prices=prices)


def _refuse_half(facts: dict[str, object]) -> None:
    flaw = refuse_half(facts)
    if flaw is not None:
        field, why = flaw
        raise FieldRefused(f"#/{field}", why)

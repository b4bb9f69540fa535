"""Where contracts stand, and what they say of weights and clocks."""

from app.green.contracts.tables import PurchaseContract
from app.ledger.cards import CardOut, Shelf
from app.settings import Settings
from app.standards.buying import Agreed, Customs, Form, Terms, WeightBasis, settle

CONTRACTS = Shelf(
    "contract", PurchaseContract, CardOut, key="reference", folded="reference",
    private=frozenset({"price", "currency", "price_unit"}),
)  # fmt: skip
"""Prices stand on the card and stay out of the journal, which everyone may read."""


def terms_of(contract: PurchaseContract, settings: Settings) -> Terms:
    """Say what holds for a contract."""
    agreed = Agreed(
        basis=WeightBasis(contract.weight_basis),
        form=Form(contract.form),
        franchise_pct=contract.franchise_pct,
        tolerance_pct=contract.tolerance_pct,
        weigh_days=contract.weigh_days,
        quality_days=contract.quality_days,
        technical_days=contract.technical_days,
    )
    return settle(agreed, customs(settings))


def customs(settings: Settings) -> Customs:
    """Read out of the settings what holds where a contract is silent."""
    return Customs(
        franchise_pct=settings.contract_franchise_pct,
        tolerance_pct=settings.contract_tolerance_pct,
        weigh_days=settings.contract_weigh_days,
        weigh_days_us=settings.contract_weigh_days_us,
        quality_days=settings.contract_quality_days,
        quality_days_us=settings.contract_quality_days_us,
        technical_days=settings.contract_technical_days,
    )

"""What a lot's evidence lacks.

What is asked depends on what the firm is for the delivery (Regulation (EU) 2023/1115 as amended by
2025/2650):

- an *operator* holds everything: supplier, plots, time of production, HS code, and its own
  statement with reference and verification number;
- a *trader* holds the supplier and, where the supplier is the operator, the statement's reference;
  the plots are behind that statement, unless the roastery asks for them too (a setting);
- *none*: nothing is asked of the firm, and the coffee is judged by its origin alone (plots, time
  of production, HS code), since what is blended with it may be asked about;
- as long as nobody said what the firm is, it is asked as an operator.

Whether the supplier is the operator counts as yes until somebody says no.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import NamedTuple

from app.standards.due_diligence import is_coffee


class FirmRole(StrEnum):
    """What the roastery is, under Regulation (EU) 2023/1115, for one delivery."""

    OPERATOR = "operator"
    """It brings the coffee onto the market of the Union: the whole duty is its own."""
    TRADER = "trader"
    """It bought what was on that market already."""
    NONE = "none"
    """The regulation does not ask it anything about this delivery."""


class Lack(StrEnum):
    """What can be missing."""

    ROLE = "role"
    SUPPLIER = "supplier"
    SUPPLIER_ADDRESS = "supplier_address"
    SUPPLIER_EMAIL = "supplier_email"
    PLOTS = "plots"
    COUNTRY = "country"
    PRODUCTION_PERIOD = "production_period"
    HS_CODE = "hs_code"
    STATEMENT = "statement"
    VERIFICATION = "verification"
    EVIDENCE = "evidence"
    """All of it: declared not available."""


class Lacking(NamedTuple):
    """One thing that is missing, in a sentence."""

    what: Lack
    why: str


class Named(NamedTuple):
    """A statement that counts for a lot."""

    reference: str
    verification: str | None
    own_reference: str | None
    simplified: bool


class OnFile(NamedTuple):
    """The plot file that counts for a lot."""

    number: int
    plots: int
    area_m2: int
    countries: Sequence[str]


@dataclass(frozen=True)
class Known:
    """What is on record about one lot."""

    lot_id: int
    lot: str
    name: str
    origin: str
    delivery: str
    supplier: str | None = None
    supplier_address: str | None = None
    supplier_email: str | None = None
    role: FirmRole | None = None
    from_operator: bool | None = None
    plots: OnFile | None = None
    hs_code: str | None = None
    produced_from: date | None = None
    produced_to: date | None = None
    statements: Sequence[Named] = ()
    not_available: str | None = None


def lacking(known: Known, *, trader_plots: bool) -> list[Lacking]:
    """Name everything that is missing; a lot whose evidence is complete lacks nothing."""
    found = list(_of_the_firm(known))
    if known.not_available is not None and not _anything(known):
        found.append(Lacking(Lack.EVIDENCE, f"declared not available: {known.not_available}"))
    if known.role is not FirmRole.TRADER or trader_plots:
        found += _of_origin(known)
    elif known.plots is not None:
        found += _of_country(known)
    if _statement_is_asked(known):
        found += _of_statements(known)
    return found


def _anything(known: Known) -> bool:
    """Tell whether evidence was recorded after it had been declared not available."""
    return bool(known.plots or known.statements or known.hs_code or known.produced_from)


def _of_the_firm(known: Known) -> Iterator[Lacking]:
    if known.role is None:
        yield Lacking(Lack.ROLE, f"nobody said what the firm is for delivery {known.delivery}")
    if known.role is FirmRole.NONE:
        return
    if known.supplier is None:
        yield Lacking(Lack.SUPPLIER, f"delivery {known.delivery} names no supplier")
        return
    if known.supplier_address is None:
        yield Lacking(Lack.SUPPLIER_ADDRESS, f"no postal address of {known.supplier}")
    if known.supplier_email is None:
        yield Lacking(Lack.SUPPLIER_EMAIL, f"no email address of {known.supplier}")


def _of_origin(known: Known) -> Iterator[Lacking]:
    if known.plots is None:
        yield Lacking(Lack.PLOTS, "no plots are on file")
    else:
        yield from _of_country(known)
    if known.produced_from is None:
        yield Lacking(Lack.PRODUCTION_PERIOD, "no time of production")
    if known.hs_code is None:
        yield Lacking(Lack.HS_CODE, "no HS code")
    elif not is_coffee(known.hs_code):
        yield Lacking(Lack.HS_CODE, f"the HS code {known.hs_code} does not begin with 0901")


def _of_country(known: Known) -> Iterator[Lacking]:
    countries = known.plots.countries if known.plots else ()
    elsewhere = [code for code in countries if code != known.origin]
    if elsewhere:
        yield Lacking(
            Lack.COUNTRY,
            f"the plots are in {', '.join(elsewhere)} and the lot is from {known.origin}",
        )


def _statement_is_asked(known: Known) -> bool:
    if known.role is FirmRole.TRADER:
        return known.from_operator is not False
    return known.role is not FirmRole.NONE


def _of_statements(known: Known) -> Iterator[Lacking]:
    if not known.statements:
        yield Lacking(Lack.STATEMENT, "no reference of a due-diligence statement")
    if known.role is FirmRole.TRADER:
        return
    for named in known.statements:
        if named.verification is None and not named.simplified:
            yield Lacking(
                Lack.VERIFICATION, f"no verification number of statement {named.reference}"
            )

"""Who may do what: roles, permissions and the one table that joins them."""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Final


class Role(StrEnum):
    """What a person is in the roastery; one person may be several."""

    WAREHOUSE = "warehouse"
    ROASTER = "roaster"
    QUALITY = "quality"
    BUYER = "buyer"
    ADMIN = "admin"


class Permission(StrEnum):
    """One kind of act. The value is what a refusal names."""

    ADMIN = "house:administer"
    """Let people and devices in and out; see settings, backups and how the service is."""
    ADJUST = "stock:adjust"
    """Book a sample, a spill, a count, a destruction."""
    APPROVE_COUNT = "counts:approve"
    """Book what a count found, or reject it. Not for those who counted."""
    BLEND = "blends:make"
    CERTIFICATES = "certificates:edit"
    """Keep certificates, and put them on record for lots."""
    CLEAN = "machines:clean"
    """Record that a machine, a silo, a hopper or a tray was emptied and cleaned."""
    COSTS = "costs:book"
    """Book what green cost beside the price of its contract, and take it back."""
    COUNT = "counts:take"
    """Open a stock count, enter what was counted, end it."""
    CONTRACTS = "contracts:edit"
    """Enter and change purchase contracts."""
    CUP = "roasts:cup"
    """Record a tasting and with it release or reject a set-aside roast."""
    CUSTOMERS = "customers:edit"
    DISPATCH = "dispatches:make"
    EVIDENCE = "evidence:record"
    """Put plots and due diligence of lots on record."""
    GRADE = "lots:grade"
    """Record a grading or a cupping of a green lot."""
    HOLD = "holds:place"
    """Stop coffee. Anyone on the floor who sees something wrong may."""
    INSTRUMENTS = "instruments:edit"
    """Keep the cards of instruments and their calibrations."""
    INSPECT = "arrivals:inspect"
    """Say what an arrived lot looks and smells like, and what is wrong with it, with photos."""
    JOURNAL = "journal:export"
    """Take the whole journal out: all that was said is in it, prices too."""
    LABELS = "labels:print"
    """Order labels of sacks, racks, roasts and packs."""
    MACHINES = "machines:edit"
    MATERIALS = "materials:keep"
    """Enter packing materials, take lots of them in, count them and write them off."""
    MOVE = "sacks:move"
    OFF_RECIPE = "recipes:deviate"
    """Blend off a recipe, and say why."""
    ORDERS = "orders:edit"
    """Enter, change and cancel orders of customers."""
    PACK = "packs:make"
    PICK = "pick-lists:make"
    """Put on record which sacks are to be fetched."""
    PLACES = "locations:edit"
    PLAN = "batches:plan"
    """Plan batches, which reserves their green, and cancel them."""
    PLANNING = "cover:plan"
    """Say how components and origins are bought: level of service, lead time, units."""
    PRICES = "prices:see"
    """What green cost: a matter between buyers and suppliers."""
    PRODUCTS = "products:edit"
    READ = "book:read"
    """See lots, traces, cover and the journal."""
    READING = "readings:take"
    RECALL = "recalls:work"
    """Open recall cases and drills, stop what they reach, and work them off."""
    RECIPES = "recipes:edit"
    """Say what blends of a name are made of."""
    RECEIVE = "deliveries:receive"
    RELEASE = "holds:release"
    """Let held coffee go again: a decision of quality alone."""
    RETURN = "returns:receive"
    ROAST = "roasts:make"
    SAMPLE = "samples:take"
    """Draw a sample out of sacks, or enter one that somebody sent."""
    SIGN_DRILL = "drills:sign"
    """Sign off a drill that somebody else ran."""
    STYLES = "styles:edit"
    """Say what roasts of a style are held to."""
    SUPPLIERS = "suppliers:edit"
    VOID = "units:void"
    """Undo a mistaken entry by a correcting one."""
    WEIGH = "packs:weigh"
    """Check the weight of bags."""


_P = Permission

GRANTS: Final[Mapping[Role, frozenset[Permission]]] = {
    Role.WAREHOUSE: frozenset({
        _P.READ, _P.RECEIVE, _P.MOVE, _P.READING, _P.ADJUST, _P.HOLD, _P.PLACES, _P.PACK,
        _P.DISPATCH, _P.RETURN, _P.CLEAN, _P.VOID, _P.SAMPLE, _P.LABELS, _P.WEIGH, _P.PICK,
        _P.COUNT, _P.INSPECT, _P.MATERIALS, _P.ORDERS,
    }),
    Role.ROASTER: frozenset({
        _P.READ, _P.ROAST, _P.BLEND, _P.PACK, _P.CLEAN, _P.MOVE, _P.READING, _P.ADJUST, _P.HOLD,
        _P.VOID, _P.SAMPLE, _P.LABELS, _P.WEIGH, _P.PICK, _P.COUNT, _P.MATERIALS, _P.PLAN,
    }),
    Role.QUALITY: frozenset({
        _P.READ, _P.CUP, _P.HOLD, _P.RELEASE, _P.CLEAN, _P.READING, _P.ADJUST, _P.MOVE, _P.RETURN,
        _P.VOID, _P.SAMPLE, _P.GRADE, _P.EVIDENCE, _P.LABELS, _P.WEIGH, _P.STYLES, _P.RECIPES,
        _P.OFF_RECIPE, _P.BLEND, _P.COUNT, _P.APPROVE_COUNT, _P.CERTIFICATES, _P.INSTRUMENTS,
        _P.INSPECT, _P.RECALL, _P.SIGN_DRILL,
    }),
    Role.BUYER: frozenset({
        _P.READ, _P.PRICES, _P.COSTS, _P.JOURNAL, _P.SUPPLIERS, _P.CUSTOMERS, _P.PRODUCTS,
        _P.EVIDENCE, _P.APPROVE_COUNT, _P.CERTIFICATES, _P.CONTRACTS, _P.ORDERS, _P.SIGN_DRILL,
        _P.PLANNING,
    }),
    Role.ADMIN: frozenset(Permission),
}  # fmt: skip


def permissions_of(roles: Iterable[Role]) -> frozenset[Permission]:
    """Everything that any of the roles may do."""
    return frozenset().union(*(GRANTS[role] for role in roles))

"""The cards of the scenario: suppliers, customers, places, machines and products."""

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal

from app.green.actions import SUPPLIERS as SUPPLIER_CARDS
from app.green.certificates.queries import CERTIFICATES
from app.green.certificates.schemas import CertificateIn
from app.green.instruments.actions import calibrate
from app.green.instruments.rules import CalibrationResult
from app.green.instruments.schemas import CalibrationIn, InstrumentIn
from app.green.instruments.shelf import INSTRUMENTS
from app.green.schemas import SupplierIn
from app.ledger.cards import add
from app.packing.actions import PRODUCTS as PRODUCT_CARDS
from app.packing.recipes.actions import add_recipe
from app.packing.recipes.schemas import RecipeIn
from app.packing.schemas import ProductIn
from app.places.actions import add_location
from app.places.schemas import LocationIn
from app.roasting.machines import MACHINES
from app.roasting.schemas import MachineIn
from app.roasting.styles.actions import add_style
from app.roasting.styles.schemas import StyleIn
from app.sending.actions import CUSTOMERS as CUSTOMER_CARDS
from app.sending.schemas import CustomerIn
from app.shared.mass import kg_from_grams
from app.shared.staff import Role
from seed.diary import Diary
from seed.roastery import (
    BIG_DRUM,
    BLENDER,
    CAPACITIES_G,
    CUSTOMERS,
    HOUSE,
    LINES,
    METERS,
    ORGANIC,
    PRODUCTS,
    QUARANTINE,
    RACKS,
    RECIPES,
    ROASTER_SIDE,
    ROASTINGS,
    SHELF_LIFE_DAYS,
    SITE,
    SMALL_DRUM,
    STAFF,
    SUPPLIERS,
    TASTING_ROOM,
)

TOLERANCE, REWORK_PCT = 5, 40
"""How far a blend may be off its recipe, and how much of it may be the end of the one before."""
PLACES = {ROASTER_SIDE: "roaster_side", QUARANTINE: "floor"}
MACHINE_KINDS = {
    BIG_DRUM: "roaster",
    SMALL_DRUM: "roaster",
    BLENDER: "blender",
    **dict.fromkeys(LINES.values(), "packing_line"),
}


def _places() -> Iterator[dict[str, str]]:
    """Lay out the house: levels stand in bays, bays in racks, and all of it on the site."""
    yield {"code": HOUSE, "kind": "site"}
    yield from ({"code": code, "kind": kind, "parent": HOUSE} for code, kind in PLACES.items())
    known = set()
    for level in RACKS:
        rack, bay, _ = level.split("-")
        for code, kind, parent in ((rack, "rack", HOUSE), (f"{rack}-{bay}", "bay", rack)):
            if code not in known:
                known.add(code)
                yield {"code": code, "kind": kind, "parent": parent}
        yield {"code": level, "kind": "level", "parent": f"{rack}-{bay}"}


def furnish(diary: Diary) -> None:
    """Enter everything that has a card, early on the first day."""
    pen = diary.hand(STAFF[Role.ADMIN], diary.at(6))
    for place in _places():
        add_location(pen, LocationIn.model_validate(place | {"site": SITE}))
    for code, kind in MACHINE_KINDS.items():
        capacity = {"capacity_kg": kg_from_grams(CAPACITIES_G[code])} if kind == "roaster" else {}
        machine = {"code": code, "kind": kind, **capacity}
        add(pen, MACHINES, MachineIn.model_validate(machine))
    pen = diary.hand(STAFF[Role.BUYER], diary.at(7))
    for name in SUPPLIERS:
        add(pen, SUPPLIER_CARDS, SupplierIn(name=name))
    for customer in CUSTOMERS:
        add(pen, CUSTOMER_CARDS, CustomerIn(name=customer.name, contact=customer.contact))
    add(pen, CUSTOMER_CARDS, CustomerIn(name=TASTING_ROOM))
    certificate = {
        "code": ORGANIC, "scheme": "Organic farming, the Republic of Nowhere", "claim": "organic",
        "number": "NW-BIO-017/0260", "holder": "Haro Wenzi Station", "body": "NW-BIO-017",
        "valid_from": str(diary.today), "valid_until": str(diary.today + timedelta(days=730)),
    }  # fmt: skip
    add(pen, CERTIFICATES, CertificateIn.model_validate(certificate))
    _write_recipes(diary)
    pen = diary.hand(STAFF[Role.BUYER], diary.at(7))
    for product in PRODUCTS:
        recipe = RECIPES[product.recipe]
        card = {
            "sku": product.sku, "name": f"{product.recipe} {product.nominal_g} g",
            "nominal_g": product.nominal_g, "gtin": product.gtin,
            "shelf_life_days": SHELF_LIFE_DAYS,
            "recipe": recipe.name if recipe.mixed else None,
            "style": None if recipe.mixed else recipe.parts[0][0].name,
        }  # fmt: skip
        add(pen, PRODUCT_CARDS, ProductIn.model_validate(card))
    _bring_meters(diary)


def _write_recipes(diary: Diary) -> None:
    """Enter what roasts are held to and what blends are made of."""
    pen = diary.hand(STAFF[Role.QUALITY], diary.at(7))
    for roasting in ROASTINGS:
        style = roasting.style
        asked = StyleIn.model_validate({
            "name": roasting.name, "loss_pct": Decimal(style.loss_bp) / 100,
            "loss_tolerance": Decimal(style.spread_bp * 3 // 2) / 100,
            "colour_target": style.colour, "colour_tolerance": 3,
        })  # fmt: skip
        add_style(pen, asked)
    for recipe in RECIPES.values():
        if recipe.mixed:
            base = [{"name": recipe.base, "share_pct": recipe.base_share}] if recipe.base else []
            parts = [
                {"name": roasting.name, "share_pct": share} for roasting, share in recipe.parts
            ]
            card = {"name": recipe.name, "components": base + parts, "tolerance": TOLERANCE}
            add_recipe(pen, RecipeIn.model_validate(card | {"rework_at_most_pct": REWORK_PCT}))


def _bring_meters(diary: Diary) -> None:
    """Enter what coffee and rooms are measured with, each held against a reference lately."""
    pen = diary.hand(STAFF[Role.QUALITY], diary.at(8))
    for each in METERS:
        card = {
            "code": each.code, "name": each.name, "kinds": list(each.kinds),
            "method": each.method, "calibration_every_days": each.every_days,
        }  # fmt: skip
        add(pen, INSTRUMENTS, InstrumentIn.model_validate(card))
        held = CalibrationIn(
            calibrated_on=diary.today - timedelta(days=20), against=each.against,
            result=CalibrationResult.PASSED, by=STAFF[Role.QUALITY],
        )  # fmt: skip
        calibrate(pen, each.code, held)

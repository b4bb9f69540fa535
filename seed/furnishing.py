"""The cards of the scenario: suppliers, customers, places, machines and products."""

from collections.abc import Iterator
from datetime import timedelta

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
from app.packing.schemas import ProductIn
from app.places.actions import add_location
from app.places.schemas import LocationIn
from app.roasting.machines import MACHINES
from app.roasting.schemas import MachineIn
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
    ROASTER_SIDE,
    SHELF_LIFE_DAYS,
    SITE,
    SMALL_DRUM,
    STAFF,
    SUPPLIERS,
    TASTING_ROOM,
)

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
    for product in PRODUCTS:
        card = {
            "sku": product.sku, "name": f"{product.recipe} {product.nominal_g} g",
            "nominal_g": product.nominal_g, "gtin": product.gtin,
            "shelf_life_days": SHELF_LIFE_DAYS,
        }  # fmt: skip
        add(pen, PRODUCT_CARDS, ProductIn.model_validate(card))
    _bring_meters(diary)


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

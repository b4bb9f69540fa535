"""Cards of places, machines, products and partners: entered and changed, never erased."""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Annotated, Any, Final, NamedTuple
from urllib.parse import quote

from fastapi import Path, Response
from sqlmodel import Session

from app.green.actions import SUPPLIERS
from app.green.certificates import actions as certificates
from app.green.certificates.queries import CERTIFICATES
from app.green.certificates.schemas import CertificateChange, CertificateIn
from app.green.instruments.schemas import InstrumentChange, InstrumentIn
from app.green.instruments.shelf import INSTRUMENTS
from app.green.schemas import SupplierChange, SupplierIn
from app.ledger import cards as book
from app.ledger.cards import CardOut, Shelf
from app.ledger.schemas import Asked, Change
from app.packing import products
from app.packing.actions import PRODUCTS
from app.packing.materials.queries import MATERIALS
from app.packing.materials.schemas import MaterialChangeIn, MaterialIn
from app.packing.materials.tables import MaterialKind, MaterialUnit
from app.packing.recipes import actions as recipes
from app.packing.recipes.actions import RECIPES
from app.packing.recipes.schemas import RecipeChange, RecipeIn
from app.packing.schemas import ProductChange, ProductIn
from app.packing.tables import DateChoice
from app.places import actions as places
from app.places.actions import LOCATIONS
from app.places.queries import location, location_page
from app.places.schemas import LocationChange, LocationIn
from app.roasting.machines import MACHINES
from app.roasting.rules import ColourForm
from app.roasting.schemas import MachineChange, MachineIn
from app.roasting.styles import actions as styles
from app.roasting.styles.actions import STYLES
from app.roasting.styles.schemas import StyleChange, StyleIn
from app.roasting.tables import MachineKind
from app.sending.actions import CUSTOMERS
from app.sending.crates.schemas import CrateKindChange, CrateKindIn
from app.sending.crates.shelf import CRATE_KINDS
from app.sending.schemas import CustomerChange, CustomerIn
from app.sending.tables import CustomerKind
from app.shared.paging import Page, PageAsked, PageOf
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.web import cards, readings, store
from app.web.desk import Desk, Visiting
from app.web.forms import Form
from app.web.routing import page_router
from app.web.shown import mass_kg, number
from app.web.tasks import Room, Task
from app.web.texts import N_, _, options

router = page_router()


class Field(NamedTuple):
    """A field of a card."""

    name: str
    label: str
    kind: str = "text"
    """Text, words, a day, a number, grams, a mass, a percentage, yes or no, one choice, ticks, or
    rows."""
    choices: Mapping[Any, str] = {}
    """Of rows: what stands in one."""
    needed: bool = False
    hint: str = ""
    fixed: bool = False
    """Whether it is said once, when the card is entered."""


class Sort(NamedTuple):
    """A sort of cards."""

    title: str
    shelf: Shelf[Any]
    entered: type[Asked]
    changed: type[Change]
    permission: Permission
    fields: Sequence[Field]
    fixed: str
    """What cannot be changed, in words."""
    add: Callable[..., Any] | None = None
    """Of its own; else as every card is entered."""
    change: Callable[..., Any] | None = None

    @property
    def lists(self) -> cards.Lists:
        """The fields of which there are rows."""
        return {each.name: tuple(each.choices) for each in self.fields if each.kind == "rows"}


_RUNS: Final = (
    Field("carry_over_runs", N_("Runs that can hold a rest of it"), "number",
          hint=N_("For possible contact in a trace.")),
    Field("carry_over_hours", N_("For so many hours at the most"), "number"),
)  # fmt: skip
_NOTE: Final = Field("note", N_("Note"), "words")
_MACHINES: Final = {
    MachineKind.ROASTER: N_("roaster"), MachineKind.BLENDER: N_("blender"),
    MachineKind.PACKING_LINE: N_("packing line"),
}  # fmt: skip
_DATES: Final = {
    DateChoice.AUTO: N_("as little as the shelf life allows"), DateChoice.DAY: N_("to the day"),
    DateChoice.MONTH: N_("to the month"), DateChoice.YEAR: N_("to the year"),
}  # fmt: skip
_COLOUR_FORMS: Final = {ColourForm.WHOLE: N_("whole beans"), ColourForm.GROUND: N_("ground coffee")}
_CUSTOMERS: Final = {
    CustomerKind.BUSINESS: N_("business"), CustomerKind.CONSUMERS: N_("consumers"),
}  # fmt: skip
_MATERIALS: Final = {
    MaterialKind.FILM: N_("film"), MaterialKind.BAG: N_("bag"), MaterialKind.VALVE: N_("valve"),
    MaterialKind.LABEL: N_("label"), MaterialKind.CASE: N_("case"), MaterialKind.OTHER: N_("other"),
}  # fmt: skip
_COUNTED: Final = {MaterialUnit.PIECE: N_("pieces"), MaterialUnit.METRE: N_("metres")}
_SLOT: Final = {
    "lots": N_("Lots"), "share_pct": N_("Share in %"), "component": N_("What it is called"),
}  # fmt: skip
_COMPONENT: Final = {"name": N_("Component"), "share_pct": N_("Share in %")}
_READ: Final = {kind: said for kind, (said, _unit) in sorted(readings.KINDS.items())}

SORTS: Final[Mapping[str, Sort]] = {
    "places": Sort(
        N_("Places"), LOCATIONS, LocationIn, LocationChange, Permission.PLACES, (
            Field("code", N_("Code"), needed=True, fixed=True),
            Field("kind", N_("Kind"), "choice", store.KINDS, needed=True),
            Field("parent", N_("Part of"), hint=N_("The code of the place around it.")),
            Field("site", N_("Site")),
            Field("capacity_kg", N_("Holds at the most"), "mass"),
            Field("above_shoulder", N_("Sacks are lifted above the shoulder"), "yesno",
                  hint=N_("Empty: as the place around it.")),
            *_RUNS,
        ),
        N_("The code stays, and what a place is part of once coffee stood there."),
        places.add_location, places.change_location,
    ),
    "machines": Sort(
        N_("Machines"), MACHINES, MachineIn, MachineChange, Permission.MACHINES, (
            Field("code", N_("Code"), needed=True, fixed=True),
            Field("kind", N_("Kind"), "choice", _MACHINES, needed=True, fixed=True),
            Field("capacity_kg", N_("Largest charge"), "mass"),
            *_RUNS,
        ),
        N_("Code and kind stay: what ran on it is in the book."),
    ),
    "products": Sort(
        N_("Products"), PRODUCTS, ProductIn, ProductChange, Permission.PRODUCTS, (
            Field("sku", N_("Number"), needed=True, fixed=True),
            Field("name", N_("Name"), needed=True),
            Field("nominal_g", N_("Nominal quantity of a bag"), "grams", needed=True, fixed=True),
            Field("gtin", N_("GTIN")),
            Field("shelf_life_days", N_("Shelf life in days"), "number"),
            Field("shelf_life_months", N_("Or in months"), "number"),
            Field("date_form", N_("Date on the bag"), "choice", _DATES),
            Field("recipe", N_("Recipe")),
            Field("style", N_("Style"), hint=N_("Where it is no blend.")),
        ),
        N_("Number and nominal quantity stay: another size is another product."),
        products.add_product, products.change_product,
    ),
    "styles": Sort(
        N_("Roast styles"), STYLES, StyleIn, StyleChange, Permission.STYLES, (
            Field("name", N_("Name"), needed=True),
            Field("loss_pct", N_("Weight loss aimed at"), "percent"),
            Field("loss_tolerance", N_("Points it may be off"), "number"),
            Field("colour_target", N_("Colour aimed at"), "number"),
            Field("colour_tolerance", N_("Colour may be off by"), "number"),
            Field("colour_scale", N_("Scale of the colour")),
            Field("colour_form", N_("Read on"), "choice", _COLOUR_FORMS),
            Field("drop_c", N_("Drop at, in °C"), "number"),
            Field("total_s", N_("From charge to drop, in seconds"), "number"),
            Field("machine", N_("Drum")),
            Field("batch_kg", N_("Usual charge"), "mass"),
            Field("green", N_("What a charge is made of"), "rows", _SLOT,
                  hint=N_("Of several lots the first as long as it lasts.")),
            _NOTE,
        ),
        N_("A change counts from the next roast on."),
        styles.add_style, styles.change_style,
    ),
    "recipes": Sort(
        N_("Recipes"), RECIPES, RecipeIn, RecipeChange, Permission.RECIPES, (
            Field("name", N_("Name"), needed=True),
            Field("tolerance", N_("Points a share may be off"), "number"),
            Field("rework_at_most_pct", N_("Rework in it at most"), "percent"),
            Field("components", N_("What it is made of"), "rows", _COMPONENT, needed=True,
                  hint=N_("Each by the name of its style or recipe; the shares add up to 100.")),
            _NOTE,
        ),
        N_("A change counts from the next blend on."),
        recipes.add_recipe, recipes.change_recipe,
    ),
    "suppliers": Sort(
        N_("Suppliers"), SUPPLIERS, SupplierIn, SupplierChange, Permission.SUPPLIERS, (
            Field("name", N_("Name"), needed=True),
            Field("address", N_("Address"), "words"),
            Field("email", N_("E-mail")),
            Field("web", N_("Website")),
        ),
        N_("A supplier is not erased: deliveries name it."),
    ),
    "customers": Sort(
        N_("Customers"), CUSTOMERS, CustomerIn, CustomerChange, Permission.CUSTOMERS, (
            Field("name", N_("Name"), needed=True),
            Field("contact", N_("Whom to call in a recall, and how"), "words"),
            Field("address", N_("Address"), "words"),
            Field("kind", N_("Kind"), "choice", _CUSTOMERS, fixed=True,
                  hint=N_("Consumers: a counter, where nobody has names.")),
        ),
        N_("The kind stays, and a customer is not erased: dispatches name it."),
    ),
    "instruments": Sort(
        N_("Instruments"), INSTRUMENTS, InstrumentIn, InstrumentChange, Permission.INSTRUMENTS, (
            Field("code", N_("Code"), needed=True, fixed=True),
            Field("name", N_("Name"), needed=True),
            Field("kinds", N_("What it reads"), "ticks", _READ, needed=True),
            Field("method", N_("Method")),
            Field("calibration_every_days", N_("Days from calibration to calibration"), "number"),
            _NOTE,
        ),
        N_("The code stays: readings name it."),
    ),
    "materials": Sort(
        N_("Packing materials"), MATERIALS, MaterialIn, MaterialChangeIn, Permission.MATERIALS, (
            Field("code", N_("Code"), needed=True, fixed=True),
            Field("name", N_("Name"), needed=True),
            Field("kind", N_("Kind"), "choice", _MATERIALS, needed=True, fixed=True),
            Field("unit", N_("Counted in"), "choice", _COUNTED, needed=True, fixed=True),
            Field("has_valve", N_("With a valve in it"), "yesno"),
            _NOTE,
        ),
        N_("Code, kind and unit stay: its lots are counted so."),
    ),
    "certificates": Sort(
        N_("Certificates"), CERTIFICATES, CertificateIn, CertificateChange, Permission.CERTIFICATES,
        (
            Field("code", N_("Code"), needed=True, fixed=True),
            Field("scheme", N_("Scheme"), needed=True),
            Field("claim", N_("Claim"), needed=True, fixed=True, hint=N_("Such as organic.")),
            Field("number", N_("Number"), needed=True),
            Field("holder", N_("Holder")),
            Field("body", N_("Certifying body")),
            Field("valid_from", N_("Valid from"), "day", needed=True),
            Field("valid_until", N_("Valid until"), "day"),
            Field("withdrawn_on", N_("Withdrawn on"), "day"),
        ),
        N_("Code and claim stay: another claim is another certificate."),
        change=certificates.change,
    ),
    "crates": Sort(
        N_("Kinds of crates"), CRATE_KINDS, CrateKindIn, CrateKindChange, Permission.DISPATCH, (
            Field("name", N_("Name"), needed=True),
            Field("tare_kg", N_("An empty one weighs"), "mass"),
            Field("deposit", N_("A deposit is taken on it"), "yesno"),
        ),
        N_("A kind of crate is not erased: movements name it."),
    ),
}  # fmt: skip

TASKS = tuple(
    Task(f"/cards/{name}", sort.title, Room.OFFICE, sort.permission) for name, sort in SORTS.items()
)
SortName = Annotated[str, Path(max_length=20)]
Key = Annotated[str, Path(max_length=200)]


def _sort(desk: Desk, name: str) -> Sort:
    """Find a sort of cards that this person may keep."""
    if name not in SORTS:
        raise Refused("not-found", f"There are no cards {name}.")
    desk.staff.refuse_without(SORTS[name].permission)
    return SORTS[name]


@router.get("/cards/{name}")
def list_cards(desk: Visiting, name: SortName, page: PageAsked) -> Response:
    """List the cards of a sort."""
    sort = _sort(desk, name)
    rows, following = desk.read(_page, sort, page)
    columns = sort.fields[:3]
    lines = [
        (_key(sort, row), [_shown(field, row[field.name]) for field in columns]) for row in rows
    ]
    return desk.show(
        "master_cards.html", sort=sort, name=name, lines=lines, following=following,
        headings=[_(field.label) for field in columns],
    )  # fmt: skip


def _page(session: Session, sort: Sort, page: Page) -> PageOf:
    if sort.shelf is LOCATIONS:
        return location_page(session, page, None, None)
    return book.page_of(session, sort.shelf, page)


def _key(sort: Sort, row: Mapping[str, Any]) -> str:
    """Name a card in an address: by its number where its name can change."""
    return quote(str(row["id"] if sort.shelf.by_name else row[sort.shelf.key]), safe="")


def _shown(field: Field, said: Any) -> str:  # noqa: ANN401 - whatever stands on a card
    if said is None:
        return ""
    if field.kind == "mass":
        return mass_kg(said)
    if field.kind == "yesno":
        return _("yes") if said else _("no")
    if field.choices:
        return ", ".join(_(field.choices[each]) for each in _listed(said))
    return number(said) if isinstance(said, Decimal | int) else str(said)


def _pairs(field: Field) -> list[tuple[str, str]]:
    return options(field.choices)


def _listed(said: str | list[str]) -> list[str]:
    return said if isinstance(said, list) else [said]


@router.get("/cards/{name}/new")
def show_new(desk: Visiting, name: SortName) -> Response:
    """Ask for what stands on a new card."""
    sort = _sort(desk, name)
    return _ask(desk, name, desk.blank(sort.entered))


@router.post("/cards/{name}/new")
def add_card(desk: Visiting, name: SortName) -> Response:
    """Enter it."""
    sort = _sort(desk, name)
    form = desk.sent(sort.entered)
    before = () if sort.add else (sort.shelf,)
    if made := desk.book(form, sort.add or book.add, *before):
        said = _("%(name)s is entered.") % {"name": made[sort.shelf.key]}
        return desk.onward(f"/cards/{name}", said)
    return _ask(desk, name, form)


def _ask(desk: Desk, name: str, form: Form[Any], card: CardOut | None = None) -> Response:
    sort = SORTS[name]
    said = card.model_dump(by_alias=True) if card else {}
    return desk.show(
        "master_card.html", form, sort=sort, card=card, written=said,
        action=f"/cards/{name}/{_key(sort, said) if said else 'new'}", shown=_shown, pairs=_pairs,
    )  # fmt: skip


@router.get("/cards/{name}/{key}")
def show_card(desk: Visiting, name: SortName, key: Key) -> Response:
    """Show a card, to be changed."""
    sort = _sort(desk, name)
    card = desk.read(_card, sort, key)
    return _ask(desk, name, cards.opened(card, sort.changed, sort.lists), card)


def _card(session: Session, sort: Sort, key: str) -> CardOut:
    if sort.shelf is LOCATIONS:
        return location(session, key)
    card = book.card_at(session, sort.shelf, key)
    return sort.shelf.out.model_validate(card, from_attributes=True)


@router.post("/cards/{name}/{key}")
def change_card(desk: Visiting, name: SortName, key: Key) -> Response:
    """Change what was changed of a card, if nobody else changed it meanwhile."""
    sort = _sort(desk, name)
    card = desk.read(_card, sort, key)
    form = cards.changed(desk, card, sort.changed, sort.lists)
    if form.asked is not None and not form.asked.model_fields_set:
        return desk.onward(f"/cards/{name}", _("Nothing was changed."))
    before = (key,) if sort.change else (sort.shelf, key)
    tag = cards.tag_of(desk)
    if made := desk.book(form, sort.change or book.change, *before, if_match=tag):
        said = _("%(name)s is changed.") % {"name": made[sort.shelf.key]}
        return desk.onward(f"/cards/{name}", said)
    return _ask(desk, name, form, card)

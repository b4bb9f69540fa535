"""An invented roastery: its people, places, machines, coffees, products and customers.

Nobody and nothing here exists but the countries. The GTINs begin with 20, a range that numbers
things inside one company.
"""

from collections import Counter
from collections.abc import Mapping
from decimal import Decimal
from typing import Final, NamedTuple

from stdnum import ean

from app.shared.mass import Grams, share_out
from app.shared.staff import Role

SITE: Final = "Mill Lane"
HOUSE: Final = "MILL-LANE"
"""The code of the site, which every place is part of."""

STAFF: Final[Mapping[Role, str]] = {
    Role.WAREHOUSE: "Wenna Ostrow",
    Role.ROASTER: "Rufus Kallen",
    Role.QUALITY: "Quill Hartog",
    Role.BUYER: "Bettine Sorrel",
    Role.ADMIN: "Adda Vane",
}
"""Who does what; the demo makes a token for each."""
PACKER: Final = "Pavo Linde"
SECOND_ROASTER: Final = "Imke Dahlberg"

RACKS: Final = tuple(
    f"{row}-{bay:02d}-{level}" for row in "ABC" for bay in range(1, 7) for level in (1, 2)
)
ROASTER_SIDE: Final = "ROASTER-SIDE"
QUARANTINE: Final = "QUARANTINE"
CLIMATE_AT: Final = "B-03-1"
"""Where the thermometer hangs."""

METER: Final = "MM-2"
"""The moisture meter, which is held against the oven now and then."""


class Meter(NamedTuple):
    """What coffee and rooms are measured with."""

    code: str
    name: str
    kinds: tuple[str, ...]
    method: str | None
    against: str
    every_days: int | None = None


METERS: Final = (
    Meter(METER, "Moisture meter", ("moisture",), "meter", "ISO 6673", 120),
    Meter("AW-1", "Water activity meter", ("water_activity",), None, "salt solutions"),
    Meter(
        "TH-4", "Thermometer and hygrometer on the rack",
        ("relative_humidity", "temperature"), None, "reference hygrometer",
    ),
)  # fmt: skip

BIG_DRUM: Final = "DRUM-75"
SMALL_DRUM: Final = "DRUM-15"
BLENDER: Final = "BLENDER-1"
LINES: Final[Mapping[int, str]] = {2000: "LINE-2KG", 250: "LINE-250"}
"""The packing lines, by the grams in a bag."""
CAPACITIES_G: Final[Mapping[str, int]] = {BIG_DRUM: 75_000, SMALL_DRUM: 15_000}


class Coffee(NamedTuple):
    """A green coffee that is bought again and again, each time as a new lot."""

    name: str
    origin: str
    process: str
    sack_g: int
    supplier: str
    exporter: str | None = None
    """Country and exporter of its ICO marks, where it has any."""
    certificate: str | None = None
    """Code of the certificate that each of its lots comes with."""


PARCHMENT: Final = "Port & Parchment Imports"
SILVER_QUAY: Final = "Silver Quay Green Traders"
SUPPLIERS: Final = (PARCHMENT, SILVER_QUAY)

SERRA: Final = Coffee("Serra dos Sete Sinos", "BR", "natural", 60_000, PARCHMENT, "002-7301")
TORTUGA: Final = Coffee("Finca Tres Tortugas", "GT", "washed", 69_000, PARCHMENT, "011-7044")
NUBE: Final = Coffee("Cooperativa Nube Quieta", "CO", "washed", 69_000, PARCHMENT, "003-7120")
NUBE_DECAF: Final = Coffee(
    "Nube Quieta Decaf", "CO", "washed, decaffeinated", 69_000, PARCHMENT, "003-7121"
)
ORGANIC: Final = "ORG-WENZI"
WENZI: Final = Coffee(
    "Haro Wenzi Station", "ET", "washed", 60_000, SILVER_QUAY, "010-7260", ORGANIC
)
KIBOKO: Final = Coffee("Kiboko Ridge AB", "KE", "washed", 60_000, SILVER_QUAY)
GHAT: Final = Coffee("Moonlit Ghat Robusta", "IN", "washed", 60_000, SILVER_QUAY)
AWAN: Final = Coffee("Kampung Awan Putih", "ID", "wet hulled", 60_000, SILVER_QUAY)
COFFEES: Final = (SERRA, TORTUGA, NUBE, NUBE_DECAF, WENZI, KIBOKO, GHAT, AWAN)


PRICES: Final[Mapping[Coffee, tuple[Decimal, str, str]]] = {
    SERRA: (Decimal("2.95"), "USD", "lb"),
    TORTUGA: (Decimal("3.42"), "USD", "lb"),
    NUBE: (Decimal("3.38"), "USD", "lb"),
    NUBE_DECAF: (Decimal("3.91"), "USD", "lb"),
    WENZI: (Decimal("8.60"), "EUR", "kg"),
    KIBOKO: (Decimal("10.45"), "EUR", "kg"),
    GHAT: (Decimal("4.80"), "EUR", "kg"),
    AWAN: (Decimal("6.15"), "EUR", "kg"),
}
"""What one of a unit costs; the importers invoice in two currencies."""


class Style(NamedTuple):
    """How dark a coffee is roasted, and what the gate asks of it."""

    name: str
    loss_bp: int
    """The usual weight loss, in hundredths of a per cent."""
    spread_bp: int
    """How far a good roast may lose more or less than that."""
    colour: int


FILTER: Final = Style("filter", 1460, 60, 76)
ESPRESSO: Final = Style("espresso", 1580, 90, 63)
DARK: Final = Style("dark", 1700, 90, 51)


class Roasting(NamedTuple):
    """One coffee in one style: what a silo holds."""

    coffee: Coffee
    style: Style

    @property
    def name(self) -> str:
        """What the card of its style is called."""
        return f"{self.coffee.name} {self.style.name}"


class Recipe(NamedTuple):
    """What is in the bags: one roasted coffee, or several mixed by shares that add up to 100."""

    name: str
    parts: tuple[tuple[Roasting, int], ...]
    base: str | None = None
    """The blend that is mixed in as a whole, where there is one."""
    base_share: int = 0

    @property
    def mixed(self) -> bool:
        """Whether it goes through the blender."""
        return len(self.parts) > 1 or self.base is not None


_DECAF: Final = Roasting(NUBE_DECAF, ESPRESSO)
RECIPES: Final[Mapping[str, Recipe]] = {
    recipe.name: recipe
    for recipe in (
        Recipe("Half Moon", ((_DECAF, 50),), base="Belfry", base_share=50),
        Recipe(
            "Belfry",
            (
                (Roasting(SERRA, ESPRESSO), 50),
                (Roasting(TORTUGA, ESPRESSO), 30),
                (Roasting(WENZI, ESPRESSO), 20),
            ),
        ),
        Recipe(
            "Coal Quay",
            ((Roasting(SERRA, DARK), 50), (Roasting(GHAT, DARK), 30), (Roasting(AWAN, DARK), 20)),
        ),
        Recipe("First Light", ((Roasting(WENZI, FILTER), 100),)),
        Recipe("River Mist", ((Roasting(NUBE, FILTER), 100),)),
        Recipe("High Ridge", ((Roasting(KIBOKO, FILTER), 100),)),
        Recipe("Lullaby Decaf", ((_DECAF, 100),)),
    )
}
"""A blend that goes into another stands after it: by then it is known how much of it is wanted."""
ROASTINGS: Final = tuple(
    dict.fromkeys(roasting for recipe in RECIPES.values() for roasting, _ in recipe.parts)
)


class Product(NamedTuple):
    """A bag that is sold."""

    sku: str
    recipe: str
    nominal_g: int
    gtin: str


def _products() -> tuple[Product, ...]:
    sizes = {"Half Moon": (250,), "River Mist": (250,), "High Ridge": (250,)}
    bags = [(name, size) for name in RECIPES for size in sizes.get(name, (2000, 250))]
    return tuple(
        Product(f"{name.upper().replace(' ', '-')}-{size}", name, size, _gtin(number))
        for number, (name, size) in enumerate(bags, 1)
    )


def _gtin(number: int) -> str:
    digits = f"2000000{number:05d}"
    return digits + ean.calc_check_digit(digits)


PRODUCTS: Final = _products()
SHELF_LIFE_DAYS: Final = 365


class Customer(NamedTuple):
    """Somebody who orders on certain days of the week, about the same each time."""

    name: str
    days: str
    """Digits of the working days on which the van comes, 0 to 4."""
    basket: Mapping[str, int]
    """Product to bags."""

    @property
    def contact(self) -> str:
        """Whom to write to in a recall."""
        box = "".join(letter if letter.isalnum() else "-" for letter in self.name.casefold())
        return f"orders@{box}.example"


TASTING_ROOM: Final = "Mill Lane tasting room"
"""Where bags go that came back sound."""

CUSTOMERS: Final = (
    Customer("Windmill Cafe", "03", {"BELFRY-2000": 21, "FIRST-LIGHT-2000": 4}),
    Customer("Bar Lumen", "14", {"COAL-QUAY-2000": 24, "LULLABY-DECAF-2000": 3}),
    Customer("Crumb and Ladle Bakery", "024", {"BELFRY-2000": 15, "BELFRY-250": 36}),
    Customer("Harbour Steps Espresso", "13", {"BELFRY-2000": 27, "COAL-QUAY-2000": 9}),
    Customer("Cafe Paper Boat", "2", {"BELFRY-2000": 18, "RIVER-MIST-250": 30}),
    Customer("The Reading Lamp", "4", {"FIRST-LIGHT-2000": 9, "LULLABY-DECAF-2000": 4}),
    Customer("Station Buffet Nord", "02", {"COAL-QUAY-2000": 33}),
    Customer("Little Anvil Coffee", "3", {"BELFRY-2000": 14, "FIRST-LIGHT-2000": 8}),
    Customer("Gallery Kiosk", "1", {"BELFRY-2000": 10, "HIGH-RIDGE-250": 18}),
    Customer("Seven Stairs Cafe", "4", {"COAL-QUAY-2000": 18, "BELFRY-2000": 12}),
    Customer("Tide and Tally Office", "0", {"BELFRY-2000": 15, "LULLABY-DECAF-2000": 3}),
    Customer("Plumb Line Architects", "2", {"BELFRY-2000": 8, "HALF-MOON-250": 24}),
    Customer("Foundry Street Offices", "1", {"COAL-QUAY-2000": 21, "LULLABY-DECAF-2000": 6}),
    Customer("Institute of Slow Clocks", "3", {"BELFRY-2000": 18}),
    Customer("Greenstall Market", "13", {"BELFRY-250": 90, "COAL-QUAY-250": 60}),
    Customer("Corner Larder", "2", {"BELFRY-250": 72, "FIRST-LIGHT-250": 54}),
    Customer("Oat and Orchard", "4", {"FIRST-LIGHT-250": 72, "HIGH-RIDGE-250": 30}),
    Customer("Pantry by the Canal", "0", {"COAL-QUAY-250": 72, "RIVER-MIST-250": 54}),
    Customer("Old Customs House", "2", {"COAL-QUAY-2000": 27, "BELFRY-2000": 15}),
    Customer("Guesthouse Larkspur", "1", {"BELFRY-2000": 9, "LULLABY-DECAF-250": 18}),
    Customer(
        "Web shop parcels",
        "01234",
        {"BELFRY-250": 60, "FIRST-LIGHT-250": 36},
    ),
)


class Mix(NamedTuple):
    """What goes into so much of a recipe."""

    recipe: Recipe
    base_g: int
    parts: tuple[tuple[Roasting, int], ...]

    @property
    def whole_g(self) -> int:
        """What it weighs together."""
        return self.base_g + sum(grams for _, grams in self.parts)


def mixes_for(wanted: Mapping[str, int]) -> list[Mix]:
    """Work out what goes into so many grams of each recipe: what is made first stands first."""
    grams_of = Counter(wanted)
    mixes = []
    for recipe in RECIPES.values():
        grams = grams_of[recipe.name]
        if grams <= 0:
            continue
        base_g = grams * recipe.base_share // 100
        if recipe.base is not None:
            grams_of[recipe.base] += base_g
        shares = share_out(Grams(grams - base_g), [share for _, share in recipe.parts])
        roasts = (roasting for roasting, _ in recipe.parts)
        mixes.append(Mix(recipe, base_g, tuple(zip(roasts, shares, strict=True))))
    return mixes[::-1]


def green_a_day() -> Counter[Coffee]:
    """Estimate the grams of each green coffee that a usual day takes, for the buyer."""
    a_week: Counter[str] = Counter()
    bag = {product.sku: product for product in PRODUCTS}
    for customer in CUSTOMERS:
        for sku, bags in customer.basket.items():
            a_week[bag[sku].recipe] += bags * bag[sku].nominal_g * len(customer.days)
    use: Counter[Coffee] = Counter()
    for mix in mixes_for(a_week):
        for (coffee, style), grams in mix.parts:
            use[coffee] += grams * 10_000 // (10_000 - style.loss_bp) // 5
    return use

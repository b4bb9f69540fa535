"""What a roastery can set, from the environment (prefix `JUTEBOOK_`) and an `.env` file."""

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Literal, Self

from platformdirs import user_data_path
from pydantic import Field, model_validator
from pydantic_settings import (
    BaseSettings,
    DotEnvSettingsSource,
    EnvSettingsSource,
    SettingsConfigDict,
)

from app.sense import (
    PREFIX,
    Days,
    DegreesFromTo,
    FourLimits,
    FromTo,
    HoldingAlarm,
    LabelMm,
    Namespace,
    Networks,
    Percent,
    Reference,
    SaidOrNone,
    UnitKg,
    Weekday,
    Windows,
    Zone,
    refuse_unless_a_replica,
    unknown_name,
)
from app.standards.average_quantity import Check
from app.standards.costing import CostMethod
from app.standards.defects import Rounding
from app.standards.due_diligence import FEWER_LINES, FEWEST_YEARS_KEPT


def default_database_url() -> str:
    """Name the SQLite file in the data folder of whoever runs the service."""
    return f"sqlite:///{user_data_path('jutebook', appauthor=False) / 'jutebook.db'}"


class Settings(BaseSettings):
    """Read once at the start and handed down; nothing else reads the environment."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX,
        env_file=".env",
        extra="ignore",
        frozen=True,
        use_attribute_docstrings=True,
        hide_input_in_errors=True,  # an address may hold a password
    )

    database_url: str = Field(default_factory=default_database_url)
    """`sqlite:///…` on one machine, `postgresql://…` beyond it."""
    read_database_url: Annotated[str | None, SaidOrNone] = None
    """A replica of PostgreSQL for traces, lists and reports; without it the database does."""
    host: str = "127.0.0.1"
    """The address `jutebook serve` listens on: this machine alone unless set."""
    port: Annotated[int, Field(ge=0, le=65535)] = 8000
    """The port it listens on; 0 takes any that is free."""
    trusted_proxies: Networks = "127.0.0.1"
    """Addresses or networks of proxies, with commas between, that are believed from where a request
    came and whether over TLS; `X-Forwarded-For` of others is nothing but a claim."""
    workers: Annotated[int, Field(ge=1, le=64)] = 1
    """Processes that serve; more than one for several processors, with PostgreSQL best."""
    log: Literal["plain", "json"] = "plain"
    """How what happens is noted on standard error: for eyes, or for what gathers logs."""
    body_largest_bytes: Annotated[int, Field(ge=10_000, le=1_000_000_000)] = 10_000_000
    """The largest JSON body that is read: some ten thousand sacks of one delivery have room."""
    body_seconds: Annotated[int, Field(ge=1, le=3600)] = 60
    """So long a body may take to come."""
    statement_seconds: Annotated[int, Field(ge=1, le=86_400)] = 120
    """So long the database may work on one statement of a request before it answers 503."""
    trace_most_units: Annotated[int, Field(ge=1, le=100_000_000)] = 100_000
    """So many units a trace or the scope of a recall may reach; more are refused, and never a part
    of them answered. A lot of 300 sacks reaches some 4,000 in a large book (our own rule)."""
    at_once: Annotated[int, Field(ge=1, le=100_000)] = 500
    """Requests that a process works on or keeps waiting; more are told to come again."""
    token_requests_a_minute: Annotated[int, Field(ge=1, le=10_000_000)] = 6000
    """How many requests with one token are answered within a minute."""
    threads: Annotated[int, Field(ge=1, le=100)] = 3
    """Requests worked on at a time; few, for many threads queue badly for one processor."""
    busy_timeout_s: Annotated[int, Field(ge=1, le=600)] = 30
    """How long a write waits for the one before it before it answers 503."""
    hold_on_arrival: bool = True
    """Whether received lots wait on hold until a quality role releases them."""
    hold_wet_on_arrival: bool = True
    """Whether sacks that arrive wet or mouldy get a hold of their own (our own rule)."""
    hold_on_inspection: bool = True
    """Whether an inspection that finds mould, insects or a foreign smell holds its lot (our own
    rule)."""
    contract_franchise_pct: Percent = Decimal("0.5")
    """Loss of shipped weight that the buyer bears where a contract says nothing (European form)."""
    contract_tolerance_pct: Percent = Decimal(3)
    """How far a delivered quantity may stand from a contract's where it says nothing."""
    contract_weigh_days: Days = 14
    """Days from final discharge for weighing and sampling (from a garbled copy: verify)."""
    contract_weigh_days_us: Days = 15
    """The same by the US form (from a garbled copy: verify)."""
    contract_quality_days: Days = 21
    """Days from final discharge for a claim of quality (European form)."""
    contract_quality_days_us: Days = 15
    """The same by the US form."""
    contract_technical_days: Days = 45
    """Days from final discharge for any other claim (European form)."""
    usual_loss_bagged_pct: Percent = Decimal("0.5")
    """A bagged lot that lost more than this on the way is pointed out (our own rule)."""
    usual_loss_bulk_pct: Percent = Decimal("0.2")
    """A lot in bulk that lost more than this is pointed out: it was usually filled wrongly."""
    photo_largest_bytes: Annotated[int, Field(ge=10_000, le=100_000_000)] = 8_000_000
    """The largest photo of an exception that is taken."""
    photo_most_pixels: Annotated[int, Field(ge=10_000, le=85_000_000)] = 50_000_000
    """A photo with more pixels is not unpacked: a small file can hide a huge picture."""
    photos_most: Annotated[int, Field(ge=1, le=1000)] = 20
    """How many photos one exception can have."""
    emptied_tolerance_pct: Percent = Decimal(2)
    """How far book and scale may differ when a sack is used up, as a part of its net weight."""
    loss_range_pct: FromTo = (Decimal(12), Decimal(18))
    """The weight loss a roast is expected to have when the roast itself names no range."""
    loss_window_days: Annotated[int, Field(ge=1, le=3650)] = 56
    """Over how many days what roasts of a style lost is measured (our own rule)."""
    style_loss_tolerance: Percent = Decimal("0.5")
    """How many points the loss may stand from a style's own where the style names no tolerance
    (our own rule)."""
    recipe_tolerance: Percent = Decimal(2)
    """How many points a share of a blend may be off where its recipe names no tolerance (our own
    rule)."""
    plausible_loss_pct: FromTo = (Decimal(8), Decimal(28))
    """A roast that lost less or more is taken for a slip of the scale or the keyboard unless it
    names its own range or is confirmed (our own rule)."""
    roasted_moisture_pct: Annotated[Decimal, Field(ge=0, lt=100, decimal_places=3)] = Decimal(2)
    """What moisture roasted coffee is taken to have where it was not measured (from memory)."""
    blend_in_at_most_pct: Annotated[Decimal, Field(gt=0, le=100, decimal_places=3)] = Decimal(20)
    """How much of a blend a roast may be that a tasting lets into blends alone, where the tasting
    does not say (our own rule)."""
    usual_charge_pct: FromTo = (Decimal(40), Decimal(80))
    """A charge outside this share of the drum's capacity is pointed out (our own rule; about 80 %
    as a ceiling is a magazine's advice on batch size)."""
    colour_tolerance: Annotated[Decimal, Field(ge=0)] = Decimal(3)
    """How far a colour reading may stand from its target when the roast names no tolerance."""
    colour_tolerance_ground: Annotated[Decimal, Field(ge=0)] = Decimal(2)
    """The same for a reading of ground coffee (our own rule)."""
    colour_tolerance_whole: Annotated[Decimal, Field(ge=0)] = Decimal(3)
    """The same for a reading of whole beans (our own rule)."""
    drop_tolerance_c: Annotated[Decimal, Field(ge=0)] = Decimal(1)
    """How far the drop temperature may stand from a style's own where the style names no tolerance
    (our own rule)."""
    total_tolerance_s: Annotated[int, Field(ge=0, le=3600)] = 15
    """How far the total time may stand from a style's own where the style names no tolerance (our
    own rule)."""
    moisture_range_pct: FromTo = (Decimal(8), Decimal("12.5"))
    """Green moisture, wet basis, ends included (ICO Resolution 420)."""
    water_activity_below: Annotated[Decimal, Field(gt=0, le=1)] = Decimal("0.70")
    """Green water activity must stay below this (SCA washed arabica standard)."""
    moisture_working_pct: FromTo = (Decimal(10), Decimal(12))
    """Green moisture is green from here to there, ends included, and amber up to the range above
    (on import 10 to 12 %: SCA washed arabica standard; the colours are our rule)."""
    water_activity_amber_from: Annotated[Decimal, Field(ge=0, le=1)] = Decimal("0.60")
    """Green water activity is amber from here (our rule, after a trade study)."""
    moisture_spread_points: Annotated[Decimal, Field(ge=0, le=100)] = Decimal("0.3")
    """Single readings of a moisture farther apart than this are to be repeated (our rule; Hawaii's
    tolerance for meters)."""
    moisture_drift_points: Annotated[Decimal, Field(gt=0, le=100)] = Decimal("0.5")
    """A moisture that went so far since the first reading by its method is an alarm (our rule)."""
    reading_every_days: Annotated[int, Field(ge=1, le=3650)] = 30
    """A lot whose newest moisture is older than this reads unknown (our rule)."""
    climate_every_days: Annotated[int, Field(ge=1, le=3650)] = 7
    """A place whose newest climate reading is older than this reads unknown (our rule)."""
    storage_humidity_pct: FromTo = (Decimal(50), Decimal(65))
    """Relative humidity of a place is green from here to there (trade handbooks on stowage)."""
    storage_humidity_red_above_pct: Percent = Decimal(75)
    """And red above this (our rule)."""
    storage_damp_hours: Annotated[int, Field(ge=1, le=8760)] = 48
    """So long above the green humidity is an alarm (our rule)."""
    storage_temperature_c: DegreesFromTo = (Decimal(18), Decimal(25))
    """Temperature of a place is green from here to there (trade pages on storage)."""
    hold_on_alarm: frozenset[HoldingAlarm] = frozenset({"moisture_high", "water_activity_high"})
    """Alarms that place a hold on the lot or sack that was read: mould grows in damp coffee."""
    sample_share_pct: Percent = Decimal(10)
    """A sample is drawn from at least this share of a lot's sacks (ISO 4072, from memory)."""
    sample_fewest_sacks: Annotated[int, Field(ge=1, le=10_000)] = 10
    """And never from fewer sacks than this (ISO 4072, from memory)."""
    sample_increment_g: Annotated[int, Field(ge=1, le=10_000)] = 30
    """About so much is drawn from each sack (ISO 4072, from memory)."""
    sample_bulk_g: Annotated[int, Field(ge=1, le=100_000)] = 1500
    """The increments of a sample together weigh at least this (ISO 4072, from memory)."""
    defect_rounding: Rounding = Rounding.FLOOR
    """`floor`: leftovers of each kind of defect do not count (from memory); `exact`: they do."""
    screen_tolerance_pct: Percent = Decimal("0.5")
    """How far a screen analysis may add up beside 100 % (our own rule)."""
    older_class_limits: FourLimits = (5, 8, 23, 86)
    """Most full defects in 300 g of specialty, premium, exchange, below standard (the last two
    from memory)."""
    cup_taint_points: Annotated[int, Field(ge=0, le=10)] = 2
    """What each tainted cup costs on the classic cupping form (from memory)."""
    cup_fault_points: Annotated[int, Field(ge=0, le=10)] = 4
    """What each faulty cup costs on the classic cupping form (from memory)."""
    crop_amber_months: Annotated[int, Field(ge=1, le=120)] = 9
    """So long after the end of its harvest a crop is shown amber (our own proposal)."""
    crop_red_months: Annotated[int, Field(ge=1, le=120)] = 12
    """And so long after it red: a warning, which never blocks (a green-coffee trader's advice on
    storage: about a year)."""
    cost_method: CostMethod = CostMethod.SPECIFIC
    """How green that is drawn is priced: chosen for the whole firm, never for a lot (IAS 2,
    Inventories, paragraphs 23 to 27)."""
    cost_pool: Literal["origin", "name"] = "origin"
    """What is priced together where lots do not price themselves (our own rule)."""
    abc_cuts_pct: FromTo = (Decimal(80), Decimal(95))
    """Up to which shares of the value that was used lots are A and B (from memory; other cuts are
    in use)."""
    forecast_weeks: Annotated[int, Field(ge=4, le=156)] = 52
    """Over how many weeks demand is looked at for a forecast (our own rule)."""
    eudr_applies_on: date = date(2026, 12, 30)
    """When Regulation (EU) 2023/1115 binds this firm: the default is for large and medium ones;
    micro and small ones set up by the end of 2024 set 2027-06-30. It was moved before."""
    eudr_cut_off_on: date = date(2020, 12, 31)
    """Land that was forest until after this day is deforested by that regulation."""
    eudr_kept_years: Annotated[int, Field(ge=FEWEST_YEARS_KEPT, le=100)] = FEWEST_YEARS_KEPT
    """How long evidence is kept after the coffee was placed on the market (Art. 9: five years)."""
    eudr_statement_lines: Annotated[int, Field(ge=1, le=10_000)] = FEWER_LINES
    """More lots than this under one statement are pointed out: official material says 200 and
    100."""
    eudr_trader_plots: bool = False
    """Whether lots bought as a trader need plots, time of production and HS code too."""
    recall_stops_contact: bool = True
    """Whether a stop holds what may only have touched suspect coffee on a machine too (our own
    proposal: widen before narrowing)."""
    drill_every_months: Annotated[int, Field(ge=1, le=120)] = 12
    """A recall is rehearsed this often (audit schemes: yearly)."""
    drill_goal_minutes: Annotated[int, Field(ge=1, le=100_000)] = 240
    """From the request to the complete report (an audit custom: four hours)."""
    check_plan: Literal[Check.DOUBLE, Check.SINGLE, Check.DESTRUCTIVE, Check.US] = Check.DOUBLE
    """How check batches of a hundred bags or more are sampled when a check names no plan."""
    hold_on_failed_weighing: bool = True
    """Whether a pack waits on hold when its check of weight is rejected."""
    require_packing_materials: bool = False
    """Whether a pack that names no lot of packing material is refused."""
    degassing_days: Days = 7
    """Coffee roasted less than this ago that goes into bags without a valve is pointed out (about
    a week or more: a laboratory's page on packaging)."""
    heavy_over_kg: Annotated[Decimal, Field(gt=0, le=30_000, decimal_places=3)] = Decimal(25)
    """Sacks heavier than this are labelled with a caution. Great Britain's safety authority asks
    food firms to bring sacks down to it, and sets no limit."""
    label_large_mm: LabelMm = (100, 70)
    """Width and height of the large labels on the roll."""
    label_small_mm: LabelMm = (62, 29)
    """Width and height of the small ones; less has no room for a code in 24 points."""
    bag_pages: bool = False
    """Whether whoever holds a bag may look up its origin and roast date, without a token."""
    bag_pages_name_suppliers: bool = False
    """Whether these pages say who the coffee was bought from."""
    bag_pages_a_minute: Annotated[int, Field(ge=1, le=1_000_000)] = 300
    """How many are answered within a minute, to everybody together."""
    house_language: Literal["en", "de"] = "en"
    """What labels and delivery notes are printed in, whoever prints them: they are read for years,
    by all of the house and by whoever is sent its coffee."""
    firm_name: Annotated[str, Field(max_length=200)] = ""
    """Who sends, as it stands on delivery notes."""
    firm_address: Annotated[str, Field(max_length=1000)] = ""
    """And from where; lines apart."""
    gs1_company_prefix: Annotated[str, Field(pattern=r"^[0-9]{4,12}$")] | None = None
    """The firm's own; with it cases are numbered by Serial Shipping Container Codes."""
    gs1_item_references: tuple[Reference, Reference, Reference] = (1, 2, 3)
    """Item references that the firm keeps for its green, its roasted and its blended coffee: with
    the prefix they are the trade item numbers under which sacks, roasts and blends are named to
    others (our own proposal: take others where these are given to products)."""
    gs1_location_reference: Reference = 0
    """The location reference of the firm itself, as a party and as a place (our own proposal)."""
    epcis_namespace: Namespace = "https://roastery.example/epcis/"
    """Where the firm's own names begin in EPCIS documents: under a domain that it controls. The
    default names nobody (RFC 2606)."""
    pick_keeps_hours: Annotated[int, Field(ge=1, le=8760)] = 48
    """So long bags are kept for a pick that is neither sent nor cancelled (our own rule)."""
    cover_windows_days: Windows = (28, 56)
    """Over how many days the use of green is averaged: whole weeks, so that no weekday counts more
    than another. Cover is by the first unless another is asked for, and both are shown; what to
    order is worked out by the second (our own rule)."""
    cover_plan_days: Annotated[int, Field(ge=1, le=366)] = 28
    """How far ahead orders are known well enough to be the plan (our own rule)."""
    cover_service_pct: Annotated[Decimal, Field(ge=50, le=Decimal("99.99"))] = Decimal(95)
    """The chance that stock does not run out before an order arrives, order by order (common in
    textbooks)."""
    cover_lead_time_days: Days = 90
    """From order to arrival where nothing was measured, agreed or entered (our own rule: coffee
    comes by sea)."""
    cover_lead_time_sd_days: Days = 14
    """Its standard deviation where fewer than two deliveries tell (our own rule)."""
    cover_review_days: Annotated[int, Field(ge=1, le=3650)] = 28
    """How long an order has to last, beside the lead time (our own rule: a month's orders)."""
    cover_harvest_days: Annotated[int, Field(ge=1, le=3650)] = 365
    """The same for what is bought once a harvest."""
    cover_sack_kg: UnitKg = Decimal(60)
    """A sack where a planning card says nothing (Brazil, most of Africa and Asia; a table of bag
    weights by origin)."""
    cover_pallet_kg: UnitKg = Decimal(600)
    """A pallet: ten such sacks (common practice, no source)."""
    cover_container_kg: UnitKg = Decimal(19_200)
    """A container of 20 feet: 320 such sacks (ITC Coffee Guide: 275 to 320)."""
    cover_open_days: bool = False
    """Whether cover counts the days alone on which the roastery is open."""
    closed_weekdays: frozenset[Weekday] = frozenset()
    """Days of the week on which nothing is roasted."""
    closed_dates: frozenset[date] = frozenset()
    """And dates."""
    backup_folder: Annotated[Path | None, SaidOrNone] = None
    """Where the page of backups puts the copies it makes: a folder that is there and can be written
    to, best of another disk. Without it they are made by the command alone."""
    backup_hours: Annotated[int, Field(ge=0, le=100_000)] = 30
    """A book that went without a backup for longer is pointed out to administrators; 0: never (our
    own rule: one a night, and six hours for it to be late)."""
    session_idle_minutes: Annotated[int, Field(ge=1, le=100_000)] = 720
    """Who did nothing at the pages for so long signs in again (our own rule)."""
    session_hours: Annotated[int, Field(ge=1, le=10_000)] = 168
    """So long after signing in everybody signs in again (our own rule)."""
    guesses_per_name: Annotated[int, Field(ge=1, le=1_000_000)] = 10
    """Wrong passwords for one name in 15 minutes before no more are looked at."""
    guesses_per_address: Annotated[int, Field(ge=1, le=1_000_000)] = 100
    """The same from one network address, behind which a whole house may stand."""
    time_zone: Zone = "UTC"
    """The zone of the house, such as `Europe/Berlin`: of its days, and of the times that the pages
    show and take."""
    ahead_minutes: Annotated[int, Field(ge=0, le=1440)] = 5
    """How far ahead of the server's clock a time may be before it is refused."""

    @model_validator(mode="after")
    def _go_together(self) -> Self:
        """Refuse settings that make sense each by itself and none together."""
        if self.read_database_url is not None:
            try:
                refuse_unless_a_replica(self.database_url, self.read_database_url)
            except ValueError as error:
                raise ValueError(f"{PREFIX}READ_DATABASE_URL cannot be used: {error}") from error
        working, moisture = self.moisture_working_pct, self.moisture_range_pct
        damp_from, damp = self.storage_humidity_pct[1], self.storage_humidity_red_above_pct
        fits = {
            ("crop_amber_months", "crop_red_months"): (
                self.crop_amber_months <= self.crop_red_months
            ),
            ("water_activity_amber_from", "water_activity_below"): (
                self.water_activity_amber_from <= self.water_activity_below
            ),
            ("moisture_working_pct", "moisture_range_pct"): (
                moisture[0] <= working[0] and working[1] <= moisture[1]
            ),
            ("storage_humidity_pct", "storage_humidity_red_above_pct"): damp_from <= damp,
        }
        for pair, fit in fits.items():
            if not fit:
                said = " and ".join(self._as_said(name) for name in pair)
                raise ValueError(
                    f"{said} cannot be used together: green, amber and red follow one another"
                )
        return self

    def _as_said(self, name: str) -> str:
        value = getattr(self, name)
        shown = f"[{', '.join(map(str, value))}]" if isinstance(value, tuple) else value
        return f"{PREFIX}{name.upper()}={shown}"


def misspelt() -> str | None:
    """Say which name in the environment or `.env` has the prefix of settings and is none."""
    said = (EnvSettingsSource(Settings).env_vars, DotEnvSettingsSource(Settings).env_vars)
    return unknown_name({name for one in said for name in one}, Settings.model_fields)


def project_folder(name: str) -> Path:
    """Find a folder that stands beside the package in a checkout and inside it in a wheel."""
    package = Path(__file__).parent
    inside = package / name
    return inside if inside.is_dir() else package.parent / name

"""A small book of today's program with something in every table and in every later column.

It is the story of the notes, and the few acts that the story leaves out.
"""

from datetime import UTC, datetime
from pathlib import Path

from fastapi import FastAPI
from sqlalchemy import Engine
from typer.testing import CliRunner

from app.cli import cli
from app.copies.making import back_up
from app.main import open_book
from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token, close_user, live_user, revoke_tokens, set_password
from app.shared.staff import Role
from tests.api import Api, kg
from tests.makers import dispatch, pack, receive, roast
from tests.notes.story import tell
from tests.web.conftest import PASSWORD, Visitor, enter_person

ODD_NAMES = {
    "supplier": "Kontor  Mu\u0308ller\u200b",
    "customer": "Cafe\u0301  Su\u0308d\u00ad",
    "crate_kind": "Stra\u00dfe  60\u200d",
    "style": "Cre\u0301me  \u200bhell",
    "recipe": "Fru\u0308h  st\u00fcck\u200b",
}
"""By kind of card: accents in two forms, two spaces, and signs that nobody sees."""


def keep_whole_book(service: FastAPI, url: str) -> Engine:
    """Fill an empty and migrated SQLite file; returns the engine of its service."""
    open_book(service, Settings(database_url=url, _env_file=None))
    for _ in tell(service, reads=False):
        pass
    service.state.engine.dispose()
    open_book(service, Settings(database_url=url, hold_on_arrival=False, _env_file=None))
    engine: Engine = service.state.engine
    with writing(engine) as session:
        token = add_token(session, "Ute", [Role.ADMIN], datetime(2100, 1, 1, tzinfo=UTC))
    api = Api(service, token)
    _furnish(api)
    _buy(api)
    _roast_and_blend(api)
    _sell(api)
    _take_back(api)
    _name_oddly(api)
    api.close()
    _let_people_in(service)
    _look_after(engine, url)
    return engine


def _furnish(api: Api) -> None:
    """Enter the cards of these acts, beside those of the story."""
    for name in ("Finca El Roble", "Kontor Ost"):
        api.post("/suppliers", {"name": name, "web": "https://coffee.example"})
    api.post("/customers", {"name": "Café Nord", "contact": "Ida"})
    api.post("/machines", {"code": "DRUM-9", "kind": "roaster", "capacity_kg": 15})
    api.post("/machines", {"code": "MILL-9", "kind": "blender", "carry_over_hours": 24})
    api.post("/locations", {"code": "TRAY-9", "kind": "tray", "carry_over_hours": 12})


def _buy(api: Api) -> None:
    """Enter a contract with all its terms, green that came by it, and a reading on a dry basis."""
    terms = {
        "weigh_days": 14, "quality_days": 21, "technical_days": 30, "tolerance_pct": 3,
        "franchise_pct": kg("0.5"), "ordered_on": "2026-01-12", "ended_on": "2026-08-01",
        "origin": "ET", "component": "washed", "note": "by telephone",
    }  # fmt: skip
    said = {"reference": "C-ALL", "supplier": "Kontor Ost", "quantity_kg": 600}
    api.post("/contracts", said | terms | {"weight_basis": "landed"})
    receive(api, 60, 60, lot="LOT-A", coffee_year="2025/26", note="by the door", certificate="EU 1")
    dry = {"basis": "dry", "value": 12, "method": "oven", "sample_g": 10, "note": "a second one"}
    api.post("/readings", {"subject": "LOT-A", "kind": "moisture"} | dry)
    delivery = api.get("/lots/LOT-A")["delivery"]
    api.post("/costs", {"delivery": delivery, "kind": "freight", "amount": 80, "currency": "EUR"})


def _roast_and_blend(api: Api) -> None:
    """Roast a batch as planned by a style with all its limits, and blend by a recipe."""
    sack = api.get("/sacks?lot=LOT-A&on_hand=true")["items"][0]["code"]
    limits = {
        "colour_target": 60, "colour_tolerance": 2, "drop_c": 210, "drop_tolerance_c": 4,
        "total_s": 700, "total_tolerance_s": 60, "loss_pct": 15, "loss_tolerance": 3,
    }  # fmt: skip
    green = [{"share_pct": 100, "lots": ["LOT-A"]}]
    style = {"name": "Light", "machine": "DRUM-9", "batch_kg": 10, "green": green}
    api.post("/styles", style | limits | {"note": "for the filter"})
    [batch] = api.post("/batches", {"on": "2026-11-26", "style": "Light"})["batches"]
    draws = [{"sack": sack, "kg": 10}]
    taken = {"batch": batch["id"], "code": "BATCH-1", "profile_hit": True, "colour": 60}
    api.post("/roasts", {"machine": "DRUM-9", "draws": draws, "end_kg": kg("8.5")} | taken)
    roast(api, {sack: 10}, kg("8.6"), code="PLAIN-1", machine="DRUM-9")
    parts = [{"name": "one", "share_pct": 50}, {"name": "other", "share_pct": 50}]
    api.post("/recipes", {"name": "Halves", "components": parts, "tolerance": 2})
    named = [
        {"unit": "BATCH-1", "kg": 4, "component": "one"},
        {"unit": "PLAIN-1", "kg": 3, "component": "other"},
    ]
    why = {"off_recipe_reason": "the rest of a sack"}
    api.post("/blends", {"parts": named, "recipe": "Halves", "code": "HALVES-1"} | why)


def _sell(api: Api) -> None:
    """Send what was ordered by a product that names its recipe."""
    product = {"sku": "HALVES-500", "name": "Halves", "nominal_g": 500, "recipe": "Halves"}
    api.post("/products", product | {"shelf_life_months": 18})
    pack(api, {"HALVES-1": 4}, 8, sku="HALVES-500", code="HALVES-BAGS")
    line = {"product": "HALVES-500", "bags": 3}
    order = api.post("/orders", {"customer": "Café Nord", "due_on": "2026-12-01", "lines": [line]})
    dispatch(api, {"HALVES-BAGS": 1}, code="FOR-ORDER", order=order["code"])


def _take_back(api: Api) -> None:
    """Take back a tasting and a lot of packing material, which the story does not."""
    sack = api.get("/sacks?lot=LOT-A&on_hand=true")["items"][0]["code"]
    roast(api, {sack: 5}, 4, code="ASIDE-1", machine="DRUM-9", profile_hit=False)
    tasted = api.post("/roasts/ASIDE-1/cuppings", {"verdict": "reject", "reason": "baked"})
    number = tasted["id"]
    api.post(f"/roasts/ASIDE-1/cuppings/{number}/void", {"reason": "it was another cup"})
    api.post("/materials", {"code": "FOIL-9", "name": "Foil", "kind": "film", "unit": "metre"})
    lot = {"code": "FOIL-LOT", "material": "FOIL-9", "quantity": 100, "supplier": "Kontor Ost"}
    api.post("/material-lots", lot)
    api.post("/material-lots/FOIL-LOT/void", {"reason": "that was of another house"})


def _name_oddly(api: Api) -> None:
    """Enter a card of each kind that is found by name; the name is kept as it was typed."""
    components = [{"name": "all", "share_pct": 100}]
    for table, path, more in (
        ("supplier", "/suppliers", {}),
        ("customer", "/customers", {}),
        ("crate_kind", "/crate-kinds", {"deposit": False}),
        ("style", "/styles", {}),
        ("recipe", "/recipes", {"components": components}),
    ):
        api.post(path, {"name": ODD_NAMES[table]} | more)


def _let_people_in(service: FastAPI) -> None:
    """Let somebody sign in with choices of their own; somebody else has left."""
    engine: Engine = service.state.engine
    for name in ("Wim", "Hanne"):
        enter_person(service, name, "warehouse")
    with writing(engine) as session:
        wim, hanne = live_user(session, "Wim"), live_user(session, "Hanne")
        assert wim
        assert hanne
        set_password(wim, PASSWORD)
        wim.language, wim.mass_unit = "de", "lb"
        close_user(hanne)
        add_token(session, "scale", [Role.ROASTER])
        revoke_tokens(session, "scale")
    with Visitor(service) as somebody:
        assert somebody.sign_in("Wim").status_code == 303


def _look_after(engine: Engine, url: str) -> None:
    """Let the book check itself and be copied, as somebody does who looks after it."""
    checked = CliRunner().invoke(cli, ["check"], env={"JUTEBOOK_DATABASE_URL": url})
    assert checked.exit_code == 0, checked.output
    made = back_up(engine, Path(str(engine.url.database)).with_name("copy.db"), "Ute")
    assert made.lacking is None

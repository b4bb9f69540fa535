"""Every page that people read, and a book in which none of them is empty.

The demo is played; what it leaves out is booked through the API.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from io import BytesIO
from typing import Any, Final

from fastapi.routing import APIRoute
from PIL import Image

from app.shared.times import now
from app.web.pages import PAGES as MODULES
from seed import Played
from tests.api import Api
from tests.makers import PASSING

PAGES: Final[Mapping[str, Sequence[str]]] = {
    "/": ("/",),
    "/account": ("/account",),
    "/adjust": ("/adjust", "/adjust?what={sack}"),
    "/adjustments": ("/adjustments",),
    "/adjustments/{number}/void": ("/adjustments/1/void",),
    "/arrivals/{code}": ("/arrivals/{lot}",),
    "/arrivals/{code}/count": ("/arrivals/{lot}/count",),
    "/arrivals/{code}/exception": ("/arrivals/{lot}/exception",),
    "/arrivals/{code}/inspection": ("/arrivals/{lot}/inspection",),
    "/arrivals/{code}/weight": ("/arrivals/{lot}/weight",),
    "/backups": ("/backups",),
    "/batches": ("/batches",),
    "/blend": ("/blend", "/blend?recipe={recipe}&whole=40"),
    "/bring": ("/bring",),
    "/cancel/{what}/{which}": ("/cancel/order/{order}", "/cancel/batch/1"),
    "/cards/{name}": ("/cards/places", "/cards/products", "/cards/styles", "/cards/customers",
                      "/cards/recipes", "/cards/certificates"),
    "/cards/{name}/new": ("/cards/instruments/new",),
    "/cards/{name}/{key}": ("/cards/products/{sku}",),
    "/cases": ("/cases",),
    "/cases/{code}": ("/cases/{box_of_bags}",),
    "/cases/{code}/contents": ("/cases/{box_of_bags}/contents",),
    "/cases/{code}/take-apart": ("/cases/{box_of_bags}/take-apart",),
    "/clean": ("/clean",),
    "/coffee": ("/coffee", "/coffee?text={name}"),
    "/contracts": ("/contracts",),
    "/contracts/change": ("/contracts/change?reference={contract}",),
    "/contracts/new": ("/contracts/new",),
    "/counts": ("/counts",),
    "/counts/{number}": ("/counts/1", "/counts/2"),
    "/cover": ("/cover", "/cover?by=lot", "/cover?by=product"),
    "/cover/orders": ("/cover/orders",),
    "/cover/projection": ("/cover/projection?key={component}",),
    "/crates": ("/crates",),
    "/crates/count": ("/crates/count",),
    "/cup": ("/cup",),
    "/cup/{code}": ("/cup/{aside}",),
    "/deliveries/{code}": ("/deliveries/{delivery}",),
    "/deliveries/{code}/role": ("/deliveries/{delivery}/role",),
    "/drills": ("/drills",),
    "/drills/draw": ("/drills/draw",),
    "/drills/new": ("/drills/new?lot={lot}&pack={pack}",),
    "/drills/{code}": ("/drills/{drill}", "/drills/{drill_done}"),
    "/drills/{code}/complete": ("/drills/{drill}/complete",),
    "/drills/{code}/sign-off": ("/drills/{drill_done}/sign-off",),
    "/exceptions/{number}/photos": ("/exceptions/{exception}/photos",),
    "/find": ("/find?text=NO-SUCH",),
    "/grades/{code}": ("/grades/{arrived}",),
    "/grades/{code}/cup": ("/grades/{arrived}/cup", "/grades/{arrived}/cup?other=true"),
    "/grades/{code}/grade": ("/grades/{arrived}/grade",),
    "/green": ("/green",),
    "/green/{code}": ("/green/{lot}",),
    "/green/{code}/certificate": ("/green/{lot}/certificate",),
    "/green/{code}/cost": ("/green/{lot}/cost",),
    "/green/{code}/evidence": ("/green/{lot}/evidence",),
    "/health": ("/health",),
    "/hold": ("/hold?units={pack}",),
    "/holds": ("/holds",),
    "/holds/{number}/release": ("/holds/{hold}/release",),
    "/instruments": ("/instruments",),
    "/instruments/{code}": ("/instruments/{instrument}",),
    "/journal": ("/journal", "/journal?code={sack}"),
    "/journal/check": ("/journal/check",),
    "/journal/{number}": ("/journal/{entry}",),
    "/labels": ("/labels", "/labels?codes={pack}"),
    "/labels/{number}": ("/labels/1",),
    "/mass-balance": ("/mass-balance", "/mass-balance?code={lot}"),
    "/material": ("/material",),
    "/material-holds/{number}/release": ("/material-holds/1/release",),
    "/material/{code}": ("/material/ROLL-9",),
    "/material/{code}/{name}": ("/material/ROLL-9/count", "/material/ROLL-9/hold"),
    "/measure": ("/measure?subject={lot}",),
    "/moisture": ("/moisture",),
    "/move": ("/move",),
    "/offline": ("/offline",),
    "/opening-stock": ("/opening-stock",),
    "/orders": ("/orders", "/orders?state=sent"),
    "/orders/new": ("/orders/new",),
    "/orders/{code}": ("/orders/{order}",),
    "/pack": ("/pack", "/pack?product={sku}&bags=40", "/pack?corrects={pack}"),
    "/packed/{code}": ("/packed/{pack}",),
    "/packing": ("/packing",),
    "/people": ("/people",),
    "/people/new": ("/people/new",),
    "/people/{number}/{change}": ("/people/1/roles",),
    "/photos/{number}": ("/photos/{photo}",),
    "/photos/{number}/small": ("/photos/{photo}/small",),
    "/places/{code}": ("/places/{site}", "/places/{place}"),
    "/planning": ("/planning",),
    "/planning/card": ("/planning/card?item=component:{component}",),
    "/put-away": ("/put-away", "/put-away?of={lot}"),
    "/readings/{code}": ("/readings/{lot}",),
    "/recalls": ("/recalls",),
    "/recalls/new": ("/recalls/new?start.units={pack}",),
    "/recalls/{code}": ("/recalls/{case}", "/recalls/{inquiry}"),
    "/recalls/{code}/do/{act}": (
        "/recalls/{case}/do/notice", "/recalls/{case}/do/report?customer={customer}",
        "/recalls/{case}/do/close", "/recalls/{inquiry}/do/stop",
    ),
    "/recalls/{code}/picture": ("/recalls/{case}/picture",),
    "/receive": ("/receive", "/receive?contract={contract}"),
    "/returns": ("/returns", "/returns?dispatch={dispatch}"),
    "/roast": ("/roast", "/roast?batch=1", "/roast?corrects={roast}"),
    "/roasted/{code}": ("/roasted/{roast}", "/roasted/{aside}"),
    "/roasting": ("/roasting",),
    "/roasting/needs": ("/roasting/needs",),
    "/sales": ("/sales",),
    "/samples": ("/samples?of={arrived}",),
    "/scanned": ("/scanned?text={sack}&wanted=lot%20sack",),
    "/send": ("/send", "/send?order={order}"),
    "/sending": ("/sending",),
    "/sent/{code}": ("/sent/{dispatch}",),
    "/settings": ("/settings",),
    "/sign-in": ("/sign-in",),
    "/standing-orders": ("/standing-orders",),
    "/standing-orders/new": ("/standing-orders/new",),
    "/standing-orders/{code}": ("/standing-orders/{standing}",),
    "/store": ("/store",),
    "/void/{what}/{number}": ("/void/sample/1",),
    "/tokens": ("/tokens",),
    "/tokens/new": ("/tokens/new",),
    "/tokens/{number}/revoke": ("/tokens/1/revoke",),
    "/trace": (
        "/trace", "/trace?by=location", "/trace?units={sack}&direction=forward",
        "/trace?units={lot}&direction=forward&carry_over=true",
        "/trace?units={pack}&direction=backward",
    ),
    "/trace/box": ("/trace/box?units={lot}&direction=forward&box={box}",),
    "/u/{code}": (
        "/u/{lot}", "/u/{sack}", "/u/{roast}", "/u/{blend}", "/u/{pack}", "/u/{dispatch}",
        "/u/{held}",
    ),
    "/void/{code}": ("/void/{roast}", "/void/{dispatch}"),
    "/watch": ("/watch",),
    "/weigh": ("/weigh",),
    "/weigh/{code}": ("/weigh/{pack}",),
    "/whoami": ("/whoami",),
}  # fmt: skip
"""The addresses by which each page is opened; what stands in braces is known of the book."""


FILES: Final = ("/static/", "/journal/export")
"""What is fetched and not looked at; other files are told by how their path ends."""


def page_routes() -> set[str]:
    """Name the routes of all pages that are read; a path that ends like a file is none."""
    routes = [route for module in MODULES for route in module.router.routes]
    return {
        route.path
        for route in routes
        if isinstance(route, APIRoute) and "GET" in (route.methods or ())
        if "." not in route.path.rpartition("/")[2] and not route.path.startswith(FILES)
    }


def opened_with(codes: Mapping[str, object]) -> Iterator[tuple[str, str]]:
    """Name the address of every page in a book, after its route."""
    for route, addresses in PAGES.items():
        for address in addresses:
            yield route, address.format(**codes)


def book_the_rest(api: Api, played: Played) -> dict[str, Any]:
    """Book what a played demo leaves out, and tell the codes that the pages are opened with."""
    sack = str(played.worth.sack)
    lot = api.get(f"/sacks/{sack}")["lot"]
    units: Any = api.get(f"/trace/{lot}?direction=forward")["units"]
    made = {each["kind"]: each["code"] for each in units}
    codes = {"sack": sack, "lot": lot} | {
        kind: made[kind] for kind in ("roast", "blend", "pack", "dispatch")
    }
    boxes: Any = api.get(f"/trace/{lot}/flow?direction=forward")["nodes"]
    codes["box"] = next(
        each["id"] for each in boxes if each["units"] > 1 and each["side"] == "units"
    )
    codes |= _receive_and_roast(api) | _stop(api, codes["pack"]) | _rehearse(api, codes)
    codes |= _photograph(api, codes["arrived"])
    _count(api, lot, codes["arrived"])
    codes |= _stock_up(api, codes["arrived"])
    return codes | _on_file(api)


def _receive_and_roast(api: Api) -> dict[str, Any]:
    """Let sacks wait for a place, and a roast to be tasted."""
    delivery = api.post("/deliveries", {
        "supplier": api.get("/suppliers")["items"][0]["name"], "reference": "DN-LAST",
        "received_at": now(),
        "lots": [{"name": "Serra", "origin": "BR", "sacks": [{"net_kg": 60}] * 4}],
    })  # fmt: skip
    return {
        "aside": _roast(api, {"profile_hit": False}),
        "arrived": delivery["lots"][0]["code"], "delivery": delivery["code"],
    }  # fmt: skip


def _roast(api: Api, found: Mapping[str, object]) -> str:
    there: Any = api.get("/sacks?on_hand=true&limit=200")["items"]
    sack = next(each["code"] for each in there if each["on_hand_kg"] > 5 and not each["held"])
    drawn = {"machine": "DRUM-15", "draws": [{"sack": sack, "kg": 5}], "end_kg": Decimal("4.2")}
    return str(api.post("/roasts", {**drawn, **found})["code"])


def _photograph(api: Api, lot: str) -> dict[str, Any]:
    """Put down what was wrong with a sack, with a photo of it."""
    exception = api.post(f"/lots/{lot}/exceptions", {"kind": "torn", "sacks": 1})["id"]
    drawn = BytesIO()
    Image.new("RGB", (8, 8), "tan").save(drawn, "PNG")
    sent = api.send(
        "POST", f"/exceptions/{exception}/photos", drawn.getvalue(), content_type="image/png"
    )
    assert sent.status_code == 201, sent.text
    return {"exception": exception, "photo": sent.json()["id"]}


def _stop(api: Api, pack: str) -> dict[str, Any]:
    """Work at one case until reports come in, and open another."""
    asked = {
        "kind": "withdrawal", "trigger": {"kind": "complaint", "text": "a stone in a bag"},
        "hazard": "a stone could break a tooth", "start": {"units": [pack], "behind": "roast"},
    }  # fmt: skip
    case, inquiry = (api.post("/recalls", asked)["code"] for _ in range(2))
    api.post(f"/recalls/{case}/stop", {"reason": "stones"})
    told: Any = api.get(f"/recalls/{case}/reconciliation")["consignees"][0]["customer"]
    api.post(f"/recalls/{case}/notices", {"customer": told, "how": "phone"})
    api.post(f"/recalls/{case}/reports", {"customer": told, "held_bags": 1})
    holds: Any = api.get("/holds?open=true&limit=200")["items"]
    return {
        "case": case, "inquiry": inquiry, "customer": told,
        "hold": holds[-1]["id"], "held": holds[-1]["units"][0],
    }  # fmt: skip


def _rehearse(api: Api, codes: dict[str, Any]) -> dict[str, Any]:
    """Begin a drill, and complete another."""
    asked = {"lot": codes["lot"], "pack": codes["pack"], "scenario": "a rehearsal"}
    drill, done = (api.post("/drills", asked)["code"] for _ in range(2))
    api.post(f"/drills/{done}/complete", {"gaps": ["nobody had the number of the baker"]})
    return {"drill": drill, "drill_done": done}


def _count(api: Api, lot: str, arrived: str) -> None:
    """Open a count, and end another that somebody has to decide on."""
    api.post("/counts", {"lot": lot})
    number = api.post("/counts", {"lot": arrived})["id"]
    first, *others = (each["code"] for each in api.get(f"/sacks?lot={arrived}")["items"])
    lines = [{"sack": first, "kg": 57}, *({"sack": each, "kg": 60} for each in others)]
    api.post(f"/counts/{number}/lines", {"lines": lines})
    api.post(f"/counts/{number}/close", {})
    api.post("/labels", {"lot": arrived, "size": "large"})


def _stock_up(api: Api, lot: str) -> dict[str, Any]:
    """Keep packing material, crates, a case, a sample and a counter: the demo has none of them."""
    film = {"code": "BAG-250", "name": "Bag", "kind": "bag", "unit": "piece", "has_valve": False}
    api.post("/materials", film)
    api.post("/material-lots", {"material": "BAG-250", "code": "ROLL-9", "quantity": 500})
    api.post("/material-lots/ROLL-9/changes", {"written_off": 4, "reason": "creased"})
    api.post("/material-lots/ROLL-9/holds", {"reason": "seal looks weak"})
    api.post("/crate-kinds", {"name": "Blue crate"})
    api.post("/crates/counts", {"kind": "Blue crate", "counted": 20, "reason": "all of them"})
    api.post("/customers", {"name": "Our counter", "kind": "consumers"})
    first = api.get(f"/sacks?lot={lot}")["items"][0]["code"]
    api.post("/samples", {
        "subject": lot, "kind": "other", "from": [{"sack": first, "kg": Decimal("0.3")}],
    })  # fmt: skip
    api.post(f"/lots/{lot}/gradings", {"sample_g": 350, "defects": {"shell": 4}})
    api.post(f"/lots/{lot}/cuppings", {"form": "ours", "form_version": "1", "score": 84})
    product: Any = api.get("/products")["items"][0]
    filled = {"unit": _roast(api, PASSING), "kg": Decimal(2 * product["nominal_g"]) / 1000}
    bags = api.post("/packs", {"product": product["sku"], "from": [filled], "bags": 2})
    contents = [{"pack": bags["code"], "bags": 1}]
    return {"box_of_bags": api.post("/cases", {"contents": contents})["code"]}


def _on_file(api: Api) -> dict[str, Any]:
    """Read what else pages are opened with off the lists."""
    standing: Any = api.get("/sacks?on_hand=true&limit=1")["items"][0]["location"]
    path: Any = api.get(f"/locations/{standing}")["path"]
    return {"place": standing, "site": path[0]} | {
        name: api.get(listed)["items"][0][field]
        for name, listed, field in (
            ("sku", "/products", "sku"), ("recipe", "/recipes", "name"),
            ("name", "/lots", "name"), ("contract", "/contracts", "reference"),
            ("order", "/orders", "code"), ("standing", "/standing-orders", "code"),
            ("component", "/cover/orders", "key"),
            ("instrument", "/instruments", "code"), ("entry", "/entries", "id"),
        )
    }  # fmt: skip

"""The packers' pages in a real browser: a run, and a scale that types."""

from collections.abc import Callable

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def run(api: Api) -> str:
    """A pack of 20 bags, with packing material on hand and coffee left to pack."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, lot="GL-7"))
    api.post("/styles", {"name": "House"})
    api.post("/products", {"sku": "SINGLE-250", "name": "House single", "nominal_g": 250,
                           "shelf_life_months": 12, "style": "House"})  # fmt: skip
    api.post("/materials", {"code": "BAG-250", "name": "Bag", "kind": "bag", "unit": "piece",
                            "has_valve": False})  # fmt: skip
    api.post("/material-lots", {"material": "BAG-250", "code": "ROLL-9", "quantity": 500})
    made = roast(api, {sacks[0]: 60}, 50, style="House")
    packed = pack(api, {made["code"]: 5}, 20, "SINGLE-250", materials=[{"lot": "ROLL-9"}])
    return str(packed["code"])


def test_the_pages_of_the_packers_are_fit_for_everybody(
    browser: Browser, api: Api, run: str, add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)
    api.post(f"/packs/{run}/check-weighings", {"weights_g": [251] * 18 + [249, 240]})

    browser.examine("pack", "/pack?product=SINGLE-250&bags=40")
    browser.press("Show dates and lot mark")
    browser.wait_for("this goes onto the bags")
    browser.look("phone")
    browser.shoot("pack-looked")
    assert browser.findings() == []
    browser.examine("packed", f"/packed/{run}")
    browser.examine("packed-day", "/packing")
    browser.examine("material", "/material")
    case = api.post("/cases", {"contents": [{"pack": run, "bags": 4}]})["code"]
    pallet = {"kind": "pallet", "contents": [{"case": case}, {"pack": run, "bags": 6}]}
    code = api.post("/cases", pallet)["code"]
    browser.examine("cases", "/cases")
    browser.examine("case", f"/cases/{code}")
    browser.examine("case-out", f"/cases/{code}/take-apart")
    browser.examine("weigh-which", "/weigh")
    browser.examine("weigh", f"/weigh/{run}?weights_g=250.4&weights_g=240&weights_g=231")


def test_a_scale_types_weight_after_weight_and_the_chart_follows(
    browser: Browser, api: Api, run: str, add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Pia", "warehouse"), PASSWORD)
    browser.open("/weigh")
    browser.scan(run.lower())
    browser.wait_for("pack House single")
    browser.press("To the scale")
    browser.wait_for("Bag 1")
    browser.run("window.untouched = true")
    for number, weight in enumerate(("250.4", "251", "249.8"), 1):
        browser.scan(weight)
        browser.wait_for(f"Bag {number + 1}")
        browser.wait_until_focused("f-weights_g")
    browser.wait_for("Go on.", ".verdict")
    assert browser.run("return window.untouched")
    loaded = "return document.querySelector('.chart').naturalWidth > 0"
    browser.wait_until(lambda: bool(browser.run(loaded)), "the chart is not there")
    browser.shoot("weigh-scale")
    browser.scan("231")
    browser.wait_for("Stop: a bag is below T2.")
    browser.run("document.querySelectorAll('details')[0].open = true")
    browser.run("document.querySelector('button[value=\"out.3\"]').click()")
    browser.wait_for("Go on.", ".verdict")

    # The browser is closed by accident; the bags were weighed all the same.
    browser.open("/")
    browser.open(f"/weigh/{run}")
    browser.wait_for("Begun and not booked:")
    browser.press_in(".draft", "Go on with it")
    browser.wait_for("Bag 4")
    for _bag in range(16):  # as fast as a scale can, whatever the service takes
        ActionChains(browser.driver).send_keys("251", Keys.ENTER).perform()
    browser.wait_for("Bag 20")
    browser.scan("251")
    browser.wait_for("Bag 21")
    browser.press("Book the check")
    browser.wait_for("Check of 20 bags booked: accepted")
    (check,) = api.get(f"/check-weighings?pack={run}")["items"]
    assert [str(each) for each in check["weights_g"][:3]] == ["250.4", "251.0", "249.8"]
    assert browser.complaints() == []


def test_a_case_is_packed_by_scanning_what_goes_in(
    browser: Browser, api: Api, run: str, add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Pia", "warehouse"), PASSWORD)
    browser.open("/cases")
    browser.wait_until_focused("f-load")
    browser.scan(run.lower())
    browser.wait_for(f"{run} · 1 of 1 scanned")
    browser.scan(f"L {run}")
    browser.wait_for(f"{run} · 2 of 2 scanned")
    browser.shoot("cases-scanned")
    browser.press("Book it")
    browser.wait_for("holds 2 bags.")
    (case,) = api.get("/cases")["items"]
    browser.press_in(".onward", "Next case")
    browser.wait_until_focused("f-load")
    browser.run("document.querySelector('[name=kind][value=pallet]').click()")
    browser.run("document.getElementById('f-load').focus()")
    browser.scan(case["code"])
    browser.wait_for(case["code"], ".heard.yes")
    browser.press("Book it")
    browser.wait_for("holds 2 bags.")
    assert api.get(f"/cases/{case['code']}")["pallet"]
    assert browser.complaints() == []

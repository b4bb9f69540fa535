"""Pages of quality in a real browser: fit for everybody, and a scanner alone stops coffee."""

from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.wait import WebDriverWait

from tests.api import Api
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def codes(api: Api) -> dict[str, str]:
    """A small roastery with something for quality to do."""
    furnish(api)
    lot = receive(
        api, *[60] * 12, lot="GL-7", ico_mark="010/0123/0045", crop_year="2025/26",
        process="washed", producer="Kochere station", certificate="organic, as printed",
    )  # fmt: skip
    sacks = sack_codes(lot)
    api.post("/moves", {"sacks": sacks, "to": "B-02"})
    aside = roast(api, {sacks[1]: 30}, 25, style="Pike", profile_hit=False)["code"]
    made = roast(api, {sacks[0]: 60}, 51, style="House", colour=71)["code"]
    api.post(f"/roasts/{made}/cuppings", {"verdict": "release", "score": 84.5, "notes": "clean"})
    packed = pack(api, {made: 40}, 150)["code"]
    sent = dispatch(api, {packed: 60})["code"]
    api.post("/holds", {"units": sacks[2:9], "reason": "smells musty near the door"})
    api.post("/holds", {"units": [packed], "reason": "seal of some bags is weak"})
    case = api.post("/recalls", {
        "kind": "withdrawal", "trigger": {"kind": "complaint", "text": "a stone in a bag"},
        "hazard": "a stone could break a tooth", "start": {"units": [packed], "behind": "roast"},
    })["code"]  # fmt: skip
    api.post(f"/recalls/{case}/stop", {"reason": "stones"})
    api.post(f"/recalls/{case}/notices", {"customer": "Café Nord", "how": "phone"})
    drill = api.post("/drills", {"lot": "GL-7", "pack": packed, "scenario": "a rehearsal"})
    done = api.post("/drills", {"lot": "GL-7", "pack": packed, "scenario": "last year's"})["code"]
    api.post(f"/drills/{done}/complete", {"gaps": ["nobody had the number of the baker"]})
    more = {"case": case, "drill": drill["code"], "done": done}
    return more | {
        "sack": sacks[2],
        "aside": aside,
        "roast": made,
        "pack": packed,
        "dispatch": sent,
    }


def test_every_page_of_quality_is_fit_for_everybody(
    browser: Browser, codes: dict[str, str], add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Quill", "quality"), PASSWORD)
    browser.wait_for("What needs doing")
    for name, path in {
        "unit-roast": f"/u/{codes['roast']}",
        "unit-pack": f"/u/{codes['pack']}",
        "hold": f"/hold?units={codes['pack']}",
        "holds": "/holds",
        "release": "/holds/1/release",
        "to-taste": "/cup",
        "cup": f"/cup/{codes['roast']}",
        "void": f"/void/{codes['roast']}",
        "trace": "/trace?units=GL-7&direction=forward&carry_over=true",
        "trace-back": f"/trace?units={codes['pack']}&direction=backward",
        "trace-ask": "/trace?by=location",
        "recalls": "/recalls",
        "recall-new": f"/recalls/new?start.units={codes['pack']}",
        "recall": f"/recalls/{codes['case']}",
        "recall-picture": f"/recalls/{codes['case']}/picture",
        "recall-stop": f"/recalls/{codes['case']}/do/stop",
        "recall-report": f"/recalls/{codes['case']}/do/report?customer=Café Nord",
        "recall-close": f"/recalls/{codes['case']}/do/close",
        "drills": "/drills",
        "drill-draw": "/drills/draw",
        "drill-new": "/drills/new",
        "drill": f"/drills/{codes['drill']}",
        "drill-complete": f"/drills/{codes['drill']}/complete",
        "labels": f"/labels?codes={codes['pack']}",
    }.items():
        browser.examine(name, path)


def test_what_was_seen_on_the_floor_is_stopped_with_a_scanner_and_a_keyboard(
    browser: Browser, api: Api, codes: dict[str, str], add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Noor", "warehouse"), PASSWORD)
    browser.wait_for("What needs doing")
    browser.open("/hold")
    browser.wait_until_focused("f-units-scan")
    browser.scan("B-02")
    browser.wait_for("That is place B-02.")
    browser.scan(codes["roast"].lower())
    browser.wait_for("1 scanned")
    browser.scan(codes["aside"])
    browser.wait_for("2 scanned")
    browser.type("reason", "a bearing of the cooling tray broke")
    browser.press("Stop it")
    browser.wait_for("2 units are stopped: hold 4.")

    assert api.get(f"/roasts/{codes['roast']}")["held"]
    assert browser.complaints() == []


@pytest.mark.usefixtures("codes")
def test_the_customers_of_a_trace_fit_the_screen_and_their_table_tells_where_there_is_more(
    browser: Browser, add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Quill", "quality"), PASSWORD)
    table = "document.querySelector('.wide[aria-label]')"

    def beyond(width: str) -> int:
        browser.look(width)
        browser.open("/trace?units=GL-7&direction=forward")
        return int(browser.run(f"return {table}.scrollWidth - {table}.clientWidth"))

    assert beyond("desk") <= 0
    assert beyond("phone") > 0
    assert "gradient" in browser.run(f"return getComputedStyle({table}).backgroundImage")
    browser.run(f"{table}.scrollLeft = 9999")
    assert browser.run(f"return {table}.scrollLeft > 0")
    assert not browser.spills()


def test_the_picture_of_a_trace_is_zoomed_by_keys_and_leads_to_its_units(
    browser: Browser, codes: dict[str, str], add_person: Callable[..., str], tmp_path: Path
) -> None:
    browser.sign_in(add_person("Quill", "quality"), PASSWORD)
    browser.wait_for("What needs doing")
    browser.look("desk")
    browser.driver.execute_cdp_cmd(
        "Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(tmp_path)}
    )
    browser.open("/trace?units=GL-7&direction=forward")
    browser.wait_for("Larger", ".flow")

    def width() -> float:
        return float(browser.run("return document.querySelector('.flow svg').clientWidth"))

    whole = width()
    browser.run("document.querySelector('.flow .sheet').focus()")
    browser.driver.switch_to.active_element.send_keys("++")
    assert width() > 2 * whole
    browser.driver.switch_to.active_element.send_keys("0")
    assert width() == whole
    browser.press_in(".flow", "As PNG")
    WebDriverWait(browser.driver, 30).until(lambda _: (tmp_path / "trace.png").exists())
    with Image.open(tmp_path / "trace.png") as drawn:
        assert drawn.width == 4096

    browser.run(f"document.querySelector('.flow a[href=\"/u/{codes['roast']}\"]').focus()")
    browser.driver.switch_to.active_element.send_keys(Keys.ENTER)
    browser.wait_for("Tasted: release")
    assert browser.complaints() == []

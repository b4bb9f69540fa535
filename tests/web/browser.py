"""A real browser at the pages: Chromium without a window, driven through its own driver."""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from PIL import Image
from selenium import webdriver
from selenium.common.exceptions import (
    StaleElementReferenceException,
    TimeoutException,
    WebDriverException,
)
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.wait import WebDriverWait

PICTURES: Final = Path(__file__).resolve().parent.parent.parent / "openapi-notes" / "pictures"
WIDTHS: Final = {"phone": (390, 844), "desk": (1440, 900)}
PATIENCE_S: Final = 30
_AXE: Final = files("axe_core_python") / "axe.min.js"
_FLAGS: Final = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--force-device-scale-factor=1", "--hide-scrollbars",
    "--lang=en-GB",
)  # fmt: skip


def is_there() -> bool:
    """Tell whether this machine has the browser and its driver."""
    return bool(shutil.which("chromium") and shutil.which("chromedriver"))


@contextmanager
def started(profile: Path) -> Iterator[webdriver.Chrome]:
    """Start a browser with an empty profile, and end it."""
    options = webdriver.ChromeOptions()
    options.binary_location = str(shutil.which("chromium"))
    for flag in (*_FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options, webdriver.ChromeService(shutil.which("chromedriver")))
    try:
        yield driver
    finally:
        driver.quit()


def _unless_replaced(until: Callable[[], bool]) -> bool:
    """Tell whether something is so; not yet, where the next page came between finding and reading.

    The driver says so in one way when it finds out by itself, in another when the browser tells it.
    """
    try:
        return until()
    except StaleElementReferenceException:
        return False
    except WebDriverException as error:
        if "does not belong to the document" in str(error):
            return False
        raise


class Browser:
    """Somebody at a screen, and what they do there."""

    def __init__(self, driver: webdriver.Chrome, address: str) -> None:
        self.driver = driver
        self.address = address

    def open(self, path: str) -> None:
        self.driver.get(f"{self.address}{path}")

    def look(self, width: str = "phone", *, dark: bool = False) -> None:
        """Hold the screen so: `phone` is 390 by 844, `desk` 1440 by 900."""
        wide, high = WIDTHS[width]
        self._tell("Emulation.setDeviceMetricsOverride", width=wide, height=high,
                   deviceScaleFactor=1, mobile=False)  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self._tell("Emulation.setEmulatedMedia", features=[scheme])

    def _tell(self, command: str, **said: Any) -> Any:
        return self.driver.execute_cdp_cmd(command, said)

    def sign_in(self, name: str, password: str) -> None:
        self.open("/sign-in")
        self.type("name", name)
        self.type("password", password)
        self.press("Sign in")
        # Whoever opens a page before they are in is led elsewhere by what was under way.
        self.wait_until(lambda: "/sign-in" not in self.driver.current_url, "nobody was let in")

    def field(self, name: str) -> WebElement:
        """Find what is typed into for a field: the box that is scanned into, where there is one."""
        boxes = self.driver.find_elements(By.CSS_SELECTOR, f'[id="f-{name}-scan"]')
        return boxes[0] if boxes else self.driver.find_element(By.NAME, name)

    def type(self, name: str, text: str) -> None:
        self.field(name).send_keys(text)

    def scan(self, text: str) -> None:
        """Do what a scanner does: type into whatever has the focus, then Enter."""
        self.driver.switch_to.active_element.send_keys(text, Keys.ENTER)

    def press(self, button: str) -> None:
        """Press the button with these words, in the content of the page or below it."""
        for each in self.driver.find_elements(By.CSS_SELECTOR, "main button, footer button"):
            if each.text.casefold() == button.casefold():
                each.click()
                return
        raise AssertionError(f"there is no button {button}: {self.text()}")

    def text(self, within: str = "body") -> str:
        """Read the page, or a part of it, as it is shown."""
        return self.driver.find_element(By.CSS_SELECTOR, within).text

    def focused(self) -> str:
        return str(self.driver.switch_to.active_element.get_attribute("id"))

    def wait_for(self, words: str, within: str = "body") -> None:
        """Wait until a part of the page says something."""
        said = words.casefold()
        self.wait_until(lambda: said in self.text(within).casefold(), f"{words!r} is not in")

    def wait_until(self, until: Callable[[], bool], what: str) -> None:
        """Wait until something is so; `what` says what it is when it never comes."""
        try:
            WebDriverWait(self.driver, PATIENCE_S, poll_frequency=0.05).until(
                lambda _: _unless_replaced(until)
            )
        except TimeoutException as error:
            raise AssertionError(f"{what}: {self.text()}") from error

    def wait_until_focused(self, element_id: str) -> None:
        self.wait_until(lambda: self.focused() == element_id, f"{element_id} has not got the focus")

    def wait_until_gone(self, selector: str) -> None:
        self.wait_until(lambda: not self.text(selector), f"{selector} is still there")

    def wait_until_kept(self, *paths: str) -> None:
        """Wait until the service worker has kept these pages for a time without connection."""
        script = (
            "const [paths, done] = arguments; Promise.all([caches.open('pages'),"
            " navigator.serviceWorker.ready]).then(async ([kept]) => done("
            "navigator.serviceWorker.controller !== null"
            " && (await Promise.all(paths.map((path) => kept.match(path)))).every(Boolean)))"
        )
        self.wait_until(
            lambda: bool(self.driver.execute_async_script(script, list(paths))),
            f"{paths} are not kept",
        )

    def value(self, name: str) -> str:
        return str(self.field(name).get_attribute("value"))

    def replace(self, name: str, text: str) -> None:
        self.field(name).clear()
        self.type(name, text)

    def press_in(self, selector: str, words: str) -> None:
        """Press a button or follow a link with these words in a part of the page."""
        for each in self.driver.find_elements(By.CSS_SELECTOR, f"{selector} :is(a, button)"):
            if each.text.casefold() == words.casefold():
                each.click()
                return
        raise AssertionError(f"there is no {words} in: {self.text(selector)}")

    def run(self, script: str, *args: Any) -> Any:
        return self.driver.execute_script(script, *args)

    def complaints(self) -> list[str]:
        """Tell what the browser complained about since it was asked last, such as of a policy."""
        return [
            line["message"]
            for line in self.driver.get_log("browser")  # type: ignore[no-untyped-call]
            if line["level"] == "SEVERE"
            and "the server responded with a status" not in line["message"]
        ]

    def findings(self) -> list[str]:
        """Let axe-core look for what keeps people out; serious and critical findings."""
        self.run(_AXE.read_text(encoding="utf-8"))
        found = self.driver.execute_async_script(
            "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
            ".then((r) => done(r.violations), (e) => done([{id: String(e), impact: 'critical', "
            "nodes: []}]))"
        )
        return [
            f"{each['id']}: {', '.join(str(node['target']) for node in each['nodes'])}"
            for each in found
            if each["impact"] in {"serious", "critical"}
        ]

    def examine(self, name: str, path: str) -> None:
        """Open a page and see that it is fit for everybody at both widths, in light and dark.

        Nothing serious for axe-core, nothing too small to press, nothing pushed over the edge; its
        pictures are `name-phone`, `name-desk` and the same with `-dark`.
        """
        self.open(path)
        for width in WIDTHS:
            for dark in (False, True):
                self.look(width, dark=dark)
                self.shoot(f"{name}-{width}{'-dark' if dark else ''}")
                found = self.flaws()
                assert not found, (name, width, dark, found)
                self.shoot(f"{name}-{width}{'-dark' if dark else ''}")
        assert self.complaints() == [], name

    def flaws(self) -> list[str]:
        """Name what keeps people out of the page as it stands."""
        small = [f"too small to press: {each}" for each in self.small_targets()]
        wide = ["it has to be pushed sideways"] if self.spills() else []
        return [*self.findings(), *small, *wide]

    def small_targets(self) -> list[str]:
        """Name what is pressed and smaller than 44 px (WCAG 2.2, 2.5.5; links in text are not)."""
        return list(self.run(
            "return [...document.querySelectorAll("
            "'a, button, summary, select, input:not([type=hidden])')]"
            ".filter((e) => e.offsetParent && !e.closest('p, .unseen, .skip, label'))"
            ".filter((e) => { const r = e.getBoundingClientRect();"
            " return r.height < 43.5 || r.width < 24; })"
            ".map((e) => e.outerHTML.slice(0, 90))"
        ))  # fmt: skip

    def spills(self) -> bool:
        """Tell whether the page has to be pushed sideways to be read."""
        return bool(self.run(
            "return document.documentElement.scrollWidth > document.documentElement.clientWidth"
        ))  # fmt: skip

    def shoot(self, name: str) -> None:
        """Keep a picture of the page, when `JUTEBOOK_PICTURES` asks for pictures.

        Its value is a folder for all of them, or `notes`: then those are kept that the notes name.
        """
        wanted = os.environ.get("JUTEBOOK_PICTURES")
        if not wanted or (wanted == "notes" and name not in _named_in_the_notes()):
            return
        folder = PICTURES if wanted == "notes" else Path(wanted)
        folder.mkdir(parents=True, exist_ok=True)
        taken = Image.open(BytesIO(self.driver.get_screenshot_as_png()))
        taken.quantize(64).save(folder / f"{name}.png", optimize=True)


@cache
def _named_in_the_notes() -> set[str]:
    told = "".join(page.read_text(encoding="utf-8") for page in PICTURES.parent.glob("*.md"))
    return set(re.findall(r"\(pictures/([\w-]+)\.png\)", told))

"""The pages, to a client that counts statements and to a real browser."""

import asyncio
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from html import unescape
from typing import Any, Self
from urllib.parse import urlencode

import httpx
import pytest
from fastapi import FastAPI
from selenium import webdriver
from sqlalchemy import Engine, event

from app.shared.db import writing
from app.shared.sign_in import add_user
from app.shared.staff import Role
from tests.serving import served
from tests.web.browser import Browser, is_there, started

PASSWORD = "a mill by the river"


class Visitor:
    """Somebody at the pages, without a browser: what a browser sends and gets."""

    def __init__(self, service: FastAPI, address: str = "http://jutebook.test") -> None:
        self._loop = asyncio.Runner()
        self._client = httpx.AsyncClient(
            transport=httpx.ASGITransport(app=service, raise_app_exceptions=False),
            base_url=address,
            headers={"Accept": "text/html", "Accept-Language": "en"},
        )

    @property
    def cookies(self) -> httpx.Cookies:
        return self._client.cookies

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self._loop.run(self._client.get(path, headers=_named(headers)))

    def post(self, path: str, fields: dict[str, Any], **headers: str) -> httpx.Response:
        """Send a form as it stands, without the token of a form."""
        sent = {"Content-Type": "application/x-www-form-urlencoded"} | _named(headers)
        body = urlencode(fields, doseq=True).encode()
        return self._loop.run(self._client.post(path, content=body, headers=sent))

    def upload(
        self, path: str, fields: dict[str, str], *files: tuple[str, bytes, str], **headers: str
    ) -> httpx.Response:
        """Send a form with files: the name, content and media type of each."""
        sent = [("photo", each) for each in files]
        posting = self._client.post(path, data=fields, files=sent, headers=_named(headers))
        return self._loop.run(posting)

    def fill(self, page: str, **fields: Any) -> httpx.Response:
        """Open a page, fill in its form and send it; a double underscore stands for a full stop."""
        hidden = hidden_fields(self.get(page).text)
        named = {name.replace("__", "."): value for name, value in fields.items()}
        return self.post(page, hidden | named)

    def fill_at(self, page: str, action: str, **fields: Any) -> httpx.Response:
        """Open a page and send its form to where it goes."""
        return self.post(action, hidden_fields(self.get(page).text) | fields)

    def sign_in(self, name: str, password: str = PASSWORD) -> httpx.Response:
        return self.post("/sign-in", {"name": name, "password": password})

    def close(self) -> None:
        self._loop.run(self._client.aclose())
        self._loop.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _named(headers: dict[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


def hidden_fields(page: str) -> dict[str, str]:
    """Read the hidden fields of the form in the content of a page."""
    content = page.partition("<main")[2].partition("</main>")[0]
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', content)
    return {name: unescape(value) for name, value in found}


def filled_fields(page: str) -> dict[str, str]:
    """Read everything that the form in the content of a page is filled in with."""
    content = page.partition("<main")[2].partition("</main>")[0]
    found = {
        name: unescape("".join(re.findall(r' value="([^"]*)"', tag)))
        for tag in re.findall(r"<input [^>]*>", content)
        if " checked" in tag or not re.search(r'type="(checkbox|radio)"', tag)
        for name in re.findall(r' name="([^"]+)"', tag)
    }
    for name, inner in re.findall(
        r'<select [^>]*name="([^"]+)".*?>(.*?)</select>', content, re.DOTALL
    ):
        found[name] = unescape("".join(re.findall(r'<option value="([^"]*)" selected', inner)))
    texts = re.findall(r'<textarea [^>]*name="([^"]+)".*?>(.*?)</textarea>', content, re.DOTALL)
    return found | {name: unescape(inner) for name, inner in texts}


def words(answer: httpx.Response) -> str:
    """Read the content of a page as a person does, without its tags."""
    content = answer.text.partition("<main")[2].partition("</main>")[0]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", content.partition(">")[2])).split())


def enter_person(service: FastAPI, name: str, *roles: str) -> str:
    """Enter a person with roles; returns the name."""
    with writing(service.state.engine) as session:
        add_user(session, name, PASSWORD, [Role(role) for role in roles])
    return name


@contextmanager
def signed_in(service: FastAPI, name: str, *roles: str) -> Iterator[Visitor]:
    """Enter a person with roles who signs in at the pages."""
    with Visitor(service) as somebody:
        assert somebody.sign_in(enter_person(service, name, *roles)).status_code == 303
        yield somebody


@pytest.fixture
def add_person(service: FastAPI) -> Callable[..., str]:
    """Enter a person with roles; returns the name: `add_person("Noor", "warehouse")`."""
    return partial(enter_person, service)


@pytest.fixture
def stranger(service: FastAPI) -> Iterator[Visitor]:
    with Visitor(service) as somebody:
        yield somebody


@pytest.fixture
def visitor_as(service: FastAPI) -> Iterator[Callable[..., Visitor]]:
    """Sign in at the pages with roles: `visitor_as("warehouse")`."""
    with ExitStack() as there:

        def come(*roles: str) -> Visitor:
            return there.enter_context(signed_in(service, "-".join(roles), *roles))

        yield come


@pytest.fixture
def statements(engine: Engine) -> Iterator[Callable[[], int]]:
    """Count the statements since it was asked last."""
    counted: list[str] = []

    def count(_c: object, _k: object, statement: str, *_: object) -> None:
        if statement.startswith(("SELECT", "WITH", "INSERT", "UPDATE", "DELETE")):
            counted.append(statement)

    def since() -> int:
        number = len(counted)
        counted.clear()
        return number

    event.listen(engine, "before_cursor_execute", count)
    yield since
    event.remove(engine, "before_cursor_execute", count)


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    """One browser for each worker, started for the first test that asks."""
    if not is_there():
        pytest.skip("this machine has no chromium with its driver")
    with started(tmp_path_factory.mktemp("chromium")) as driver:
        yield driver


@pytest.fixture
def browser(service: FastAPI, chromium: webdriver.Chrome) -> Iterator[Browser]:
    """Somebody at a phone's width, at the service on a real address, not signed in."""
    chromium.get("about:blank")
    chromium.execute_cdp_cmd("Network.clearBrowserCookies", {})
    with served(service) as address:
        there = Browser(chromium, address)
        there.look("phone")
        there.complaints()
        yield there
        chromium.get("about:blank")

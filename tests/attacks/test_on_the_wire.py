"""Heads as no client library would write them: every byte of them is the test's.

A client takes `..` out of a path before it sends it, and puts a header there once.
"""

import re
from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI

from app.web.assets import asset
from tests.api import Api
from tests.serving import all_of, line_to, served

FOREIGN = "evil.example"

OUTSIDE = [
    "../../../pyproject.toml",
    "../assets.py",
    "../../../../../../../../etc/passwd",
    "/etc/passwd",
    ".git/config",
]
"""Files that are there, as seen from a folder that is served; and some that are on any machine."""

WRITTEN: list[Callable[[str], str]] = [
    str,
    lambda path: path.replace("..", "%2e%2e"),
    lambda path: path.replace("/", "%2f"),
    lambda path: path.replace("..", "%2e%2e").replace("/", "%2F"),
    lambda path: path.replace("..", "%252e%252e").replace("/", "%252f"),
    lambda path: path.replace("/", "\\"),
    lambda path: path.replace("/", "%5c"),
    lambda path: path.replace("..", "..%00"),
    lambda path: path.replace("../", "....//"),
    lambda path: path.replace("..", "%c0%ae%c0%ae"),
]


@pytest.fixture
def address(service: FastAPI) -> Iterator[str]:
    """Where the service is reached by a line of the test's own."""
    with served(service) as at:
        yield at


def _send(address: str, start: str, *headers: str, body: str = "") -> tuple[int, str, str]:
    """Send one request, byte by byte as it stands here; returns status, head and body."""
    with line_to(address) as line:
        line.sendall("\r\n".join([start, *headers, "Connection: close", "", body]).encode())
        came = all_of(line)
    head, _, rest = came.decode(errors="replace").partition("\r\n\r\n")
    return int(head.split()[1]), head, rest


def _known(api: Api) -> str:
    return f"Authorization: {api._client.headers['authorization']}"


def test_no_path_leads_out_of_the_folders_that_are_served(address: str) -> None:
    folders = ("/static", asset("").rstrip("/"), "/api/docs-files", "/api", "/problems", "")
    for folder in folders:
        for path in OUTSIDE:
            for write in WRITTEN:
                asked = f"{folder}/{write(path)}"
                status, _, body = _send(address, f"GET {asked} HTTP/1.1", "Host: x")

                assert status in {400, 404}, asked
                assert not re.search(r"root:|\[project\]|FOR_GOOD|\[core\]", body), asked


@pytest.mark.parametrize(
    "hosts",
    [
        ("Host: x", f"Host: {FOREIGN}"),
        ("Host: x", "host: x"),
        (),
        (f"Host: {FOREIGN}/x?",),
        (f"Host: {FOREIGN}#",),
        (f"Host: x@{FOREIGN}",),
        (f"Host: x {FOREIGN}",),
        ("Host: x:port",),
        ("Host: [::1",),
    ],
    ids=str,
)
def test_a_head_that_does_not_name_one_host_is_refused(
    address: str, hosts: tuple[str, ...]
) -> None:
    # RFC 9112, 3.2: 400 for a request of HTTP/1.1 without Host, with more than one, or with one
    # that is none.
    for path in ("/api/v1/lots", "/healthz", "/sign-in", asset("jute.css")):
        status, head, body = _send(address, f"GET {path} HTTP/1.1", *hosts)

        assert status == 400, path
        assert '"/problems/bad-request"' in body, path
        assert FOREIGN not in head + body, path


def test_a_host_however_it_is_rightly_written_is_answered(address: str) -> None:
    for host in ("x", "x:80", "x:", "192.0.2.1:8000", "[2001:db8::1]:80", "my_book", "a-b.c", ""):
        assert _send(address, "GET /healthz HTTP/1.1", f"Host: {host}")[0] == 200, host


def test_the_first_http_needs_no_host(address: str) -> None:
    # RFC 1945 has no such header, and simple probes still send so.
    assert _send(address, "GET /healthz HTTP/1.0")[0] == 200


def test_a_head_that_names_two_who_ask_is_refused(address: str, api: Api) -> None:
    # RFC 9110, 11.6.2 has one set of credentials there, and 5.3 no header twice that is no list.
    for other in (_known(api), "Authorization: Bearer jb_made-up", "authorization: Basic eDp4"):
        for pair in ((_known(api), other), (other, _known(api))):
            for path in ("/api/v1/lots", "/sign-in"):
                status, _, body = _send(address, f"GET {path} HTTP/1.1", "Host: x", *pair)

                assert status == 400, path
                assert '"/problems/bad-request"' in body, path


@pytest.mark.parametrize(
    "pair",
    [
        ("Idempotency-Key: one", "Idempotency-Key: two"),
        ("Idempotency-Key: one", "idempotency-key: one"),
        ("Idempotency-Key: one", "Idempotency-Key:"),
        ("Content-Type: application/json", "Content-Type: text/plain"),
        ("Content-Type: text/plain", "content-type: application/json"),
        ("Content-Type: application/json", "Content-Type: application/json"),
    ],
    ids=str,
)
def test_a_head_with_two_keys_or_two_kinds_of_body_is_refused_and_nothing_is_booked(
    address: str, api: Api, pair: tuple[str, str]
) -> None:
    # RFC 9110, 5.3: neither is a list. A proxy may keep or log the one that is not read here.
    body = '{"name": "Coop"}'
    other = {"Content-Type: application/json"} if pair[0].startswith("Idem") else set()
    status, head, said = _send(
        address, "POST /api/v1/suppliers HTTP/1.1", "Host: x", _known(api), *pair, *other,
        f"Content-Length: {len(body)}", body=body,
    )  # fmt: skip

    assert status == 400
    assert '"/problems/bad-request"' in said
    assert "connection: close" in head.lower()
    assert api.get("/suppliers")["items"] == []


def test_headers_that_are_lists_may_stand_there_in_several_lines(address: str, api: Api) -> None:
    lines = ("Accept: text/html", "Accept: application/json", "X-Made-Up: 1", "X-Made-Up: 2")

    assert _send(address, "GET /api/v1/lots HTTP/1.1", "Host: x", _known(api), *lines)[0] == 200


@pytest.mark.parametrize(
    "lengths",
    [
        ("Content-Length: 20", "Content-Length: 21"),
        ("Content-Length: 20", "Transfer-Encoding: chunked"),
        ("Transfer-Encoding: chunked", "Content-Length: 20"),
        ("Content-Length: 20, 21",),
        ("Content-Length: +20",),
        ("Transfer-Encoding: chunked, identity",),
    ],
    ids=str,
)
def test_a_body_of_two_lengths_is_refused_and_nothing_of_it_is_booked(
    address: str, api: Api, lengths: tuple[str, ...]
) -> None:
    # RFC 9112, 6.1 and 6.3: what is behind the one length may be hidden in the other.
    hidden = f"GET /api/v1/lots HTTP/1.1\r\nHost: x\r\n{_known(api)}\r\n\r\n"
    status, head, body = _send(
        address, "POST /api/v1/suppliers HTTP/1.1", "Host: x", "Content-Type: application/json",
        _known(api), *lengths, body='{"name": "Coop"}    \r\n0\r\n\r\n' + hidden,
    )  # fmt: skip

    assert status == 400
    assert "HTTP/1.1 200" not in head + body
    assert api.get("/suppliers")["items"] == []


def test_no_answer_leads_to_the_host_that_a_request_made_up(address: str, api: Api) -> None:
    for number in range(3):
        api.post("/suppliers", {"name": f"Coop {number}"})
    asked = [
        "/", "/sign-in", "/sign-in/", "/sign-in?back=/lots", "/move", "/no-such-page", "/static",
        "/api", "/api/docs", "/api/docs/", "/api/openapi.json", "/problems/busy", "/problems/busy/",
        "/api/v1/suppliers?limit=1", "/api/v1/suppliers/", "/api/v1/lots/NONE",
        "//x/..", "/\\x", "/sign-in/..",
    ]  # fmt: skip
    for path in asked:
        for named in (f"Host: {FOREIGN}", f"Host: {FOREIGN}:99"):
            _, head, body = _send(
                address, f"GET {path} HTTP/1.1", named, _known(api), f"X-Forwarded-Host: {FOREIGN}",
                f"Forwarded: host={FOREIGN}", f"X-Forwarded-Server: {FOREIGN}",
                f"X-Original-URL: //{FOREIGN}/", f"X-Rewrite-URL: //{FOREIGN}/",
            )  # fmt: skip

            assert FOREIGN not in head + body, path
            assert not re.search(r"(?im)^(location|link): <?(//|/\\|[a-z]+:)", head), path
    _, head, _ = _send(
        address, "GET /api/v1/suppliers?limit=1 HTTP/1.1", f"Host: {FOREIGN}", _known(api)
    )
    assert re.search(r"(?im)^link: </api/v1/suppliers\?limit=1&cursor=\S+>; rel=\"next\"", head)


def test_whoever_asks_for_a_page_by_a_path_like_a_host_is_led_nowhere_else(address: str) -> None:
    for path in (f"//{FOREIGN}", f"//{FOREIGN}/move", f"/\\{FOREIGN}", f"/%2f{FOREIGN}",
                 f"http://{FOREIGN}/move", f"/sign-in?back=//{FOREIGN}"):  # fmt: skip
        _, head, body = _send(address, f"GET {path} HTTP/1.1", "Host: x")

        led = re.findall(r"(?im)^(?:location|link): (.*)$", head)
        led += re.findall(r'(?:href|src|action|value)="([^"]*)"', body)
        assert [to for to in led if re.match(rf"<?([a-z]+:)?[/\\]+{FOREIGN}", to)] == [], path

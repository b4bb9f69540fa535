"""What was still coming when its sender had to go: nothing of it is booked."""

from collections.abc import Callable
from urllib.parse import urlencode

import pytest
from fastapi import FastAPI
from sqlmodel import Session

from app.shared.db import writing
from app.shared.people import give_roles
from app.shared.sign_in import close_user, live_user, set_password
from app.shared.staff import Role
from app.web import sessions
from tests.api import Api
from tests.green.arrivals.contracted import four_sacks, picture
from tests.makers import furnish, receive
from tests.serving import line_to, served
from tests.web.conftest import Visitor, hidden_fields

FORM = "application/x-www-form-urlencoded"
PARTS = "multipart/form-data; boundary=b"


def _close(session: Session) -> None:
    user = live_user(session, "warehouse")
    assert user is not None
    close_user(user)


def _other_password(session: Session) -> None:
    user = live_user(session, "warehouse")
    assert user is not None
    set_password(user, "another mill by the river")


def _other_role(session: Session) -> None:
    user = live_user(session, "warehouse")
    assert user is not None
    give_roles(session, user, [Role.BUYER])


def _sign_out(session: Session) -> None:
    sessions.end(session, 1)


MEANWHILE = pytest.mark.parametrize(
    ("happens", "status"),
    [(_close, b"303"), (_other_password, b"303"), (_sign_out, b"303"), (_other_role, b"403")],
)


def _head(somebody: Visitor, path: str, kind: str, length: int) -> bytes:
    cookie = "; ".join(f"{name}={value}" for name, value in somebody.cookies.items())
    return (
        f"POST {path} HTTP/1.1\r\nHost: x\r\nAccept: text/html\r\nCookie: {cookie}\r\n"
        f"Content-Type: {kind}\r\nContent-Length: {length}\r\nExpect: 100-continue\r\n\r\n"
    ).encode()


def _held_back(
    service: FastAPI, head: bytes, body: bytes, happens: Callable[[Session], None]
) -> bytes:
    """Send a form but for its last byte, let something happen, and send that."""
    with served(service) as address, line_to(address) as line:
        line.sendall(head)
        # RFC 9110, 10.1.1: said by the server once it wants the body.
        assert line.recv(1000).startswith(b"HTTP/1.1 100 ")
        line.sendall(body[:-1])
        with writing(service.state.engine) as session:
            happens(session)
        line.sendall(body[-1:])
        return line.recv(100_000)


@MEANWHILE
def test_a_form_whose_sender_had_to_go_while_it_came_books_nothing(
    service: FastAPI,
    api: Api,
    visitor_as: Callable[..., Visitor],
    happens: Callable[[Session], None],
    status: bytes,
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")
    noor = visitor_as("warehouse")
    fields = hidden_fields(noor.get("/hold").text) | {"units": "GL-1", "reason": "smells musty"}

    body = urlencode(fields).encode()

    answer = _held_back(service, _head(noor, "/hold", FORM, len(body)), body, happens)

    assert answer.split()[1] == status
    assert api.get("/lots/GL-1")["held"] is False
    assert api.get("/holds")["items"] == []


@MEANWHILE
def test_files_whose_sender_had_to_go_while_they_came_are_not_kept(
    service: FastAPI,
    api: Api,
    visitor_as: Callable[..., Visitor],
    happens: Callable[[Session], None],
    status: bytes,
) -> None:
    four_sacks(api)
    api.post("/lots/GL-1/exceptions", {"kind": "torn", "sacks": 1, "note": "by a hook"})
    noor = visitor_as("warehouse")
    path = "/exceptions/1/photos"
    parts = [
        f'--b\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in hidden_fields(noor.get(path).text).items()
    ]
    photo = b'--b\r\nContent-Disposition: form-data; name="photo"; filename="a.png"\r\n'
    body = b"".join([*parts, photo, b"Content-Type: image/png\r\n\r\n", picture(), b"\r\n--b--"])

    answer = _held_back(service, _head(noor, path, PARTS, len(body)), body, happens)

    assert answer.split()[1] == status
    assert api.get("/lots/GL-1/exceptions")["items"][0]["photos"] == []


def test_of_whoever_may_not_send_files_none_is_read(
    service: FastAPI, visitor_as: Callable[..., Visitor]
) -> None:
    buyer = visitor_as("buyer")
    with served(service) as address, line_to(address) as line:
        line.sendall(_head(buyer, "/exceptions/1/photos", PARTS, 900_000))
        answer = line.recv(100_000)

    assert answer.startswith(b"HTTP/1.1 403 ")


def test_what_a_form_is_refused_for_while_it_comes_is_said_in_the_language_of_the_browser(
    service: FastAPI,
) -> None:
    with Visitor(service) as somebody:
        headers = {"Accept_Language": "de", "Sec_Fetch_Site": "cross-site"}
        foreign = somebody.post("/hold", {}, **headers)
        much = somebody.post("/hold", {"a": "x" * 1_100_000}, Accept_Language="de")

    assert (foreign.status_code, much.status_code) == (403, 413)
    assert 'lang="de"' in foreign.text
    assert 'lang="de"' in much.text

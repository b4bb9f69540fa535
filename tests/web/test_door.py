"""Signing in and out: who comes in, for how long, and what a stranger learns."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import update

from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import close_user, live_user, set_password
from app.shared.times import now
from app.web.sessions import Guesses
from app.web.tables import WebSession
from tests.web.conftest import PASSWORD, Visitor, hidden_fields, words


def test_a_page_asks_a_stranger_to_sign_in_and_leads_on_to_where_they_were_going(
    stranger: Visitor, add_person: Callable[..., str]
) -> None:
    asked = stranger.get("/move?to=A-01")
    door = stranger.get(asked.headers["location"])
    let_in = stranger.post(
        "/sign-in", hidden_fields(door.text) | {"name": add_person("Noor", "warehouse"),
                                                "password": PASSWORD},
    )  # fmt: skip

    assert (asked.status_code, let_in.status_code) == (303, 303)
    assert let_in.headers["location"] == "/move?to=A-01"
    page = stranger.get("/move?to=A-01")
    assert page.status_code == 200
    assert 'value="A-01"' in page.text
    assert "Noor" in page.text


def test_the_way_back_after_signing_in_never_leads_to_another_site(
    stranger: Visitor, add_person: Callable[..., str]
) -> None:
    name = add_person("Noor", "warehouse")
    for back in ("//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example"):
        let_in = stranger.post("/sign-in", {"name": name, "password": PASSWORD, "back": back})
        assert let_in.headers["location"] == "/"


def test_a_wrong_name_and_a_wrong_password_are_answered_alike(
    stranger: Visitor, add_person: Callable[..., str]
) -> None:
    add_person("Noor", "warehouse")

    wrong = stranger.sign_in("Noor", "not her password")
    nobody = stranger.sign_in("Nobody", "not her password")

    assert (wrong.status_code, nobody.status_code) == (422, 422)
    assert "Name and password do not go together." in words(wrong)
    assert words(wrong) == words(nobody)
    assert "set-cookie" not in wrong.headers


def test_the_cookie_is_hardened_and_harder_where_the_connection_is_safe(
    service: FastAPI, add_person: Callable[..., str]
) -> None:
    name = add_person("Noor", "warehouse")
    with Visitor(service) as plain, Visitor(service, "https://jutebook.test") as safe:
        over_http = plain.sign_in(name).headers["set-cookie"]
        over_https = safe.sign_in(name).headers["set-cookie"]

    for each in (over_http, over_https):
        assert {"HttpOnly", "Path=/", "SameSite=lax"} <= set(each.split("; "))
        assert "Domain" not in each
    # RFC 6265bis, 4.1.3.2: so named it is taken only as Secure, of this host, with Path=/.
    assert over_https.startswith("__Host-")
    assert "Secure" in over_https.split("; ")


def test_who_signs_out_is_out_and_the_old_cookie_opens_nothing(
    visitor_as: Callable[..., Visitor],
) -> None:
    noor = visitor_as("warehouse")
    secret = dict(noor.cookies)

    # The button stands below the content, with the token of this session.
    token = noor.get("/whoami", Accept="application/json").json()["token"]
    left = noor.post("/sign-out", {"_token": token})
    noor.cookies.update(secret)

    assert left.status_code == 303
    assert noor.get("/").headers["location"].startswith("/sign-in")


@pytest.mark.parametrize(
    "aged",
    [{"seen_at": timedelta(minutes=721)}, {"began_at": timedelta(hours=169)}],
    ids=["unused for long", "begun long ago"],
)
def test_a_session_ends_by_rest_and_by_age(
    visitor_as: Callable[..., Visitor], service: FastAPI, aged: dict[str, timedelta]
) -> None:
    noor = visitor_as("warehouse")
    assert noor.get("/").status_code == 200

    with writing(service.state.engine) as session:
        session.execute(update(WebSession).values({k: now() - v for k, v in aged.items()}))

    assert noor.get("/").status_code == 303


def test_another_password_and_a_closed_name_end_every_session(
    visitor_as: Callable[..., Visitor], service: FastAPI
) -> None:
    noor, tomasz = visitor_as("warehouse"), visitor_as("roaster")

    with writing(service.state.engine) as session:
        user = live_user(session, "warehouse")
        assert user is not None
        set_password(user, "another mill by the river")
        user = live_user(session, "roaster")
        assert user is not None
        close_user(user)

    assert (noor.get("/").status_code, tomasz.get("/").status_code) == (303, 303)
    assert tomasz.sign_in("roaster").status_code == 422
    assert noor.sign_in("warehouse", "another mill by the river").status_code == 303


def test_guessing_is_stopped_and_then_even_the_right_password_is_not_looked_at(
    service: FastAPI, settings: Settings, add_person: Callable[..., str]
) -> None:
    name = add_person("Noor", "warehouse")
    service.state.guesses = Guesses(settings.model_copy(update={"guesses_per_name": 3}))
    with Visitor(service) as guesser, Visitor(service) as other:
        for guess in range(3):
            assert guesser.sign_in(name, f"guess number {guess}").status_code == 422
        stopped = guesser.sign_in(name)
        elsewhere = other.sign_in("Somebody else", "a first guess")

    assert stopped.status_code == 429
    assert "too many wrong passwords" in words(stopped)
    assert elsewhere.status_code == 422


def test_a_name_that_nobody_can_have_is_a_wrong_one_and_is_kept_nowhere(
    service: FastAPI, settings: Settings
) -> None:
    few = {"guesses_per_name": 1, "guesses_per_address": 3}
    service.state.guesses = Guesses(settings.model_copy(update=few))
    kept = service.state.guesses._kept.storage.events
    with Visitor(service) as guesser:
        wrong = guesser.sign_in("Nobody", "a first guess")
        long = [guesser.sign_in("x" * 101 + " " * 3, "a first guess") for _ in range(2)]
        stopped = guesser.sign_in("x" * 900_000, "a first guess")

    assert [each.status_code for each in (wrong, *long, stopped)] == [422, 422, 422, 429]
    assert words(long[0]) == words(wrong)
    assert sorted(len(key) > 100 for key in kept) == [False, False]


def test_a_password_is_changed_by_who_knows_it_and_other_browsers_are_out(
    service: FastAPI, add_person: Callable[..., str]
) -> None:
    name = add_person("Noor", "warehouse")
    with Visitor(service) as here, Visitor(service) as there:
        here.sign_in(name)
        there.sign_in(name)
        new = {"secret_new": "a mill by the sea"}
        token = hidden_fields(here.get("/account").text)
        wrong = here.post("/account/password", token | new | {"secret_current": "not it"})
        short = here.post(
            "/account/password", token | {"secret_current": PASSWORD, "secret_new": "short"}
        )
        changed = here.post("/account/password", token | new | {"secret_current": PASSWORD})

        assert (wrong.status_code, short.status_code, changed.status_code) == (422, 422, 303)
        assert "That is not your password." in words(wrong)
        assert "at least 12 characters" in words(short)
        assert here.get("/account").status_code == 200
        assert there.get("/account").status_code == 303


def test_a_form_without_its_token_and_one_that_another_site_sends_book_nothing(
    visitor_as: Callable[..., Visitor],
) -> None:
    noor = visitor_as("warehouse")
    fields = {"to": "A-01", "sacks": "S-1"}

    outdated = noor.post("/move", fields)
    kept = noor.get(outdated.headers["location"])
    foreign = noor.post("/move", hidden_fields(kept.text) | fields, Sec_Fetch_Site="cross-site")

    assert outdated.status_code == 303
    assert 'value="A-01"' in kept.text
    assert "Look at it and send it." in words(kept)
    assert foreign.status_code == 403
    assert "Another site sent this form" in words(foreign)


def test_pages_are_kept_to_themselves(visitor_as: Callable[..., Visitor]) -> None:
    page = visitor_as("warehouse").get("/move")

    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert page.headers["x-content-type-options"] == "nosniff"
    assert "<style" not in page.text
    assert " style=" not in page.text
    assert " on" not in {part[:3] for part in page.text.split("<")}  # no onclick and its like


def test_a_page_that_is_not_there_and_one_that_is_not_yours_are_told_in_words(
    visitor_as: Callable[..., Visitor],
) -> None:
    buyer = visitor_as("buyer")

    lost, barred, wrong = buyer.get("/no-such-page"), buyer.get("/move"), buyer.post("/find", {})

    assert [each.status_code for each in (lost, barred, wrong)] == [404, 403, 405]
    assert words(lost).startswith("Not there")
    assert "sacks:move" in words(barred)
    assert wrong.headers["allow"] == "GET"
    assert "/move" not in buyer.get("/").text

"""The administrator's pages of people and tokens."""

from collections.abc import Callable
from datetime import timedelta

from fastapi import FastAPI
from sqlalchemy import Engine, text

from app.ledger.tables import BookCheck
from app.settings import Settings
from app.shared.db import writing
from app.shared.times import now
from app.web.house import told_settings
from tests.api import Api
from tests.web.conftest import PASSWORD, Visitor, hidden_fields, words


def test_somebody_is_let_in_given_other_roles_and_let_out_at_once(
    service: FastAPI, visitor_as: Callable[..., Visitor]
) -> None:
    ada = visitor_as("admin")

    short = ada.fill("/people/new", name="Noor", secret_password="short", roles="warehouse")
    none = ada.fill("/people/new", name="Noor", secret_password=PASSWORD)
    entered = ada.fill(
        "/people/new", name=" Noor ", secret_password=PASSWORD, roles=["warehouse", "roaster"]
    )
    twice = ada.fill("/people/new", name="Noor", secret_password=PASSWORD, roles="buyer")
    listed = words(ada.get("/people"))
    with Visitor(service) as noor:
        noor.sign_in("Noor")
        tasks = noor.get("/").text
        ada.fill("/people/2/roles", roles="quality")
        then = noor.get("/").text
        ada.fill("/people/2/password", secret_password="another mill by it")
        out = noor.get("/")
        noor.sign_in("Noor", "another mill by it")
        inside = noor.get("/").status_code
        ada.fill("/people/2/close")
        gone, again = noor.get("/"), noor.sign_in("Noor", "another mill by it")
    closed = ada.get("/people/2/roles")

    assert (short.status_code, none.status_code, twice.status_code) == (422, 422, 409)
    assert "at least 12 characters" in words(short)
    assert 'value="Noor"' in short.text
    assert PASSWORD not in none.text
    assert entered.status_code == 303
    assert "Noor roaster, warehouse" in listed
    assert "/move" in tasks
    assert "/cup" not in tasks
    assert "/cup" in then
    assert out.status_code == 303
    assert inside == 200
    assert gone.status_code == 303
    assert again.status_code == 422
    assert "May not sign in any more" in words(closed)


def test_the_last_administrator_stays_one(visitor_as: Callable[..., Visitor]) -> None:
    ada = visitor_as("admin")

    refused = [ada.fill("/people/1/roles", roles="buyer"), ada.fill("/people/1/close")]
    ada.fill("/people/new", name="Bo", secret_password=PASSWORD, roles="admin")
    stepped_down = ada.fill("/people/1/roles", roles="buyer")

    assert [each.status_code for each in refused] == [422, 422]
    assert "is the last administrator" in words(refused[1])
    assert stepped_down.status_code == 303
    assert ada.get("/people").status_code == 403


def test_a_token_is_shown_once_opens_until_its_day_and_is_revoked(
    service: FastAPI, engine: Engine, visitor_as: Callable[..., Visitor]
) -> None:
    ada = visitor_as("admin")
    tomorrow = now().date() + timedelta(days=1)

    over = ada.fill("/tokens/new", name="scale", roles="warehouse", last_day="2020-01-01")
    made = ada.fill("/tokens/new", name="scale", roles="warehouse", last_day=tomorrow)
    secret = next(word for word in words(made).split() if word.startswith("jb_"))
    twin = ada.fill("/tokens/new", name="scale", roles="warehouse")
    scale = Api(service, secret)
    before = scale.send("GET", "/sacks").status_code
    with engine.begin() as connection:
        past = "UPDATE token SET expires_at = :then WHERE id = 1"
        connection.execute(text(past), {"then": now().replace(tzinfo=None) - timedelta(days=1)})
    after = scale.send("GET", "/sacks").status_code
    listed = words(ada.get("/tokens"))
    endless = ada.fill("/tokens/new", name="scale", roles="warehouse")
    another = Api(service, next(w for w in words(endless).split() if w.startswith("jb_")))
    opens = another.send("GET", "/sacks").status_code
    revoked = ada.fill("/tokens/2/revoke")
    told = words(ada.get(revoked.headers["location"]))
    shut = another.send("GET", "/sacks").status_code
    for each in (scale, another):
        each.close()

    assert over.status_code == 422
    assert made.headers["cache-control"] == "no-store"
    assert twin.status_code == 409
    assert (before, after) == (200, 401)
    assert secret not in ada.get("/tokens").text
    assert "scale warehouse" in listed
    assert "over" in listed
    assert (opens, shut) == (200, 401)
    assert "opens nothing any more" in told


def test_nobody_but_an_administrator_lets_people_in(visitor_as: Callable[..., Visitor]) -> None:
    for role in ("warehouse", "roaster", "quality", "buyer"):
        somebody = visitor_as(role)
        form = hidden_fields(somebody.get("/account").text)
        asked = {"name": "Eve", "secret_password": PASSWORD, "roles": "admin"}
        for path in ("/people", "/people/new", "/people/1/roles", "/tokens", "/tokens/new"):
            assert somebody.get(path).status_code == 403, (role, path)
        assert somebody.post("/people/new", form | asked).status_code == 403
        assert "/people" not in somebody.get("/").text


def test_settings_say_what_they_mean_and_health_where_the_book_stands(
    api: Api, engine: Engine, visitor_as: Callable[..., Visitor]
) -> None:
    api.post("/suppliers", {"name": "Finca El Roble"})
    ada, quill = visitor_as("admin"), visitor_as("quality")
    unchecked = words(ada.get("/health"))
    for days, differences in ((9, 2), (3, 0)):
        with writing(engine) as session:
            at = now() - timedelta(days=days)
            session.add(
                BookCheck(checked_at=at, entries=1, sha256="0" * 64, differences=differences)
            )
        if differences:
            differing = words(ada.get("/health"))
    api.post("/suppliers", {"name": "Coopérative du Lac"})

    settings = words(ada.get("/settings"))
    health = words(ada.get("/health"))

    assert "JUTEBOOK_HOLD_ON_ARRIVAL false set by you , else true" in settings
    assert "`" not in settings
    assert "Whether received lots wait on hold until a quality role releases them." in settings
    assert "cannot be changed here" in settings
    assert "Last entry 2" in health
    assert "No check by the command is on record." in unchecked
    assert "2 things differed. Book nothing more" in differing
    assert "checked it up to entry 1. Nothing differed." in health
    assert "Days since 3 Entries since 1" in health
    assert "None is on record." in health
    assert (quill.get("/settings").status_code, quill.get("/health").status_code) == (403, 403)


def test_what_each_setting_means_is_said_in_the_language_of_the_page(
    visitor_as: Callable[..., Visitor],
) -> None:
    ada = visitor_as("admin")
    form = hidden_fields(ada.get("/account").text)
    ada.post("/account/manner", form | {"language": "de", "mass_unit": "kg"})

    page = ada.get("/settings")

    assert "JUTEBOOK_HOLD_WET_ON_ARRIVAL true Ob Säcke, die nass oder schimmlig" in words(page)
    assert 'lang="en"' not in page.text


def test_the_password_of_a_database_is_never_shown() -> None:
    secret = Settings(database_url="postgresql://book:tell-nobody@db/book", _env_file=None)

    assert all("tell-nobody" not in each.value for each in told_settings(secret))

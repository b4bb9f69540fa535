"""What the demo shows: the book it plays into, who may sign in, and what is worth trying."""

import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import timedelta

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from sqlalchemy import Engine, func, select
from sqlmodel import col

from app.ledger.tables import Unit
from app.schema import migrate
from app.settings import Settings
from app.shared.days import today_here
from app.shared.db import reading, writing
from app.shared.sign_in import add_token, add_user
from app.shared.staff import Role
from seed import Played, play
from seed.roastery import STAFF


def fill(engine: Engine, settings: Settings, days: int | None) -> Played:
    """Play so many working days, up to yesterday, into an empty book."""
    migrate(engine)
    yesterday = today_here() - timedelta(days=1)
    with _progress() as progress:
        task = progress.add_task("Playing the roastery's days", total=None)

        def tell(done: int, of: int) -> None:
            progress.update(task, completed=done, total=of)

        return play(engine, settings, last_day=yesterday, days=days, on_day=tell)


@contextmanager
def _progress() -> Iterator[Progress]:
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    if not console.is_terminal:
        console.print("Playing the roastery's days …")
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as progress:
        yield progress


def let_in(engine: Engine) -> tuple[str, Mapping[Role, str]]:
    """Enter a person for each role with one throw-away password, and make each a token."""
    password = secrets.token_hex(8)
    with writing(engine) as session:
        for role in Role:
            add_user(session, STAFF[role], password, [role])
        return password, {role: add_token(session, STAFF[role], [role]) for role in Role}


def count_units(engine: Engine) -> int:
    """Count what is in the book."""
    with reading(engine) as session:
        return session.scalar(select(func.count(col(Unit.id)))) or 0


def greet(
    address: str, *, played: Played, password: str, tokens: Mapping[Role, str], units: int
) -> None:
    """Say where the demo is, who may sign in, and what to try."""
    say = typer.echo
    say(f"The demo serves at {address}")
    say(f"The API, to read and to try: {address}/api/docs")
    say("")
    say(f"In the book: {units} lots, sacks, roasts, blends, packs and dispatches of an invented")
    say(f"roastery, on {played.days} working days from {played.first} to {played.last}.")
    say("")
    say(f"Sign in to the pages at {address}/ by one of the names below;")
    say(f"the password of all of them: {password}")
    say("")
    say("Scripts take the token of a role; the docs ask for it under Authorize:")
    for role, token in tokens.items():
        say(f"  {role:<10} {STAFF[role]:<16} {token}")
    say("")
    say("Things to try:")
    for what, path in _worth_trying(played):
        say(f"  {what}")
        say(f'    curl -H "Authorization: Bearer {tokens[Role.BUYER]}" "{address}/api/v1/{path}"')
    say("")
    say("Ctrl-C stops the demo and throws its book away.")


def _worth_trying(played: Played) -> Iterator[tuple[str, str]]:
    worth = played.worth
    if worth.sack:
        yield f"where the coffee of sack {worth.sack} went", _trace(worth.sack, "forward")
    if worth.wet_lot:
        yield (
            f"a lot of which a sack came wet and was destroyed: {worth.wet_lot}",
            _trace(worth.wet_lot, "forward"),
        )
    if worth.set_aside:
        yield f"a roast that missed a check: {worth.set_aside}", f"roasts/{worth.set_aside}"


def _trace(code: str, direction: str) -> str:
    return f"trace/{code}?direction={direction}"

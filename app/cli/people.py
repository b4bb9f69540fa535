"""Who may come in: people with passwords, and tokens for scanners and scripts."""

import sys
from datetime import datetime
from typing import Annotated

import typer
from sqlalchemy import select
from sqlmodel import Session, col

from app.cli.desk import MistakeError, examples, migrated_book, paper, read_settings, ruled
from app.shared.days import end_of
from app.shared.db import reading, writing
from app.shared.people import LONGEST_NAME
from app.shared.sign_in import (
    Token,
    User,
    add_token,
    add_user,
    close_user,
    live_user,
    revoke_tokens,
    set_password,
)
from app.shared.staff import Role
from app.shared.times import now, text

_ROLES = ", ".join(Role)

Name = Annotated[str, typer.Argument(metavar="NAME", show_default=False)]
Roles = Annotated[
    str,
    typer.Option(
        metavar="ROLE,…", help=f"What they are, parted by commas: {_ROLES}.", show_default=False
    ),
]

users = typer.Typer(help="Enter, list and close people who sign in with a password.")
tokens = typer.Typer(help="Make, list and revoke tokens for scanners, scripts and devices.")


def register(cli: typer.Typer) -> None:
    """Add the commands to the command line."""
    cli.add_typer(users, name="users", no_args_is_help=True)
    cli.add_typer(tokens, name="tokens", no_args_is_help=True)


def _roles(said: str) -> list[Role]:
    names = [name.strip().lower() for name in said.split(",") if name.strip()]
    unknown = [name for name in names if name not in set(Role)]
    if unknown or not names:
        what = f"There is no role {', '.join(unknown)}" if unknown else "No role was named"
        raise MistakeError(f"{what}; the roles are {_ROLES}.")
    return sorted({Role(name) for name in names})


def _name(said: str) -> str:
    name = said.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise MistakeError("A name has 1 to 100 printable characters.")
    return name


def _password() -> str:
    if sys.stdin.isatty():
        asked: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
        return asked
    return sys.stdin.readline().rstrip("\r\n")


@users.command(
    "add",
    epilog=examples(
        "jutebook users add Ida --roles warehouse,quality",
        "jutebook users add Ida --roles buyer < password.txt",
    ),
)
def enter_user(name: Name, roles: Roles) -> None:
    """Enter a person who signs in with a name and a password.

    The password has at least 12 characters. On a terminal it is asked for twice and not shown;
    otherwise it is the first line of standard input. Only its hash is stored.
    """
    named, granted = _name(name), _roles(roles)
    with migrated_book(read_settings()) as engine:
        password = _password()
        try:
            with writing(engine) as session:
                add_user(session, named, password, granted)
        except ValueError as error:
            raise MistakeError(f"{named} was not entered: {error}.") from error
    typer.echo(f"{named} may sign in as {', '.join(granted)}.")


@users.command("list", epilog=examples("jutebook users list"))
def list_users() -> None:
    """List the people who may sign in, and what they are."""
    table = ruled("People", "name", "roles", "since", "closed")
    with migrated_book(read_settings()) as engine, reading(engine) as session:
        for user in session.scalars(select(User).order_by(col(User.name))):
            closed = text(user.closed_at) if user.closed_at else ""
            roles = user.roles.replace(",", ", ")
            table.add_row(user.name, roles, text(user.created_at), closed)
    paper().print(table)


def _live(session: Session, name: str) -> User:
    user = live_user(session, name)
    if user is None:
        raise MistakeError(f"Nobody named {name} may sign in.")
    return user


@users.command(
    "password",
    epilog=examples("jutebook users password Ida", "jutebook users password Ida < password.txt"),
)
def change_password(name: Name) -> None:
    """Give a person another password, which ends their sessions.

    It is asked for or read as `jutebook users add` does.
    """
    named = _name(name)
    with migrated_book(read_settings()) as engine:
        password = _password()
        try:
            with writing(engine) as session:
                set_password(_live(session, named), password)
        except ValueError as error:
            raise MistakeError(f"The password of {named} stays: {error}.") from error
    typer.echo(f"{named} has another password; whoever was signed in as {named} is out.")


@users.command("close", epilog=examples("jutebook users close Ida"))
def close(name: Name) -> None:
    """Let a person in no more: sessions end at once, and the name stays in the journal."""
    named = _name(name)
    with migrated_book(read_settings()) as engine, writing(engine) as session:
        close_user(_live(session, named))
    typer.echo(f"{named} may not sign in any more.")


@tokens.command(
    "add",
    epilog=examples(
        "jutebook tokens add scanner-3 --roles warehouse",
        "JUTEBOOK_TOKEN=$(jutebook tokens add nightly-script --roles admin)",
    ),
)
def make_token(
    name: Name,
    roles: Roles,
    last_day: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], show_default="no end", help="Its last day."),
    ] = None,
) -> None:
    """Make a token and print it, alone, on standard output.

    NAME stands in the journal as who did it. The token is shown this once; only its hash is stored,
    so a lost one is revoked and a new one made.
    """
    named, granted = _name(name), _roles(roles)
    with migrated_book(read_settings()) as engine, writing(engine) as session:
        ends = end_of(last_day.date()) if last_day else None
        if ends is not None and ends <= now():
            raise MistakeError("That day is over.")
        secret = add_token(session, named, granted, ends)
    typer.echo(secret)
    if sys.stderr.isatty():
        typer.echo("Keep it now: it is not shown again.", err=True)


@tokens.command("list", epilog=examples("jutebook tokens list"))
def list_tokens() -> None:
    """List the tokens by name, without the tokens themselves."""
    table = ruled("Tokens", "name", "roles", "made", "ends", "revoked")
    with migrated_book(read_settings()) as engine, reading(engine) as session:
        for token in session.scalars(select(Token).order_by(col(Token.name), col(Token.id))):
            revoked = text(token.revoked_at) if token.revoked_at else ""
            roles = token.roles.replace(",", ", ")
            ends = text(token.expires_at) if token.expires_at else ""
            table.add_row(token.name, roles, text(token.created_at), ends, revoked)
    paper().print(table)


@tokens.command("revoke", epilog=examples("jutebook tokens revoke scanner-3"))
def end_token(name: Name) -> None:
    """Revoke every token of that name: from now on they open nothing."""
    with migrated_book(read_settings()) as engine, writing(engine) as session:
        ended = revoke_tokens(session, _name(name))
    if not ended:
        raise MistakeError(f"There is no live token named {name}.")
    typer.echo(f"Revoked {ended} {'token' if ended == 1 else 'tokens'} named {name}.")

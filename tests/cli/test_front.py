"""What each command does is known without loading it, and is what the command itself says."""

import subprocess
import sys

import pytest

from app.cli.front import COMMANDS, fetch

_HEAVY = "fastapi", "pydantic", "sqlalchemy", "uvicorn", "alembic"


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_says_of_itself_what_is_said_of_it_where_all_are_listed(name: str) -> None:
    assert " ".join(fetch(name).help.split("\n\n")[0].split()) == COMMANDS[name].does


@pytest.mark.parametrize("words", [["--help"], ["--version"]])
def test_to_read_what_there_is_nothing_is_loaded_that_serves(words: list[str]) -> None:
    asked = (
        f"import sys; sys.argv[1:] = {words}; from app.cli import main\n"
        f"try: main()\nfinally: print([one for one in {_HEAVY} if one in sys.modules])"
    )

    said = subprocess.run(  # noqa: S603 - our own words
        [sys.executable, "-c", asked], check=True, capture_output=True, text=True
    ).stdout

    assert said.splitlines()[-1] == "[]"

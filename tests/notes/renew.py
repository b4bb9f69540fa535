"""Renews what the notes take from the service: `python -m tests.notes.renew`.

Writes the document and the generated tables, runs the story and corrects the answers on the pages
that are not the service's any more. What it changed is to be read before it is committed.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from app.main import create_app
from app.schema import migrate
from app.settings import Settings
from tests.notes.pages import FOLDER, pretty
from tests.notes.story import Told, as_on_page, tell
from tests.notes.tables import (
    DOCUMENT,
    GENERATED,
    document_of,
    replace_generated_part,
    service_without_book,
)


def renew() -> None:
    """Renew everything, each part only where it differs."""
    with TemporaryDirectory() as folder:
        service = service_without_book(Path(folder))
        DOCUMENT.write_text(document_of(service), encoding="utf-8")
        for page, generate in GENERATED.items():
            replace_generated_part(page, generate(service))
        _renew_answers(Path(folder))


def _renew_answers(folder: Path) -> None:
    service = create_app(Settings(database_url=f"sqlite:///{folder / 'book.db'}", _env_file=None))
    migrate(service.state.engine)
    stale: dict[str, list[Told]] = {}
    for told in tell(service):
        found = told.differences()
        if found:
            sys.stdout.write(f"{told.example.title}\n" + "".join(f"  {line}\n" for line in found))
            stale.setdefault(told.example.page, []).append(told)
    service.state.engine.dispose()
    for page, answers in stale.items():
        _correct(FOLDER / page, answers)


def _correct(page: Path, answers: list[Told]) -> None:
    """Put answers in their places, the last first, so that the places before it stay."""
    text = page.read_text(encoding="utf-8")
    for told in reversed(answers):
        start, end = told.example.answer.span
        if told.body is not None:
            shown = as_on_page(told.example.answer.body, told.body)
            text = f"{text[:start]}{pretty(shown)}\n{text[end:]}"
    page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    renew()

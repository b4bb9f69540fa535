"""A file of the tests that is named somewhere is there: whoever follows the name finds it."""

import re
from collections.abc import Iterator
from pathlib import Path

from tests.house.source import CHECKOUT, modules

NAMED = re.compile(r"(?<![\w/.-])tests/[\w/-]+(?:\.py\b)?")


def test_every_file_of_the_tests_that_is_named_is_there() -> None:
    named = {(where, path) for where, text in _texts() for path in NAMED.findall(text)}
    astray = sorted((where, path) for where, path in named if not (CHECKOUT / path).exists())

    assert len({path for _, path in named if path.endswith(".py")}) > 10
    assert astray == []


def _texts() -> Iterator[tuple[str, str]]:
    """Give what people read, and the source, whose comments they read."""
    documents: list[Path] = [*CHECKOUT.glob("*.md"), *(CHECKOUT / "openapi-notes").glob("*.md")]
    for document in documents:
        yield document.name, document.read_text(encoding="utf-8")
    for module in modules("app", "seed", "tests", "alembic"):
        yield module.name, module.text

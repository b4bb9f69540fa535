"""Reading the notes: which pages there are, in which order, and the examples on them."""

import re
from base64 import b64decode
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import simplejson

from app.shared.answers import read_json

FOLDER = Path(__file__).resolve().parent.parent.parent / "openapi-notes"

_FENCE = re.compile(r"^```(?P<language>\w+)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
_ANSWER_LINE = re.compile(r"HTTP/1\.1 (?P<status>\d{3}) ")
_WIDTH = 88

Span = tuple[int, int]


@dataclass(frozen=True)
class Message:
    """A request or an answer as it stands on a page."""

    first_line: str
    headers: dict[str, str]
    body: Any
    span: Span
    """Where the body stands on the page."""

    @property
    def status(self) -> int | None:
        """The status an answer states, if it does."""
        line = _ANSWER_LINE.match(self.first_line)
        return int(line["status"]) if line else None


@dataclass(frozen=True)
class Example:
    """A request and its answer."""

    page: str
    number: int
    request: Message
    answer: Message

    @property
    def title(self) -> str:
        return f"{self.page}, example {self.number}: {self.request.first_line}"


def page_names() -> list[str]:
    """Name the pages in the order of the story, which the README states."""
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    return ["README.md", *re.findall(r"^\d+\. \[.+?\]\((.+?\.md)\)", readme, re.MULTILINE)]


def examples(page: str, text: str) -> Iterator[Example]:
    """Read the examples of a page: each request is followed by its answer."""
    request: Message | None = None
    number = 0
    for fence in _FENCE.finditer(text):
        if fence["language"] not in {"http", "json"}:
            continue
        message = _message(fence)
        if message.first_line and message.status is None:
            assert request is None, f"{page}: {message.first_line} follows an unanswered request"
            request = message
            continue
        assert request is not None, f"{page}: an answer without a request: {fence['text'][:60]}"
        number += 1
        yield Example(page, number, request, message)
        request = None
    assert request is None, f"{page}: {request} has no answer"


def _message(fence: re.Match[str]) -> Message:
    if fence["language"] == "json":
        return Message("", {}, read_json(fence["text"]), fence.span("text"))
    head, _, body = fence["text"].partition("\n\n")
    first_line, *lines = head.strip().splitlines()
    headers = dict(line.split(": ", 1) for line in lines)
    start = fence.end("text") - len(body)
    return Message(first_line, headers, _body(headers, body), (start, fence.end("text")))


def _body(headers: dict[str, str], text: str) -> Any:
    """Read a body: JSON, or a picture, which a page can only show in base64."""
    if not text.strip():
        return None
    if headers.get("Content-Type", "").startswith("image/"):
        return b64decode("".join(text.split()), validate=True)
    return read_json(text)


def pretty(content: object, indent: int = 0) -> str:
    """Write JSON for a reader: what fits stands on one line."""
    line = simplejson.dumps(content, use_decimal=True, ensure_ascii=False)
    if indent + len(line) <= _WIDTH or not isinstance(content, dict | list) or not content:
        return line
    if isinstance(content, dict):
        members = [
            f"{simplejson.dumps(name, ensure_ascii=False)}: {pretty(value, indent + 2)}"
            for name, value in content.items()
        ]
        opening, closing = "{}"
    else:
        members = [pretty(value, indent + 2) for value in content]
        opening, closing = "[]"
    inner = ",\n".join(" " * (indent + 2) + member for member in members)
    return f"{opening}\n{inner}\n{' ' * indent}{closing}"

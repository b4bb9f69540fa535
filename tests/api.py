"""The service as a client sees it, without a network between."""

import asyncio
from decimal import Decimal
from typing import Any

import httpx
from fastapi import FastAPI

from app.shared.answers import read_json, to_json

OUTSIDE = ("/api", "/healthz", "/readyz", "/metrics", "/problems", "/b/", "/01/")
"""Paths that are whole; others are under `/api/v1`."""


class Api:
    """Somebody signed in at the API. Bodies and answers carry exact decimals."""

    def __init__(self, service: FastAPI, token: str | None) -> None:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self._loop = asyncio.Runner()
        self._client = httpx.AsyncClient(
            # An error that no handler answered must fail the test as the 500 a client would get.
            transport=httpx.ASGITransport(app=service, raise_app_exceptions=False),
            base_url="http://jutebook.test",
            headers=headers,
        )

    def send(self, method: str, path: str, body: object = None, **headers: str) -> httpx.Response:
        """Send a request; header names are given with underscores (`If_Match="…"`)."""
        content = None if body is None else body if isinstance(body, bytes) else to_json(body)
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        if content is not None:
            named.setdefault("content-type", "application/json")
        whole = path if path.startswith(OUTSIDE) else f"/api/v1{path}"
        return self._loop.run(self._client.request(method, whole, content=content, headers=named))

    def get(self, path: str, **headers: str) -> Any:
        """Read something that is there."""
        answer = self.send("GET", path, **headers)
        assert answer.status_code == 200, answer.text
        return read_json(answer.content)

    def post(self, path: str, body: object, **headers: str) -> Any:
        """Book something that is accepted."""
        answer = self.send("POST", path, body, **headers)
        assert answer.status_code in {200, 201}, answer.text
        return read_json(answer.content)

    def refuse(self, path: str, body: object, status: int, slug: str) -> Any:
        """Book something that is refused; returns the problem document."""
        answer = self.send("POST", path, body)
        return problem(answer, status, slug)

    def close(self) -> None:
        """Leave."""
        self._loop.run(self._client.aclose())
        self._loop.close()


def problem(answer: httpx.Response, status: int, slug: str) -> Any:
    """Check that an answer is the problem document it should be, and read it."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    document = read_json(answer.content)
    assert document["type"] == f"/problems/{slug}", document
    assert document["status"] == status
    assert document["title"]
    assert document["detail"]
    return document


def kg(text: str) -> Decimal:
    """Write an exact mass in a test: `kg("60.2")`."""
    return Decimal(text)

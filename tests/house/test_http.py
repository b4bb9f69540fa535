"""What every address does with requests that are not of its form (RFC 9110)."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI

from tests.api import Api, problem


@pytest.fixture
def visitor(service: FastAPI) -> Iterator[Api]:
    """Somebody without a token."""
    somebody = Api(service, None)
    yield somebody
    somebody.close()


@pytest.mark.parametrize("door", ["/healthz", "/readyz"])
def test_a_probe_may_ask_without_wanting_a_body(visitor: Api, door: str) -> None:
    assert visitor.send("HEAD", door).status_code == 200


def test_a_method_that_is_not_there_is_answered_with_those_that_are(visitor: Api) -> None:
    answers = [visitor.send("DELETE", path) for path in ("/suppliers", "/suppliers/1", "/lots")]

    for answer in answers:
        problem(answer, 405, "method-not-allowed")
    assert [answer.headers["allow"] for answer in answers] == ["GET, POST", "GET, PATCH", "GET"]


def test_a_path_that_is_not_there_is_a_problem(visitor: Api) -> None:
    problem(visitor.send("GET", "/roasteries"), 404, "not-found")
    problem(visitor.send("GET", "/problems/no-such-kind"), 404, "not-found")


@pytest.mark.parametrize("media_type", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_a_body_that_does_not_say_it_is_json_is_refused_as_such(api: Api, media_type: str) -> None:
    answer = api.send("POST", "/suppliers", b'{"name": "Marren"}', content_type=media_type)

    problem(answer, 415, "unsupported-media-type")


@pytest.mark.parametrize("media_type", ["application/json; charset=utf-8", "application/x+json"])
def test_json_may_be_named_in_more_ways_than_one(api: Api, media_type: str) -> None:
    answer = api.send("POST", "/suppliers", b'{"name": "Marren"}', content_type=media_type)

    assert answer.status_code == 201


def test_a_body_that_is_no_object_is_told_so(api: Api) -> None:
    document = api.refuse("/suppliers", [], 422, "invalid")

    assert document["errors"] == [{"pointer": "#", "detail": "a JSON object is wanted"}]


@pytest.mark.parametrize(
    "filtered",
    [
        "/dispatches?customer=nobody",
        "/sacks?location=Z-9",
        "/packs?product=NONE",
        "/readings?subject=GL-404",
        "/sacks?lot=GL-404",
    ],
)
def test_a_filter_that_names_nothing_known_is_refused_and_not_answered_with_nothing(
    api: Api, filtered: str
) -> None:
    answer = api.send("GET", filtered)

    assert answer.status_code == 404
    assert filtered.rpartition("=")[2] in answer.json()["detail"]

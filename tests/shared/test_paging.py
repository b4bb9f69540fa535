"""Lists, a page at a time, while others go on booking."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from app.shared.answers import read_json
from app.shared.paging import _encode
from tests.api import Api, problem
from tests.makers import furnish, receive, roast, sack_codes

LINK = re.compile(r'<(?P<address>[^>]+)>; rel="next"')
"""RFC 8288, section 3: the target in angle brackets, then its parameters."""


@pytest.fixture
def suppliers(api: Api) -> list[str]:
    """Twenty-five of them."""
    names = [f"Finca {number:02d}" for number in range(25)]
    for name in names:
        api.post("/suppliers", {"name": name})
    return names


def names(page: dict[str, Any]) -> list[str]:
    return [item["name"] for item in page["items"]]


def pages(api: Api, address: str) -> Iterator[dict[str, Any]]:
    """Follow the Link header until there is none."""
    while True:
        answer = api.send("GET", address)
        assert answer.status_code == 200, answer.text
        yield read_json(answer.content)
        link = LINK.fullmatch(answer.headers.get("link", ""))
        if link is None:
            return
        address = link["address"]


def test_each_row_comes_once_although_others_are_booked_between_the_pages(
    api: Api, suppliers: list[str]
) -> None:
    # 25 rows, pages of 10, two inserts between pages: check value 209 of the house's list.
    shown, sizes = [], []
    for number, page in enumerate(pages(api, "/suppliers?limit=10")):
        shown += names(page)
        sizes.append(len(page["items"]))
        if number < 2:
            api.post("/suppliers", {"name": f"A new one {number}"})

    assert shown[:25] == suppliers
    assert shown[25:] == ["A new one 0", "A new one 1"]
    assert sizes == [10, 10, 7]


def test_the_cursor_of_the_body_and_the_link_lead_to_the_same_page(
    api: Api, suppliers: list[str]
) -> None:
    first = api.send("GET", "/suppliers?limit=10")

    by_cursor = api.get(f"/suppliers?limit=10&cursor={first.json()['next']}")
    link = LINK.fullmatch(first.headers["link"])

    assert link is not None
    assert link["address"].startswith("/api/v1/suppliers?")
    assert api.get(link["address"]) == by_cursor
    assert names(by_cursor) == suppliers[10:20]


def test_a_link_keeps_what_was_asked_for(api: Api) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60, lot="GL-1"))
    receive(api, 60, lot="GL-2")
    roast(api, {sacks[1]: 60}, 51)

    address = "/sacks?lot=GL-1&on_hand=true&limit=1"
    found = [item["code"] for page in pages(api, address) for item in page["items"]]

    assert found == [sacks[0], sacks[2]]


@pytest.mark.parametrize(("limit", "sizes"), [(5, [5, 5, 5, 5, 5]), (24, [24, 1]), (25, [25])])
def test_the_last_page_has_no_next_also_when_it_is_full(
    api: Api,
    suppliers: list[str],
    limit: int,
    sizes: list[int],
) -> None:
    turned = list(pages(api, f"/suppliers?limit={limit}"))

    assert [len(page["items"]) for page in turned] == sizes
    assert turned[-1]["next"] is None
    assert [name for page in turned for name in names(page)] == suppliers


def test_a_page_is_50_rows_unless_asked_and_at_most_500(api: Api) -> None:
    furnish(api)
    receive(api, *[60] * 501)

    assert len(api.get("/sacks")["items"]) == 50
    assert len(api.get("/sacks?limit=500")["items"]) == 500
    assert api.get("/sacks?limit=500")["next"] is not None
    assert api.get("/suppliers")["next"] is None


@pytest.mark.parametrize("limit", ["0", "-1", "501", "ten", "1.5", ""])
def test_a_page_of_none_or_too_many_rows_is_refused(api: Api, limit: str) -> None:
    refusal = problem(api.send("GET", f"/suppliers?limit={limit}"), 422, "invalid")

    assert refusal["errors"][0]["parameter"] == "limit"


GIVEN = _encode(7)


@pytest.mark.parametrize(
    "cursor",
    ["", "7", "xx", "%00", "%C3%A9", "YWZ0ZXI6LTE", f"{GIVEN}!!", f"{GIVEN}=", f" {GIVEN}",
     _encode(-1), _encode(10**18), "YWZ0ZXI6MDc", "YWZ0ZXI6NyA"],
)  # fmt: skip
def test_a_cursor_that_the_service_did_not_give_out_is_refused(api: Api, cursor: str) -> None:
    answer = api.send("GET", f"/suppliers?cursor={cursor}")

    assert problem(answer, 400, "bad-request")["detail"]


def test_every_list_pages(api: Api) -> None:
    furnish(api)
    one, other = sack_codes(receive(api, 60, 60, lot="GL-1"))
    api.post("/moves", {"sacks": [one], "to": "B-02"})
    api.post("/moves", {"sacks": [other], "to": "B-02"})
    for unit in (one, other):
        api.post("/adjustments", {"unit": unit, "kg": -1, "reason": "sample"})
        api.post("/readings", {"subject": unit, "kind": "moisture", "value": 11})
        api.post("/holds", {"units": [unit], "reason": "mould"})
    lists = ["/entries", "/sacks", "/moves", "/adjustments", "/holds", "/readings", "/locations",
             "/machines", "/products"]  # fmt: skip

    for address in lists:
        whole = api.get(f"{address}?limit=500")["items"]
        paged = [item for page in pages(api, f"{address}?limit=1") for item in page["items"]]
        assert len(whole) > 1, address
        assert paged == whole, address

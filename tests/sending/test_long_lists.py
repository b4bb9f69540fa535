"""What is read costs the same statements however much there is."""

from collections.abc import Callable

from sqlalchemy import Engine, event

from tests.api import Api
from tests.makers import dispatch, pack


def test_lists_take_the_same_statements_however_long_they_are(
    api: Api, engine: Engine, roasts: list[str], bags: str
) -> None:
    api.post("/customers", {"name": "Quay counter", "kind": "consumers"})
    api.post("/crate-kinds", {"name": "Green 60"})
    api.post("/crates/counts", {"kind": 1, "counted": 50, "reason": "bought"})
    crates = [{"kind": 1, "count": 1}]

    def statements(path: str) -> int:
        seen: list[str] = []
        note: Callable[..., None] = lambda *said: seen.append(said[2])  # noqa: E731
        event.listen(engine, "before_cursor_execute", note)
        api.get(path)
        event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    def one_more(code: str) -> None:
        packed = pack(api, {roasts[1]: 5}, bags=20, code=f"PK-{code}")["code"]
        contents = [{"pack": packed, "bags": 2}]
        api.post("/cases", {"code": f"C-{code}", "contents": contents})
        on = [{"case": f"C-{code}"}, {"pack": bags, "bags": 1}]
        api.post("/cases", {"code": f"PAL-{code}", "kind": "pallet", "contents": on})
        api.post("/picks", {"lines": [{"product": "HOUSE-250", "bags": 1}]})
        sold = {"shop": "Quay counter", "sold_on": "2026-03-09"}
        api.post("/sales", sold | {"lines": [{"pack": packed, "bags": 1}]})
        sent = dispatch(api, {packed: 2}, crates=crates)["code"]
        back = {"dispatch": sent, "lines": [{"pack": packed, "bags": 1}], "reason": "unsold"}
        hold = api.post("/returns", back)["hold"]
        api.post(f"/holds/{hold}/release", {"reason": "sound"})

    one_more("0")
    paths = ("/cases", "/picks", "/picks/suggestion?want=HOUSE-250:90", "/sales", "/crates",
             "/crates/movements")  # fmt: skip
    one = {path: statements(path) for path in paths}
    for number in range(1, 4):
        one_more(str(number))

    assert {path: statements(path) for path in one} == one

"""A roastery with a recipe of two styles, orders and green, for the tests of production."""

from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import Engine, event

from tests.api import Api
from tests.makers import furnish, receive

LOTS = {"GL-OLD": 90, "GL-NEW": 60, "GL-FRUIT": 30}


@pytest.fixture
def roastery(api: Api) -> Api:
    """Espresso loses 15 % in charges of 12 kg; Fruit 12 % in the usual charge of a drum of 15."""
    furnish(api)
    for lot, net in LOTS.items():
        crop = {"GL-OLD": "2023/24", "GL-NEW": "2024/25", "GL-FRUIT": None}[lot]
        receive(api, net, lot=lot, crop_year=crop)
    api.post("/styles", {
        "name": "Espresso", "loss_pct": 15, "machine": "DRUM-15", "batch_kg": 12,
        "green": [{"share_pct": 100, "lots": ["GL-OLD", "GL-NEW"]}],
    })  # fmt: skip
    api.post("/styles", {
        "name": "Fruit", "loss_pct": 12, "machine": "DRUM-15",
        "green": [{"share_pct": 100, "lots": ["GL-FRUIT"]}],
    })  # fmt: skip
    api.post("/recipes", {
        "name": "Harbour",
        "components": [{"name": "espresso", "share_pct": 80}, {"name": "Fruit", "share_pct": 20}],
    })  # fmt: skip
    api.send("PATCH", "/products/HOUSE-250", {"recipe": "harbour"}, If_Match='"1"')
    api.send("PATCH", "/products/HOUSE-2000", {"style": "espresso"}, If_Match='"1"')
    return api


@pytest.fixture
def statements(engine: Engine) -> Iterator[Callable[[], int]]:
    """Count the statements that went to the database so far."""
    sent: list[str] = []

    def note(_conn: object, _cursor: object, statement: str, *_: object) -> None:
        sent.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield lambda: len(sent)
    event.remove(engine, "before_cursor_execute", note)

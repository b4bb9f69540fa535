"""A member of a body takes what the description of the API says, and nothing else for it.

Left to itself Pydantic takes `"5"` and `true` for a number, and `1` and `"on"` for a truth.
"""

import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated, Any, Final

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from pydantic import BaseModel, TypeAdapter, ValidationError

from app.ledger.schemas import Asked

TRIED: Final[dict[str, list[Any]]] = {
    "string": ["1", "5", "on", "2.5", "2000-01-01"],
    "boolean": [True, False],
    "number": [0, 1, 2, 1.5, 20_000, 1_700_000_000],
}
"""JSON by its type."""


@pytest.fixture(scope="session")
def bodies(built: FastAPI) -> set[type[Asked]]:
    """Every body that an operation takes, and what stands in them."""
    found: set[type[Asked]] = set()
    for route in built.router.routes:
        if isinstance(route, APIRoute) and route.body_field is not None:
            found.update(_within(route.body_field.field_info.annotation))
    return found


def _within(annotation: Any) -> Iterator[type[Asked]]:
    """Name the bodies in a type, at any depth."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        if issubclass(annotation, Asked):
            yield annotation
        for field in annotation.model_fields.values():
            yield from _within(field.annotation)
    for inner in getattr(annotation, "__args__", ()):
        yield from _within(inner)


def _takes(adapter: TypeAdapter[Any], value: object) -> bool:
    try:
        adapter.validate_python(value)
    except ValidationError:
        return False
    return True


@pytest.mark.parametrize("kind", TRIED)
def test_no_member_of_a_body_takes_another_type_for_its_own(
    bodies: set[type[Asked]], kind: str
) -> None:
    loose = []
    for body in sorted(bodies, key=lambda each: each.__name__):
        for name, field in body.model_fields.items():
            whole: Any = field.annotation
            for more in field.metadata:
                whole = Annotated[whole, more]
            adapter = TypeAdapter[Any](whole)
            said = json.dumps(adapter.json_schema()).replace('"integer"', '"number"')
            if f'"{kind}"' in said:
                continue
            loose += [f"{body.__name__}.{name}: {value!r}" for value in TRIED[kind]
                      if _takes(adapter, value)]  # fmt: skip

    assert len(bodies) > 80
    assert loose == []


def test_no_body_takes_a_number_with_a_point_for_an_object(bodies: set[type[Asked]]) -> None:
    for body in bodies:
        with pytest.raises(ValidationError) as refused:
            # As FastAPI does it, which lets an object stand for a body.
            TypeAdapter(body).validate_python(Decimal("0.5"), from_attributes=True)
        assert [flaw["type"] for flaw in refused.value.errors()] == ["model_attributes_type"]

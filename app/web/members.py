"""What the members of a body are, by its JSON schema: so that no form is described twice."""

from functools import cache, lru_cache
from typing import Any

from pydantic import BaseModel


@cache
def _schema(body: type[BaseModel]) -> dict[str, Any]:
    return body.model_json_schema(by_alias=True)


def _schemas_at(body: type[BaseModel], path: str) -> list[dict[str, Any]]:
    """Find the schemas of a member, its choices one by one."""
    whole = _schema(body)
    found = [whole]
    for step in path.split("."):
        found = [
            inner
            for each in found
            for inner in (
                [each["items"]] if step.isdecimal() and "items" in each
                else [each["properties"][step]] if step in each.get("properties", {})
                else [each["additionalProperties"]] if _names_anything(each)
                else []
            )
        ]  # fmt: skip
        found = [one for each in found for one in _resolved(whole, each)]
    return found


def _names_anything(schema: dict[str, Any]) -> bool:
    return isinstance(schema.get("additionalProperties"), dict)


@lru_cache(10_000)  # names come from outside
def is_map(body: type[BaseModel], path: str) -> bool:
    """Tell whether a member names its own members, as screens are named by their numbers."""
    return any(_names_anything(each) for each in _schemas_at(body, path))


@lru_cache(10_000)
def kind_of(body: type[BaseModel], path: str) -> tuple[str, str | None]:
    """Say of a member what JSON makes of it and in what format, from the schema of the body."""
    whole, found = _schema(body), _schemas_at(body, path)
    kinds = [each.get("type", "string") for each in found if each.get("type") != "null"]
    one = kinds[0] if kinds and "string" not in kinds else "string"
    if one == "array":
        item = next(each for each in found if each.get("type") == "array").get("items", {})
        of = _resolved(whole, item)[0].get("type", "string")
        return "array", of
    return one, next((each["format"] for each in found if "format" in each), None)


def _resolved(whole: dict[str, Any], schema: dict[str, Any]) -> list[dict[str, Any]]:
    """Follow references and list the choices of a schema."""
    if "$ref" in schema:
        return _resolved(whole, whole["$defs"][schema["$ref"].rpartition("/")[2]])
    if "properties" in schema:  # a body, whatever it says of which members go together
        return [schema]
    choices = [*schema.get("anyOf", ()), *schema.get("oneOf", ()), *schema.get("allOf", ())]
    return [one for each in choices for one in _resolved(whole, each)] if choices else [schema]

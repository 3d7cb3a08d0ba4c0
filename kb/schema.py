"""JSON Schema of every kind of file, made from the models."""

from typing import Any, cast

from pydantic import BaseModel

from .load import LAYOUT, Rule
from .models import AnswersFile
from .values import ID_PATTERN

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def file_schema(kind: str) -> dict[str, Any]:
    """The schema of a file that holds records of this kind (see `kb.load.LAYOUT`). Raises KeyError for no such kind."""
    if kind == "answers":
        return _whole(AnswersFile, "An answers file")
    rule = next((rule for rule in LAYOUT if rule.kind == kind), None)
    if rule is None:
        raise KeyError(kind)
    return _of(rule)


def kinds() -> list[str]:
    """The kinds that have a schema."""
    return sorted([*(rule.kind for rule in LAYOUT), "answers"])


def _whole(model: type[BaseModel], title: str) -> dict[str, Any]:
    schema = model.model_json_schema(by_alias=True, mode="validation")
    _loosen(schema)
    return {"$schema": DIALECT, **schema, "title": title}


def _of(rule: Rule) -> dict[str, Any]:
    """One record, a mapping of them, or one of them or a list, as the layout has it."""
    schema = _whole(rule.model, f"{rule.kind[0].upper()}{rule.kind[1:]}: {rule.pattern}")
    definitions = schema.pop("$defs", {})
    head = {"$schema": schema.pop("$schema"), "title": schema.pop("title")}
    if rule.shape == "mapping":
        body: dict[str, Any] = {
            "type": ["object", "null"],
            "propertyNames": {"pattern": ID_PATTERN},
            "additionalProperties": schema,
        }
    elif rule.shape == "records":
        ident = {"id": {"type": "string", "pattern": ID_PATTERN}}
        one = {**schema, "properties": {**ident, **schema["properties"]}}
        listed = {**one, "required": ["id", *schema.get("required", [])]}
        body = {"anyOf": [one, {"type": "array", "items": listed}]}
    else:
        body = schema
    return {**head, **body, **({"$defs": definitions} if definitions else {})}


def _loosen(schema: Any) -> None:
    """Lets a text be written as a bare number (`catalog_number: 4241`), as the loader does."""
    if isinstance(schema, list):
        for one in cast("list[Any]", schema):
            _loosen(one)
    elif isinstance(schema, dict):
        plain = cast("dict[str, Any]", schema)
        if plain.get("type") == "string" and not {"enum", "const", "pattern"} & set(plain):
            plain["type"] = ["string", "number"]
        for one in plain.values():
            _loosen(one)

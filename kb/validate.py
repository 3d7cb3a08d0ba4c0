"""Plain values to models, and pydantic's complaints to findings in our own words."""

import types
from collections.abc import Mapping
from typing import Annotated, Any, Protocol, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from .files import Loc
from .findings import BadInput, Finding, Kind, listed, nearest, quoted
from .values import ID_PATTERN

Model = TypeVar("Model", bound=BaseModel)

#: What pydantic's error types mean to somebody who writes entries.
EXPECTED = {
    "string_type": "a text",
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing_size": "a whole number",
    "float_parsing": "a number",
    "float_type": "a number",
    "finite_number": "a number",
    "bool_parsing": "true or false",
    "bool_type": "true or false",
    "list_type": "a list",
    "dict_type": "a mapping",
    "model_type": "a mapping",
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
    "string_too_short": "a text that is not empty",
    "string_too_long": "at most {max_length} characters",
    "too_short": "at least {min_length} of them",
    "too_long": "at most {max_length} of them",
    "literal_error": "{expected}",
    "written": "{expected}",
}
PATTERNS = {
    ID_PATTERN: "an id: lower-case letters and digits in words joined by hyphens",
    r"^\d{4}-\d\d-\d\d$": "a date such as 1954-11-30",
}


class Where(Protocol):
    """What knows the line and column of a value by its path: a YAML document, or a row of a table."""

    shown: str

    def at(self, loc: Loc, key: bool = False) -> tuple[int, int]:
        """1-based line and column."""
        ...


def build(model: type[Model], plain: Any, where: Where, loc: Loc = ()) -> Model:
    """The record at `loc` of a document. Raises BadInput with every complaint, each at its line and column."""
    try:
        return model.model_validate(plain)
    except ValidationError as error:
        raise BadInput([_finding(model, detail, where, loc) for detail in error.errors()]) from None


def _finding(model: type[BaseModel], detail: ErrorDetails, places: Where, base: Loc) -> Finding:
    kind = detail["type"]
    loc = [step for step in detail["loc"] if step != "[key]"]
    about_key = kind == "extra_forbidden" or "[key]" in detail["loc"]
    at = loc[:-1] if kind == "missing" else loc
    line, column = places.at([*base, *at], key=about_key)

    def found(kind: Kind, found: str, expected: str, near: str | None = None) -> Finding:
        return Finding(places.shown, line, column, kind, found, expected, near)

    if kind == "extra_forbidden":
        keys = keys_of(model_at(model, loc[:-1]))
        return found(Kind.UNKNOWN_KEY, f'the key "{loc[-1]}"', listed(keys), nearest(str(loc[-1]), keys))
    if kind == "missing":
        return found(Kind.MISSING_KEY, f'no key "{loc[-1]}"', f'the key "{loc[-1]}"')
    context: Mapping[str, Any] = detail.get("ctx", {})
    if kind == "string_pattern_mismatch":
        return found(
            Kind.WRONG_VALUE, quoted(detail["input"]), PATTERNS.get(context["pattern"], f"a text like {context['pattern']}")
        )
    expected = EXPECTED.get(kind, detail["msg"]).format(
        **{name: f"{v:g}" if isinstance(v, float) else v for name, v in context.items()}
    )
    near = None
    if kind == "literal_error" and isinstance(detail["input"], str):
        words = expected.replace("'", "").replace(" or ", ", ").split(", ")
        expected, near = listed(words), nearest(detail["input"], words)
    return found(Kind.WRONG_VALUE, quoted(detail["input"]), expected, near)


def keys_of(model: Any) -> list[str]:
    """The keys a mapping for this model may have, as they are written."""
    if not (isinstance(model, type) and issubclass(model, BaseModel)):
        return []
    return [field.alias or name for name, field in model.model_fields.items()]


def model_at(model: Any, loc: Loc) -> Any:
    """The model or type that the schema has at `loc` below `model`; None when the path leads nowhere."""
    current: Any = model
    for step in loc:
        current = _inner(current)
        if isinstance(current, type) and issubclass(current, BaseModel):
            fields = {field.alias or name: field.annotation for name, field in current.model_fields.items()}
            current = fields.get(str(step))
        elif get_origin(current) is dict:
            current = get_args(current)[1]
        elif get_origin(current) is list:
            current = get_args(current)[0]
        else:
            return None
    return _inner(current)


def _inner(annotation: Any) -> Any:
    """The one type inside Annotated, Optional and their like."""
    while True:
        origin = get_origin(annotation)
        if origin is Annotated:
            annotation = get_args(annotation)[0]
        elif origin is Union or origin is types.UnionType:
            some = [choice for choice in get_args(annotation) if choice is not type(None)]
            if len(some) != 1:
                return annotation
            annotation = some[0]
        else:
            return annotation

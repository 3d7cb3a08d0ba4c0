"""What a record refers to, found by the `Ref` marks in its model. What to look at is worked out once for each model."""

from collections.abc import Callable
from functools import cache
from types import UnionType
from typing import Annotated, Any, Union, cast, get_args, get_origin

from pydantic import BaseModel

from .values import Ref

Loc = tuple[str | int, ...]
#: A reference: the path to it in the record, the kind of what it refers to, and the id.
Found = tuple[Loc, Ref, str]
#: Adds the references in a value to the list; the path leads to the value.
Finder = Callable[[Any, Loc, list[Found]], None]


def references(record: BaseModel) -> list[Found]:
    """(path, what it refers to, id) of every reference in a record."""
    found: list[Found] = []
    finder = _in_model(type(record))
    if finder:
        finder(record, (), found)
    return found


def _finder(annotation: Any, mark: Ref | None = None) -> Finder | None:
    """What looks through values of this type; None when there can be no reference in them."""
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *metadata = get_args(annotation)
        return _finder(inner, next((one for one in metadata if isinstance(one, Ref)), mark))
    if origin in (Union, UnionType):
        some = [finder for choice in get_args(annotation) if (finder := _finder(choice, mark))]
        return _one_of(some) if some else None
    if origin is dict:
        of_key, of_value = map(_finder, get_args(annotation))
        return _in_mapping(of_key, of_value) if of_key or of_value else None
    if origin is list:
        (of_item,) = map(_finder, get_args(annotation))
        return _in_list(of_item) if of_item else None
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return _in_model(annotation)
    return _marked(mark) if mark and annotation is str else None


@cache
def _in_model(model: type[BaseModel]) -> Finder | None:
    """Looks through the fields that can hold a reference; a record of another model has none of them."""
    fields: list[tuple[str, str, Finder]] = []
    for name, field in model.model_fields.items():
        mark = next((one for one in field.metadata if isinstance(one, Ref)), None)
        finder = _finder(field.annotation, mark)
        if finder:
            fields.append((name, field.alias or name, finder))

    def look(record: Any, loc: Loc, found: list[Found]) -> None:
        if type(record) is model:
            for name, alias, finder in fields:
                held = getattr(record, name)
                if held:
                    finder(held, (*loc, alias), found)

    return look if fields else None


def _one_of(finders: list[Finder]) -> Finder:
    def look(value: Any, loc: Loc, found: list[Found]) -> None:
        for finder in finders:
            finder(value, loc, found)

    return finders[0] if len(finders) == 1 else look


def _in_mapping(of_key: Finder | None, of_value: Finder | None) -> Finder:
    def look(value: Any, loc: Loc, found: list[Found]) -> None:
        if isinstance(value, dict):
            for key, inner in cast("dict[str, Any]", value).items():
                at = (*loc, key)
                if of_key:
                    of_key(key, at, found)
                if of_value:
                    of_value(inner, at, found)

    return look


def _in_list(of_item: Finder) -> Finder:
    def look(value: Any, loc: Loc, found: list[Found]) -> None:
        if isinstance(value, list):
            for index, item in enumerate(cast("list[Any]", value)):
                of_item(item, (*loc, index), found)

    return look


def _marked(mark: Ref) -> Finder:
    def look(value: Any, loc: Loc, found: list[Found]) -> None:
        if isinstance(value, str):
            found.append((loc, mark, value))

    return look

"""The knowledge base as normalized tables: each with its columns, what they mean, what they refer to, and its rows.

The CSV files and the database are both written from these, so they cannot disagree.  Variants are resolved: they say what
they inherit as well.  What nobody recorded has no row; a slot that was empty when new has the choice `none`.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from ..kb.models import Trait
from ..kb.reading import in_unit
from ..kb.resolve import shares
from ..kb.values import Fact, Years
from .whole import Whole

#: The name and the version of these tables, as they are told inside them.
FORMAT = "tellmark/tables/1"

Cell = str | float | int | None
Row = tuple[Cell, ...]
Type = Literal["text", "number", "integer", "day", "boolean"]


@dataclass(frozen=True)
class Column:
    """One column: `type` says how a cell is written, `required` that none is empty."""

    name: str
    about: str
    type: Type = "text"
    required: bool = False


@dataclass(frozen=True)
class Refers:
    """Cells of these columns, unless empty, are found in `to` of another table."""

    columns: tuple[str, ...]
    table: str
    to: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table; the columns of its `key` together are different in every row."""

    name: str
    about: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    refers: tuple[Refers, ...]
    rows: Callable[[Whole], Iterable[Row]]


def table(
    name: str,
    about: str,
    columns: Iterable[Column],
    rows: Callable[[Whole], Iterable[Row]],
    key: str = "id",
    **refers: str,
) -> Table:
    """A table. `key`: the columns of its key; refers: `column="table"`, or `first__second="table.id.other"` for several."""
    found = [_refers(tuple(columns_.split("__")), to) for columns_, to in refers.items()]
    return Table(name, about, tuple(columns), tuple(key.split()), tuple(found), rows)


def _refers(columns: tuple[str, ...], to: str) -> Refers:
    target, *others = to.split(".")
    return Refers(columns, target, tuple(others or ["id"]))


# Columns that many tables have -----------------------------------------------------------------------------------------

ID = Column("id", "the id, which never dies", required=True)
NAME = Column("name", "the name a reader is shown", required=True)
ABOUT = Column("about", "what a reader should know, in Markdown")
VERIFIED = Column("verified", "the day somebody last checked the whole record", "day")
PLACE = Column("place", "where it stands in its list, from 1", "integer", required=True)
MADE = (
    Column("made_first", "first year it was made", "integer"),
    Column("made_last", "last year it was made, included", "integer"),
)
HOW_COMMON = Column("how_common", "how many there are: a word of scarcity, or a number from 0 to 1")
HOW_OFTEN = (
    Column("how_often", "how often it is found: a word of frequency, or a number from 0 to 1", required=True),
    Column("share", "the same as a number; several choices share the whole", "number", required=True),
)
CHOICE = Column("choice", "the choice as it is written in the entry", required=True)
SHOWN = (
    Column("trait", "the trait it shows", required=True),
    PLACE,
    CHOICE,
    Column("state", "the state, where the trait is a choice among states"),
    Column("value", "the measured value, in the unit of the trait", "number"),
    Column("plus_minus", "its uncertainty, one standard deviation", "number"),
    *HOW_OFTEN,
)
FITTED = (
    Column("family", "the family that has the slot", required=True),
    Column("slot", "the slot", required=True),
    PLACE,
    Column("choice", "the part, none where the slot was empty, or unlisted for an unrecorded part", required=True),
    Column("part", "the part, where one was fitted"),
    *HOW_OFTEN,
)


def owner(name: str, about: str) -> Column:
    """The column that says whose row it is."""
    return Column(name, about, required=True)


# Cells -----------------------------------------------------------------------------------------------------------------


def weight(value: str | float | None) -> Cell:
    """A word as it is, a number as short as it can be written."""
    return f"{value:g}" if isinstance(value, float) else value


def years(made: Years | None) -> tuple[Cell, Cell]:
    """First and last year."""
    return (made.first, made.last) if made else (None, None)


def portions(whole: Whole, fact: Fact) -> Iterable[tuple[int, str, Cell, float]]:
    """(place, choice, how often, share) of each choice of a fact."""
    if len(fact.is_) == 1:
        ((choice, how),) = fact.is_.items()
        if isinstance(how, float):
            return ((1, choice, weight(how), how),)
    found = shares(whole.about.frequencies, fact.is_)
    return ((n, choice, weight(how), found[choice]) for n, (choice, how) in enumerate(fact.is_.items(), 1))


def trait_key(family: str | None, slot_type: str | None, name: str) -> str:
    """The id of a trait among those of all families and slot types; one that all families share keeps its own."""
    if family:
        return f"families/{family}/{name}"
    return f"slot-types/{slot_type}/{name}" if slot_type else name


def shown(
    whole: Whole, owner_id: str, facts: Mapping[str, Fact], traits: Mapping[str, Trait], keys: Mapping[str, str]
) -> Iterable[Row]:
    """The rows of what a variant or a part shows. `keys`: the id of each trait among all."""
    for name, fact in facts.items():
        for cells in shown_cells(whole, fact, traits[name], keys[name]):
            yield (owner_id, *cells)


def shown_cells(whole: Whole, fact: Fact, trait: Trait, key: str) -> list[Row]:
    """The cells of such rows but for whose they are. `key`: the id of the trait among all."""
    found: list[Row] = []
    for place, choice, how, share in portions(whole, fact):
        state, value, plus_minus = None, None, None
        if trait.states is not None:
            state = choice
        elif trait.measured:
            measure = in_unit(choice, trait.measured.unit)
            value, plus_minus = measure.value, measure.plus_minus
        found.append((key, place, choice, state, value, plus_minus, how, share))
    return found


def fitted(whole: Whole, owner_cells: Row, family: str, facts: Mapping[str, Fact]) -> Iterable[Row]:
    """The rows of what was fitted to a variant, or to the unit in a set's position."""
    for slot, fact in facts.items():
        for cells in fitted_cells(whole, fact, family, slot):
            yield (*owner_cells, *cells)


def fitted_cells(whole: Whole, fact: Fact, family: str, slot: str) -> list[Row]:
    """The cells of such rows but for whose they are."""
    parts = whole.facts.parts
    return [
        (family, slot, place, choice, choice if choice in parts else None, how, share)
        for place, choice, how, share in portions(whole, fact)
    ]

"""The small written values of an entry: years, measured values, weights, citations, facts, and answers.

Each is written the way a collector would write it, and read here once.  A reader that fails raises a
``PydanticCustomError`` whose context names what was expected, so that the message can say it.
"""

import re
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import Annotated, Any, Literal, NamedTuple, TypeVar, cast

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    StringConstraints,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

Model = TypeVar("Model", bound=BaseModel)
ID_PATTERN = r"^[a-z0-9]+(-[a-z0-9]+)*$"
Id = Annotated[str, StringConstraints(pattern=ID_PATTERN, max_length=80)]

#: What may be written in the place of a state or a part, and so can be the name of neither.
RESERVED = frozenset({"unknown", "missing", "none", "cannot-tell", "not", "one-of", "is", "unlisted"})

#: Millimeters, grams, volts, watts and ohms in one of each unit (inch and ounce: international, exact).
UNITS = {
    "mm": ("length", 1.0),
    "cm": ("length", 10.0),
    "in": ("length", 25.4),
    "g": ("weight", 1.0),
    "oz": ("weight", 28.349523125),
    "V": ("voltage", 1.0),
    "W": ("power", 1.0),
    "A": ("current", 1.0),
    "ohm": ("resistance", 1.0),
}


def wrong(expected: str) -> PydanticCustomError:
    """The error for a value that cannot be read; `expected` completes "expected ..."."""
    return PydanticCustomError("written", "expected {expected}", {"expected": expected})


class Ref(NamedTuple):
    """Marks a text as the id of a record of another kind; `kb.check` follows it."""

    kind: str


# Years ---------------------------------------------------------------------------------------------------------------


class Years(NamedTuple):
    """First and last year, both included."""

    first: int
    last: int

    def __str__(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first}..{self.last}"


def read_years(written: Any) -> Any:
    """Years from "1953" or "1953..1956"."""
    if isinstance(written, Years):
        return written
    found = re.fullmatch(r"(\d{4})(?:\s*\.\.\s*(\d{4}))?", str(written).strip())
    if not found:
        raise wrong("years such as 1953 or 1953..1956")
    first, last = int(found[1]), int(found[2] or found[1])
    if not 1800 <= first <= last <= 2100:
        raise wrong("years between 1800 and 2100, the earlier one first")
    return Years(first, last)


WrittenYears = Annotated[
    Years,
    BeforeValidator(read_years),
    PlainSerializer(str),
    WithJsonSchema({"type": ["string", "integer"], "pattern": r"^\d{4}(\.\.\d{4})?$", "examples": ["1953..1956"]}),
]


# Days ----------------------------------------------------------------------------------------------------------------


def read_day(written: Any) -> Any:
    """A day of the calendar, kept as text."""
    try:
        date.fromisoformat(str(written))
    except ValueError:
        raise wrong("a date such as 1954-11-30") from None
    return written


DAY_PATTERN = r"^\d{4}-\d\d-\d\d$"
Day = Annotated[str, StringConstraints(pattern=DAY_PATTERN), AfterValidator(read_day)]


# Measured values -----------------------------------------------------------------------------------------------------


class Measure(NamedTuple):
    """A value with its uncertainty, one standard deviation (None: not stated), and the unit it was written in ("": none)."""

    value: float
    plus_minus: float | None
    unit: str

    def __str__(self) -> str:
        tolerance = "" if self.plus_minus is None else f" +- {self.plus_minus:g}"
        return f"{self.value:g}{tolerance}{' ' + self.unit if self.unit else ''}"

    def to(self, unit: str) -> "Measure":
        """The same in `unit`; a value without a unit is taken to be in it. Raises ValueError between unlike units."""
        if not self.unit or self.unit == unit:
            return self._replace(unit=unit)
        if self.unit not in UNITS or unit not in UNITS or UNITS[self.unit][0] != UNITS[unit][0]:
            raise ValueError(f"{self.unit} cannot be turned into {unit}")
        factor = UNITS[self.unit][1] / UNITS[unit][1]
        return Measure(self.value * factor, None if self.plus_minus is None else self.plus_minus * factor, unit)


_NUMBER = r"[+-]?(?:\d+\s+\d+/0*[1-9]\d*|\d+/0*[1-9]\d*|(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?)"
_UNIT = r"[A-Za-z]+|\"|″"
_MEASURE = re.compile(rf"({_NUMBER})\s*({_UNIT})?\s*(?:(?:\+-|\+/-|±)\s*({_NUMBER})\s*({_UNIT})?)?")


def _number(written: str) -> float:
    if "/" not in written:
        return float(written)
    size = float(sum(Fraction(piece) for piece in written.lstrip("+-").split()))
    return -size if written.startswith("-") else size


def half_place(written: str) -> float:
    """Half of the last place of a written value, in the unit it was written in: what it is good to when it does not say."""
    number = re.match(rf"\s*({_NUMBER})", written)
    if number is None:
        return 0.0
    if "/" in number[1]:
        return 0.5 / int(number[1].rsplit("/", 1)[1])
    return 0.5 * 10.0 ** -len(number[1].partition(".")[2])


def read_measure(written: str) -> Measure | None:
    """A measure from "4.8 +- 0.3 mm", "4.8 ± 0.3 mm", "13/16 in", "4.8"; None when it is none."""
    found = _MEASURE.fullmatch(written.strip())
    if not found or len(written) > 60:
        return None
    units = {"in" if unit in ('"', "″", "inch", "inches") else unit for unit in (found[2], found[4]) if unit}
    unit = units.pop() if units else ""
    if units:
        return None
    value = _number(found[1])
    tolerance = _number(found[3]) if found[3] else None
    if abs(value) > 1e12 or (tolerance is not None and not 0 <= tolerance <= 1e12) or (unit and unit not in UNITS):
        return None
    return Measure(value, tolerance, unit)


# Weights: a word whose number stands in knowledge-base.yaml, or the number itself ---------------------------------------


def read_weight(written: Any) -> Any:
    """A number from 0 to 1, or a word (kept as text)."""
    if isinstance(written, int | float):
        number = float(written)
    elif isinstance(written, str) and re.fullmatch(r"[a-z]+(-[a-z]+)*", written):
        return written
    else:
        try:
            number = float(written)
        except (TypeError, ValueError):
            raise wrong("a word of knowledge-base.yaml or a number from 0 to 1") from None
    if not 0 <= number <= 1:
        raise wrong("a word of knowledge-base.yaml or a number from 0 to 1")
    return number


Weight = Annotated[
    str | float,
    BeforeValidator(read_weight),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "number", "minimum": 0, "maximum": 1}]}),
]


# Citations and facts ---------------------------------------------------------------------------------------------------

Support = Literal["proves", "supports", "suggests", "doubts", "contradicts"]


def each(written: Any, value: Any) -> Any:
    """{name: value} from one name or a list of names; anything else as it is."""
    if isinstance(written, str):
        return {written: value}
    if isinstance(written, list):
        names = cast("list[Any]", written)
        if names and all(isinstance(name, str) for name in names):
            return dict.fromkeys(names, value)
    return cast("Any", written)


def read_citations(written: Any) -> Any:
    """{source: support} from a list of sources (each supports) or from the mapping itself."""
    return {} if written == [] else each(written, "supports")


Citations = Annotated[
    dict[Annotated[str, Ref("source")], Support],
    BeforeValidator(read_citations, json_schema_input_type=str | list[str] | dict[str, Support]),
]


class Strict(BaseModel):
    """A record or a piece of one: immutable, with no keys but its own."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, validate_by_name=True, serialize_by_alias=True, defer_build=True
    )


def made_of(model: type[Model], held: dict[str, Any], stated: set[str]) -> Model:
    """A record of fields that were read before, and so need not be read again. `stated`: those that were written down."""
    made = model.__new__(model)
    made.__setstate__(
        {"__dict__": held, "__pydantic_extra__": None, "__pydantic_fields_set__": stated, "__pydantic_private__": None}
    )
    return made


class Fact(Strict):
    """What is said of one trait or one slot, and on whose word.

    Written short as a state (`nose-door`), a measured value (`4.8 +- 0.3 mm`), the text of a marking, `unknown`, or
    choices with their frequency (`{painted: usual, decal: sometimes}`); long as `{is: ..., sources: ..., verified: ...}`.
    """

    is_: dict[str, Weight] = Field(alias="is", description="what may be seen there, each with how often")
    sources: Citations = Field(default_factory=dict)
    verified: Day | None = Field(default=None, description="the day it was last checked")
    note: str | None = None

    def __repr__(self) -> str:
        return f"Fact({self.is_}, {self.sources}, {self.verified!r}, {self.note!r})"  # thousands are compared by it

    def __hash__(self) -> int:
        return hash(tuple(self.is_))  # as it holds dictionaries, there is no other; what is kept by facts heeds their order

    @property
    def unknown(self) -> bool:
        """Whether the entry says that nobody recorded it, which takes back what it would inherit."""
        return "unknown" in self.is_

    def __reduce__(self) -> Any:
        """Packed short where it was written short: the same few facts are said thousands of times."""
        if self.model_fields_set == {"is_"} and list(self.is_.values()) == [1.0]:
            return _bare_again, (next(iter(self.is_)),)
        return super().__reduce__()


@lru_cache(maxsize=1 << 16)
def _bare_again(written: str) -> Fact:
    """As `_bare`, of what has been read before; one for all that are unpacked."""
    return made_of(Fact, {"is_": {written: 1.0}, "sources": {}, "verified": None, "note": None}, {"is_"})


class LongFact(Strict):
    """How the long form of a fact is written; only for the JSON Schema."""

    is_: str | float | list[str] | dict[str, Weight] = Field(alias="is")
    sources: Citations = {}
    verified: str | None = None
    note: str | None = None


@lru_cache(maxsize=1 << 16)
def _bare(written: str) -> Fact:
    """The fact that a state, a value, a text or a part is; one for all records that say it."""
    return Fact.model_validate({"is": each(written, 1.0)})


def read_fact(written: Any) -> Any:
    """The long form of a fact from any of its short ones; a bare text has been read once for all."""
    if isinstance(written, str):
        return _bare(written)
    if isinstance(written, Fact):
        return written
    if written is None or written == {} or written == []:
        raise wrong("a state, a measured value, a part, or choices with how often each")
    if isinstance(written, dict) and "is" in written:
        long = cast("dict[str, Any]", written)
        return {**long, "is": each(long["is"], 1.0)}
    return {"is": each(written, 1.0)}


WrittenFact = Annotated[
    Fact, BeforeValidator(read_fact, json_schema_input_type=str | float | list[str] | dict[str, Weight] | LongFact)
]


# Answers ---------------------------------------------------------------------------------------------------------------


class Answer(Strict):
    """One answer to one trait or slot, as an answers file or a sighting writes it.

    Exactly one of: a single state, measured value, marking, part, `missing` or `cannot-tell`; `not`; `one_of`;
    or a measured value's bounds `more_than` and `less_than`.
    """

    is_: str | None = Field(default=None, alias="is")
    not_: list[str] | None = Field(default=None, alias="not")
    one_of: list[str] | None = None
    more_than: str | None = None
    less_than: str | None = None

    def written(self) -> str | dict[str, Any]:
        """As short as an answers file would have it."""
        if self.is_ is not None:
            return self.is_
        return self.model_dump(exclude_none=True)

    def __str__(self) -> str:
        if self.is_ is not None:
            return self.is_
        if self.not_ is not None:
            return "not " + ", ".join(self.not_)
        if self.one_of is not None:
            return "one of " + ", ".join(self.one_of)
        bounds = [
            f"more than {self.more_than}" if self.more_than else "",
            f"less than {self.less_than}" if self.less_than else "",
        ]
        return " and ".join(filter(None, bounds))


class WrittenForms(Strict):
    """How the forms of an answer beside a bare value are written; only for the JSON Schema."""

    not_: str | list[str] | None = Field(default=None, alias="not")
    one_of: str | list[str] | None = None
    more_than: str | float | None = None
    less_than: str | float | None = None


ANSWER_FORMS = (
    "a state, a measured value, missing, cannot-tell, {not: state}, {one_of: [states]}, {more_than: value} or {less_than: value}"
)


def read_answer(written: Any) -> Any:
    """The long form of an answer."""
    if isinstance(written, Answer):
        return written
    if isinstance(written, str) and written.strip():
        return {"is": written}
    if not isinstance(written, dict) or not written:
        raise wrong(ANSWER_FORMS)
    form = cast("dict[str, Any]", written)
    as_lists: dict[str, Any] = {
        key: [value] if key in ("not", "one_of") and isinstance(value, str) else value for key, value in form.items()
    }
    if len(as_lists) > 1 and set(as_lists) != {"more_than", "less_than"}:
        raise wrong("one form of answer: " + ANSWER_FORMS)
    return as_lists


WrittenAnswer = Annotated[Answer, BeforeValidator(read_answer, json_schema_input_type=str | float | WrittenForms)]

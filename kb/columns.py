"""One column of a table as a trait: its states, measured values or markings, and what each variant shows."""

import math
import re
import unicodedata
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from .findings import Unreadable
from .models import Marking, Measured, State, Trait
from .reading import in_unit
from .table import plain_measure
from .values import RESERVED, UNITS, Measure

#: A text column with more different values than this is read and typed rather than chosen from.
MOST_STATES = 40
#: A column of whole numbers with more different values than this is measured.
MOST_NUMBERS = 12
#: A column filled only here and there, each time differently, is a marking when it has more values than this.
FEW_REMARKS = 12
PAIRS = (("yes", "no"), ("true", "false"), ("1", "0"))

#: What a header may call a unit, in brackets or at its end.
UNIT_WORDS = {
    **{unit.lower(): unit for unit in UNITS},
    **dict.fromkeys(("millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("inch", "inches", '"', "″"), "in"),
    **dict.fromkeys(("gram", "grams"), "g"),
    **dict.fromkeys(("ounce", "ounces"), "oz"),
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("watt", "watts"), "W"),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("ohms", "\N{GREEK SMALL LETTER OMEGA}"), "ohm"),
}


@dataclass(frozen=True)
class Column:
    """One trait made of a column. `facts` holds what each variant shows (None: unknown).

    `tolerance` says in words how sure a measured value is taken to be, and where that comes from.
    """

    id: str
    trait: Trait
    facts: list[str | None]
    tolerance: str | None = None

    @property
    def kind(self) -> str:
        """states, measured or marking."""
        if self.trait.states is not None:
            return "states"
        return "measured" if self.trait.measured else "marking"

    def looks(self) -> list[Hashable]:
        """For each variant a value that is the same for those one cannot tell apart by this trait."""
        if self.trait.measured:
            unit = self.trait.measured.unit
            values = {fact: in_unit(fact, unit) for fact in set(self.facts) if fact is not None}
            return [None if fact is None else values[fact] for fact in self.facts]
        if self.trait.marking:
            return [None if fact is None else " ".join(fact.upper().split()) for fact in self.facts]
        return list(self.facts)


# Ids -----------------------------------------------------------------------------------------------------------------


def slug(text: str) -> str:
    """Lower-case words of ASCII letters and digits joined by hyphens; "" when nothing of the text is left."""
    sign = "minus " if re.match(r"[-−]\.?\d", text) else ""
    plain = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()
    words = re.findall("[a-z0-9]+", sign + plain)
    if not words and len(text) == 1:
        words = re.findall("[a-z0-9]+", unicodedata.name(text, "").lower())
    return "-".join(words)[:60].strip("-")


class Ids:
    """Gives out ids, each once; `noun` is what becomes of a text without letters, and sets a reserved word apart."""

    def __init__(self, noun: str) -> None:
        self.noun = noun
        self._given: set[str] = set()
        self._last: dict[str, int] = {}

    def give(self, text: str) -> str:
        """An id for the text; a second one for the same text ends in -2."""
        base = slug(text) or self.noun
        base = f"{base}-{self.noun}" if base in RESERVED else base
        ident, number = base, self._last.get(base, 1)
        while ident in self._given:
            number += 1
            ident = f"{base}-{number}"
        self._last[base] = number
        self._given.add(ident)
        return ident


# Columns to traits ---------------------------------------------------------------------------------------------------


def can_name(header: str, cells: Sequence[str]) -> bool:
    """Whether a column can name the rows: all its values differ, and they do not look measured."""
    if not all(cells) or len(set(cells)) < len(cells) or _pair(cells):
        return False
    return _numbers(cells, header) is None or (all(map(_whole, cells)) and header_unit(header)[1] is None)


def column_of(ids: Ids, header: str, cells: list[str], tolerance: Measure | None = None) -> Column:
    """The trait that a column with at least one filled cell becomes. Raises Unreadable for a tolerance that does not fit."""
    filled = [cell for cell in cells if cell]
    pair = None if tolerance else _pair(filled)
    if pair:
        return _yes_no(ids, header, cells, pair)
    numbers = _numbers(filled, header)
    if numbers:
        unit = numbers[1]
        exact = not unit and tolerance is None and all(one.plus_minus is None for one in numbers[0].values())
        if exact and all(map(_whole, filled)) and len({int(cell) for cell in filled}) <= MOST_NUMBERS:
            return _counted(ids, header, cells)
        return _measured(ids, header, cells, *numbers, tolerance)
    if tolerance:
        raise Unreadable("a column that is not measured", "a column of numbers")
    different = len(set(filled))
    everywhere = len(filled) == len(cells) or different > FEW_REMARKS
    if different > MOST_STATES or (different == len(filled) and everywhere):
        return _marking(ids, header, cells)
    return _states(ids, header, cells, list(dict.fromkeys(filled)))


def _trait(ids: Ids, name: str, **form: Any) -> tuple[str, Trait]:
    return ids.give(name), Trait(name=name, slot="body", view="side", mistakes="imported", **form)


def _pair(cells: Iterable[str]) -> tuple[str, str] | None:
    """The two words of a column that says yes or no. Ones alone are a count, so 1 and 0 must both occur."""
    said = {cell.lower() for cell in cells}
    for pair in PAIRS:
        if said <= set(pair) and (pair != ("1", "0") or len(said) == 2):
            return pair
    return None


def _yes_no(ids: Ids, header: str, cells: list[str], pair: tuple[str, str]) -> Column:
    yes, no = yes_no_questions(header)
    ident, trait = _trait(ids, header, states={"yes": State(name="yes", ask=yes), "no": State(name="no", ask=no)})
    said = {pair[0]: "yes", pair[1]: "no"}
    return Column(ident, trait, [said.get(cell.lower()) for cell in cells])


def yes_no_questions(header: str) -> tuple[str, str]:
    """How to ask whether it is so, and whether it is not, from a column name alone."""
    words = header.rstrip("?!. ")
    has = re.match(r"(?:has|have|having|with)[\s_]+(.+)", words, re.IGNORECASE)
    if has:
        return f"Does it have {has[1]}?", f"Is it without {has[1]}?"
    is_ = re.match(r"(?:is|are)[\s_]+(.+)", words, re.IGNORECASE)
    if is_:
        return f"Is it {is_[1]}?", f"Is it anything but {is_[1]}?"
    # A bare word may be a thing (horn) or a quality (painted); this reads well before both.
    said = words if words[1:2].isupper() else words[:1].lower() + words[1:]
    return f"Does this apply: {said or header}?", f"Is this not so: {said or header}?"


def _whole(cell: str) -> bool:
    return re.fullmatch(r"[+-]?(0|[1-9]\d{0,12})", cell, re.ASCII) is not None


def _counted(ids: Ids, header: str, cells: list[str]) -> Column:
    numbers = [str(int(cell)) if cell else "" for cell in cells]
    return _states(ids, header, numbers, sorted({number for number in numbers if number}, key=int))


def _states(ids: Ids, header: str, cells: list[str], values: Sequence[str]) -> Column:
    state_ids = Ids("value")
    given = {value: state_ids.give(value) for value in values}
    states = {ident: State(name=value, ask=state_question(header, value)) for value, ident in given.items()}
    ident, trait = _trait(ids, header, states=states)
    return Column(ident, trait, [given.get(cell) for cell in cells])


def state_question(header: str, value: str) -> str:
    """Whether the column has this value, as a plain yes/no question."""
    said = " ".join(value.split())
    said = said if len(said) <= 100 else said[:97] + "..."
    said = said if said[-1].isalnum() and '"' not in said else f'"{said}"'
    return f'Is "{header}" {said}?'


def _marking(ids: Ids, header: str, cells: list[str]) -> Column:
    ident, trait = _trait(ids, header, ask=f'What does "{header}" say?', marking=Marking())
    # A word that stands for something else in an entry is set apart by its capital, which no comparison of markings sees.
    facts = [cell.capitalize() if cell in RESERVED else cell for cell in cells]
    return Column(ident, trait, [fact or None for fact in facts])


# Measured columns ----------------------------------------------------------------------------------------------------


def header_unit(header: str) -> tuple[str, str | None]:
    """(name, unit) from "Length (mm)", "Length [mm]", "Length, mm", "length_mm" or "length mm"; None: no unit known."""
    found = re.fullmatch(r"(.+?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]|(.+?)\s*[,_\s/]\s*([^\W\d_]+)", header)
    if found:
        name, word = (found[1], found[2]) if found[2] else (found[3], found[4])
        unit = UNIT_WORDS.get(word.lower())
        # Without brackets a single letter is more often a class or a series than a unit.
        if unit and name and (found[2] or len(word) > 1 or word == "g"):
            return name, unit
    return header, None


def _numbers(filled: Sequence[str], header: str) -> tuple[dict[str, Measure], str] | None:
    """The measured value of each different cell and the unit they share; None when some cell is anything else."""
    numbers: dict[str, Measure] = {}
    for cell in dict.fromkeys(filled):
        measure = plain_measure(cell)
        if measure is None:
            return None
        numbers[cell] = measure
    unit = header_unit(header)[1] or next((measure.unit for measure in numbers.values() if measure.unit), "")
    if unit == "A" and all(re.fullmatch(r"\d+ ?A", cell) for cell in numbers):
        return None  # 424 A is the powered unit of number 424
    try:
        for measure in numbers.values():
            measure.to(unit)
    except ValueError:
        return None
    return numbers, unit


def _measured(ids: Ids, header: str, cells: list[str], numbers: dict[str, Measure], unit: str, told: Measure | None) -> Column:
    finest = min(_place(cell) * _factor(one, unit) for cell, one in numbers.items())
    tolerance = _told(told, unit) if told else finest / 2
    facts = {cell: _fact(cell, one, unit, tolerance) for cell, one in numbers.items()}
    least, most = _bounds([in_unit(fact, unit) for fact in facts.values()])
    name = header_unit(header)[0]
    ask = f'What is "{name}"{f" in {unit}" if unit else ""}?'
    ident, trait = _trait(ids, name, ask=ask, measured=Measured(unit=unit, least=least, most=most))
    reason = "as told" if told else "estimated from the places written"
    said = f"{f'+- {tolerance:g} {unit}'.strip()}, {reason}"
    if all(one.plus_minus for one in numbers.values()):
        said = "as its cells state it"
    return Column(ident, trait, [facts.get(cell) for cell in cells], said)


def _told(told: Measure, unit: str) -> float:
    try:
        return told.to(unit).value
    except ValueError:
        raise Unreadable(f"a tolerance in {told.unit}", f"one in {unit}" if unit else "one without a unit") from None


def _factor(measure: Measure, unit: str) -> float:
    return measure._replace(value=1.0, plus_minus=None).to(unit).value


def _number_text(cell: str) -> str:
    found = re.match(r"[+-]?[\d./ ]*\d\.?(?:[eE][+-]?\d+)?", cell)
    return found[0].strip() if found else cell


def _place(cell: str) -> float:
    """What the last written place of the number is worth: 0.1 for 21.5, 1/16 for 13/16."""
    number = _number_text(cell)
    if "/" in number:
        return 1 / int(number.rsplit("/", 1)[1])
    exponent = Decimal(number).as_tuple().exponent
    return 10.0 ** int(exponent)


def _fact(cell: str, measure: Measure, unit: str, tolerance: float) -> str:
    """The value as an entry says it: the number as it was written, always with a tolerance and its unit."""
    plus_minus = measure.plus_minus or tolerance / _factor(measure, unit)
    return f"{_number_text(cell)} +- {plus_minus:g} {measure.unit or unit}".strip()


def _bounds(values: Sequence[Measure]) -> tuple[float, float]:
    """Round numbers a little beyond the smallest and the largest value."""
    low, high = min(one.value for one in values), max(one.value for one in values)
    widest = max(one.plus_minus or 0.0 for one in values)
    margin = max((high - low) / 10, 3 * widest, max(abs(low), abs(high)) * 1e-9)
    step = Decimal(10) ** math.floor(math.log10(margin))
    least = float(math.floor(Decimal(str(low - margin)) / step) * step)
    most = float(math.ceil(Decimal(str(high + margin)) / step) * step)
    return (0.0 if low >= 0 > least else least), most

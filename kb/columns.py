"""One column of a table as a trait: its states, measured values or markings, and what each variant shows."""

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from statistics import median_high
from typing import Any, Literal, NamedTuple

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
#: A column in which at least this share of the cells and this many are numbers was meant to be measured.
MOSTLY, AT_LEAST = 0.8, 3
#: Texts longer than this on average (characters) are remarks.
LONG_TEXT = 40
#: No estimated tolerance of a length is narrower than this (mm), and none is widened beyond the other (mm, or one of a
#: unit that is no length): a tape and a second pair of hands agree no better than the one, and no worse than the other.
NARROWEST, WIDENED = 0.05, 0.5
#: Values this many tolerances apart are not taken for each other.
APART = 10
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


Aside = Literal["remarks", "links", "dates"]

#: A unit inside a question, where its sign would read oddly.
UNIT_NAMES = {**{unit: unit for unit in UNITS}, "in": "inches", "A": "amperes", "ohm": "ohms"}


@dataclass(frozen=True)
class Column:
    """One trait made of a column called `header`. `facts` holds what each variant shows (None: unknown).

    `tolerance` says in words how sure a measured value is taken to be, and where that comes from (`estimated`: from the
    cells alone).  `odd` is the row, counted from 0, whose cell keeps a column of numbers from being measured.  `aside` is
    what a column looks like that says nothing one could see on a unit.
    """

    id: str
    header: str
    trait: Trait
    facts: list[str | None]
    tolerance: str | None = None
    estimated: bool = False
    odd: int | None = None
    aside: Aside | None = None

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


def can_name(header: str, cells: Sequence[str], free_of_commas: bool = False) -> bool:
    """Whether a column can name the rows: all its values differ, and they do not look measured."""
    if not all(cells) or len(set(cells)) < len(cells) or _pair(cells):
        return False
    return _numbers(cells, header, free_of_commas) is None or (all(map(_whole, cells)) and header_unit(header)[1] is None)


def column_of(ids: Ids, header: str, cells: list[str], tolerance: Measure | None = None, free_of_commas: bool = False) -> Column:
    """The trait that a column with at least one filled cell becomes. Raises Unreadable for a tolerance that does not fit.

    free_of_commas: no comma cuts the columns of the table, so that one between digits is a decimal comma.
    """
    filled = [cell for cell in cells if cell]
    pair = None if tolerance else _pair(filled)
    if pair:
        return _yes_no(ids, header, cells, pair)
    numbers = _numbers(filled, header, free_of_commas)
    if numbers:
        unit = numbers[1]
        exact = not unit and tolerance is None and all(one.measure.plus_minus is None for one in numbers[0].values())
        if exact and all(map(_whole, filled)) and len({int(cell) for cell in filled}) <= MOST_NUMBERS:
            return _counted(ids, header, cells)
        return _measured(ids, header, cells, *numbers, tolerance)
    if tolerance:
        raise Unreadable("a column that is not measured", "a column of numbers")
    odd, aside = _odd(cells, header, free_of_commas), _aside(filled)
    different = len(set(map(_same, set(filled))))
    typed = len(filled) == len(cells) or different > FEW_REMARKS or aside is not None
    if different > MOST_STATES or aside in ("links", "dates") or (different == len(filled) and typed):
        return replace(_marking(ids, header, cells), odd=odd, aside=aside)
    return replace(_named_states(ids, header, cells), odd=odd, aside=aside)


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
    return Column(ident, header, trait, [said.get(cell.lower()) for cell in cells])


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
    said = _within(words)
    return f"Does this apply: {said or header}?", f"Is this not so: {said or header}?"


def _within(words: str) -> str:
    """The words inside a sentence; an abbreviation keeps its capitals."""
    return words if words[1:2].isupper() else words[:1].lower() + words[1:]


def _whole(cell: str) -> bool:
    return re.fullmatch(r"[+-]?(0|[1-9]\d{0,12})", cell, re.ASCII) is not None


def _counted(ids: Ids, header: str, cells: list[str]) -> Column:
    numbers = [str(int(cell)) if cell else "" for cell in cells]
    return _states(ids, header, numbers, sorted({number for number in numbers if number}, key=int))


def _same(cell: str) -> str:
    """What is the same for cells that differ only in letter case and inner spacing."""
    return " ".join(cell.split()).lower()


def _named_states(ids: Ids, header: str, cells: list[str]) -> Column:
    """States as different as their words; each is named by its most frequent spelling, or by the first of these."""
    named: dict[str, str] = {}
    spellings = [spelling for spelling, _ in Counter(filter(None, cells)).most_common()]
    state = {"": "", **{spelling: named.setdefault(_same(spelling), spelling) for spelling in spellings}}
    values = [state[cell] for cell in cells]
    return _states(ids, header, values, list(dict.fromkeys(filter(None, values))))


def _states(ids: Ids, header: str, cells: list[str], values: Sequence[str]) -> Column:
    state_ids = Ids("value")
    given = {value: state_ids.give(value) for value in values}
    states = {ident: State(name=value, ask=state_question(header, value)) for value, ident in given.items()}
    ident, trait = _trait(ids, header, states=states)
    return Column(ident, header, trait, [given.get(cell) for cell in cells])


def state_question(header: str, value: str) -> str:
    """Whether the column has this value, as a plain yes/no question."""
    name = header.rstrip("?!.: ") or header
    said = " ".join(value.split())
    said = said if len(said) <= 100 else said[:97] + "..."
    number = _number(said, commas=False)
    if number and number.measure.unit and not _powered(said):
        return f"Is the {_within(header_unit(name)[0])} {said}?"
    # A sign at the end would run into the question mark; what holds a quotation mark itself is left bare.
    said = said if said[-1].isalnum() or '"' in said else f'"{said}"'
    return f"{name[:1].upper()}{name[1:]}: is it {said}?"


def _marking(ids: Ids, header: str, cells: list[str]) -> Column:
    called = header if '"' in header else f'"{header}"'
    ident, trait = _trait(ids, header, ask=f"What does {called} say?", marking=Marking())
    # A word that stands for something else in an entry is set apart by its capital, which no comparison of markings sees.
    facts = [cell.capitalize() if cell in RESERVED else cell for cell in cells]
    return Column(ident, header, trait, [fact or None for fact in facts])


_LINK = re.compile(r"(?:https?://|www\.)\S+", re.IGNORECASE)
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?"
_DAY = re.compile(
    r"\d{4}([-/.])\d\d?\1\d\d?(?:[ T]\d\d?:\d\d(?::\d\d)?)?|\d\d?([-/.])\d\d?\2(?:\d\d|\d{4})"
    rf"|{_MONTH} \d\d?,? \d{{4}}|\d\d?\.? {_MONTH} \d{{4}}",
    re.IGNORECASE,
)


def _aside(filled: Sequence[str]) -> Aside | None:
    """What the texts of a column look like that say nothing one could see on a unit."""
    forms: dict[Aside, re.Pattern[str]] = {"links": _LINK, "dates": _DAY}
    for kind, form in forms.items():
        if sum(form.fullmatch(cell) is not None for cell in filled) >= MOSTLY * len(filled):
            return kind
    return "remarks" if sum(map(len, filled)) > LONG_TEXT * len(filled) else None


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


class Number(NamedTuple):
    """A cell as `read_measure` takes it, and what it reads."""

    text: str
    measure: Measure


_MARKS = str.maketrans({"”": '"', "“": '"', "″": '"', "’": "'", "′": "'", "⁄": "/", "\N{GREEK CAPITAL LETTER OMEGA}": "ohm"})


def number_text(cell: str, commas: bool) -> str:
    """The cell as `read_measure` takes it, where it begins like a number.

    Inches may be written 9-5/8, 9⅝, with '' or ” or "in."; units in words or in other letters (MM); with `commas` 245,5
    is 245.5, while 1,234 may be thousands and stays as it is.
    """
    if len(cell) > 60 or not re.match(r"[+-]?[.]?[\d¼½¾⅐-⅞]", cell):
        return cell
    text = re.sub("[¼½¾⅐-⅞]", lambda sign: f" {unicodedata.normalize('NFKC', sign[0])}", cell)
    text = " ".join(text.translate(_MARKS).split()).replace("''", '"')
    text = re.sub(r"^([+-]?\d+)-(?=\d+/\d)", r"\1 ", text)
    text = re.sub(r"(?<=[\d\s])([^\W\d_]{2,})\.?$", lambda word: UNIT_WORDS.get(word[1].lower(), word[0]), text)
    if commas:
        text = re.sub(r"(?<![\d.,])(?![1-9]\d{0,2},\d{3}(?!\d))(\d+),(\d+)(?![\d.,])", r"\1.\2", text)
    return text


def _number(cell: str, commas: bool) -> Number | None:
    text = number_text(cell, commas)
    measure = plain_measure(text)
    return Number(text, measure) if measure else None


def _decimal_commas(cells: Iterable[str], free_of_commas: bool) -> bool:
    """Whether a comma may stand before decimals: where none cuts columns, or no cell has a point there."""
    return free_of_commas or not any(re.search(r"\.\d", cell) for cell in cells)


def _numbers(filled: Sequence[str], header: str, free_of_commas: bool) -> tuple[dict[str, Number], str] | None:
    """The number in each different cell and the unit they share; None when some cell is anything else."""
    different = dict.fromkeys(filled)
    commas = _decimal_commas(different, free_of_commas)
    numbers: dict[str, Number] = {}
    for cell in different:
        number = _number(cell, commas)
        if number is None:
            return None
        numbers[cell] = number
    unit = header_unit(header)[1] or next((one.measure.unit for one in numbers.values() if one.measure.unit), "")
    if unit == "A" and all(map(_powered, numbers)):
        return None
    return (numbers, unit) if all(_fits(one, unit) for one in numbers.values()) else None


def _powered(cell: str) -> bool:
    """Whether it may be the powered unit of a number, such as 424 A."""
    return re.fullmatch(r"\d+ ?A", cell) is not None


def _fits(number: Number, unit: str) -> bool:
    try:
        number.measure.to(unit)
    except ValueError:
        return False
    return True


def _odd(cells: Sequence[str], header: str, free_of_commas: bool) -> int | None:
    """The first row whose cell is no number of the column's unit, where most cells are; None where they are not."""
    counts = Counter(filter(None, cells))
    commas = _decimal_commas(counts, free_of_commas)
    numbers = {cell: number for cell in counts if not _powered(cell) and (number := _number(cell, commas))}
    units = Counter[str]()
    for cell, number in numbers.items():
        units[number.measure.unit] += counts[cell] * (number.measure.unit != "")
    unit = header_unit(header)[1] or (units.most_common(1)[0][0] if units else "")
    good = {cell for cell, number in numbers.items() if _fits(number, unit)}
    many = sum(counts[cell] for cell in good)
    if many < AT_LEAST or many < MOSTLY * counts.total():
        return None
    return next((row for row, cell in enumerate(cells) if cell and cell not in good), None)


def _measured(ids: Ids, header: str, cells: list[str], numbers: dict[str, Number], unit: str, told: Measure | None) -> Column:
    tolerance = _told(told, unit) if told else estimated_tolerance([*numbers.values()], unit)
    facts = {cell: _fact(one, unit, tolerance) for cell, one in numbers.items()}
    least, most = _bounds([in_unit(fact, unit) for fact in facts.values()])
    name = header_unit(header)[0]
    ask = f"What is the {_within(name.rstrip('?!.: ') or name)}{f' in {UNIT_NAMES[unit]}' if unit else ''}?"
    ident, trait = _trait(ids, name, ask=ask, measured=Measured(unit=unit, least=least, most=most))
    reason = "as told" if told else "estimated from the places written"
    said = f"{f'+- {tolerance:g} {unit}'.strip()}, {reason}"
    stated = all(one.measure.plus_minus for one in numbers.values())
    if stated:
        said = "as its cells state it"
    return Column(ident, header, trait, [facts.get(cell) for cell in cells], said, estimated=not (told or stated))


def estimated_tolerance(numbers: Sequence[Number], unit: str) -> float:
    """One standard deviation, in `unit`, that the cells of a column suggest: half of the place they are written to.

    Places differ: a spreadsheet drops the zeros of 118.0, and a careful hand writes 190.2 where others wrote 290. The
    place that at least half of the numbers keep to counts, a fraction always with its own (9 1/2 may be 9 8/16).
    A second hand seldom repeats the last decimal. Where all values of the column lie far apart even with half of the
    place before it, that is taken, so that 190.6 is still read as 190.2 beside 290.0.
    """
    length = UNITS.get(unit, ("", 1.0))
    size = length[1] if length[0] == "length" else 1.0
    fractions = [_place(one, unit) for one in numbers if "/" in _digits(one)]
    if fractions:
        half = min(fractions) / 2
    else:
        half = median_high([_place(one, unit) for one in numbers]) / 2
        values = sorted({one.measure.to(unit).value for one in numbers})
        gap = min((after - before for before, after in pairwise(values)), default=0.0)
        if half * 10 * size <= WIDENED * 1.001 and gap >= APART * half * 10:
            half *= 10
    return max(half, NARROWEST / size) if length[0] == "length" else half


def _told(told: Measure, unit: str) -> float:
    try:
        return told.to(unit).value
    except ValueError:
        raise Unreadable(f"a tolerance in {told.unit}", f"one in {unit}" if unit else "one without a unit") from None


def _factor(measure: Measure, unit: str) -> float:
    return measure._replace(value=1.0, plus_minus=None).to(unit).value


def _digits(number: Number) -> str:
    """The number as it was written, without its tolerance and its unit."""
    found = re.match(r"[+-]?[\d./ ]*\d\.?(?:[eE][+-]?\d+)?", number.text)
    return found[0].strip() if found else number.text


def _place(number: Number, unit: str) -> float:
    """What the last written place of the number is worth in `unit`: 0.1 for 21.5, 1/16 for 13/16."""
    digits = _digits(number)
    worth = 1 / int(digits.rsplit("/", 1)[1]) if "/" in digits else 10.0 ** int(Decimal(digits).as_tuple().exponent)
    return worth * _factor(number.measure, unit)


def _fact(number: Number, unit: str, tolerance: float) -> str:
    """The value as an entry says it: the number as it was written, always with a tolerance and its unit."""
    measure = number.measure
    plus_minus = measure.plus_minus or tolerance / _factor(measure, unit)
    return f"{_digits(number)} +- {plus_minus:g} {measure.unit or unit}".strip()


def _bounds(values: Sequence[Measure]) -> tuple[float, float]:
    """Round numbers a little beyond the smallest and the largest value."""
    low, high = min(one.value for one in values), max(one.value for one in values)
    widest = max(one.plus_minus or 0.0 for one in values)
    margin = max((high - low) / 10, 3 * widest, max(abs(low), abs(high)) * 1e-9)
    step = Decimal(10) ** math.floor(math.log10(margin))
    least = float(math.floor(Decimal(str(low - margin)) / step) * step)
    most = float(math.ceil(Decimal(str(high + margin)) / step) * step)
    return (0.0 if low >= 0 > least else least), most

"""What a claim says, in words; and what several candidates are called that have something in common."""

from collections.abc import Collection, Sequence
from typing import TypeVar

import numpy as np

from ..kb.resolve import Stated, stated
from ..kb.values import Years, read_years
from .arrays import Bools
from .claims import Claim
from .history import span, spoken
from .listing_evidence import Meaning
from .wording import Words, lower_first

Value = TypeVar("Value")

ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def quoted(claim: Claim) -> str:
    """The seller's own words."""
    return f'"{" ".join(claim.quote.split())}"'


def meaning(words: Words, one: Meaning) -> str:
    """What a claim says in the words of the record."""
    found = " or ".join(dict.fromkeys(_says(words, one, says) for says in one.claim.says))
    return f"not {lower_first(found)}" if one.claim.denied else found


def _says(words: Words, one: Meaning, says: str) -> str:
    kind = one.claim.kind
    if kind == "year":
        years = read_years(says)
        return spoken(years) if isinstance(years, Years) else says
    if kind == "name":
        return name(words, says)
    if kind in ("state", "measure", "part"):
        return _of_trait(words, one, says)
    if kind == "defect":
        return _spot(words, says)
    return says.replace("-", " ") if kind in ("condition", "shipping", "hedge") else says


def name(words: Words, ident: str) -> str:
    """The name of a livery, a maker, a family, a kind, a set or a batch."""
    entries = words.entries
    family, _, kind = ident.partition("/")
    if kind and family in entries.families and kind in entries.families[family].kinds:
        return entries.families[family].kinds[kind].name
    for records in (entries.liveries, entries.families, entries.makers, entries.sets):
        if ident in records:
            return records[ident].name
    return batch(int(ident.removeprefix("batch-"))) if ident.startswith("batch-") else ident


def batch(number: int) -> str:
    """The words for a batch."""
    return f"{ORDINALS[number] if number < len(ORDINALS) else f'{number}th'} batch"


def _of_trait(words: Words, one: Meaning, says: str) -> str:
    """A state, a value or a part; of a slot type where it may be about several slots."""
    key, equals, value = says.partition("=")
    entries = words.entries
    if one.claim.kind == "part":
        where = entries.slot_types[key].name if key in entries.slot_types else words.slot(key)
        return f"{where}: {words.part(value)}" if equals else where
    compiled = words.compiled
    t = next((t for t, trait in enumerate(compiled.traits) if trait.id == key), None)
    if t is not None:
        return f"{words.trait(t)}: {words.state(t, value)}"
    home, _, short = key.partition(".")
    record = entries.slot_types[home].traits.get(short) if home in entries.slot_types else None
    if record is None:
        return says
    state = record.states[value].name if record.states and value in record.states else value
    return f"{entries.slot_types[home].name}: {lower_first(record.name)}: {state}"


def part_name(words: Words, part: str) -> str:
    """The name of a part inside a sentence; one that begins with the name of its maker keeps its capital."""
    name_of = words.part(part)
    makers = {maker.name.split()[0] for maker in words.entries.makers.values()}
    return name_of if name_of.split()[0] in makers else lower_first(name_of)


def _spot(words: Words, says: str) -> str:
    """The name of a damage spot of any family; else the plain word."""
    spots = (record.damage[says].name for record in words.entries.families.values() if says in record.damage)
    return next(spots, says.replace("-", " "))


def called(words: Words, candidates: Bools) -> str:
    """What these candidates have in common, as the names of variants put it: number, livery, kind and batch; else the family."""
    labels = dict.fromkeys(words.compiled.label(c) for c in np.flatnonzero(candidates).tolist())
    known = [stated(words.entries, ident) for ident in labels if ident in words.entries.variants]
    if len(known) == 1:
        return known[0].name
    if not known:
        return "unit"
    return _common(words, known)


def _common(words: Words, known: Sequence[Stated]) -> str:
    entries = words.entries
    number = _only({_short_number(one.catalog_number) for one in known})
    livery, kind = _only({one.livery for one in known}), _only({one.kind for one in known})
    family, of_batch = _only({one.family for one in known}), _only({one.batch for one in known})
    first = [number] if number else []
    first += [entries.liveries[livery].name] if livery in entries.liveries else []
    more = [lower_first(entries.families[family].kinds[kind].name)] if family and kind else []
    more += [batch(of_batch)] if of_batch is not None else []
    return ", ".join([" ".join(first) or (entries.families[family].name if family else "unit"), *more])


def _short_number(number: str | None) -> str | None:
    """A catalog number before its last hyphen, where figures stand there."""
    before = (number or "").rpartition("-")[0]
    return before if any(one.isdigit() for one in before) else number


def _only(values: Collection[Value]) -> Value | None:
    """The one value there is."""
    return next(iter(values)) if len(values) == 1 else None


def made(words: Words, candidates: Bools) -> Years | None:
    """From the first to the last year of these candidates; None where it is not recorded of one."""
    labels = dict.fromkeys(words.compiled.label(c) for c in np.flatnonzero(candidates).tolist())
    return span(stated(words.entries, ident).made for ident in labels if ident in words.entries.variants)

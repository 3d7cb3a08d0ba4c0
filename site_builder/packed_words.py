"""The words of one compiled knowledge base as plain values: all that the identifier in the page says is made of them.

Lists follow the arrays: traits, slots, views, variants, sets and families stand in the order of `Compiled`.  What the words
mean, and how sentences are made of them, is in `modules/kernel/wording.js`, which says what every field is (`PackedWords`).
"""

from collections.abc import Mapping, Sequence
from typing import Any

from ..identify.arrays import MISSING, Compiled
from ..identify.history import occupants, years_of_part
from ..identify.wording import Words
from ..kb.load import Entries
from ..kb.resolve import lineage, slots_of
from ..kb.values import Years

Plain = dict[str, Any]


def packed_words(entries: Entries, compiled: Compiled, silent: Mapping[str, Sequence[str]] | None = None) -> Plain:
    """The words of a family, or of all: whatever was compiled. As JSON has them.

    silent: the slots of each variant with a part that nobody recorded, where they are known already.
    """
    words = Words(entries, compiled)
    if silent is None:
        silent = {ident: words.unrecorded_slots(ident) for ident in compiled.variants}
    slot_at = {slot.id: s for s, slot in enumerate(compiled.slots)}
    at = {ident: v for v, ident in enumerate(compiled.variants)}
    sets = [_set(words, ident, at) for ident in compiled.sets]
    return {
        "families": [
            {"name": entries.families[family].name, "slots": [slot_at[slot] for slot in slots_of(entries, family)]}
            for family in compiled.families
        ],
        "slots": [words.slot(slot.id) for slot in compiled.slots],
        "views": [words.view_name(view) for view in compiled.views],
        "traits": [words_of_trait(words, t) for t in range(len(compiled.traits))],
        "parts": {part: _part(words, part) for part in _parts(compiled)},
        "variants": [words.variant(ident) for ident in compiled.variants],
        "made": [_years(_made(entries, ident)) for ident in compiled.variants],
        "silent": [[slot_at[slot] for slot in silent.get(ident, ())] for ident in compiled.variants],
        "others": [[ident, words.variant(ident)] for ident in list(at)[len(compiled.variants) :]],
        "sets": sets,
    }


def words_of_trait(words: Words, t: int) -> Plain | None:
    """The words of one trait; None for a bare slot."""
    record = words.record(t)
    if record is None:
        return None
    found: Plain = {"name": record.name}
    if record.look:
        found["look"] = record.look
    if record.marking:
        found["marking"] = True
    if record.measured:
        found["unit"] = record.measured.unit
    if record.states:
        named = [state for state in words.compiled.traits[t].states if state != MISSING]
        found["states"] = [words.state(t, state) for state in named]
        asks = [record.states[state].ask if state in record.states else None for state in named]
        found |= {"asks": asks} if any(asks) else {}
    return found


def _parts(compiled: Compiled) -> list[str]:
    """Every part that may sit somewhere; nothing and what nobody recorded are words of their own."""
    return sorted({part for slot in compiled.slots for part in slot.parts} - {"none", "unlisted"})


def _part(words: Words, part: str) -> Plain:
    """A part with its years; and, of a reproduction, who makes it (empty: not recorded)."""
    entries, record = words.entries, words.entries.parts.get(part)
    found: Plain = {"name": words.part(part)}
    made = _years(years_of_part(entries, part))
    if made:
        found["made"] = made
    if record is not None and record.reproduction_of:
        found["reproducedBy"] = entries.makers[record.maker].name if record.maker in entries.makers else ""
    return found


def _made(entries: Entries, ident: str) -> Years | None:
    """When a variant was made: as it says, or whatever it is like."""
    return next((one.made for one in lineage(entries, ident) if one.made is not None), None)


def _years(years: Years | None) -> list[int] | None:
    return None if years is None else list(years)


def _set(words: Words, ident: str, at: dict[str, int]) -> Plain:
    """A set with the variants of each position; those that are not compiled get a place behind the others."""
    record = words.entries.sets[ident]
    positions = [[at.setdefault(one, len(at)) for one in some] for some in occupants(words.entries, ident)]
    return {"name": record.name, "positions": positions}

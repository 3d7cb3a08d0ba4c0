"""Turns the loose parts of one slot type, or of all, into the arrays that units are identified with.

A part stands in the place of a variant, and its slot type in that of the family: the traits of a slot type are the family's own,
and what sort of part it is is the one trait that all share.  A part that nobody recorded is what is "not in the record", one for
each slot type, and one that is of no recorded type.  There is one slot, the part itself, and nothing on it is ever changed.

How common a loose part is: a part comes loose when a slot is changed.  Then the one that was there comes off, and one of the
replacements is bought to go in; so loose parts are as many that came off as were meant to go in:

    weight[r] = sum over candidates c and slots s of the type of  prior[c] * swap_s * (issued_s[c, r] + replaced_s[r])

That is how often it was fitted when new, and how common it is among replacements, where parts are changed most.  What is not in
the record has the weight of the unlisted replacements.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..kb.load import Entries
from ..kb.models import Trait as TraitRecord
from ..kb.resolve import LOOSE, NO_SORT, SORT, loose_traits, number, slots_of
from ..kb.values import Fact
from .arrays import Compiled, Floats, Trait
from .compile import AS_RECORDED, Assumed, compile_fitted
from .trait_tables import Tables

#: A part that no recorded slot takes is so common beside the average part of its type, and a type that none takes beside the
#: average type: it is in somebody's hand, and so not impossible.
NO_SLOT = 0.01


@dataclass(frozen=True)
class LoosePart:
    """A part as a row of traits. `family` is its slot type."""

    id: str
    family: str
    shows: Mapping[str, Fact]


def compile_parts(entries: Entries, slot_type: str | None = None, assumed: Assumed = AS_RECORDED) -> Compiled:
    """The arrays of the loose parts of a slot type, or of all types."""
    types = [slot_type] if slot_type is not None else [*sorted(entries.slot_types), NO_SORT]
    parts = [_loose(entries, ident) for ident in sorted(entries.parts) if entries.home["part", ident] in types]
    weight, unlisted = part_weights(entries, types, assumed)
    tables = Tables(entries, types, parts, entries.about.views, assumed.mistakes)
    tables.weight = np.array([weight[one.id] for one in parts])
    tables.unlisted = [_of_sort(one) for one in types]
    variant = np.array([*range(len(parts)), *(-1 - f for f in range(len(types)))], dtype=np.int64)
    rows = np.arange(len(variant))
    prior = np.array([*tables.weight, *(unlisted[one] for one in types)])
    return Compiled(
        variants=tuple(one.id for one in parts),
        families=tuple(types),
        sets=(),
        views=tuple(tables.views),
        effort=np.array([view.loose for view in entries.about.views.values()]),
        asking=entries.about.asking.model_dump(by_alias=True),
        prior=prior / prior.sum() if len(prior) else prior,
        variant=variant,
        family=np.array([*tables.family_at, *range(len(types))], dtype=np.int64),
        set_of=np.full(len(variant), -1, dtype=np.int64),
        position=np.zeros(len(variant), dtype=np.int64),
        slots=(tables.own_slot(LOOSE, [0.0] * len(types), rows),),
        traits=tuple(_traits(tables, loose_traits(entries, slot_type))),
        settled=entries.about.settled,
        family_leads=entries.about.family_leads,
    )


def _loose(entries: Entries, ident: str) -> LoosePart:
    home = entries.home["part", ident]
    known = {trait: fact for trait, fact in entries.parts[ident].shows.items() if not fact.unknown}
    return LoosePart(ident, home, {**known, **_of_sort(home)})


def _of_sort(slot_type: str) -> dict[str, Fact]:
    return {SORT: Fact.model_validate({"is": {slot_type: 1.0}})}


def _traits(tables: Tables[LoosePart], records: Sequence[tuple[str | None, str, TraitRecord]]) -> Iterator[Trait]:
    for home, ident, record in records:
        trait = tables.own_trait(0, ident, home, record)
        yield trait if home is not None else replace(trait, at_once=True)


def part_weights(
    entries: Entries, types: Sequence[str], assumed: Assumed = AS_RECORDED
) -> tuple[dict[str, float], dict[str, float]]:
    """How common each loose part of these slot types is, and what nobody recorded of each type; see the head of this module.

    What is of no recorded type has the share of units that are not in the record.
    """
    mine = {ident: entries.home["part", ident] for ident in entries.parts if entries.home["part", ident] in types}
    weight, unlisted = dict.fromkeys(mine, 0.0), dict.fromkeys(types, 0.0)
    for slot_type, part, loose in _come_loose(entries, types, assumed):
        if part == "unlisted":
            unlisted[slot_type] += loose
        elif mine.get(part) == slot_type:
            weight[part] += loose
    of_type = {one: [ident for ident, home in mine.items() if home == one] for one in types}
    usual = sum(weight.values()) / max(1, sum(any(weight[ident] for ident in some) for some in of_type.values())) or 1.0
    for one, some in of_type.items():
        total = sum(weight[ident] for ident in some)
        least = NO_SLOT * (total or usual) / max(1, len(some))
        for ident in some:
            common = number(entries.about.scarcity, entries.parts[ident].how_common)
            weight[ident] = max(weight[ident], least if total else least * common, least * NO_SLOT)
        share = entries.about.not_in_the_record
        unlisted[one] = unlisted[one] or (sum(weight[ident] for ident in some) or NO_SLOT * usual) * share / (1.0 - share)
    if NO_SORT in unlisted:
        share = entries.about.not_in_the_record
        others = sum(weight.values()) + sum(one for ident, one in unlisted.items() if ident != NO_SORT)
        unlisted[NO_SORT] = others * share / (1.0 - share)
    return weight, unlisted


def _come_loose(entries: Entries, types: Sequence[str], assumed: Assumed) -> Iterator[tuple[str, str, float]]:
    """(slot type, part, how often it comes loose) over all slots of these types; `unlisted` is a part here, nothing is none."""
    wanted = {
        family: {ident: slot.type for ident, slot in slots_of(entries, family).items() if slot.type in types}
        for family in entries.families
    }
    fitted = compile_fitted(entries, {family: some for family, some in wanted.items() if some}, assumed)
    for slot in fitted.slots:
        loose: Floats = slot.swap[:, None] * (slot.issued + slot.replaced)
        for f, family in enumerate(fitted.families):
            slot_type = wanted[family].get(slot.id)
            if slot_type is not None:
                counts = (fitted.prior * (fitted.family == f)) @ loose[slot.row]
                pairs = zip(slot.parts, counts.tolist(), strict=True)
                yield from ((slot_type, part, count) for part, count in pairs if part != "none")

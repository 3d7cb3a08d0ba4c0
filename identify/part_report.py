"""The answer to "what part is this?" as plain values: which part, who made it, what it fits, and what was born with it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..kb.load import Entries
from ..kb.resolve import NO_SORT, Stated, has_slot, living, moved, parts_for, shares, slots_of, stated
from ..kb.values import Fact
from .arrays import NOT_IN_THE_RECORD
from .part_words import PartWords, cautions
from .report import LISTED, reasons, variants
from .session import Session

#: So many parts are described in full: the leader, what cannot be told from it, then the next likely ones, from this chance on.
MOST_DESCRIBED, DESCRIBED = 4, 0.05


def part_report(session: Session, words: PartWords) -> dict[str, Any]:
    """`tellmark/part/1`; see cli/schemas/part.json."""
    types = slot_types(session, words)
    factory = Factory(words.entries)
    at_hand = [one["id"] for one in types if one["id"] and one["probability"] >= DESCRIBED]
    return {
        "format": "tellmark/part/1",
        "slot_types": types,
        "parts": [{**one, "slot_type": _home(words.entries, one["id"])} for one in variants(session, words)],
        "makers": makers(words, session.variants),
        "reproduction": reproduction(words, session.variants),
        "described": [described(factory, ident) for ident in worth_describing(session)],
        "cautions": cautions(words.entries, at_hand) if session.given or len(types) == 1 else [],
        **reasons(session, words),
    }


def slot_types(session: Session, words: PartWords) -> list[dict[str, Any]]:
    """The slot types worth naming, likeliest first."""
    compiled = session.compiled
    sums = np.bincount(compiled.family, weights=session.belief.probability, minlength=len(compiled.families))
    chances = dict(zip(compiled.families, sums.tolist(), strict=True))
    order = sorted(chances, key=lambda one: (-chances[one], one))
    return [
        {"id": None if ident == NO_SORT else ident, "name": words.sort(ident), "probability": _share(chances[ident])}
        for ident in order
        if chances[ident] >= LISTED
    ]


def _home(entries: Entries, ident: str) -> str | None:
    return entries.home["part", ident] if ident in entries.parts else None


# Who made it -----------------------------------------------------------------------------------------------------------


def makers(words: PartWords, parts: Sequence[tuple[str, float]]) -> list[dict[str, Any]]:
    """The chance of each maker, likeliest first; null for a part whose maker, or that itself, nobody recorded."""
    records = words.entries.parts
    chances: dict[str | None, float] = {}
    for ident, chance in parts:
        maker = records[ident].maker if ident in records else None
        chances[maker] = chances.get(maker, 0.0) + chance
    names = {ident: record.name for ident, record in words.entries.makers.items()}
    order = sorted(chances, key=lambda one: (-chances[one], one or ""))
    return [
        {"id": ident, "name": names.get(ident, ident) if ident else "not recorded", "probability": _share(chances[ident])}
        for ident in order
        if chances[ident] >= LISTED
    ]


def reproduction(words: PartWords, parts: Sequence[tuple[str, float]]) -> dict[str, Any]:
    """The chance that it is a reproduction, and of what; and the chance that nobody recorded a part like it."""
    records = words.entries.parts
    of: dict[str, float] = {}
    for ident, chance in parts:
        original = records[ident].reproduction_of if ident in records else None
        if original:
            of[original] = of.get(original, 0.0) + chance
    return {
        "probability": _share(sum(of.values())),
        "of": [
            {"id": ident, "name": words.part(ident), "probability": _share(of[ident])}
            for ident in sorted(of, key=lambda one: (-of[one], one))
            if of[ident] >= LISTED
        ],
        "unrecorded": _share(dict(parts).get(NOT_IN_THE_RECORD, 0.0)),
    }


# What it is ------------------------------------------------------------------------------------------------------------


def worth_describing(session: Session) -> list[str]:
    """The parts to describe in full: the leader with what nothing tells from it, and the next likely ones."""
    group, _ = session.leading
    likely = [ident for ident, chance in session.variants if chance >= DESCRIBED]
    found = [ident for ident in dict.fromkeys([*group, *likely]) if ident != NOT_IN_THE_RECORD]
    return found[: max(MOST_DESCRIBED, len(group))] if session.given else []


def described(factory: "Factory", ident: str) -> dict[str, Any]:
    """Everything a person wants to know of a part in hand."""
    entries = factory.entries
    record = entries.parts[ident]
    copies = sorted(one for one, other in entries.parts.items() if other.reproduction_of == ident)
    return {
        "id": ident,
        "name": record.name,
        "slot_type": entries.home["part", ident],
        "about": record.about,
        "maker": record.maker,
        "made": str(record.made) if record.made else None,
        "reproduction_of": record.reproduction_of,
        "tell": record.tell,
        "copied_by": [{"id": one, "name": entries.parts[one].name, "tell": entries.parts[one].tell} for one in copies],
        "fits": factory.fits(ident),
        "born_with": list(factory.born_with(ident)),
        "not_recorded": factory.not_recorded(ident),
        "cost": record.cost,
        "minutes": record.minutes,
    }


@dataclass(frozen=True)
class _Place:
    """One place of a set: the variants there, and what was fitted to them there."""

    set: str
    position: int
    variants: frozenset[str]
    fitted: Mapping[str, Fact]


@dataclass(frozen=True)
class Factory:
    """What left the factory with which parts; worked out once for all parts that are asked for."""

    entries: Entries

    @cached_property
    def _variants(self) -> list[Stated]:
        return [stated(self.entries, ident) for ident in living(self.entries)]

    @cached_property
    def _places(self) -> list[_Place]:
        return [
            _Place(boxed, p, frozenset(now for written in one.variants for now in moved(self.entries, written)), one.fitted)
            for boxed, record in sorted(self.entries.sets.items())
            for p, one in enumerate(record.positions, 1)
        ]

    def slots(self, ident: str) -> dict[str, list[str]]:
        """By family, the slots that a part fits or that some unit is known to have it in."""
        home = self.entries.home["part", ident]
        found = {
            family: [
                slot
                for slot, record in slots_of(self.entries, family).items()
                if record.type == home and ident in parts_for(self.entries, family, slot)
            ]
            for family in sorted(self.entries.families)
        }
        return {family: slots for family, slots in found.items() if slots}

    def fits(self, ident: str) -> list[dict[str, Any]]:
        """The families and slots a part fits, with the makers of those families."""
        names = self.entries.families
        return [
            {"family": family, "name": names[family].name, "maker": names[family].maker, "slots": slots}
            for family, slots in self.slots(ident).items()
        ]

    def _at(self, slots: Mapping[str, list[str]]) -> Iterator[tuple[Stated, str, list[tuple[_Place, Fact]]]]:
        """(variant, slot, what its places in sets say of the slot) wherever a variant has such a slot."""
        for one in self._variants:
            mine = [place for place in self._places if one.id in place.variants]
            for slot in slots.get(one.family, []):
                if has_slot(self.entries, one.family, slot, one.kind):
                    yield one, slot, [(place, place.fitted[slot]) for place in mine if slot in place.fitted]

    def born_with(self, ident: str) -> Iterator[dict[str, Any]]:
        """The variants that left the factory with a part, slot by slot: as recorded for the variant, and in a place of a set.

        how is the recorded word for how often, null for a bare number, which is `share`; not_in names the places where the
        variant had something else there.
        """
        for one, slot, boxed in self._at(self.slots(ident)):
            about = {"family": one.family, "variant": one.id, "name": one.name, "slot": slot}
            told = [(place, fact) for place, fact in boxed if not fact.unknown]
            own = one.fitted.get(slot)
            if own is not None and ident in own.is_:
                other = [{"set": place.set, "position": place.position} for place, fact in told if ident not in fact.is_]
                yield {**about, "set": None, "position": 0, **self._often(own, ident), "not_in": other}
            for place, fact in told:
                if ident in fact.is_:
                    at = {"set": place.set, "position": place.position}
                    yield {**about, **at, **self._often(fact, ident), "not_in": []}

    def not_recorded(self, ident: str) -> list[dict[str, str]]:
        """The variants that may have had a part: nobody recorded what sat in a slot that it fits, alone or in a set."""
        found = self._at(self.slots(ident))
        return [
            {"variant": one.id, "slot": slot}
            for one, slot, boxed in found
            if slot not in one.fitted and all(fact.unknown for _, fact in boxed)
        ]

    def _often(self, fact: Fact, ident: str) -> dict[str, Any]:
        how = fact.is_[ident]
        word = how if isinstance(how, str) else "always" if how >= 1.0 and len(fact.is_) == 1 else None
        return {"how": word, "share": _share(shares(self.entries.about.frequencies, fact.is_)[ident])}


def _share(chance: float) -> float:
    return round(min(1.0, max(0.0, float(chance))), 6)

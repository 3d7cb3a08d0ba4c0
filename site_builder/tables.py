"""What many pages lean on, worked out once: resolved variants, look-alikes, who was born with a part, who cites a source."""

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Any

import numpy as np
from pydantic import BaseModel

from ..identify.arrays import NOT_IN_THE_RECORD
from ..identify.start import start
from ..kb.describe import NOT_RECORDED, Comparer, choices, part_names, state_names
from ..kb.load import Entries
from ..kb.models import Position, Trait
from ..kb.resolve import Stated, has_slot, living, moved, slots_of, stated, traits_of, views_of
from ..kb.values import Fact
from .drawn import Pictures
from .texts import FOLDERS, address, plus_minus

Values = dict[str, Any]
LOOK_ALIKES = 3


class FamilyTables:
    """One family with its variants as they are stated, in the order of their ids."""

    def __init__(self, entries: Entries, ident: str, variants: list[Stated]) -> None:
        self.entries = entries
        self.record = entries.families[ident]
        self.variants = variants
        self.slots = slots_of(entries, ident)
        self.views = views_of(entries, ident)
        self.all_traits = traits_of(entries, ident)
        #: Of the body and the finish only.
        self.traits: dict[str, Trait] = {name: one for name, one in self.all_traits.items() if "." not in name}
        seats = [
            (name, position)
            for name, one in entries.sets.items()
            for position in one.positions
            if any(entries.home["variant", sat] == ident for sat in position.variants)
        ]
        #: Every set that a unit of the family sat in, the earliest first.
        self.sets = sorted({name for name, _ in seats}, key=lambda name: (entries.sets[name].made or (9999, 0), name))
        told = {slot for _, position in seats for slot in position.fitted}
        #: The slots that some set says something about: those that tell sets apart.
        self.telling = {slot: record.name for slot, record in self.slots.items() if slot in told}

    def kind(self, one: Stated) -> str | None:
        """The name of a variant's kind."""
        return self.record.kinds[one.kind].name if one.kind else None

    def has(self, one: Stated, slot: str) -> bool:
        """Whether units of this kind have the slot at all."""
        return has_slot(self.entries, one.family, slot, one.kind)

    @cached_property
    def shared(self) -> frozenset[str]:
        """The traits that every variant shows alike, where there are several."""
        if len(self.variants) < 2:
            return frozenset()
        looks = {name: {choices(one.shows.get(name), {}) for one in self.variants} for name in self.traits}
        return frozenset(name for name, seen in looks.items() if len(seen) == 1 and seen != {NOT_RECORDED})

    @cached_property
    def by_likeness(self) -> dict[str, list[str]]:
        """The other variants of each one, those with the fewest differing facts first; ties in the order of ids."""
        words = [
            [choices(one.shows.get(name), {}) for name in self.traits] + [choices(one.fitted.get(s), {}) for s in self.slots]
            for one in self.variants
        ]
        columns = [np.unique(column, return_inverse=True)[1] for column in zip(*words, strict=True)]
        codes = np.stack(columns, axis=1) if columns else np.zeros((0, 0), dtype=np.int64)
        found: dict[str, list[str]] = {}
        for v, one in enumerate(self.variants):
            order: list[int] = np.argsort((codes != codes[v]).sum(axis=1), kind="stable").tolist()
            found[one.id] = [self.variants[other].id for other in order if other != v]
        return found


class Site:
    """The records, and how pages link to them and word their facts."""

    def __init__(self, entries: Entries) -> None:
        self.entries = entries
        self.about = entries.about
        self.whole = {ident: stated(entries, ident) for ident in living(entries)}
        self.families = {
            family: FamilyTables(entries, family, [one for one in self.whole.values() if one.family == family])
            for family in sorted(entries.families)
        }
        self.part_names = part_names(entries)
        self.comparer = Comparer(entries)
        self.pictures = Pictures(entries)

    # Links and facts ----------------------------------------------------------------------------------------------------

    def link(self, kind: str, ident: str) -> Values:
        """A record's name and the address of its page."""
        return {"text": self.entries.of(kind)[ident].name or ident, "href": address(kind, ident)}

    def type_link(self, slot_type: str) -> Values:
        """A slot type, where the list of parts has it."""
        return {"text": self.entries.slot_types[slot_type].name, "href": f"parts.html#type-{slot_type}"}

    def maker(self, ident: str | None) -> str | None:
        """The maker's name."""
        return self.entries.makers[ident].name if ident else None

    def cited(self, citations: Mapping[str, str]) -> list[Values]:
        """Links to sources, each with how far it supports."""
        return [self.link("source", source) | {"support": support} for source, support in citations.items()]

    def footing(self, record: Any) -> Values:
        """What every record ends with: on whose word, and when it was last checked."""
        return {"sources": self.cited(record.sources), "verified": record.verified}

    def said(self, fact: Fact | None, trait: Trait | None) -> list[Values]:
        """The choices of a fact, each with how often where it is not the only one; of a part (no trait) with its page."""
        if fact is None or fact.unknown:
            return [{"text": NOT_RECORDED, "href": None, "how": None}]
        names = state_names(trait) if trait else self.part_names
        return [
            {
                "text": plus_minus(names.get(choice, choice), trait),
                "href": address("part", choice) if trait is None and choice in self.entries.parts else None,
                "how": how_often(how, alone=len(fact.is_) == 1),
            }
            for choice, how in fact.is_.items()
        ]

    def fact(self, name: str, fact: Fact, trait: Trait | None) -> Values:
        """A fact with where to look and on whose word."""
        look = trait.look if trait else None
        return {
            "name": name,
            "choices": self.said(fact, trait),
            "look": look,
            "note": fact.note,
            "pictures": [],
            "sources": self.cited(fact.sources),
        }

    # Look-alikes --------------------------------------------------------------------------------------------------------

    @cached_property
    def twins(self) -> dict[str, list[str]]:
        """The others that nothing on record separates a variant from."""
        groups = start(self.entries).twins if self.entries.families else {}
        return {ident: [one for one in group if one not in (ident, NOT_IN_THE_RECORD)] for ident, group in groups.items()}

    def look_alikes(self, one: Stated) -> list[Stated]:
        """The nearest variants of the family that can be told from it."""
        twins = self.twins.get(one.id, [])
        nearest = [other for other in self.families[one.family].by_likeness[one.id] if other not in twins]
        return [self.whole[other] for other in nearest[:LOOK_ALIKES]]

    # Who leans on what --------------------------------------------------------------------------------------------------

    @cached_property
    def born_with(self) -> dict[str, list[Values]]:
        """The variants that left the factory with a part, and in which slots."""
        found: dict[str, dict[str, Values]] = {}
        for ident, one in self.whole.items():
            slots = self.families[one.family].slots
            for slot, fact in one.fitted.items():
                for part, how in fact.is_.items():
                    row = found.setdefault(part, {}).setdefault(ident, self.link("variant", ident) | {"slots": []})
                    often = how_often(how, alone=len(fact.is_) == 1)
                    row["slots"].append(slots[slot].name + (f" ({often})" if often else ""))
        return {part: list(rows.values()) for part, rows in found.items()}

    def sat(self, position: Position) -> dict[str, str | float]:
        """{variant: how often} of those that sat there, by the ids they have now."""
        return {now: how for written, how in position.variants.items() for now in moved(self.entries, written)}

    @cached_property
    def seats(self) -> dict[str, list[tuple[str, int]]]:
        """The (set, position) pairs a variant came in; positions count from 1."""
        found: dict[str, list[tuple[str, int]]] = {}
        for ident, one in sorted(self.entries.sets.items()):
            for number, position in enumerate(one.positions, 1):
                for variant in self.sat(position):
                    found.setdefault(variant, []).append((ident, number))
        return found

    def seated(self, position: Position) -> FamilyTables:
        """The family of the first variant that sat there; a position holds units of one role, with the same slots."""
        return self.families[self.entries.home["variant", next(iter(position.variants))]]

    @cached_property
    def in_sets(self) -> dict[str, list[Values]]:
        """The set positions that say a part was fitted there."""
        found: dict[str, list[Values]] = {}
        for ident, one in sorted(self.entries.sets.items()):
            for number, position in enumerate(one.positions, 1):
                slots = self.seated(position).slots
                for slot, fact in position.fitted.items():
                    for part in fact.is_:
                        row = self.link("set", ident) | {"number": number, "slot": slots[slot].name}
                        found.setdefault(part, []).append(row)
        return found

    @cached_property
    def citations(self) -> dict[str, list[Values]]:
        """Who leans on a source, for what, and how far it supports them."""
        found: dict[str, list[Values]] = {}
        for kind in ("family", "variant", "set", "slot type", "part", "procedure", "livery", "maker", "source"):
            for ident, record in sorted(self.entries.of(kind).items()):
                for about, citations in self._claims(kind, ident, record):
                    for source, support in citations.items():
                        row = self._citing(kind, ident) | {"about": about, "support": support}
                        found.setdefault(source, []).append(row)
        return found

    def _citing(self, kind: str, ident: str) -> Values:
        if kind == "slot type":
            return self.type_link(ident)
        return self.link(kind, ident) if kind in FOLDERS else {"text": self.entries.of(kind)[ident].name, "href": None}

    def _claims(self, kind: str, ident: str, record: Any) -> Iterator[tuple[str | None, Mapping[str, str]]]:
        """(what is claimed, on whose word) of a record as it is written; None for the record as a whole."""
        yield None, record.sources
        home = self.entries.home.get((kind, ident), ident)
        traits = self.entries.slot_types[home].traits if kind == "part" else self.entries.traits
        slots: Mapping[str, Any] = {}
        if home in self.families and kind in ("family", "variant", "set"):
            traits, slots = self.families[home].traits, self.families[home].slots
        holders: list[BaseModel] = [record, *getattr(record, "kinds", {}).values(), *getattr(record, "positions", [])]
        for holder in holders:
            if isinstance(holder, Position):
                slots = self.seated(holder).slots
            for field, names in (("shows", traits), ("fitted", slots)):
                facts: dict[str, Fact] = getattr(holder, field, {})
                for name, fact in facts.items():
                    yield names[name].name if name in names else name, fact.sources


def how_often(how: str | float, *, alone: bool) -> str | None:
    """How often a choice is found, in words; None for the only choice that there always is."""
    if alone and how in (1.0, "always"):
        return None
    return how if isinstance(how, str) else f"{how:.0%}"

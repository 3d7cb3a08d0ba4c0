"""A site as those see it who read all of it: the tables, the descriptions for other databases, the list of downloads.

To write down every record that they read (`reads.py`) would take longer than what they do with it, and says no more than that
they read everything.  So that is noted once, and the records themselves are read plainly.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from ..kb.describe import part_names
from ..kb.load import FIELDS, Entries
from ..kb.models import Family, KnowledgeBase, Position, Slot, Trait, View
from ..kb.resolve import Stated, living, moved, slots_of, traits_of, views_of
from .reads import ALL
from .tables import Site


@dataclass(frozen=True)
class WholeFamily:
    """One family with its variants as they are stated, in the order of their ids."""

    record: Family
    variants: list[Stated]
    slots: Mapping[str, Slot]
    views: Mapping[str, View]
    all_traits: Mapping[str, Trait]

    @cached_property
    def traits(self) -> dict[str, Trait]:
        """Those of the body and the finish only."""
        return {name: one for name, one in self.all_traits.items() if "." not in name}

    def lacks(self, kind: str | None) -> frozenset[str]:
        """The slots that units of a kind do not have."""
        return frozenset(
            name for name, slot in self.slots.items() if slot.kinds is not None and kind is not None and kind not in slot.kinds
        )


class Whole:
    """All records. Whoever makes one has read them all."""

    def __init__(self, site: Site) -> None:
        site.memo.note(*((kind, ALL) for kind in FIELDS))
        self.about: KnowledgeBase = site.about
        self.entries: Entries = site.plain
        #: The variants that are not signposts, with what they inherit, in the order of their ids.
        self.stated: dict[str, Stated] = {ident: site.plain_whole(ident) for ident in living(self.entries)}
        variants: dict[str, list[Stated]] = {family: [] for family in sorted(self.entries.families)}
        for one in self.stated.values():
            variants[one.family].append(one)
        self.families = {family: self._family(family, found) for family, found in variants.items()}
        self.part_names = part_names(self.entries)

    @cached_property
    def day(self) -> str | None:
        """The latest day that anything in the record names: when it was verified, seen or sold. None where nothing does."""
        entries = self.entries
        days: set[str | None] = {getattr(one, "verified", None) for kind in FIELDS for one in entries.of(kind).values()}
        days |= {fact.verified for one in self.stated.values() for facts in (one.shows, one.fitted) for fact in facts.values()}
        days |= {fact.verified for one in entries.parts.values() for fact in one.shows.values()}
        days |= {one.seen for one in entries.sightings.values()} | {one.date for one in entries.sales.values()}
        return max((day for day in days if day), default=None)

    @property
    def as_of(self) -> str:
        """The same day where a format must have one; 1970-01-01 where nothing names any."""
        return self.day or "1970-01-01"

    def _family(self, family: str, variants: list[Stated]) -> WholeFamily:
        entries = self.entries
        slots, views, traits = slots_of(entries, family), views_of(entries, family), traits_of(entries, family)
        return WholeFamily(entries.families[family], variants, slots, views, traits)

    def sat(self, position: Position) -> dict[str, str | float]:
        """{variant: how often} of those that sat there, by the ids they have now."""
        return {now: how for written, how in position.variants.items() for now in moved(self.entries, written)}

"""A site as those see it who read much of it: the tables, the descriptions for other databases, the list of downloads.

To write down every record that they read (`reads.py`) would take longer than what they do with it.  So whoever reads records of a
kind has read all of that kind, and who reads of a family has read its folder: that is written down once.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, cast

from ..kb.describe import part_names
from ..kb.load import FIELDS, Entries
from ..kb.models import Family, KnowledgeBase, Part, Position, Slot, Trait, View
from ..kb.resolve import Stated, living, moved, slots_of, traits_of, views_of
from .reads import ALL, HOMELY, IN
from .tables import Lazy, Site

#: {the field of the entries: the kind of record in it}
KINDS = {name: kind for kind, name in FIELDS.items()}


class ByKind(Entries):
    """The entries of a site. Whoever reads a field has read all records of its kind, but for the fields that are given here."""

    def __init__(self, site: Site, **given: Mapping[str, Any]) -> None:
        plain = site.plain
        own = {"root": plain.root, "about": plain.about, "places": site.entries.places, "home": site.entries.home}
        vars(self).update({**own, "lost": plain.lost, "_site": site, **given})

    def __getattr__(self, name: str) -> Any:
        """Called for the fields that were not given."""
        if name not in KINDS:
            raise AttributeError(name)
        site: Site = vars(self)["_site"]
        site.memo.note((KINDS[name], ALL))
        return getattr(site.plain, name)


@dataclass(frozen=True)
class WholeFamily:
    """One family with its variants as they are stated, in the order of their ids. `entries`: no variants and sets but its own."""

    entries: Entries
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


class Facts:
    """What units show and are fitted with, of bare entries: no sentence changes it."""

    def __init__(self, site: Site) -> None:
        self._bare = site.bare
        self._entries, self._shared = site.memo.kept(site.bare.whole), site.memo.kept(site.bare.shared)
        self.families: Mapping[str, WholeFamily] = Lazy(
            lambda: iter(site.bare.families()), site.memo.kept(self._family), site.plain.families.__contains__
        )

    @property
    def entries(self) -> Entries:
        """All of them."""
        return self._entries()

    @property
    def stated(self) -> list[Stated]:
        """The variants that are not signposts, with what they inherit, in the order of their ids."""
        return self._bare.all_stated()

    def sat(self, position: Position) -> dict[str, str | float]:
        """{variant: how often} of those that sat there, by the ids they have now."""
        entries = self.entries
        return {now: how for written, how in position.variants.items() for now in moved(entries, written)}

    @property
    def parts(self) -> Mapping[str, Part]:
        """All parts."""
        return self._shared().parts

    def _family(self, family: str) -> WholeFamily:
        entries = self._bare.of_family(family)
        slots, views, traits = slots_of(entries, family), views_of(entries, family), traits_of(entries, family)
        return WholeFamily(entries, entries.families[family], [*self._bare.stated(family).values()], slots, views, traits)


class Whole:
    """All records; what is read of them is written down by kind and by family. `facts`: for what needs no prose."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self.about: KnowledgeBase = site.about
        self.facts = Facts(site)
        self.entries: Entries = ByKind(site)
        self.families: Mapping[str, WholeFamily] = Lazy(
            lambda: iter(sorted(self.entries.families)), site.memo.kept(self._family), site.plain.families.__contains__
        )
        self._stated, self._part_names = site.memo.kept(self._all_stated), site.memo.kept(lambda: part_names(self.entries))
        self._latest = site.memo.question("latest day", self._latest_of, lasting=True)
        self._latest_in = site.memo.question("latest day in", self._latest_of_home, lasting=True)

    @property
    def stated(self) -> dict[str, Stated]:
        """The variants that are not signposts, with what they inherit, in the order of their ids."""
        return self._stated()

    @property
    def part_names(self) -> Mapping[str, str]:
        """The names of all parts, and of the two that are none."""
        return self._part_names()

    @property
    def day(self) -> str | None:
        """The latest day that anything in the record names: when it was verified, seen or sold. None where nothing does."""
        return max((day for kind in FIELDS if (day := self._latest(kind))), default=None)

    @property
    def as_of(self) -> str:
        """The same day where a format must have one; 1970-01-01 where nothing names any."""
        return self.day or "1970-01-01"

    def _all_stated(self) -> dict[str, Stated]:
        self._site.memo.note(("variant", ALL), ("family", ALL), ("livery", ALL))
        return {ident: self._site.plain_whole(ident) for ident in living(self._site.plain)}

    def _latest_of(self, kind: str) -> str | None:
        """The latest day that records of a kind name."""
        if kind not in HOMELY:
            return _latest(self.entries.of(kind).values())
        return max((day for home in self._site.bare.homes() if (day := self._latest_in(kind, home))), default=None)

    def _latest_of_home(self, kind: str, home: str) -> str | None:
        self._site.memo.note((IN, home))
        return _latest(self._site.plain.of(kind)[ident] for ident in self._site.bare.inside(kind, home))

    def _family(self, family: str) -> WholeFamily:
        site, plain = self._site, self._site.plain
        site.memo.note((IN, family), ("livery", ALL))
        mine = {
            name: {ident: plain.of(kind)[ident] for ident in site.bare.inside(kind, family)}
            for name, kind in (("variants", "variant"), ("sets", "set"))
        }
        entries = ByKind(site, **mine)
        slots, views, traits = slots_of(entries, family), views_of(entries, family), traits_of(entries, family)
        variants = [site.plain_whole(ident) for ident, one in sorted(mine["variants"].items()) if not one.signpost]
        return WholeFamily(entries, entries.families[family], variants, slots, views, traits)


def _latest(records: Iterable[Any]) -> str | None:
    """The latest day that records name."""
    holders = [one for record in records for one in (record, *_parts_of(record))]
    fields: list[dict[str, Any]] = [vars(one) for one in holders]
    facts = (fact for one in fields for name in ("shows", "fitted") if name in one for fact in one[name].values())
    days = {one[name] for one in fields for name in ("verified", "seen", "date") if name in one}
    return max((day for day in days | {fact.verified for fact in facts} if day), default=None)


def _parts_of(record: Any) -> list[Any]:
    """What in a record holds facts of its own."""
    fields = cast("dict[str, Any]", vars(record))
    return [*fields.get("kinds", {}).values(), *fields.get("positions", [])]

"""What many pages lean on: resolved variants, look-alikes, who was born with a part, who cites a source.

Everything is worked out when the first page asks, and what was read for it is written down (`reads.py`).
"""

import pickle
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from itertools import chain
from operator import itemgetter
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from pydantic import BaseModel

from ..kb.describe import NOT_RECORDED, Comparer, choices, seats, state_names
from ..kb.drawings import COMMON
from ..kb.load import Entries
from ..kb.models import Family, Position, Slot, Trait, View
from ..kb.resolve import Stated, living, moved, on_kind, slots_of, stated, traits_of, views_of
from ..kb.values import Fact
from .bare import Bare
from .drawn import Pictures
from .images import Images
from .page import Shared, Values
from .reads import ALL, HOMELY, IN, MADE, SUMS, Memo, Noted, Sum, digest, noted
from .texts import FOLDERS, ON_LISTS, address, filled, plus_minus, trait_address
from .thumbnails import Thumbnails

if TYPE_CHECKING:
    from ..identify.arrays import Compiled

#: The kinds of records that lean on sources.
CITING = ("family", "variant", "set", "slot type", "part", "procedure", "livery", "maker", "source")
#: What sits in a slot where no recorded part does.
NO_PARTS = {"none": "nothing there", "unlisted": "an unrecorded part"}
V = TypeVar("V")


class Asked(Generic[V]):
    """A question to the memo of a site, asked as one asks a dictionary."""

    def __init__(self, ask: Callable[[str], V]) -> None:
        self._ask = ask

    def __getitem__(self, ident: str) -> V:
        return self._ask(ident)

    def get(self, ident: str, default: V) -> V:
        """The answer; the default where it is empty."""
        return self._ask(ident) or default


class Lazy(Mapping[str, V]):
    """A dictionary whose values are made when they are asked for."""

    def __init__(self, idents: Callable[[], Iterator[str]], make: Callable[[str], V], known: Callable[[str], bool]) -> None:
        self._idents, self._make, self._known = idents, make, known

    def __getitem__(self, ident: str) -> V:
        if not self._known(ident):
            raise KeyError(ident)
        return self._make(ident)

    def __contains__(self, ident: object) -> bool:
        return isinstance(ident, str) and self._known(ident)

    def __iter__(self) -> Iterator[str]:
        return self._idents()

    def __len__(self) -> int:
        return sum(1 for _ in self._idents())


def _each(whole: Callable[[], Mapping[str, list[V]]]) -> Callable[[str], list[V]]:
    """From all answers to the one for a single id, which is empty where there is none."""

    def one(ident: str) -> list[V]:
        return whole().get(ident, [])

    return one


class FamilyTables:
    """One family with its variants as they are stated but for prose, in the order of their ids."""

    def __init__(self, site: "Site", ident: str) -> None:
        entries, memo = site.entries, site.memo
        self.entries = entries
        self.ident = ident
        self._slots = memo.kept(lambda: slots_of(entries, ident))
        self._views = memo.kept(lambda: views_of(entries, ident))
        self._traits = memo.kept(lambda: traits_of(entries, ident))
        self._own = memo.kept(lambda: {name: one for name, one in self._traits().items() if "." not in name})
        self._bare = site.bare
        self._sets = site.sets_of
        self._telling = memo.kept(self._slots_of_sets)
        self._shared = site.shared

    @property
    def record(self) -> Family:
        """The family itself."""
        return self.entries.families[self.ident]

    @property
    def variants(self) -> list[Stated]:
        """All its variants."""
        return list(self._bare.stated(self.ident).values())

    @property
    def count(self) -> int:
        """How many variants it has."""
        return len(self._bare.variants(self.ident))

    @property
    def slots(self) -> dict[str, Slot]:
        """All slots, with the body and the finish."""
        return self._slots()

    @property
    def views(self) -> dict[str, View]:
        """All views."""
        return self._views()

    @property
    def all_traits(self) -> dict[str, Trait]:
        """All traits of its units."""
        return self._traits()

    @property
    def traits(self) -> dict[str, Trait]:
        """Those of the body and the finish only."""
        return self._own()

    @property
    def sets(self) -> list[str]:
        """Every set that a unit of the family sat in, the earliest first."""
        return [name for name, _ in self._sets[self.ident]]

    @property
    def telling(self) -> dict[str, str]:
        """The slots that some set says something about: those that tell sets apart."""
        return self._telling()

    @property
    def shared(self) -> frozenset[str]:
        """The traits that every variant shows alike, where there are several."""
        return frozenset(self._shared(self.ident))

    def kind(self, one: Stated) -> str | None:
        """The name of a variant's kind."""
        return self.record.kinds[one.kind].name if one.kind else None

    def has(self, one: Stated, slot: str) -> bool:
        """Whether units of this kind have the slot at all."""
        slots = self.slots
        return slot in slots and on_kind(slots[slot], one.kind)

    def _slots_of_sets(self) -> dict[str, str]:
        seated = [self.entries.sets[name].positions[number - 1] for name, numbers in self._sets[self.ident] for number in numbers]
        told = {slot for position in seated for slot in position.fitted}
        return {slot: record.name for slot, record in self.slots.items() if slot in told}

    def shown_alike(self) -> list[str]:
        """The traits that all its variants show alike, worked out."""
        variants = self.variants
        if len(variants) < 2:
            return []
        looks = {name: {choices(one.shows.get(name), {}) for one in variants} for name in self.traits}
        return sorted(name for name, seen in looks.items() if len(seen) == 1 and seen != {NOT_RECORDED})


class Site:
    """The records, and how pages link to them and word their facts. `base`: the address the site will have, or ""."""

    def __init__(self, entries: Entries, base: str = "") -> None:
        self.memo = memo = Memo()
        #: Not written down who reads it: for what notes by itself what it read.
        self.plain = entries
        self.entries = noted(entries, memo)
        #: Without prose, for what leans on many records and on none of their sentences.
        self.bare = Bare(entries, memo)
        self.about = entries.about
        self.base = base
        #: What the files of the stages before hold, by address; see `page.py`.
        self.made = Noted[str, Sum]({}, memo, lambda address: (MADE, address), ((MADE, SUMS),), names=((MADE, ALL),))
        self._plain_whole: dict[str, Stated] = {}
        self.whole: Mapping[str, Stated] = Lazy(
            lambda: iter(living(self.entries)),
            memo.question("stated", partial(stated, self.entries)),
            memo.question("living", self._living),
        )
        #: A variant as it is stated, without prose.
        self.stated = memo.question("stated barely", self._stated_barely)
        self.families: Mapping[str, FamilyTables] = Lazy(
            lambda: iter(sorted(self.entries.families)), self._tables, lambda ident: ident in self.plain.families
        )
        self._made: dict[str, FamilyTables] = {}
        self.name = memo.question("name", self._name)
        #: (kind, id): a record's name and the address of its page; whoever adds to that makes another.
        self.link = memo.kept(self._linked)
        #: The traits that every variant of a family shows alike, where there are several.
        self.shared = memo.question("shared", self._shown_alike, lasting=True)
        self.part_names: Mapping[str, str] = Lazy(
            lambda: iter([*sorted(self.entries.parts), *NO_PARTS]),
            lambda part: NO_PARTS[part] if part in NO_PARTS else self.name("part", part),
            lambda part: part in NO_PARTS or part in self.plain.parts,
        )
        self.comparer = Comparer(self.entries, kept=memo.kept)
        self.comparer.part_names = self.part_names
        self.pictures = Pictures(self.entries, memo, self.stated)
        self.thumbnails = Thumbnails(self.pictures, memo)
        self.images = Images(self.pictures, self.thumbnails, memo)
        #: The arrays of a family, and the same packed.
        self.compiled, self.packed = memo.kept(self._compiled), memo.kept(self._packed)
        #: What a family has alone, and what all have in common, packed.
        self.alone = memo.question("alone", self._packed_alone, lasting=True)
        self.in_common = memo.question("in common", self._packed_in_common, lasting=True)
        #: A digest of them, for what leans on nothing else of the variants.
        self.arrays = memo.question("arrays", self._digest_of_arrays)
        #: (family, or None for a common trait, trait, fact) with its pictures, and (name of a slot, fact): many show the same.
        self.shown = memo.kept(self._shown)
        self._shown_as_common = memo.kept(self._is_common)
        self.sat_in = memo.kept(self._sat_in)
        self._ask_about_the_whole()

    def _ask_about_the_whole(self) -> None:
        """Questions that lean on all records of a kind; a page that asks one has read its answer and not all of those."""
        ask = self.memo.question
        all_seats, all_sets, all_born, all_in_sets, all_cited, all_groups = (
            ask("all seats", self._all_seats, lasting=True),
            ask("all sets", self._all_sets, lasting=True),
            ask("all born", self._all_born, lasting=True),
            ask("all in sets", self._all_in_sets, lasting=True),
            ask("all cited", self._all_cited),
            ask("all groups", self._groups_of, lasting=True),
        )
        #: The (set, position) pairs a variant came in; positions count from 1.
        self.seats = Asked(ask("seats", _each(all_seats)))
        #: The sets that units of a family sat in, the earliest first, each with the positions they sat in.
        self.sets_of = Asked(ask("sets of", _each(all_sets)))
        #: {livery: how many variants of each family wear it}.
        self.worn = ask("worn", self._all_worn, lasting=True)
        self._family_of = ask("family of", self._home_of)
        #: The variants that an id stands for now.
        self.moved = ask("moved", partial(moved, self.entries))
        self._cited_in = ask("cited in", self._claims_in, lasting=True)
        #: The variants that left the factory with a part, and in which slots.
        self.born_with = Asked(ask("born with", _each(all_born)))
        #: The set positions that say a part was fitted there.
        self.in_sets = Asked(ask("in sets", _each(all_in_sets)))
        #: Who leans on a source, for what, and how far it supports them.
        self.citations = Asked(ask("cited by", _each(all_cited)))
        #: The groups of a family's variants that nothing recorded separates.
        self.groups = Asked(all_groups)
        #: The others that nothing on record separates a variant from.
        self.twins = Asked(ask("twins", self._others))

    def _tables(self, family: str) -> FamilyTables:
        if family not in self._made:
            self._made[family] = FamilyTables(self, family)
        return self._made[family]

    def _stated_barely(self, ident: str) -> Stated:
        return self.bare.stated(self._family_of(ident))[ident]

    def plain_whole(self, ident: str) -> Stated:
        """A variant as it is stated; nobody writes down that it was read."""
        if ident not in self._plain_whole:
            self._plain_whole[ident] = stated(self.plain, ident)
        return self._plain_whole[ident]

    def _compiled(self, family: str) -> "Compiled":
        from ..identify.compile import compile_entries  # here and below: a build in which little has changed needs no arrays

        return compile_entries(self.bare.of_family(family), [family], told=[*self.bare.stated(family).values()])

    def _packed(self, family: str) -> Values:
        from .packed import packed

        return packed(self.compiled(family))

    def _packed_alone(self, family: str) -> Values:
        from .packed_families import packed_alone

        told = self.bare.stated(family).values()
        return packed_alone(self.bare.of_family(family), told, self.compiled(family), self.packed(family))

    def _packed_in_common(self) -> Values:
        from .packed_families import packed_in_common

        return packed_in_common(self.bare.whole(), self.bare.all_stated())

    def _digest_of_arrays(self, family: str) -> str:
        return digest(pickle.dumps(self.compiled(family)))

    def _living(self, ident: str) -> bool:
        return ident in self.entries.variants and not self.entries.variants[ident].signpost

    def _shown_alike(self, family: str) -> list[str]:
        return self.families[family].shown_alike()

    def _name(self, kind: str, ident: str) -> str:
        record = self.entries.of(kind).get(ident)
        return (record.name if record else None) or ident

    # Links and facts ----------------------------------------------------------------------------------------------------

    def _linked(self, kind: str, ident: str) -> Values:
        return {"text": self.name(kind, ident), "href": address(kind, ident)}

    def place(self, kind: str, ident: str) -> Values:
        """A record's name, with the place of its kind on the site where it has one."""
        if kind in ON_LISTS:
            return {"text": self.name(kind, ident), "href": ON_LISTS[kind].replace("*", ident)}
        return self.link(kind, ident) if kind in FOLDERS else {"text": self.name(kind, ident), "href": None}

    def trait_link(self, family: str | None, name: str, text: str) -> Values:
        """A trait as `traits_of` names it, with its page; without a family a common one."""
        slot, _, ident = name.rpartition(".")
        if slot and family:
            return {"text": text, "href": trait_address("slot type", self.families[family].slots[slot].type or "", ident)}
        common = family is None or name not in self.entries.families[family].traits
        return {"text": text, "href": trait_address(None if common else "family", family or "", name)}

    def maker(self, ident: str | None) -> str | None:
        """The maker's name."""
        return self.name("maker", ident) if ident else None

    def cited(self, citations: Mapping[str, str]) -> list[Values]:
        """Links to sources, each with how far it supports."""
        return [self.link("source", source) | {"support": support} for source, support in citations.items()]

    def footing(self, record: Any) -> Values:
        """What every record ends with: on whose word, and when it was last checked."""
        return {"sources": self.cited(record.sources), "verified": record.verified}

    def forms(self, kind: str, ident: str) -> Values:
        """Where the code host lets one edit the entry, and report a sighting of it; None where the record does not say."""
        about, record = self.about, self.entries.of(kind)[ident]
        place = self.entries.places[kind, ident].path
        title, body = f"Sighting: {record.name or ident}", f"I have examined one.\n\nid: {ident}\nseen: \nby: \nanswers: \n"
        return {
            "edit": filled(about.edit_at, file=place, title=title, body="") if about.edit_at else None,
            "report": filled(about.report_at, file=place, title=title, body=body)
            if about.report_at and kind == "variant"
            else None,
        }

    def said(self, fact: Fact | None, trait: Trait | None) -> list[Values]:
        """The choices of a fact, each with how often where it is not the only one; of a part (no trait) with its page."""
        if fact is None or fact.unknown:
            return [{"text": NOT_RECORDED, "href": None, "how": None}]
        names = state_names(trait) if trait else self.part_names
        return [
            {
                "text": plus_minus(names.get(choice, choice), trait),
                "href": address("part", choice) if trait is None and choice not in NO_PARTS else None,
                "how": how_often(how, alone=len(fact.is_) == 1),
            }
            for choice, how in fact.is_.items()
        ]

    def fact(self, name: str, fact: Fact, trait: Trait | None) -> Values:
        """A fact with where to look and on whose word."""
        look = trait.look if trait else None
        return {
            "name": name,
            "text": name,
            "choices": self.said(fact, trait),
            "href": None,
            "view": None,
            "look": look,
            "note": fact.note,
            "pictures": [],
            "sources": self.cited(fact.sources),
        }

    def _shown(self, family: str | None, name: str, fact: Fact) -> Shared:
        if family is not None and self._shown_as_common(family, name):
            return self.shown(None, name, fact)
        trait = (self.entries.traits if family is None else self.families[family].traits)[name]
        row = self.fact(trait.name, fact, trait)
        row["pictures"] = self.images.of_fact(family, name, trait, fact)
        row["href"] = self.trait_link(family, name, trait.name)["href"]
        return Shared(row)

    def _is_common(self, family: str, name: str) -> bool:
        """Whether a family has a trait in common with the others, and nothing of its own to show of it."""
        drawn = self.images.where_drawn(family, name)
        return name not in self.entries.families[family].traits and (drawn is None or drawn.drawing.level == COMMON)

    def _sat_in(self, slot: str, fact: Fact) -> Shared:
        return Shared(self.fact(slot, fact, None))

    # Who leans on what --------------------------------------------------------------------------------------------------

    def _groups_of(self, family: str) -> list[list[str]]:
        from ..identify.gaps import inseparable

        variants = self.families[family].variants
        return inseparable(self.bare.of_family(family), family, lambda: self.compiled(family), variants)

    def _others(self, ident: str) -> list[str]:
        self.memo.note(("variant", ident))
        groups = self.groups[self.plain.home["variant", ident]]
        return [other for group in groups if ident in group for other in group if other != ident]

    def _all_born(self) -> dict[str, list[Values]]:
        entries, found = self.bare.whole(), dict[str, dict[str, Values]]()
        for ident in living(entries):
            one = stated(entries, ident)
            slots = slots_of(entries, one.family)
            for slot, fact in one.fitted.items():
                for part, how in fact.is_.items():
                    row = found.setdefault(part, {}).setdefault(
                        ident, {"text": one.name, "href": address("variant", ident), "slots": []}
                    )
                    often = how_often(how, alone=len(fact.is_) == 1)
                    row["slots"].append(slots[slot].name + (f" ({often})" if often else ""))
        return {part: list(rows.values()) for part, rows in found.items()}

    def sat(self, position: Position) -> dict[str, str | float]:
        """{variant: how often} of those that sat there, by the ids they have now."""
        return {now: how for written, how in position.variants.items() for now in self.moved(written)}

    def _all_seats(self) -> dict[str, list[tuple[str, int]]]:
        return seats(self.bare.whole())

    def _all_sets(self) -> dict[str, list[tuple[str, list[int]]]]:
        entries, found = self.bare.whole(), dict[str, dict[str, list[int]]]()
        home = entries.home
        for ident, one in sorted(entries.sets.items(), key=lambda one: (one[1].made or (9999, 0), one[0])):
            for number, position in enumerate(one.positions, 1):
                for family in sorted({home["variant", sat] for sat in position.variants}):
                    found.setdefault(family, {}).setdefault(ident, []).append(number)
        return {family: list(sets.items()) for family, sets in found.items()}

    def seated(self, position: Position) -> FamilyTables:
        """The family of the first variant that sat there; a position holds units of one role, with the same slots."""
        return self.families[self._family_of(next(iter(position.variants)))]

    def _home_of(self, variant: str) -> str:
        self.memo.note(("variant", variant))
        return self.plain.home["variant", variant]

    def _all_worn(self) -> dict[str, dict[str, int]]:
        entries, found = self.bare.whole(), dict[str, dict[str, int]]()
        for one in (stated(entries, ident) for ident in living(entries)):
            if one.livery:
                families = found.setdefault(one.livery, {})
                families[one.family] = families.get(one.family, 0) + 1
        return found

    def _all_in_sets(self) -> dict[str, list[Values]]:
        found: dict[str, list[Values]] = {}
        for ident, one in sorted(self.bare.whole().sets.items()):
            for number, position in enumerate(one.positions, 1):
                slots = self.seated(position).slots
                for slot, fact in position.fitted.items():
                    for part in fact.is_:
                        row = self.link("set", ident) | {"number": number, "slot": slots[slot].name}
                        found.setdefault(part, []).append(row)
        return found

    def _all_cited(self) -> dict[str, list[Values]]:
        found: dict[str, list[Values]] = {}
        for kind in CITING:
            homes = self.bare.homes() if kind in HOMELY else [""]
            for _, source, row in sorted(chain.from_iterable(self._cited_in(kind, home) for home in homes), key=itemgetter(0)):
                found.setdefault(source, []).append(row)
        return found

    def _claims_in(self, kind: str, home: str) -> list[tuple[str, str, Values]]:
        """(id, source, what a list of who leans on it says) of records of a kind, in one home where they have one."""
        self.memo.note((IN, home) if home else (kind, ALL), ("family", ALL), ("slot type", ALL), ("trait", ALL))
        idents = self.plain.of(kind) if not home else self.bare.inside(kind, home)
        return [
            (ident, source, self.place(kind, ident) | {"about": about, "support": support})
            for ident in sorted(idents)
            for about, citations in self._claims(kind, ident, self.plain.of(kind)[ident])
            for source, support in citations.items()
        ]

    def _claims(self, kind: str, ident: str, record: Any) -> Iterator[tuple[str | None, Mapping[str, str]]]:
        """(what is claimed, on whose word) of a record as it is written; None for the record as a whole."""
        yield None, record.sources
        home = self.plain.home.get((kind, ident), ident)
        traits = self.plain.slot_types[home].traits if kind == "part" else self.plain.traits
        slots: Mapping[str, Any] = {}
        if kind in ("family", "variant", "set"):
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

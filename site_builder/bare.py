"""Entries without prose, for all that is made of facts and names alone.

A *bare* record has no sentences, no word of who said it and when, no photographs and no prices, and neither have its facts.  Who
is given bare entries can read none of that, and what they hold is all that their digest is made of: so nothing made of them
changes with a sentence, and nothing that it shows is forgotten.

Of a family there are bare entries of its own.  They hold what lies in its folder, what any family leans on (parts, slot types,
traits, liveries, makers), and the sets that hold its units, with the name of everything else that sat there.
"""

from collections.abc import Iterable, Mapping
from functools import cache, cached_property
from typing import Any, TypeVar, cast, get_args

from pydantic import BaseModel

from ..kb.load import FIELDS, Entries
from ..kb.models import Variant
from ..kb.resolve import Stated, lineage, moved, stated
from ..kb.values import made_of
from .reads import ALL, FILE, HOMELY, IN, Memo, digest

Record = TypeVar("Record", bound=BaseModel)
#: What a bare record says in the place of what it does not say.
PROSE: dict[str, Any] = {
    "about": None,
    "sources": {},
    "verified": None,
    "note": None,
    "photographs": [],
    "changes": None,
    "tell": None,
    "cost": None,
    "minutes": None,
    "found": "",
    "mend": "",
    "procedure": None,
}
#: What is left of a variant of another family: its name, and where it lives now.
NAMED = ("name", "moved_to", "split_into")
#: The kinds of records that any family may lean on.
SHARED = ("part", "slot type", "trait", "livery", "maker")
#: Those that are held for a family of its own.
HELD = ("family", "variant", "set")


def bare(record: BaseModel) -> Any:
    """A record, or anything in one, without prose; itself where it has none."""
    said, prose, holding = vars(record), *_fields(type(record))
    changed: dict[str, Any] = {name: PROSE[name] for name in prose if said[name] != PROSE[name]}
    for name in holding:
        held: Any = said[name]
        now: Any = held
        if isinstance(held, dict):
            inner = cast("dict[str, object]", held)
            now = {key: bare(one) if isinstance(one, BaseModel) else one for key, one in inner.items()}
        elif isinstance(held, list):
            now = [bare(one) if isinstance(one, BaseModel) else one for one in cast("list[object]", held)]
        elif isinstance(held, BaseModel):
            now = bare(held)
        if now != held:
            changed[name] = now
    return _changed(record, changed) if changed else record


def _changed(record: Record, now: dict[str, Any]) -> Record:
    """As `model_copy`, without its overhead on thousands of records."""
    return made_of(type(record), vars(record) | now, record.model_fields_set | now.keys())


@cache
def _fields(model: type[BaseModel]) -> tuple[list[str], list[str]]:
    """(the fields of a model that are prose, those that may hold other models)."""
    fields = model.model_fields
    holding = [name for name, field in fields.items() if name not in PROSE and _holds(field.annotation)]
    return [name for name in fields if name in PROSE], holding


def _holds(annotation: Any) -> bool:
    """Whether values of a type are models, or hold some."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return True
    return any(_holds(inner) for inner in get_args(annotation))


class _Held(Entries):
    """Entries that nobody changes."""

    @cached_property
    def _inside(self) -> dict[tuple[str, str], list[str]]:
        found: dict[tuple[str, str], list[str]] = {}
        for kind in {kind for kind, _ in self.home}:
            for ident in self.of(kind):
                found.setdefault((kind, self.home[kind, ident]), []).append(ident)
        return found

    def inside(self, kind: str, home: str) -> list[str]:
        """As of any entries."""
        return self._inside.get((kind, home), [])


class Bare:
    """The bare entries of a site. Whoever takes some has read them, and nothing else."""

    def __init__(self, plain: Entries, memo: Memo) -> None:
        self._plain, self._memo = plain, memo
        self._made: dict[tuple[str, str], Any] = {}
        self._of_families: dict[str, Entries] = {}
        self._stated: dict[str, Mapping[str, Stated]] = {}
        #: The ids of all families, in order.
        self.families = memo.question("families", self._all_families, lasting=True)
        #: The ids of the variants of a family, but for signposts, in order.
        self.variants = memo.question("variants of", self._variants_of, lasting=True)
        self._shared = memo.question("bare shared", self._digest_of_shared, lasting=True)
        self._family = memo.question("bare family", self._digest_of_family, lasting=True)
        self._liveries = memo.question("bare liveries", self._digest_of_liveries, lasting=True)
        self._called = memo.question("bare names", self._digest_of_names, lasting=True)
        self._holding = memo.question("sets holding", self._sets_holding, lasting=True)
        #: The words of all sentences, each once, in order.
        self.words = memo.question("words of prose", self._words_of_prose)
        self._words_in = memo.question("words of prose in", self._words_of_home, lasting=True)
        #: The ids of all families and slot types.
        self.homes = memo.question("homes", self._all_homes, lasting=True)

    # What can be had ----------------------------------------------------------------------------------------------------

    def of_family(self, family: str) -> Entries:
        """What the arrays and the words of a family are made of."""
        self._shared()
        self._family(family)
        return self._entries_of(family)

    def inside(self, kind: str, home: str) -> list[str]:
        """The ids of what lies in the folder of a family or slot type; whoever asks has written down that it was read."""
        return self._inside.get(home, {}).get(kind, [])

    def stated(self, family: str) -> Mapping[str, Stated]:
        """The variants of a family as they are stated, in the order of their ids."""
        self._family(family)
        self._liveries()
        if family not in self._stated:
            self._stated[family] = {one: stated(self._entries_of(family), one) for one in self.variants(family)}
        return self._stated[family]

    def all_stated(self) -> list[Stated]:
        """The same of all families, in the order of their ids."""
        return sorted((one for family in self.families() for one in self.stated(family).values()), key=lambda one: one.id)

    def shared(self) -> Entries:
        """What any family may lean on: parts, slot types, traits, liveries, makers."""
        self._shared()
        return self._entries([], {}, [])

    def whole(self) -> Entries:
        """The same of all families together."""
        self._shared()
        for family in self.families():
            self._family(family)
        return self._whole

    def names(self) -> Entries:
        """The whole, with variants that say what they are called, but of what they show no more than what one can read."""
        self._memo.note((FILE, "sellers.yaml"))
        self._shared()
        for family in self.families():
            self._called(family)
        return self._whole_names

    # Digests ------------------------------------------------------------------------------------------------------------

    def _all_families(self) -> list[str]:
        self._memo.note(("family", ALL))
        return sorted(self._plain.families)

    def _variants_of(self, family: str) -> list[str]:
        self._memo.note((IN, family))
        return sorted(one for one in self.inside("variant", family) if not self._plain.variants[one].signpost)

    def _digest_of_shared(self) -> str:
        self._memo.note(*((kind, ALL) for kind in SHARED))
        return _digest(self._entries([], {}, []), SHARED)

    def _digest_of_liveries(self) -> str:
        self._memo.note(("livery", ALL))
        return _digest(self._entries([], {}, []), ["livery"])

    def _digest_of_family(self, family: str) -> str:
        entries = self._entries_of(family)
        self._holding(family)
        leaned = [(kind, ident) for kind in HELD for ident in entries.of(kind)]
        self._memo.note((IN, family), *leaned)
        return _digest(entries, HELD)

    def _digest_of_names(self, family: str) -> str:
        self._memo.note((IN, family), ("family", family), ("trait", ALL))
        inside = self._inside.get(family, {})
        variants = {ident: self._name_of(ident) for ident in inside.get("variant", [])}
        return _digest(self._entries([family], variants, inside.get("set", [])), HELD)

    def _all_homes(self) -> list[str]:
        self._memo.note(("family", ALL), ("slot type", ALL))
        return [*sorted(self._plain.families), *sorted(self._plain.slot_types)]

    def _words_of_prose(self) -> list[str]:
        return sorted({word for home in ["", *self.homes()] for word in self._words_in(home)})

    def _words_of_home(self, home: str) -> list[str]:
        """Those of a family or a slot type; with no home of what belongs to neither."""
        from ..identify.vocabulary import prose  # here, since the reading of texts takes long to load

        plain = self._plain
        held = Entries(plain.root, plain.about)
        if not home:
            self._memo.note(*((kind, ALL) for kind in ("procedure", "livery", "trait")))
            held.procedures, held.liveries, held.traits = plain.procedures, plain.liveries, plain.traits
            return sorted(prose(held))
        self._memo.note((IN, home), ("family", home), ("slot type", home))
        for kind in ("family", "slot type"):
            setattr(held, FIELDS[kind], {home: plain.of(kind)[home]} if home in plain.of(kind) else {})
        for kind in ("variant", "part"):
            setattr(held, FIELDS[kind], {ident: plain.of(kind)[ident] for ident in self.inside(kind, home)})
        return sorted(prose(held))

    # Entries ------------------------------------------------------------------------------------------------------------

    def _of(self, kind: str, idents: Iterable[str]) -> dict[str, Any]:
        for ident in idents:
            if (kind, ident) not in self._made:
                self._made[kind, ident] = bare(self._plain.of(kind)[ident])
        return {ident: self._made[kind, ident] for ident in idents}

    def _entries(self, families: Iterable[str], variants: dict[str, Variant], sets: Iterable[str]) -> Entries:
        """Entries of these, with what all families lean on."""
        plain = self._plain
        entries = _Held(plain.root, plain.about, variants=variants)
        for kind, idents in (("family", families), ("set", sets), *((kind, plain.of(kind)) for kind in SHARED)):
            setattr(entries, FIELDS[kind], self._of(kind, idents))
        entries.home = {(kind, ident): plain.home[kind, ident] for kind in HOMELY for ident in entries.of(kind)}
        return entries

    @cached_property
    def _whole(self) -> Entries:
        plain = self._plain
        return self._entries(plain.families, self._of("variant", plain.variants), plain.sets)

    @cached_property
    def _whole_names(self) -> Entries:
        plain = self._plain
        entries = self._entries(plain.families, {ident: self._name_of(ident) for ident in plain.variants}, plain.sets)
        entries.sellers = plain.sellers
        return entries

    def _entries_of(self, family: str) -> Entries:
        if family not in self._of_families:
            self._of_families[family] = self._memo.reading(lambda: self._made_of(family))[0]
        return self._of_families[family]

    def _made_of(self, family: str) -> Entries:
        plain, inside = self._plain, self._inside.get(family, {})
        own = inside.get("variant", [])
        leaned = {like.like for one in own for like in lineage(plain, one) if like.like in plain.variants}.difference(own)
        mine = {*inside.get("set", []), *self._holding(family)}
        sets = [ident for ident in plain.sets if ident in mine]
        sat = (written for ident in sets for position in plain.sets[ident].positions for written in position.variants)
        others = self._trail([*sat, *own]).difference(own, leaned)
        named = {ident: _named(plain.variants[ident]) for ident in sorted(others)}
        return self._entries([family], self._of("variant", [*own, *sorted(leaned)]) | named, sets)

    def _trail(self, written: Iterable[str]) -> set[str]:
        """Variants, and all that one comes by on the way to where they live now."""
        seen, waiting = set[str](), list(written)
        while waiting:
            at = waiting.pop()
            if at not in seen and at in self._plain.variants:
                seen.add(at)
                one = self._plain.variants[at]
                waiting += [*([one.moved_to] if one.moved_to else []), *one.split_into]
        return seen

    def _name_of(self, ident: str) -> Variant:
        """A variant without what it is made of, and with no more of what it shows than its markings."""
        one: Variant = self._of("variant", [ident])[ident]
        markings = self._markings[self._plain.home["variant", ident]]
        shows = {trait: fact for trait, fact in one.shows.items() if trait in markings}
        return _changed(one, {"shows": shows, "fitted": {}, "how_common": None, "sold_alone": None})

    @cached_property
    def _markings(self) -> dict[str, set[str]]:
        """The traits of each family that one reads."""
        plain = self._plain
        return {
            family: {name for name, trait in (plain.traits | one.traits).items() if trait.marking}
            for family, one in plain.families.items()
        }

    def _sets_holding(self, family: str) -> list[str]:
        """The sets that hold units of a family."""
        self._memo.note(("set", ALL), ("variant", ALL))
        return self._holders.get(family, [])

    @cached_property
    def _holders(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for ident, one in self._plain.sets.items():
            sat = (now for position in one.positions for written in position.variants for now in moved(self._plain, written))
            for family in {self._plain.home["variant", one] for one in sat}:
                found.setdefault(family, []).append(ident)
        return found

    @cached_property
    def _inside(self) -> dict[str, dict[str, list[str]]]:
        """{family or slot type: {kind: the ids of what lies in its folder, in order}}."""
        found: dict[str, dict[str, list[str]]] = {}
        for kind in HOMELY:
            for ident in self._plain.of(kind):
                found.setdefault(self._plain.home[kind, ident], {}).setdefault(kind, []).append(ident)
        return found


def _named(one: Variant) -> Variant:
    return Variant.model_construct(**{name: getattr(one, name) for name in NAMED})


def _digest(entries: Entries, kinds: Iterable[str]) -> str:
    """Of all records of these kinds."""
    homes = entries.home
    texts = (
        text
        for kind in kinds
        for ident, record in entries.of(kind).items()
        for text in (kind, ident, homes.get((kind, ident), ""), record.model_dump_json())
    )
    return digest(*texts)

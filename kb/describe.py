"""Records in words: what a reader is shown of one, and what differs between several."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from operator import itemgetter
from typing import Any, NamedTuple, TypeAlias

from pydantic import BaseModel

from .findings import Kind, Unreadable, nearest
from .load import Entries
from .models import Slot, Trait, View
from .resolve import Stated, moved, slots_of, stated, traits_of, views_of
from .values import Fact

NOT_RECORDED = "not recorded"
#: What is said of a trait of a part that is not there.
NO_PART = "—"
#: The kinds of record that have an id one can ask for, in the order they are looked up.
NAMED_KINDS = ("variant", "part", "set", "family", "trait", "slot type", "procedure", "livery", "maker", "source", "sighting")


class Said(NamedTuple):
    """What one record says of one thing: in words, and the states or parts that these words name."""

    text: str
    choices: tuple[str, ...]


@dataclass(frozen=True)
class Difference:
    """One thing that is not the same in all the compared records. `said` and `values` are in their order."""

    trait: str
    name: str
    view: str | None
    effort: float
    look: str | None
    said: tuple[Said, ...]

    @property
    def values(self) -> tuple[str, ...]:
        """What each record says, in words."""
        return tuple(one.text for one in self.said)

    def as_dict(self, idents: Sequence[str]) -> dict[str, Any]:
        """For `--json`."""
        return {
            "trait": self.trait,
            "name": self.name,
            "view": self.view,
            "look": self.look,
            "values": dict(zip(idents, self.values, strict=True)),
        }


#: What compared records say of one thing, and a difference with its place in their order.
Facts: TypeAlias = tuple[Fact | None, ...]
Ranked: TypeAlias = tuple[float, Difference]


def find(entries: Entries, ident: str, kinds: Sequence[str] = NAMED_KINDS) -> list[str]:
    """The kinds that have a record of this id. Raises Unreadable with the nearest id when none has."""
    found = [kind for kind in kinds if ident in entries.of(kind)]
    if not found:
        names = [name for kind in kinds for name in entries.of(kind)]
        names += [name for kind in ("family", "slot type") for one in entries.of(kind).values() for name in one.traits]
        noun = kinds[0] if len(kinds) == 1 else "record"
        raise Unreadable(f'"{ident}"', f"the id of a {noun}", nearest(ident, names), Kind.DANGLING)
    return found


def homes_of_trait(entries: Entries, ident: str) -> list[tuple[str, str]]:
    """(kind, id) of the families and slot types that have a trait of this name; of `home/name` only that one."""
    wanted, _, name = ident.rpartition("/")
    homes = [(kind, home) for kind in ("family", "slot type") for home, one in entries.of(kind).items() if name in one.traits]
    return [(kind, home) for kind, home in homes if wanted in ("", home)]


def record(entries: Entries, kind: str, ident: str) -> dict[str, Any]:
    """Everything a record says as plain values; a variant with what it inherits and the sets it came in."""
    one: BaseModel = entries.of(kind)[ident]
    if kind != "variant" or entries.variants[ident].signpost:
        return one.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    return stated_record(stated(entries, ident), sets_with(entries, ident))


def stated_record(whole: Stated, seats: Sequence[tuple[str, int]]) -> dict[str, Any]:
    """A resolved variant as plain values. `seats`: the sets and positions it came in."""
    plain: dict[str, Any] = {
        name: value if isinstance(value, str | int | float) else str(value)
        for name in ("name", "family", "about", "kind", "livery", "catalog_number", "batch", "made", "how_common", "sold_alone")
        if (value := getattr(whole, name)) is not None
    }
    plain["shows"] = {name: _plain(fact) for name, fact in whole.shows.items()}
    plain["fitted"] = {name: _plain(fact) for name, fact in whole.fitted.items()}
    plain["sets"] = [{"set": s, "position": p} for s, p in seats]
    plain["sources"] = whole.sources
    if whole.verified:
        plain["verified"] = whole.verified
    return plain


def _plain(fact: Fact) -> dict[str, Any]:
    """A fact with what is said of it: what `model_dump` would leave of it, without its overhead on thousands of facts."""
    rest = {"sources": fact.sources, "verified": fact.verified, "note": fact.note}
    return {"is": fact.is_} | {name: value for name, value in rest.items() if value}


def seats(entries: Entries) -> dict[str, list[tuple[str, int]]]:
    """{variant: the sets and positions it came in} by the ids they have now; positions count from 1."""
    found: dict[str, list[tuple[str, int]]] = {}
    for ident, one in sorted(entries.sets.items()):
        for p, position in enumerate(one.positions, 1):
            for variant in dict.fromkeys(now for written in position.variants for now in moved(entries, written)):
                found.setdefault(variant, []).append((ident, p))
    return found


def sets_with(entries: Entries, variant: str) -> list[tuple[str, int]]:
    """The sets and positions a variant came in; positions count from 1."""
    return seats(entries).get(variant, [])


def choices(fact: Fact | None, names: Mapping[str, str]) -> str:
    """A fact in words: each choice by its name, with how often where it is not the only one."""
    if fact is None or fact.unknown:
        return NOT_RECORDED
    if len(fact.is_) == 1 and next(iter(fact.is_.values())) in (1.0, "always"):
        return names.get(next(iter(fact.is_)), next(iter(fact.is_)))
    return ", ".join(
        f"{names.get(choice, choice)} ({how if isinstance(how, str) else f'{how:.0%}'})" for choice, how in fact.is_.items()
    )


def state_names(trait: Trait) -> dict[str, str]:
    """The names of a trait's states."""
    return {ident: state.name for ident, state in (trait.states or {}).items()}


def part_names(entries: Entries) -> dict[str, str]:
    """The names of all parts, and of the two that are none."""
    return {ident: part.name for ident, part in entries.parts.items()} | {
        "none": "nothing there",
        "unlisted": "an unrecorded part",
    }


class Comparer:
    """Compares variants, many times over: what all comparisons lean on is worked out once, and only when it is needed."""

    def __init__(
        self, entries: Entries, whole: Callable[[str], Stated] | None = None, kept: Callable[[Any], Any] = cache
    ) -> None:
        """`whole` gives a variant as it is stated, where somebody has them already; `kept` makes a function keep its results."""
        self.entries = entries
        self.part_names: Mapping[str, str] = part_names(entries)
        self.stated: Callable[[str], Stated] = whole or kept(partial(stated, entries))
        self.traits: Callable[[str], Mapping[str, Trait]] = kept(partial(traits_of, entries))
        self.slots: Callable[[str], Mapping[str, Slot]] = kept(partial(slots_of, entries))
        self.views: Callable[[str], Mapping[str, View]] = kept(partial(views_of, entries))
        #: (family, trait or slot, fact): what is said of a trait; of the part in a slot, and of each of that part's traits.
        self.said_in_trait: Callable[[str, str, Fact | None], Said] = kept(self._said_in_trait)
        self.said_in_slot: Callable[[str, str, Fact | None], tuple[Said, dict[str, Said]]] = kept(self._said_in_slot)

    def variants(self, idents: Sequence[str], *, every: bool = False) -> list[Difference]:
        """What differs between variants as they left the factory, cheapest view first: traits, and the parts fitted.

        every: also what is the same on all of them.
        """
        all_stated = [self.stated(ident) for ident in idents]
        families = tuple(dict.fromkeys(one.family for one in all_stated))
        found: list[Ranked] = []
        for name in {name: None for family in families for name in self.traits(family) if "." not in name}:
            shown = tuple([one.shows.get(name) for one in all_stated])
            if every or not _said_alike(shown):
                found += self.in_trait(families, name, shown, every=every)
        for name in {name: None for family in families for name, slot in self.slots(family).items() if slot.type}:
            fitted = tuple([one.fitted.get(name) for one in all_stated])
            if every or not _said_alike(fitted):
                found += self.in_slot(families, name, fitted, every=every)
        return [one for _, one in sorted(found, key=itemgetter(0))]

    def in_trait(self, families: Sequence[str], name: str, shown: Facts, *, every: bool = False) -> list[Ranked]:
        """How what is shown of a trait by variants of these families differs, with the effort of looking there."""
        home = next(family for family in reversed(families) if name in self.traits(family))
        said = [self.said_in_trait(home, name, fact) for fact in shown]
        if not every and not _differs(said):
            return []
        trait = self.traits(home)[name]
        one = _difference(self.views(families[0]), name, trait.name, trait, said)
        return [(one.effort, one)]

    def in_slot(self, families: Sequence[str], name: str, fitted: Facts, *, every: bool = False) -> list[Ranked]:
        """The same of what is fitted to a slot: it is told by the traits of parts, so it comes just before the cheapest."""
        home = next(family for family in reversed(families) if name in self.slots(family))
        told = [self.said_in_slot(home, name, fact) for fact in fitted]
        said = [part for part, _ in told]
        if not every and not _differs(said):
            return []
        slot, views = self.slots(home)[name], self.views(families[0])
        by_trait: list[Ranked] = []
        for ident, trait in self.traits_in(slot).items():
            shown = [traits[ident] for _, traits in told]
            if every or _differs(shown):
                one = _difference(views, f"{name}.{ident}", f"{slot.name}: {trait.name}", trait, shown)
                by_trait.append((one.effort, one))
        first = min((effort - 1e-6 for effort, _ in by_trait), default=99.0)
        return [(first, Difference(name, slot.name, None, 0.0, None, tuple(said))), *by_trait]

    def traits_in(self, slot: Slot) -> Mapping[str, Trait]:
        """The traits of the parts that sit in a slot."""
        types = self.entries.slot_types
        return types[slot.type].traits if slot.type in types else {}

    def _said_in_trait(self, family: str, name: str, fact: Fact | None) -> Said:
        return _said(fact, state_names(self.traits(family)[name]))

    def _said_in_slot(self, family: str, name: str, fact: Fact | None) -> tuple[Said, dict[str, Said]]:
        parts = self.entries.parts
        known = [parts[part].shows if part in parts else None for part in (fact.is_ if fact else ())]
        by_trait: dict[str, Said] = {}
        for ident, trait in self.traits_in(self.slots(family)[name]).items():
            names = state_names(trait)
            shown = [Said(NO_PART, ()) if shows is None else _said(shows.get(ident), names) for shows in known]
            text = " or ".join(dict.fromkeys(one.text for one in shown)) or NOT_RECORDED
            by_trait[ident] = Said(text, tuple(dict.fromkeys(choice for one in shown for choice in one.choices)))
        return _said(fact, self.part_names), by_trait


def compare_variants(entries: Entries, idents: Sequence[str]) -> list[Difference]:
    """What differs between variants as they left the factory, cheapest view first: traits, and the parts fitted."""
    return Comparer(entries).variants(idents)


def compare_parts(entries: Entries, idents: Sequence[str], *, every: bool = False) -> list[Difference]:
    """What differs between loose parts; `every`: also what is the same on all of them."""
    types = [entries.home["part", ident] for ident in idents]
    traits = {name: trait for one in dict.fromkeys(types) for name, trait in entries.slot_types[one].traits.items()}
    found: list[Difference] = []
    for name, trait in traits.items():
        said = [_said(entries.parts[ident].shows.get(name), state_names(trait)) for ident in idents]
        found.append(_difference(entries.about.views, name, trait.name, trait, said))
    return sorted((one for one in found if every or _differs(one.said)), key=lambda one: one.effort)


def _said(fact: Fact | None, names: Mapping[str, str]) -> Said:
    return Said(choices(fact, names), tuple(fact.is_) if fact and not fact.unknown else ())


def _said_alike(facts: Sequence[Fact | None]) -> bool:
    """Whether the same was written of all: mostly it was, and there is no need to put it into words."""
    first = facts[0].is_ if facts[0] else None
    return all((one.is_ if one else None) == first for one in facts)


def _differs(said: Sequence[Said]) -> bool:
    return len({one.text for one in said}) > 1


def _difference(views: Mapping[str, View], ident: str, name: str, trait: Trait, said: Sequence[Said]) -> Difference:
    view = views.get(trait.view)
    return Difference(ident, name, trait.view, view.effort if view else 1.0, trait.look, tuple(said))


def lower_first(text: str) -> str:
    """The text with a small first letter, unless it starts with an abbreviation, or with a letter that stands for itself."""
    kept = text[1:2].isupper() or (text[1:2] == " " and text[0] != "A")
    return text if kept else text[:1].lower() + text[1:]

"""Records in words: what a reader is shown of one, and what differs between several."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Any, NamedTuple

from pydantic import BaseModel

from .findings import Kind, Unreadable, nearest
from .load import Entries
from .models import Slot, Trait
from .resolve import Stated, moved, slots_of, stated, traits_of, views_of
from .values import Fact

NOT_RECORDED = "not recorded"
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
    plain: dict[str, Any] = {"is": fact.is_}
    if fact.sources or fact.verified or fact.note:
        rest = {"sources": fact.sources, "verified": fact.verified, "note": fact.note}
        plain |= {name: value for name, value in rest.items() if value}
    return plain


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

    def __init__(self, entries: Entries, whole: Callable[[str], Stated] | None = None) -> None:
        """`whole` gives a variant as it is stated, where somebody has them already."""
        self.entries = entries
        self.part_names: Mapping[str, str] = part_names(entries)
        self.stated = whole or cache(partial(stated, entries))
        self.traits: Callable[[str], Mapping[str, Trait]] = cache(partial(traits_of, entries))
        self.slots: Callable[[str], Mapping[str, Slot]] = cache(partial(slots_of, entries))

    def variants(self, idents: Sequence[str], *, every: bool = False) -> list[Difference]:
        """What differs between variants as they left the factory, cheapest view first: traits, and the parts fitted.

        every: also what is the same on all of them.
        """
        entries = self.entries
        all_stated = [self.stated(ident) for ident in idents]
        families = list(dict.fromkeys(one.family for one in all_stated))
        traits = {name: trait for family in families for name, trait in self.traits(family).items() if "." not in name}
        found: list[Difference] = []
        for name, trait in traits.items():
            shown = [one.shows.get(name) for one in all_stated]
            if every or not _said_alike(shown):
                found.append(_difference(entries, families[0], name, trait.name, trait, _said_each(shown, state_names(trait))))
        slots = {name: slot for family in families for name, slot in self.slots(family).items() if slot.type}
        for name, slot in slots.items():
            fitted = [one.fitted.get(name) for one in all_stated]
            if not every and _said_alike(fitted):
                continue
            said = tuple(_said_each(fitted, self.part_names))
            if every or _differs(said):
                found.append(Difference(name, slot.name, None, 0.0, None, said))
                found += _parts_apart(entries, families[0], name, slot, fitted, every=every)
        kept = [one for one in found if every or _differs(one.said)]
        return sorted(kept, key=lambda one: one.effort if one.view else _effort_of_slot(kept, one.trait))


def compare_variants(entries: Entries, idents: Sequence[str]) -> list[Difference]:
    """What differs between variants as they left the factory, cheapest view first: traits, and the parts fitted."""
    return Comparer(entries).variants(idents)


def _effort_of_slot(found: Sequence[Difference], slot: str) -> float:
    """A fitted part is told by its traits; it is listed just before the cheapest of them."""
    return min((one.effort - 1e-6 for one in found if one.trait.startswith(slot + ".")), default=99.0)


def _parts_apart(
    entries: Entries, family: str, slot: str, record: Slot, fitted: Sequence[Fact | None], *, every: bool
) -> Iterator[Difference]:
    """The traits of the fitted parts; unless `every` is wanted, none that is the same on all parts recorded there."""
    traits = entries.slot_types[record.type].traits if record.type in entries.slot_types else {}
    recorded = [[entries.parts.get(part) for part in fact.is_] if fact else [None] for fact in fitted]
    known = [part for some in recorded for part in some if part]
    all_known = len(known) == sum(map(len, recorded))
    for name, trait in traits.items():
        if not every and all_known and _said_alike([part.shows.get(name) for part in known]):
            continue
        said = _each_once(fitted, partial(_said_of_parts, entries, name, state_names(trait)))
        yield _difference(entries, family, f"{slot}.{name}", f"{record.name}: {trait.name}", trait, said)


def _said_of_parts(entries: Entries, trait: str, names: Mapping[str, str], fitted: Fact | None) -> Said:
    """What the parts that may be fitted show of a trait."""
    parts = list(fitted.is_) if fitted else []
    shown = [_said(entries.parts[part].shows.get(trait), names) if part in entries.parts else Said("—", ()) for part in parts]
    text = " or ".join(dict.fromkeys(one.text for one in shown)) or NOT_RECORDED
    return Said(text, tuple(dict.fromkeys(choice for one in shown for choice in one.choices)))


def compare_parts(entries: Entries, idents: Sequence[str], *, every: bool = False) -> list[Difference]:
    """What differs between loose parts; `every`: also what is the same on all of them."""
    types = [entries.home["part", ident] for ident in idents]
    traits = {name: trait for one in dict.fromkeys(types) for name, trait in entries.slot_types[one].traits.items()}
    found: list[Difference] = []
    for name, trait in traits.items():
        said = _said_each([entries.parts[ident].shows.get(name) for ident in idents], state_names(trait))
        found.append(_difference(entries, None, name, trait.name, trait, said))
    return sorted((one for one in found if every or _differs(one.said)), key=lambda one: one.effort)


def _said(fact: Fact | None, names: Mapping[str, str]) -> Said:
    return Said(choices(fact, names), tuple(fact.is_) if fact and not fact.unknown else ())


def _said_each(facts: Sequence[Fact | None], names: Mapping[str, str]) -> list[Said]:
    return _each_once(facts, lambda fact: _said(fact, names))


def _each_once(facts: Sequence[Fact | None], make: Callable[[Fact | None], Said]) -> list[Said]:
    """What is made of each; records that inherit the very same fact share what is made of it."""
    once = {id(fact): fact for fact in facts}
    made = {at: make(fact) for at, fact in once.items()}
    return [made[id(fact)] for fact in facts]


def _said_alike(facts: Sequence[Fact | None]) -> bool:
    """Whether the same was written of all: mostly it was, and there is no need to put it into words."""
    first = facts[0].is_ if facts[0] else None
    return all((one.is_ if one else None) == first for one in facts)


def _differs(said: Sequence[Said]) -> bool:
    return len({one.text for one in said}) > 1


def _difference(entries: Entries, family: str | None, ident: str, name: str, trait: Trait, said: Sequence[Said]) -> Difference:
    view = views_of(entries, family).get(trait.view)
    return Difference(ident, name, trait.view, view.effort if view else 1.0, trait.look, tuple(said))

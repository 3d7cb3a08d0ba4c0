"""Records in words: what a reader is shown of one, and what differs between several."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

from pydantic import BaseModel

from .findings import Kind, Unreadable, nearest
from .load import Entries
from .models import Trait
from .resolve import moved, slots_of, stated, traits_of, views_of
from .values import Fact

NOT_RECORDED = "not recorded"
#: The kinds of record that have an id one can ask for, in the order they are looked up.
NAMED_KINDS = ("variant", "part", "set", "family", "trait", "slot type", "procedure", "livery", "maker", "source", "sighting")


@dataclass(frozen=True)
class Difference:
    """One thing that is not the same in all the compared records. `values` are in their order."""

    trait: str
    name: str
    view: str | None
    effort: float
    look: str | None
    values: tuple[str, ...]

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
    """(kind, id) of the families and slot types that have a trait of this name."""
    return [(kind, home) for kind in ("family", "slot type") for home, one in entries.of(kind).items() if ident in one.traits]


def record(entries: Entries, kind: str, ident: str) -> dict[str, Any]:
    """Everything a record says as plain values; a variant with what it inherits and the sets it came in."""
    one: BaseModel = entries.of(kind)[ident]
    if kind != "variant" or entries.variants[ident].signpost:
        return one.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    whole = stated(entries, ident)
    plain: dict[str, Any] = {
        name: value if isinstance(value, str | int | float) else str(value)
        for name in ("name", "family", "about", "kind", "livery", "catalog_number", "batch", "made", "how_common", "sold_alone")
        if (value := getattr(whole, name)) is not None
    }
    for name in ("shows", "fitted"):
        facts: Mapping[str, Fact] = getattr(whole, name)
        plain[name] = {key: fact.model_dump(mode="json", exclude_none=True, exclude_defaults=True) for key, fact in facts.items()}
    plain["sets"] = [{"set": s, "position": p} for s, p in sets_with(entries, ident)]
    plain["sources"] = whole.sources
    if whole.verified:
        plain["verified"] = whole.verified
    return plain


def sets_with(entries: Entries, variant: str) -> list[tuple[str, int]]:
    """The sets and positions a variant came in; positions count from 1."""
    return [
        (ident, p)
        for ident, one in sorted(entries.sets.items())
        for p, position in enumerate(one.positions, 1)
        if any(variant in moved(entries, written) for written in position.variants)
    ]


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

    def __init__(self, entries: Entries) -> None:
        self.entries = entries
        self.part_names = part_names(entries)
        self.stated = cache(partial(stated, entries))
        self.traits = cache(partial(traits_of, entries))
        self.slots = cache(partial(slots_of, entries))

    def variants(self, idents: Sequence[str]) -> list[Difference]:
        """What differs between variants as they left the factory, cheapest view first: traits, and the parts fitted."""
        entries = self.entries
        all_stated = [self.stated(ident) for ident in idents]
        families = list(dict.fromkeys(one.family for one in all_stated))
        traits = {name: trait for family in families for name, trait in self.traits(family).items() if "." not in name}
        found: list[Difference] = []
        for name, trait in traits.items():
            facts = [one.shows.get(name) for one in all_stated]
            values = tuple(choices(fact, state_names(trait)) for fact in facts)
            found += _difference(entries, families[0], name, trait.name, trait, values)
        slots = {name: slot for family in families for name, slot in self.slots(family).items() if slot.type}
        for name, slot in slots.items():
            fitted = [one.fitted.get(name) for one in all_stated]
            values = tuple(choices(fact, self.part_names) for fact in fitted)
            if len(set(values)) > 1:
                found.append(Difference(name, slot.name, None, 0.0, None, values))
                found += _parts_apart(entries, families[0], name, slot.name, slot.type or "", fitted)
        return sorted(found, key=lambda one: one.effort if one.view else _effort_of_slot(found, one.trait))


def compare_variants(entries: Entries, idents: Sequence[str]) -> list[Difference]:
    """What differs between variants as they left the factory, cheapest view first: traits, and the parts fitted."""
    return Comparer(entries).variants(idents)


def _effort_of_slot(found: Sequence[Difference], slot: str) -> float:
    """A fitted part is told by its traits; it is listed just before the cheapest of them."""
    return min((one.effort - 1e-6 for one in found if one.trait.startswith(slot + ".")), default=99.0)


def _parts_apart(
    entries: Entries, family: str, slot: str, slot_name: str, slot_type: str, fitted: Sequence[Fact | None]
) -> Iterator[Difference]:
    """The traits of the fitted parts that are not the same on all of them."""
    traits = entries.slot_types[slot_type].traits if slot_type in entries.slot_types else {}
    for name, trait in traits.items():
        names = state_names(trait)
        values: list[str] = []
        for fact in fitted:
            parts = list(fact.is_) if fact else []
            shown = [choices(entries.parts[part].shows.get(name), names) if part in entries.parts else "—" for part in parts]
            values.append(" or ".join(dict.fromkeys(shown)) or NOT_RECORDED)
        yield from _difference(entries, family, f"{slot}.{name}", f"{slot_name}: {trait.name}", trait, tuple(values))


def compare_parts(entries: Entries, idents: Sequence[str]) -> list[Difference]:
    """What differs between loose parts."""
    types = [entries.home["part", ident] for ident in idents]
    traits = {name: trait for one in dict.fromkeys(types) for name, trait in entries.slot_types[one].traits.items()}
    found: list[Difference] = []
    for name, trait in traits.items():
        values = tuple(choices(entries.parts[ident].shows.get(name), state_names(trait)) for ident in idents)
        found += _difference(entries, None, name, trait.name, trait, values)
    return sorted(found, key=lambda one: one.effort)


def _difference(
    entries: Entries, family: str | None, ident: str, name: str, trait: Trait, values: tuple[str, ...]
) -> list[Difference]:
    """The difference, when there is one."""
    if len(set(values)) < 2:
        return []
    view = views_of(entries, family).get(trait.view)
    return [Difference(ident, name, trait.view, view.effort if view else 1.0, trait.look, values)]

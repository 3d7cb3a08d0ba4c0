"""What a record says once everything it leans on is counted in: inherited facts, defaults, and the numbers of words."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from .load import Entries
from .models import Slot, State, Trait, Variant, View
from .values import Citations, Fact, Years

#: The slots every unit has: its molded or cast body, and the paint and lettering on it.
OWN_SLOTS = {
    "body": Slot.model_construct(name="Body", fastened="molded"),
    "finish": Slot.model_construct(name="Finish", fastened="painted"),
}
#: A loose part is looked at as a whole: it is the one slot there is.
LOOSE = "part"
#: What sort of part it is; whoever has a motor in hand seldom takes it for something else.
SORT, SORT_MISTAKES = "slot-type", 0.01
#: The sort of a part that is of no recorded slot type.
NO_SORT = "unlisted"


@dataclass(frozen=True)
class Stated:
    """A variant with everything it inherits: from its family, livery and kind, then along `like`, then its own words."""

    id: str
    family: str
    name: str
    about: str | None
    sources: Citations
    verified: str | None
    kind: str | None
    livery: str | None
    catalog_number: str | None
    batch: int | None
    made: Years | None
    how_common: str | float | None
    sold_alone: str | float | None
    shows: Mapping[str, Fact]
    fitted: Mapping[str, Fact]


def lineage(entries: Entries, variant: str) -> list[Variant]:
    """The variant, the one it is like, and so on; a cycle or a dangling `like` ends the row."""
    row: list[Variant] = []
    seen: set[str] = set()
    while variant in entries.variants and variant not in seen:
        seen.add(variant)
        row.append(entries.variants[variant])
        variant = row[-1].like or ""
    return row


def stated(entries: Entries, variant: str) -> Stated:
    """The variant as a reader should see it; facts that are `unknown` are left out. `variant` must exist."""
    row = lineage(entries, variant)
    said: dict[str, Any] = dict.fromkeys(INHERITED)
    for one in reversed(row):
        said |= {name: value for name in INHERITED if (value := getattr(one, name)) is not None}
    family_id = entries.family_of(variant)
    family = entries.families.get(family_id)
    kind, livery = said["kind"], said["livery"]
    shows: dict[str, Fact] = dict(family.shows) if family else {}
    fitted: dict[str, Fact] = {}
    if livery is not None and livery in entries.liveries:
        shows |= entries.liveries[livery].shows
    if family and kind is not None and kind in family.kinds:
        shows |= family.kinds[kind].shows
        fitted |= family.kinds[kind].fitted
    for one in reversed(row):
        shows |= one.shows
        fitted |= one.fitted
    own = row[0]
    return Stated(
        id=variant,
        family=family_id,
        name=own.name or variant,
        about=own.about,
        sources=own.sources,
        verified=own.verified,
        shows={trait: fact for trait, fact in shows.items() if not fact.unknown},
        fitted={slot: fact for slot, fact in fitted.items() if not fact.unknown},
        **said,
    )


INHERITED = ("kind", "livery", "catalog_number", "batch", "made", "how_common", "sold_alone")


def living(entries: Entries) -> list[str]:
    """The ids of all variants that are not signposts, in order."""
    return sorted(ident for ident, variant in entries.variants.items() if not variant.signpost)


def moved(entries: Entries, variant: str) -> list[str]:
    """Where an id lives now: itself, what it moved to, or all it was split into."""
    now, seen, found = [variant], set[str](), list[str]()
    while now:
        ident = now.pop(0)
        record = entries.variants.get(ident)
        if record is None or ident in seen:
            continue
        seen.add(ident)
        if record.signpost:
            now += [*([record.moved_to] if record.moved_to else []), *record.split_into]
        else:
            found.append(ident)
    return found


def slots_of(entries: Entries, family: str) -> dict[str, Slot]:
    """The family's slots, with the body and the finish that every unit has."""
    record = entries.families.get(family)
    return OWN_SLOTS | (record.slots if record else {})


def has_slot(entries: Entries, family: str, slot: str, kind: str | None) -> bool:
    """Whether units of this kind have the slot; a unit whose kind nobody recorded has every slot of its family."""
    record = slots_of(entries, family).get(slot)
    return record is not None and on_kind(record, kind)


def on_kind(slot: Slot, kind: str | None) -> bool:
    """Whether units of a kind have a slot of their family; those whose kind nobody recorded have every slot."""
    return slot.kinds is None or kind is None or kind in slot.kinds


def views_of(entries: Entries, family: str | None) -> dict[str, View]:
    """The views of the knowledge base, with what the family says of its own."""
    record = entries.families.get(family) if family else None
    return entries.about.views | (record.views if record else {})


def traits_of(entries: Entries, family: str) -> dict[str, Trait]:
    """Every trait of a unit of the family, by the id an answer uses: common, the family's own, and `slot.trait` of parts."""
    record = entries.families.get(family)
    return entries.traits | (record.traits if record else {}) | dict(part_traits(entries, family))


def part_traits(entries: Entries, family: str) -> Iterator[tuple[str, Trait]]:
    """The traits read from a part where it sits, as `slot.trait`."""
    for slot_id, slot in slots_of(entries, family).items():
        slot_type = entries.slot_types.get(slot.type or "")
        for trait_id, trait in (slot_type.traits if slot_type else {}).items():
            yield f"{slot_id}.{trait_id}", trait.of_slot(slot_id)


def loose_traits(entries: Entries, slot_type: str | None) -> list[tuple[str | None, str, Trait]]:
    """(slot type, id, trait) of everything one can look at on a loose part of a slot type.

    Of any type where None; the first question is then what sort of part it is, which belongs to no slot type.
    """
    homes = [slot_type] if slot_type is not None else sorted(entries.slot_types)
    found: list[tuple[str | None, str, Trait]] = []
    for home in homes:
        record = entries.slot_types.get(home)
        for ident, trait in (record.traits if record else {}).items():
            found.append((home, ident, trait.of_slot(LOOSE)))
    return found if slot_type is not None else [(None, SORT, sort_of_part(entries)), *found]


def sort_of_part(entries: Entries) -> Trait:
    """The trait that tells the slot type of a loose part; or that it is of none."""
    names = {ident: record.name for ident, record in sorted(entries.slot_types.items())} | {NO_SORT: "Something else"}
    states = {ident: State(name=name, ask=f"Is it a part of this sort: {name}?") for ident, name in names.items()}
    return Trait(name="Sort of part", slot=LOOSE, view="in-hand", mistakes=SORT_MISTAKES, states=states)


def parts_for(entries: Entries, family: str, slot: str) -> list[str]:
    """The parts that fit a slot: those that say so, and those that some variant or set position has there."""
    return parts_for_all(entries, family)[slot]


def parts_for_all(entries: Entries, family: str) -> dict[str, list[str]]:
    """The same of each slot of a family."""
    slots, record = slots_of(entries, family), entries.families.get(family)
    fitting: dict[str, set[str]] = {slot: set() for slot in slots}
    for part, one in entries.parts.items():
        for slot in one.fits.get(family, ()):
            fitting.setdefault(slot, set()).add(part)
    fitted = [kind.fitted for kind in record.kinds.values()] if record else []
    fitted += [entries.variants[ident].fitted for ident in entries.inside("variant", family)]
    fitted += [position.fitted for ident in entries.inside("set", family) for position in entries.sets[ident].positions]
    for facts in fitted:
        for slot, fact in facts.items():
            fitting.setdefault(slot, set()).update(fact.is_)
    known, home = entries.parts, entries.home
    return {
        name: sorted(part for part in fitting[name] if part in known and home["part", part] == slot.type)
        for name, slot in slots.items()
    }


def number(words: Mapping[str, float], weight: str | float) -> float:
    """The number of a word, or the number itself. Raises KeyError for a word the knowledge base does not have."""
    return words[weight] if isinstance(weight, str) else weight


def shares(words: Mapping[str, float], choices: Mapping[str, str | float]) -> dict[str, float]:
    """The share of each choice. Several choices share the whole; a single one keeps its number, the rest is not recorded."""
    numbers = {choice: number(words, weight) for choice, weight in choices.items()}
    total = sum(numbers.values())
    if len(numbers) == 1 or total == 0:
        return numbers
    return {choice: value / total for choice, value in numbers.items()}

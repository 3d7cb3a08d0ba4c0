"""The keys of answers: which trait or slot of which family a written key means."""

from collections.abc import Mapping
from dataclasses import dataclass

from .findings import Kind, Unreadable, listed, nearest
from .load import Entries
from .models import Trait
from .reading import Reading, read_part, read_reading
from .resolve import loose_traits, parts_for, slots_of, traits_of
from .values import Answer


@dataclass(frozen=True)
class Asked:
    """What an answer answers. `family` is None for what all families share: common traits, parts and their traits.

    `trait` is None when the key is a bare slot: the answer then names the part that sits there. Of a loose part, the family is
    its slot type.
    """

    id: str
    family: str | None
    slot: str
    trait: Trait | None


def askable(entries: Entries, family: str | None) -> list[Asked]:
    """Everything an answer may be keyed by, for one family or (None) for all of them."""
    found: dict[tuple[str | None, str], Asked] = {}
    for home in [family] if family else sorted(entries.families):
        own = entries.families[home].traits if home in entries.families else {}
        for ident, trait in traits_of(entries, home).items():
            asked = Asked(ident, home if ident in own else None, trait.slot, trait)
            found.setdefault((asked.family, ident), asked)
        for slot_id, slot in slots_of(entries, home).items():
            if slot.type:
                found.setdefault((None, slot_id), Asked(slot_id, None, slot_id, None))
    return list(found.values())


def meant(entries: Entries, family: str | None, key: str, known: list[Asked] | None = None) -> list[Asked]:
    """What a written key means: an id, `family/id`, or a part's trait without its slot where only one slot has it.

    More than one only where several families have a trait of that name. `known` is what `askable` gave for the family.
    Raises Unreadable.
    """
    home, slash, ident = key.partition("/")
    if slash:
        choices = askable(entries, home) if home in entries.families else []
    else:
        choices = askable(entries, family) if known is None else known
    wanted = ident if slash else key
    exact = [asked for asked in choices if asked.id == wanted]
    if exact:
        return exact
    short = [asked for asked in choices if asked.id.endswith("." + wanted)]
    if len(short) == 1:
        return short
    if short:
        raise Unreadable(f'the key "{key}"', "one of " + listed(asked.id for asked in short), kind=Kind.UNKNOWN_KEY)
    names = {asked.id for asked in choices}
    whose = f"of {family}" if family else "of any family"
    raise Unreadable(f'the key "{key}"', f"a trait or slot {whose}", nearest(wanted, names), Kind.UNKNOWN_KEY)


def askable_of_part(entries: Entries, slot_type: str | None) -> list[Asked]:
    """Everything an answer about a loose part may be keyed by, for one slot type or (None) for all of them."""
    return [Asked(ident, home, trait.slot, trait) for home, ident, trait in loose_traits(entries, slot_type)]


def meant_of_part(slot_type: str | None, key: str, known: list[Asked]) -> list[Asked]:
    """What a key means of a loose part: an id that only one slot type has, or `slot type.id`. Raises Unreadable."""
    named = {f"{asked.family}.{asked.id}": asked for asked in known}
    found = [asked for asked in known if asked.id == key] or ([named[key]] if key in named else [])
    if len(found) == 1:
        return found
    if found:
        expected = "one of " + listed(f"{asked.family}.{asked.id}" for asked in found)
        raise Unreadable(f'the key "{key}"', expected, kind=Kind.UNKNOWN_KEY)
    names = {asked.id for asked in known}.union(named if slot_type is None else ())
    whose = f'a part of the slot type "{slot_type}"' if slot_type else "any part"
    raise Unreadable(f'the key "{key}"', f"a trait of {whose}", nearest(key, names), Kind.UNKNOWN_KEY)


def read_all(
    entries: Entries, family: str | None, answers: Mapping[str, Answer], known: list[Asked] | None = None, part: bool = False
) -> tuple[list[tuple[Asked, Reading]], list[tuple[str, Unreadable]]]:
    """Every answer as a reading, and every answer that cannot be read with its reason. `known`: see `meant`.

    part: they are about a loose part, and the family is its slot type.
    """
    readings: list[tuple[Asked, Reading]] = []
    problems: list[tuple[str, Unreadable]] = []
    if known is None:
        known = askable_of_part(entries, family) if part else askable(entries, family)
    for key, answer in answers.items():
        try:
            asked = meant_of_part(family, key, known) if part else meant(entries, family, key, known)
        except Unreadable as problem:
            problems.append((key, problem))
            continue
        outcomes = [_attempt(entries, family, one, answer) for one in asked]
        fitting = [(one, outcome) for one, outcome in zip(asked, outcomes, strict=True) if not isinstance(outcome, Unreadable)]
        readings += fitting
        problems += [(key, outcome) for outcome in outcomes[:1] if not fitting and isinstance(outcome, Unreadable)]
    return readings, problems


def _attempt(entries: Entries, family: str | None, asked: Asked, answer: Answer) -> Reading | Unreadable:
    try:
        if asked.trait:
            return read_reading(answer, asked.trait)
        homes = [family] if family else [home for home in entries.families if asked.slot in slots_of(entries, home)]
        return read_part(answer, sorted({part for home in homes for part in parts_for(entries, home, asked.slot)}))
    except Unreadable as problem:
        return problem

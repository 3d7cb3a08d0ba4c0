"""What a knowledge base does not know yet: what cannot be told apart, and what nobody recorded."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from ..kb.describe import seats
from ..kb.load import Entries
from ..kb.resolve import Stated, has_slot, living, number, slots_of, stated, traits_of
from .arrays import NOT_IN_THE_RECORD, Compiled
from .session import Session
from .start import start


@dataclass(frozen=True)
class Gaps:
    """The gaps of one family.

    inseparable   groups of variants that nothing recorded separates
    unrecorded    how many variants say nothing of a trait that others record, or of a slot they have; most first
    of_variants   how many such facts each variant lacks; most first
    """

    family: str
    variants: int
    inseparable: list[list[str]]
    unrecorded: dict[str, int]
    of_variants: dict[str, int]

    def as_dict(self) -> dict[str, Any]:
        """For `--json`."""
        return {
            "family": self.family,
            "variants": self.variants,
            "inseparable": self.inseparable,
            "unrecorded": self.unrecorded,
            "of_variants": self.of_variants,
        }


def gaps(entries: Entries, family: str, groups: list[list[str]] | None = None) -> Gaps:
    """The gaps of a family. groups: what `inseparable` says of it, where that is known."""
    mine = _variants(entries, family)
    slots = {name: slot for name, slot in slots_of(entries, family).items() if slot.type}
    asked = [name for name in traits_of(entries, family) if "." not in name and any(name in one.shows for one in mine)]
    missing: dict[str, list[str]] = {}
    seated = seats(entries)
    for one in mine:
        silent = [name for name in asked if name not in one.shows]
        had = {name for name in slots if has_slot(entries, family, name, one.kind)}
        silent += sorted(had - set(one.fitted) - _told_by_sets(entries, seated.get(one.id, [])))
        missing[one.id] = silent
    unrecorded = {name: sum(name in silent for silent in missing.values()) for name in [*asked, *slots]}
    return Gaps(
        family=family,
        variants=len(mine),
        inseparable=inseparable(entries, family) if groups is None else groups,
        unrecorded=_largest({name: count for name, count in unrecorded.items() if count}),
        of_variants=_largest({ident: len(silent) for ident, silent in missing.items() if silent}),
    )


def inseparable(
    entries: Entries,
    family: str,
    arrays: Callable[[], Compiled] | None = None,
    told: Sequence[Stated] | None = None,
) -> list[list[str]]:
    """The groups of the family's variants that nothing recorded separates.

    arrays: makes those of the family; told: its variants as they are stated, where that is known already.
    """
    looks = [_body(entries, one) for one in (_variants(entries, family) if told is None else told)]
    if len(set(looks)) == len(looks):
        return []  # every body shows something of its own, and arrays need not be made
    session = Session(arrays()) if arrays else start(entries, family)
    groups = {tuple(one for one in group if one != NOT_IN_THE_RECORD) for group in session.twins.values()}
    return [list(group) for group in sorted(groups) if len(group) > 1]


def _variants(entries: Entries, family: str) -> list[Stated]:
    return [stated(entries, ident) for ident in living(entries) if entries.family_of(ident) == family]


def _body(entries: Entries, one: Stated) -> frozenset[tuple[str, frozenset[tuple[str, float]]]]:
    """What the body and the finish of a variant show, with numbers in the place of words."""
    words = entries.about.frequencies
    return frozenset(
        (name, frozenset((choice, number(words, how)) for choice, how in fact.is_.items())) for name, fact in one.shows.items()
    )


def _told_by_sets(entries: Entries, seated: Sequence[tuple[str, int]]) -> set[str]:
    """The slots whose part every set position that a variant came in tells."""
    told = [set(entries.sets[ident].positions[p - 1].fitted) for ident, p in seated]
    return {slot for slot in (told[0] if told else set[str]()) if all(slot in one for one in told)}


def _largest(counts: dict[str, int]) -> dict[str, int]:
    return dict(sorted(counts.items(), key=lambda one: (-one[1], one[0])))

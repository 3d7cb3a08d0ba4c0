"""What a knowledge base does not know yet: what cannot be told apart, and what nobody recorded."""

from dataclasses import dataclass
from typing import Any

from ..kb.describe import sets_with
from ..kb.load import Entries
from ..kb.resolve import has_slot, living, slots_of, stated, traits_of
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


def gaps(entries: Entries, family: str) -> Gaps:
    """The gaps of a family."""
    mine = [stated(entries, ident) for ident in living(entries) if entries.family_of(ident) == family]
    slots = {name: slot for name, slot in slots_of(entries, family).items() if slot.type}
    asked = [name for name in traits_of(entries, family) if "." not in name and any(name in one.shows for one in mine)]
    missing: dict[str, list[str]] = {}
    for one in mine:
        silent = [name for name in asked if name not in one.shows]
        had = {name for name in slots if has_slot(entries, family, name, one.kind)}
        silent += sorted(had - set(one.fitted) - _told_by_sets(entries, one.id))
        missing[one.id] = silent
    unrecorded = {name: sum(name in silent for silent in missing.values()) for name in [*asked, *slots]}
    groups = {tuple(group) for group in start(entries, family).twins.values() if len(group) > 1}
    return Gaps(
        family=family,
        variants=len(mine),
        inseparable=[list(group) for group in sorted(groups)],
        unrecorded=_largest({name: count for name, count in unrecorded.items() if count}),
        of_variants=_largest({ident: len(silent) for ident, silent in missing.items() if silent}),
    )


def _told_by_sets(entries: Entries, variant: str) -> set[str]:
    """The slots whose part every set the variant came in tells."""
    positions = [entries.sets[ident].positions[p - 1] for ident, p in sets_with(entries, variant)]
    told = [set(position.fitted) for position in positions]
    return {slot for slot in (told[0] if told else set[str]()) if all(slot in one for one in told)}


def _largest(counts: dict[str, int]) -> dict[str, int]:
    return dict(sorted(counts.items(), key=lambda one: (-one[1], one[0])))

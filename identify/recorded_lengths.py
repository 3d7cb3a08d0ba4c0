"""The lengths that the record knows of a variant or a part."""

from collections.abc import Mapping

from ..kb.findings import Kind, Unreadable, listed, nearest, quoted
from ..kb.load import Entries
from ..kb.marks import in_mm
from ..kb.models import Trait
from ..kb.resolve import stated, traits_of
from ..kb.values import UNITS, Fact, Measure


def is_length(trait: Trait | None) -> bool:
    """Whether a trait is measured in a unit of length."""
    return trait is not None and trait.measured is not None and UNITS.get(trait.measured.unit, ("",))[0] == "length"


def recorded(entries: Entries, ident: str, trait: str) -> Measure:
    """The length in mm that the record has of a variant or a part. Raises Unreadable."""
    traits, shows = _shown(entries, ident)
    lengths = [name for name, one in traits.items() if is_length(one)]
    if trait not in lengths:
        expected = f"one of {listed(lengths)}" if lengths else "something with a trait measured in mm"
        raise Unreadable(quoted(trait), expected, nearest(trait, lengths), Kind.UNKNOWN_KEY)
    measured = traits[trait].measured
    found = lengths_of(shows.get(trait), measured.unit if measured else "")
    if len(found) != 1:
        raise Unreadable(
            f"{quoted(trait)} of {quoted(ident)}, which nobody recorded", "a length that is recorded", kind=Kind.ASTRAY
        )
    return found[0]


def _shown(entries: Entries, ident: str) -> tuple[Mapping[str, Trait], Mapping[str, Fact]]:
    """The traits of a variant or a part, and what is recorded of them. Raises Unreadable."""
    if ident in entries.variants and not entries.variants[ident].signpost:
        return traits_of(entries, entries.family_of(ident)), stated(entries, ident).shows
    if ident in entries.parts:
        slot_type = entries.slot_types.get(entries.home["part", ident])
        return slot_type.traits if slot_type else {}, entries.parts[ident].shows
    known = [*(one for one, record in entries.variants.items() if not record.signpost), *entries.parts]
    raise Unreadable(quoted(ident), "the id of a variant or a part", nearest(ident, known), Kind.DANGLING)


def lengths_of(fact: Fact | None, unit: str) -> list[Measure]:
    """The lengths in mm that a fact says; none for one that says nothing. A bare number is in the trait's unit."""
    if fact is None or fact.unknown:
        return []
    found: list[Measure] = []
    for written in fact.is_:
        try:
            found.append(in_mm(written))
        except ValueError:
            try:
                found.append(in_mm(f"{written} {unit}"))
            except ValueError:
                continue
    return found

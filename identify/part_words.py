"""The words for loose parts: a part stands where a variant does, and its slot type where the family does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

from ..kb.answers import Asked, read_all
from ..kb.findings import Unreadable
from ..kb.load import Entries
from ..kb.models import Trait as TraitRecord
from ..kb.reading import Reading
from ..kb.resolve import loose_traits, sort_of_part
from ..kb.values import Answer
from .arrays import NOT_IN_THE_RECORD
from .wording import Words

#: A view that takes more than this of somebody who has the part in hand is named; any other is a matter of turning it around.
IN_HAND = 1.0
#: The hazards that are said before anybody looks closer.
DEADLY = ("mains",)


@dataclass(frozen=True)
class PartWords(Words):
    """The words of the loose parts of one or of all slot types."""

    noun: ClassVar[str] = "part"
    thing: ClassVar[str] = "part"
    joint: ClassVar[str] = "."
    gone: ClassVar[str] = "no such thing"

    @cached_property
    def _traits(self) -> dict[str, dict[str, TraitRecord]]:
        found: dict[str, dict[str, TraitRecord]] = {home: {} for home in self.compiled.families}
        for home, ident, trait in loose_traits(self.entries, None):
            for one in found if home is None else [home] if home in found else []:
                found[one][ident] = trait
        return found

    def read(
        self, home: str | None, answers: Mapping[str, Answer]
    ) -> tuple[list[tuple[Asked, Reading]], list[tuple[str, Unreadable]]]:
        """Written answers about a loose part; `home` is its slot type, where it is known."""
        return read_all(self.entries, home, answers, part=True)

    def variant(self, ident: str) -> str:
        """The name of a part."""
        return "Not in the record" if ident == NOT_IN_THE_RECORD else self.part(ident)

    def sort(self, slot_type: str) -> str:
        """The name of a slot type, or of none of them."""
        return (sort_of_part(self.entries).states or {})[slot_type].name

    def beware(self, t: int) -> list[str]:
        """What can kill whoever handles such a part, whatever is done to it: what every procedure that serves it warns of."""
        home = self.compiled.traits[t].family
        found = cautions(self.entries, [home]) if home is not None else []
        procedures = {ident for one in found for ident in one["procedures"]}
        return [one["caution"] for one in found if one["hazard"] in DEADLY and len(one["procedures"]) == len(procedures)]

    def otherwise(self, idents: Sequence[str]) -> str:
        """What could tell parts apart that no trait tells apart: what the record says in words, or somebody who knows."""
        if any(self.entries.parts[ident].tell for ident in idents if ident in self.entries.parts):
            return "How to tell is recorded in words only."
        return "It would take evidence outside the record: the envelope it was sold in, or the unit it came off."

    def unrecorded_slots(self, ident: str) -> list[str]:  # noqa: ARG002 (asked of any candidate)
        """None: a part has no slots."""
        return []

    def view_name(self, view: str) -> str:
        """The name of a view."""
        return self.entries.about.views[view].name

    def where(self, view: str | None) -> str:
        """The name of a view that takes more than turning the part around."""
        return self.view_name(view).lower() if view and self.entries.about.views[view].loose > IN_HAND else ""


def cautions(entries: Entries, types: Sequence[str]) -> list[dict[str, Any]]:
    """What to be careful of with parts of these slot types: the hazards of the procedures that serve them."""
    serving = {ident: one for ident, one in sorted(entries.procedures.items()) if set(one.serves) & set(types)}
    return [
        {
            "hazard": hazard,
            "caution": said.caution,
            "procedures": [ident for ident, one in serving.items() if hazard in one.hazards],
        }
        for hazard, said in entries.about.hazards.items()
        if any(hazard in one.hazards for one in serving.values())
    ]

"""Sightings as the knowledge base's own tests: an examined unit must come out as what its verdict says."""

from collections.abc import Iterator
from dataclasses import dataclass

from ..kb.load import Entries
from ..kb.resolve import moved
from .arrays import NOT_IN_THE_RECORD
from .session import Session
from .start import answered, start

#: Shares closer than this are the same: the leaders of an inseparable pair.
SAME = 1e-9


@dataclass(frozen=True)
class Outcome:
    """What one sighting's answers lead to. `right`: its verdict is first, alone or with others that nothing separates."""

    sighting: str
    verdict: tuple[str, ...]
    leaders: tuple[str, ...]
    share: float
    exception: str | None

    @property
    def right(self) -> bool:
        """Whether the verdict is among the leaders."""
        return bool(set(self.verdict) & set(self.leaders))


def outcomes(entries: Entries) -> Iterator[Outcome]:
    """Every sighting identified from its answers within its family, in the order of ids."""
    sessions: dict[str, Session] = {}
    for ident, sighting in sorted(entries.sightings.items()):
        family = entries.home["sighting", ident]
        if family not in sessions:
            sessions[family] = start(entries, family)
        session = answered(sessions[family], entries, family, sighting.answers)
        best = session.variants[0][1]
        yield Outcome(
            sighting=ident,
            verdict=tuple(moved(entries, sighting.verdict.variant)) if sighting.verdict.variant else (NOT_IN_THE_RECORD,),
            leaders=tuple(name for name, share in session.variants if share > best - SAME),
            share=best,
            exception=sighting.exception,
        )

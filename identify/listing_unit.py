"""One unit as its seller and its photographs describe it: what all of it says together, and what each claim is worth in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .arrays import Bools, Floats
from .claims import Claim
from .doubts import told_wrong
from .given import Given, Heard
from .listing_evidence import POSSIBLE, Meaning, counted
from .questions import log2
from .session import Session
from .wording import Words

#: The slot that a repaint redoes.
FINISH = "finish"
#: A claim is probably wrong from this chance on.
DOUBTED = 0.5


@dataclass(frozen=True, eq=False)
class Described:
    """The claims about one unit with their meanings (numbers are places in this row), and the answers of its photographs.

    pictured   the claims that the text makes of its own photographs
    """

    words: Words
    base: Session
    meanings: tuple[Meaning, ...]
    pictured: frozenset[int] = frozenset()

    @cached_property
    def session(self) -> Session:
        """Everything counted."""
        return self._with(self.meanings)

    @cached_property
    def told(self) -> Session:
        """The claims alone, as if nobody had looked at a photograph."""
        return replace(self.session, given=(), views=None)

    @property
    def answers(self) -> tuple[Given, ...]:
        """What the photographs show."""
        return self.base.given

    def _with(self, meanings: Sequence[Meaning]) -> Session:
        compiled, heard = counted(self.base.compiled, meanings, FINISH)
        return replace(self.base, compiled=compiled, heard=heard)

    @cached_property
    def verdict(self) -> Bools:
        """Which candidates the verdict is: the likeliest variant with everything that cannot be told from it."""
        group, _ = self.session.leading
        labels = [self.session.compiled.label(c) for c in range(self.session.compiled.candidates)]
        return np.array([label in group for label in labels])

    @cached_property
    def bits(self) -> list[float]:
        """The weight of each claim for the verdict in bits, everything else given; 0 where it says nothing of the unit."""
        if not self.session.belief.plausible:
            return [0.0 for _ in self.meanings]
        whole = self._odds(self.session)
        found: list[float] = []
        for n, one in enumerate(self.meanings):
            without = self._with([*self.meanings[:n], *self.meanings[n + 1 :]]) if one.counts else None
            found.append(whole - self._odds(without) if without is not None else 0.0)
        return found

    @cached_property
    def answer_bits(self) -> dict[int, float]:
        """The same of what was answered to each trait of the photographs."""
        traits = dict.fromkeys(one.trait for one in self.session.given)
        whole = self._odds(self.session)
        kept = {t: tuple(one for one in self.session.given if one.trait != t) for t in traits}
        return {t: whole - self._odds(replace(self.session, given=given)) for t, given in kept.items()}

    def _odds(self, session: Session) -> float:
        mine = float(session.belief.probability[self.verdict].sum())
        pair: Floats = log2(np.array([mine, max(1.0 - mine, float(session.belief.probability[~self.verdict].sum()), 1e-15)]))
        return float(pair[0] - pair[1])

    @cached_property
    def doubts(self) -> list[float | None]:
        """The chance that each claim is wrong, everything considered; None where nothing speaks for or against it."""
        return self.doubts_in(self.session)

    def doubts_in(self, session: Session) -> list[float | None]:
        """The same after other answers."""
        if not session.belief.plausible:
            return [None for _ in self.meanings]
        by_trait = {one.trait: told_wrong(session.compiled, session.belief, one) for one in session.evidence if one.told}
        heard = [one.heard for one in self.meanings if one.heard is not None]
        return [self._doubt(session, one, by_trait, heard) for one in self.meanings]

    def _doubt(self, session: Session, one: Meaning, by_trait: dict[int, list[float]], heard: Sequence[Heard]) -> float | None:
        if one.heard is not None:
            mine = [other for other in heard if other.trait == one.heard.trait]
            place = next(n for n, other in enumerate(mine) if other is one.heard)
            return by_trait[one.heard.trait][place]
        return float(max(0.0, 1.0 - session.belief.probability @ one.true)) if one.true is not None else None

    def claim(self, n: int) -> Claim:
        """The n-th claim."""
        return self.meanings[n].claim

    # What the claims name ----------------------------------------------------------------------------------------------

    @cached_property
    def naming(self) -> list[int]:
        """The claims that say which unit it is, and may be right, the surest first."""
        known = self.recorded
        able = [n for n, one in enumerate(self.meanings) if one.names and one.fits is not None and (one.fits[known] > 0).any()]
        return sorted(able, key=lambda n: (round(self.doubts[n] or 0.0, 9), n))

    @cached_property
    def recorded(self) -> Bools:
        """The recorded candidates of the leading family."""
        compiled = self.session.compiled
        families = np.bincount(compiled.family, weights=self.session.belief.probability, minlength=len(compiled.families))
        return (compiled.variant >= 0) & (compiled.family == int(families.argmax()))

    @property
    def everything(self) -> Bools:
        """All recorded candidates, of any family."""
        return self.session.compiled.variant >= 0

    def fits(self, n: int) -> Floats:
        """How far each candidate is what a claim says; 1 for a claim that says nothing of it."""
        found = self.meanings[n].fits
        return np.ones(self.session.compiled.candidates) if found is None else found

    @cached_property
    def agreeing(self) -> list[int]:
        """Of the claims that name the unit, those that can be right together and are not doubted; the surest first."""
        mine, found = self.recorded, list[int]()
        for n in self.naming:
            more = mine & (self.fits(n) > POSSIBLE)
            if (self.doubts[n] or 0.0) < DOUBTED and more.any():
                mine = more
                found.append(n)
        return found

    @cached_property
    def named(self) -> Bools:
        """The candidates that all of the agreeing claims name."""
        return self.fitting(self.agreeing)

    def around(self, claims: Sequence[int]) -> Bools:
        """The candidates that these claims name, with as many of the agreeing ones as can be right beside them."""
        mine = self.fitting(claims)
        for n in self.agreeing:
            more = mine & (self.fits(n) > POSSIBLE)
            mine = more if more.any() else mine
        return mine

    def fitting(self, claims: Sequence[int]) -> Bools:
        """The recorded candidates of the leading family that are all that these claims say."""
        mine = self.recorded
        for n in claims:
            mine = mine & (self.fits(n) > POSSIBLE)
        return mine

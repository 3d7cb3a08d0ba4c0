"""A unit drawn at random from the arrays, and what one reads off it: the belief model the other way round.

Every draw comes from a stream of its own, named by the unit's seed, the trait and the look, so a unit is the same whatever is
asked of it and in whatever order, and all questions about one look at a trait are answered from one reading.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator, SeedSequence

from .arrays import MISSING, Compiled, Floats, Slot, Trait
from .belief import NEW_VALUE
from .marking import ALPHABET

CHARACTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
#: Tries to find a marking that nobody recorded.
TRIES = 100


@dataclass(frozen=True, eq=False)
class Unit:
    """One simulated unit.

    candidate    what it is
    swapped[s]   whether slot s was changed since
    original[s]  the row (own slots) or part (part slots) it left the factory with; now[s]: the one it has now
    """

    compiled: Compiled
    seed: SeedSequence
    candidate: int
    swapped: tuple[bool, ...]
    original: tuple[int, ...]
    now: tuple[int, ...]

    def true_state(self, t: int) -> int:
        """The state of a trait with states, without any mistake of reading; "missing" is one of them."""
        return pick(self._stream(t), self._trait(t).truth[self._row(t)])

    def true_value(self, t: int) -> float | None:
        """The value of a measured trait in its unit; None where there is nothing to measure."""
        return _value(self._stream(t), self._trait(t), self._row(t))

    def read_state(self, t: int, look: int = 0) -> int:
        """The state that this look (0, 1, ...) reads."""
        return pick(self._stream(t, look), self._trait(t).confusion[self.true_state(t)])

    def read_value(self, t: int, carefully: bool, look: int = 0) -> float | None:
        """The value as measured, or (not carefully) as compared with a bound; now and then it is nowhere near."""
        trait, value, rng = self._trait(t), self.true_value(t), self._stream(t, look)
        if value is None:
            return None
        blunder, anywhere, off = rng.random() < trait.blunders, rng.uniform(trait.least, trait.most), rng.standard_normal()
        return float(anywhere) if blunder else value + (trait.reads * float(off) if carefully else 0.0)

    def read_text(self, t: int) -> str | None:
        """What is typed of a marking, worn characters misread; None where there is none, or it is overlooked."""
        trait, state, rng = self._trait(t), self.true_state(t), self._stream(t, 0)
        text, taken_for = trait.states[state], trait.states[pick(rng, trait.confusion[state])]
        if MISSING in (text, taken_for):
            return None
        if trait.new[self._row(t)] and rng.random() < NEW_VALUE:
            text = _unrecorded(rng, trait, text)
        return "".join(CHARACTERS[rng.integers(ALPHABET)] if rng.random() < trait.worn else one for one in text)

    def usual_state(self, t: int) -> int:
        """The state that the original part or finish most likely has."""
        return int(self._trait(t).truth[self.original[self._trait(t).slot]].argmax())

    def usual_value(self, t: int) -> tuple[float, float] | None:
        """(mean, standard deviation) of a measured trait of the original part, nan where not recorded; None: no such thing."""
        trait, row = self._trait(t), self.original[self._trait(t).slot]
        return (float(trait.mean[row]), float(trait.sd[row])) if trait.applies[row] >= 0.5 else None

    def _trait(self, t: int) -> Trait:
        return self.compiled.traits[t]

    def _row(self, t: int) -> int:
        return self.now[self._trait(t).slot]

    def _stream(self, t: int, look: int = -1) -> Generator:
        """The draws of a trait itself (-1), or of one look at it."""
        return np.random.default_rng(SeedSequence(self.seed.entropy, spawn_key=(*self.seed.spawn_key, t, look + 1)))


def draw(compiled: Compiled, seed: SeedSequence) -> Unit:
    """A unit as common as the knowledge base says, changed as often as it says."""
    rng = np.random.default_rng(seed)
    candidate = pick(rng, compiled.prior)
    places = [_place(rng, slot, int(slot.row[candidate])) for slot in compiled.slots]
    swapped, original, now = zip(*places, strict=True) if places else ((), (), ())
    return Unit(compiled, seed, candidate, tuple(swapped), tuple(original), tuple(now))


def pick(rng: Generator, chances: Floats) -> int:
    """One index, each as likely as its share of the sum; never one with no chance."""
    steps: Floats = np.cumsum(chances)
    return int((steps <= rng.random() * float(steps[-1])).sum())


def _place(rng: Generator, slot: Slot, row: int) -> tuple[bool, int, int]:
    """(whether it was changed, what sat there, what sits there now) for a unit of this row."""
    changed = bool(rng.random() < slot.swap[row])
    if not slot.parts:
        return changed, row, int(slot.redone[row]) if changed else row
    original, other = pick(rng, slot.issued[row]), pick(rng, slot.replaced[row])
    return changed, original, other if changed else original


def _value(rng: Generator, trait: Trait, row: int) -> float | None:
    """A row that is not recorded is one of those it blends, or may be anything; so is now and then what is new."""
    there, anywhere = rng.random() < trait.applies[row], float(rng.uniform(trait.least, trait.most))
    if not there:
        return None
    if trait.new[row] and rng.random() < NEW_VALUE:
        return anywhere
    if trait.blend_of[row] >= 0:
        blend = trait.blend[trait.blend_of[row]]
        if not blend.any():
            return anywhere
        row = pick(rng, blend)
    return rng.normal(float(trait.mean[row]), float(trait.sd[row]))


def _unrecorded(rng: Generator, trait: Trait, like: str) -> str:
    """A marking of the same make that nobody recorded: other letters for letters, other digits for digits."""
    kinds = {True: CHARACTERS[26:], False: CHARACTERS[:26]}
    text = like
    for _ in range(TRIES):
        text = "".join(one if not one.isalnum() else str(rng.choice(list(kinds[one.isdigit()]))) for one in like)
        if text not in trait.states:
            break
    return text

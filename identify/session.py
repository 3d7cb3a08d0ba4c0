"""One identification: the answers so far in order, what they mean together, and what to ask next.

Knows arrays and readings, no records and no screen.  Answers can be taken back, changed, and asked again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from ..kb.reading import Between, CannotTell, Gone, Measured, Reading, Seen, Typed
from .arrays import MISSING, NOT_IN_THE_RECORD, Compiled, Floats, Ints, Trait
from .belief import Belief, Evidence, believe
from .marking import fit
from .questions import NO_NEWS, Question, news, original_news, original_share, set_groups, twin_groups, variant_groups, yes_no

Target = Literal["variant", "set", "original", "all"]


@dataclass(frozen=True)
class Given:
    """One answer: to which trait, and what was seen."""

    trait: int
    reading: Reading


@dataclass(frozen=True)
class Proposal:
    """A question with its expected news in bits and the effort of its view; `value` is the one for the other."""

    question: Question
    bits: float
    effort: float

    @property
    def value(self) -> float:
        """Bits for a unit of effort."""
        return self.bits / self.effort


@dataclass(frozen=True)
class Session:
    """An immutable state; every change returns a new one."""

    compiled: Compiled
    given: tuple[Given, ...] = ()
    views: frozenset[int] | None = None
    target: Target = "variant"

    def answer(self, trait: int, reading: Reading) -> "Session":
        """With one more answer."""
        return self._with((*self.given, Given(trait, reading)))

    def back(self) -> "Session":
        """Without the last answer."""
        return self._with(self.given[:-1])

    def tell(self, trait: int, reading: Reading) -> "Session":
        """With the whole of what is seen of a trait, in the place of everything answered to it before."""
        kept = tuple(one for one in self.given if one.trait != trait)
        return self._with((*kept, Given(trait, reading)))

    def change(self, index: int, reading: Reading) -> "Session":
        """With another reading in the place of an earlier answer, and of all others to its trait."""
        trait = self.given[index].trait
        changed = [Given(trait, reading) if i == index else one for i, one in enumerate(self.given)]
        return self._with(tuple(one for i, one in enumerate(changed) if i == index or one.trait != trait))

    def _with(self, given: tuple[Given, ...]) -> "Session":
        return Session(self.compiled, given, self.views, self.target)

    @cached_property
    def evidence(self) -> tuple[Evidence, ...]:
        """All answers to one trait merged into one."""
        readings: dict[int, list[Reading]] = {}
        for one in self.given:
            readings.setdefault(one.trait, []).append(one.reading)
        merged = [merge(self.compiled.traits[t], t, row) for t, row in readings.items()]
        return tuple(one for one in merged if one is not None)

    @cached_property
    def belief(self) -> Belief:
        """The belief after all answers."""
        return believe(self.compiled, self.evidence)

    @cached_property
    def groups(self) -> Ints:
        """The target group of every candidate."""
        if self.target == "set":
            return set_groups(self.compiled)
        if self.target == "all":
            return np.arange(self.compiled.candidates, dtype=np.int64)
        return variant_groups(self.compiled)

    @cached_property
    def open_traits(self) -> list[int]:
        """The traits that can still be asked: in a view at hand, of a family that leads, not settled or given up."""
        given_up = {one.trait for one in self.given if not isinstance(one.reading, Seen | Between)}
        return [t for t in self._visible if t not in given_up and self._family_leads(self.compiled.traits[t])]

    @property
    def _visible(self) -> list[int]:
        traits = enumerate(self.compiled.traits)
        return [t for t, trait in traits if trait.asked and (self.views is None or trait.view in self.views)]

    def _family_leads(self, trait: Trait) -> bool:
        if trait.family in self.compiled.families:
            return bool(self._family_shares[self.compiled.families.index(trait.family)] >= self.compiled.family_leads)
        part = bool(self.compiled.slots[trait.slot].parts)
        return not part or bool(self._family_shares.max() >= self.compiled.family_leads)

    @cached_property
    def _family_shares(self) -> Floats:
        """The belief in each family, shape [families]."""
        mine = self.compiled.family[:, None] == np.arange(len(self.compiled.families))
        return self.belief.probability @ mine

    @cached_property
    def questions(self) -> list[Question]:
        """Every yes/no question that is still open."""
        left = {one.trait: one for one in self.evidence}
        return [q for t in self.open_traits for q in yes_no(self.compiled, t) if _is_open(q, left.get(t))]

    @cached_property
    def proposals(self) -> list[Proposal]:
        """The open questions with news in them, by news for effort, best first; ties by the order of traits and states."""
        bits = self._news(self.questions)
        found = [
            Proposal(question, float(gain), self._effort(question.trait))
            for question, gain in zip(self.questions, bits, strict=True)
            if gain >= NO_NEWS
        ]
        return sorted(found, key=lambda one: -round(one.value, 9))

    def _effort(self, trait: int) -> float:
        """What the view of a trait takes; a glance where it needs none."""
        view = self.compiled.traits[trait].view
        return float(self.compiled.effort[view]) if view >= 0 else 1.0

    def _news(self, questions: Sequence[Question]) -> Floats:
        if not questions or not self.belief.plausible:
            return np.zeros(len(questions))
        if self.target == "original":
            return original_news(self.compiled, self.belief, questions, self.evidence)
        bits = news(self.compiled, self.belief, questions, self.groups, self.evidence)
        if self.target == "all":
            bits = bits + original_news(self.compiled, self.belief, questions, self.evidence)
        return bits

    @cached_property
    def next(self) -> Proposal | None:
        """The best question, or None when the target is settled or nothing left to ask would change it."""
        return None if self.settled or not self.proposals else self.proposals[0]

    @cached_property
    def variants(self) -> list[tuple[str, float]]:
        """Variants with their probability, best first; all units that are not in the record together."""
        shares: dict[str, float] = {}
        for c, chance in enumerate(self.belief.probability):
            label = self.compiled.label(c)
            shares[label] = shares.get(label, 0.0) + float(chance)
        return sorted(shares.items(), key=lambda one: (-one[1], one[0] == NOT_IN_THE_RECORD, one[0]))

    @cached_property
    def positions(self) -> list[tuple[str | None, int, float]]:
        """(set or None, position, probability) of the set of origin, best first; None: sold alone, or not in the record."""
        shares: dict[tuple[int, int], float] = {}
        for c, chance in enumerate(self.belief.probability):
            key = int(self.compiled.set_of[c]), int(self.compiled.position[c])
            shares[key] = shares.get(key, 0.0) + float(chance)
        found = [(self.compiled.sets[s] if s >= 0 else None, p, chance) for (s, p), chance in shares.items()]
        return sorted(found, key=lambda one: (-one[2], one[0] or "", one[1]))

    @cached_property
    def twins(self) -> dict[str, list[str]]:
        """The variants that no question can separate from each one: in the views at hand, without what one cannot tell."""
        told = {one.trait for one in self.evidence}
        unclear = {one.trait for one in self.given if isinstance(one.reading, CannotTell)} - told
        groups = twin_groups(self.compiled, [t for t in self._visible if t not in unclear])
        members: dict[int, set[str]] = {}
        for c, group in enumerate(groups):
            members.setdefault(int(group), set()).add(self.compiled.label(c))
        return {self.compiled.label(c): sorted(members[int(group)]) for c, group in enumerate(groups)}

    @cached_property
    def leading(self) -> tuple[list[str], float]:
        """The leader with everything that cannot be separated from it, and their probability together."""
        if not self.variants:
            return [], 0.0
        share = dict(self.variants)
        group = self.twins[self.variants[0][0]]
        return sorted(group, key=lambda one: (-share[one], one)), sum(share[one] for one in group)

    @cached_property
    def settled(self) -> bool:
        """Whether the target is as sure as the knowledge base asks."""
        enough = self.compiled.settled
        if not self.belief.plausible:
            return False
        variant = self.leading[1] >= enough
        origin = bool(self.positions) and self._set_share() >= enough
        original = original_share(self.compiled, self.belief)
        pristine = max(original, 1.0 - original) >= enough
        return {"variant": variant, "set": origin, "original": pristine, "all": variant and origin and pristine}[self.target]

    def _set_share(self) -> float:
        groups = set_groups(self.compiled)
        return max(float(self.belief.probability[groups == group].sum()) for group in np.unique(groups))

    @cached_property
    def wanted_views(self) -> list[int]:
        """Views that are not at hand and would separate what cannot be told apart now."""
        group = set(self.inseparable)
        mine = [c for c in range(self.compiled.candidates) if self.compiled.label(c) in group]
        looks = self.compiled.looks[mine]
        apart = [t for t, trait in enumerate(self.compiled.traits) if trait.asked and len(np.unique(looks[:, t])) > 1]
        at_hand = set(self._visible)
        return sorted({self.compiled.traits[t].view for t in apart if t not in at_hand and self.compiled.traits[t].view >= 0})

    @cached_property
    def inseparable(self) -> list[str]:
        """Variants that cannot be told apart now: the leader's twins, or all that are left when nothing more can be asked."""
        group, _ = self.leading
        if self.settled or self.proposals:
            return group if len(group) > 1 and self.variants[0][0] != NOT_IN_THE_RECORD else []
        found: list[str] = []
        total = 0.0
        for label, chance in self.variants:
            if total >= self.compiled.settled:
                break
            total += chance
            found += [label] if label != NOT_IN_THE_RECORD else []
        return found if len(found) > 1 else []


def merge(trait: Trait, t: int, readings: Sequence[Reading]) -> Evidence | None:
    """One piece of evidence from all answers to a trait; None when they say nothing."""
    if any(isinstance(one, Gone) for one in readings) and trait.measured:
        return Evidence(t, gone=True) if trait.can_be_missing else None
    value = next((one for one in reversed(readings) if isinstance(one, Measured)), None)
    if value is not None:
        return Evidence(t, value=(value.value, value.plus_minus))
    bounds = [one for one in readings if isinstance(one, Between)]
    if bounds:
        low, high = max(one.low for one in bounds), min(one.high for one in bounds)
        return Evidence(t, interval=(low, high)) if low < high else Evidence(t, weights=np.zeros(1))
    typed = next((one for one in reversed(readings) if isinstance(one, Typed)), None)
    if typed is not None:
        fits = [0.0 if state == MISSING else fit(typed.text, state, trait.worn) for state in trait.states]
        return Evidence(t, weights=np.array(fits), typed=True)
    masks = [mask for one in readings if (mask := _mask(trait, one)) is not None]
    return Evidence(t, weights=np.prod(masks, axis=0)) if masks else None


def _mask(trait: Trait, reading: Reading) -> Floats | None:
    if isinstance(reading, Gone):
        return np.array([float(state == MISSING) for state in trait.states]) if trait.can_be_missing else None
    if isinstance(reading, Seen):
        return np.array([1.0 if state in reading.states else 0.0 for state in trait.states])
    return None


def _is_open(question: Question, evidence: Evidence | None) -> bool:
    """Whether an answer could still be yes or no after what was said of the trait."""
    if evidence is None:
        return True
    if question.cut is not None:
        return evidence.interval is not None and evidence.interval[0] < question.cut < evidence.interval[1]
    if evidence.weights is None or evidence.typed:
        return False
    return all(evidence.weights[list(outcome)].any() for outcome in question.outcomes[:2])

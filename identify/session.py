"""One identification: the answers so far in order, what they mean together, and what to ask next.

Knows arrays and readings, no records and no screen.  Answers can be taken back, changed, and asked again.

What is compared is compared to nine decimals, then by the order of what is listed: sums differ in their last places between numpy
and the page, and the same question must be asked in both.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from ..kb.reading import Between, CannotTell, Reading, Seen
from .arrays import NOT_IN_THE_RECORD, SAME, Bools, Compiled, Floats, Ints, Trait
from .belief import Belief, Evidence, believe, changed_share
from .doubts import Doubt, doubts
from .given import Given, Heard, merge_looks, with_heard
from .plan import Game, best
from .questions import (
    NO_NEWS,
    Question,
    alike_together,
    another_look,
    news,
    original_news,
    original_share,
    outcome_chances,
    set_groups,
    set_names,
    twin_groups,
    variant_groups,
    whole,
    yes_no,
)

Target = Literal["variant", "set", "original", "all"]
Ask = Literal["yes-no", "any"]

#: The plan is made over so many of the most valuable questions, and so many candidates.
MOST_QUESTIONS, MOST_CANDIDATES = 40, 300
#: A slot whose chance of having been changed is this far from 0 and from 1 is in doubt.
IN_DOUBT = 0.15
#: Bits that another look must promise.
WORTH_A_LOOK = 0.05
#: Candidates with less than this share of the leader's belief are left out of the plan.
RARE = 1e-4


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
    """An immutable state; every change returns a new one. `heard` is what others say of it, beside one's own answers."""

    compiled: Compiled
    given: tuple[Given, ...] = ()
    views: frozenset[int] | None = None
    target: Target = "variant"
    ask: Ask = "yes-no"
    heard: tuple[Heard, ...] = ()

    def answer(self, trait: int, reading: Reading) -> "Session":
        """With one more answer."""
        return self._with((*self.given, Given(trait, reading, self._looks(trait))))

    def reply(self, question: Question, reading: Reading) -> "Session":
        """With the answer to a question."""
        return self._with((*self.given, Given(question.trait, reading, self.look_of(question))))

    def again(self, trait: int, reading: Reading) -> "Session":
        """With what another look at a trait showed."""
        return self._with((*self.given, Given(trait, reading, self._looks(trait) + 1)))

    def look_of(self, question: Question) -> int:
        """How many looks at its trait a question comes after; what they showed still counts."""
        measured_before = question.form == "value" and any(one.trait == question.trait for one in self.given)
        return self._looks(question.trait) + (question.form == "again" or measured_before)

    def _looks(self, trait: int) -> int:
        return max((one.look for one in self.given if one.trait == trait), default=0)

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
        return replace(self, given=given)

    @cached_property
    def evidence(self) -> tuple[Evidence, ...]:
        """All answers to one trait merged into one, with what others say of it."""
        merged: list[Evidence | None] = []
        for t in dict.fromkeys(one.trait for one in (*self.given, *self.heard)):
            trait = self.compiled.traits[t]
            own = merge_looks(trait, t, [one for one in self.given if one.trait == t])
            merged.append(with_heard(trait, t, own, [one for one in self.heard if one.trait == t]))
        return tuple(one for one in merged if one is not None)

    @cached_property
    def seen(self) -> set[int]:
        """The traits that were answered by somebody who looked, and said something."""
        return {one.trait for one in self.evidence if one.seen}

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
        return [t for t in self._visible if t not in given_up and (self._sort_unclear or self.leads(self.compiled.traits[t]))]

    @property
    def _visible(self) -> list[int]:
        traits = enumerate(self.compiled.traits)
        return [t for t, trait in traits if trait.asked and (self.views is None or trait.view in self.views)]

    def leads(self, trait: Trait) -> bool:
        """Whether what is looked at most likely has such a thing, as far as its family goes."""
        if trait.family in self.compiled.families:
            return bool(self._family_shares[self.compiled.families.index(trait.family)] >= self.compiled.family_leads - SAME)
        part = bool(self.compiled.slots[trait.slot].parts)
        return not part or bool(self._family_shares.max() >= self.compiled.family_leads - SAME)

    @cached_property
    def _sort_unclear(self) -> bool:
        """Whether the one question that tells the family outright could not be answered: then all families are asked about."""
        return any(self.compiled.traits[one.trait].at_once and isinstance(one.reading, CannotTell) for one in self.given)

    @cached_property
    def _family_shares(self) -> Floats:
        """The belief in each family, shape [families]."""
        mine = self.compiled.family[:, None] == np.arange(len(self.compiled.families))
        return self.belief.probability @ mine

    @cached_property
    def questions(self) -> list[Question]:
        """Every question that is still open."""
        left = {one.trait: one for one in self.evidence if one.seen}
        return [q for t in self.open_traits for q in self._forms(t, left.get(t)) if _is_open(q, left.get(t))]

    def _forms(self, t: int, left: Evidence | None) -> list[Question]:
        """The ways to ask for a trait: a marking is always read; all at once where that is wished and nothing was said yet."""
        trait = self.compiled.traits[t]
        if trait.worn:
            return [whole(self.compiled, t)] if left is None else []
        if trait.at_once:
            return [whole(self.compiled, t)] if left is None else []
        wanted = left is None and self.ask == "any" and (trait.measured or len(trait.states) - trait.can_be_missing > 2)
        return [*yes_no(self.compiled, t), *([whole(self.compiled, t)] if wanted else [])]

    @cached_property
    def proposals(self) -> list[Proposal]:
        """The open questions with news in them, by news for effort, best first; ties by the order of traits and states."""
        return self._with_news(self.questions)

    @cached_property
    def doubts(self) -> list[Doubt]:
        """The chance of every answer that it names what is not there."""
        return doubts(self.compiled, self.belief, self.evidence)

    @cached_property
    def second_looks(self) -> list[Proposal]:
        """The answers that another look would tell something about, by news for effort, best first; nobody is asked thrice."""
        found = self._with_news(self._other_looks)
        mine = [one for one in self.evidence if one.trait in self._visible and not self._looks(one.trait)]
        found += [self._measure_again(one) for one in mine if one.value and one.trait in self._looks_wrong]
        return sorted((one for one in found if one.bits >= WORTH_A_LOOK), key=lambda one: -round(one.value, 9))

    @cached_property
    def _other_looks(self) -> list[Question]:
        """Another look at every answer in the views at hand that was looked at once."""
        mine = [one for one in self.evidence if one.trait in self._visible and not self._looks(one.trait)]
        return [again for one in mine if (again := another_look(self.compiled, one))]

    @property
    def _looks_wrong(self) -> set[int]:
        return {one.trait for one in self.doubts if one.looks_wrong}

    def _measure_again(self, given: Evidence) -> Proposal:
        """A value that looks like a blunder, measured once more: if it is one, the new value tells what the first should have."""
        blunder = max(one.chance for one in self.doubts if one.trait == given.trait)
        others = replace(self, given=tuple(one for one in self.given if one.trait != given.trait))
        question = whole(self.compiled, given.trait)
        return Proposal(question, blunder * float(others._news([question])[0]), self.effort(question))

    def _with_news(self, questions: Sequence[Question]) -> list[Proposal]:
        return self._valued(questions, self._news(questions), NO_NEWS)

    def _valued(self, questions: Sequence[Question], news: Floats, least: float) -> list[Proposal]:
        """The questions with at least so much news, by news for effort, best first."""
        pairs = zip(questions, news.tolist(), strict=True)
        found = [Proposal(question, bits, self.effort(question)) for question, bits in pairs if bits >= least]
        return sorted(found, key=lambda one: -round(one.value, 9))

    @property
    def looking_at(self) -> int:
        """The view one is looking at now: that of the last answer; -1 for none."""
        return self.compiled.traits[self.given[-1].trait].view if self.given else -1

    def effort(self, question: Question, there: bool | None = None) -> float:
        """What a question takes: a glance where one is looking already (`there`), else the effort of its view; and its form's."""
        view = self.compiled.traits[question.trait].view
        effort = float(self.compiled.effort[view]) if view >= 0 else 1.0
        there = view == self.looking_at if there is None else there
        return (min(effort, 1.0) if there else effort) + self.compiled.asking[question.form]

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
        """The new question to ask, or None when the target is settled or nothing left to ask would change it.

        For the variant and the set of origin it is planned ahead; for what is original it is the one with the most news.
        """
        if self.settled or not self.proposals:
            return None
        game = self.game if self.target in ("variant", "set") else None
        return self.proposals[0 if game is None else best(game)]

    @cached_property
    def look_again(self) -> Proposal | None:
        """The answer to look at once more: one that looks wrong, where that tells more than any new question for its effort;

        or, when there is nothing new to ask, the one that tells most.
        """
        if self.settled or not self.second_looks:
            return None
        if not self.proposals:
            return self.second_looks[0]
        wrong = [one for one in self.second_looks if one.question.trait in self._looks_wrong]
        return wrong[0] if wrong and wrong[0].value > self.proposals[0].value + SAME else None

    @property
    def to_ask(self) -> Proposal | None:
        """What to ask a person now: another look where that is the best use of a question, the next new one, or of a swap."""
        return self.look_again or self.next or self.doubtful_swap

    @cached_property
    def doubtful_swap(self) -> Proposal | None:
        """Once the variant is settled: what tells most whether a part that was looked at was changed, where that is in doubt."""
        if self.target != "variant" or not self.settled:
            return None
        seen = {self.compiled.traits[one.trait].slot for one in self.evidence}
        least, most = IN_DOUBT - SAME, 1.0 - IN_DOUBT + SAME
        doubtful = {s for s in seen if least <= changed_share(self.compiled, self.belief, s) <= most}
        asked = [q for q in [*self.questions, *self._other_looks] if self.compiled.traits[q.trait].slot in doubtful]
        bits = original_news(self.compiled, self.belief, asked, self.evidence, its_slot_alone=True)
        return next(iter(self._valued(asked, bits, WORTH_A_LOOK)), None)

    @cached_property
    def game(self) -> Game | None:
        """What is left to find out, over the best proposals in their order and the candidates that are not too rare.

        None when there are too many of those, or nothing to tell.
        """
        belief = self.belief.probability
        live = np.flatnonzero(belief > RARE * belief.max())
        if not 2 <= len(live) <= MOST_CANDIDATES:
            return None
        asked = self.proposals[:MOST_QUESTIONS]
        questions = [one.question for one in asked]
        chances = outcome_chances(self.compiled, self.belief, questions, live, self.evidence)
        group = np.unique(self._plan_groups[live], return_inverse=True)[1].reshape(-1)
        weight, group, chances = alike_together(belief[live], group, chances)
        if group.max() == 0:
            return None
        return Game(
            weight=weight,
            group=group,
            chances=chances,
            view=[self.compiled.traits[one.trait].view for one in questions],
            there=np.array([self.effort(one, there=False) for one in questions]),
            here=np.array([self.effort(one, there=True) for one in questions]),
            at=self.looking_at,
            settled=self.compiled.settled,
            kin=[self._kin(one.trait) for one in questions],
        )

    def _kin(self, t: int) -> int:
        """Traits of one part are read off one thing; any other trait stands for itself."""
        slot = self.compiled.traits[t].slot
        return -1 - slot if self.compiled.slots[slot].parts else t

    @cached_property
    def _plan_groups(self) -> Ints:
        return self.groups if self.target == "set" else self._twin_groups

    @cached_property
    def variants(self) -> list[tuple[str, float]]:
        """Variants with their probability, best first; all units that are not in the record together."""
        names = (*self.compiled.variants, NOT_IN_THE_RECORD)
        order = np.lexsort((np.argsort(np.argsort(names)), np.arange(len(names)) == len(names) - 1, -np.round(self._shares, 9)))
        return [(names[v], float(self._shares[v])) for v in order]

    @cached_property
    def _shares(self) -> Floats:
        """The belief in each variant, and last that in all units that are not in the record."""
        known = len(self.compiled.variants)
        at = np.where(self.compiled.variant < 0, known, self.compiled.variant)
        shares: Floats = np.zeros(known + 1)
        np.add.at(shares, at, self.belief.probability)
        return shares

    @cached_property
    def positions(self) -> list[tuple[str | None, int, float]]:
        """(set or None, position, probability) of the set of origin, best first; None: sold alone, or not in the record."""
        shares: dict[tuple[int, int], float] = {}
        places = zip(self.compiled.set_of.tolist(), self.compiled.position.tolist(), strict=True)
        for key, chance in zip(places, self.belief.probability.tolist(), strict=True):
            shares[key] = shares.get(key, 0.0) + chance
        found = [(self.compiled.sets[s] if s >= 0 else None, p, chance) for (s, p), chance in shares.items()]
        return sorted(found, key=lambda one: (-round(one[2], 9), one[0] or "", one[1]))

    @cached_property
    def origins(self) -> dict[str | None, float]:
        """The belief in each set of origin, best first; None: sold alone; and what is not in the record."""
        shares: dict[str | None, float] = {}
        for name, chance in zip(set_names(self.compiled), self.belief.probability.tolist(), strict=True):
            shares[name] = shares.get(name, 0.0) + chance
        return {name: shares[name] for name in sorted(shares, key=lambda one: (-round(shares[one], 9), one or ""))}

    @cached_property
    def twins(self) -> dict[str, list[str]]:
        """The variants that no question can separate from each one: in the views at hand, without what one cannot tell."""
        members: dict[int, set[str]] = {}
        labels = [self.compiled.label(c) for c in range(self.compiled.candidates)]
        groups = self._twin_groups.tolist()
        for label, group in zip(labels, groups, strict=True):
            members.setdefault(group, set()).add(label)
        return {label: sorted(members[group]) for label, group in zip(labels, groups, strict=True)}

    @cached_property
    def _twin_groups(self) -> Ints:
        unclear = {one.trait for one in self.given if isinstance(one.reading, CannotTell)} - self.seen
        return twin_groups(self.compiled, tuple(t for t in self._visible if t not in unclear))

    @cached_property
    def leading(self) -> tuple[list[str], float]:
        """The leader with everything that cannot be separated from it, and their probability together."""
        leader, mine = self._leader
        if leader < 0:
            return [NOT_IN_THE_RECORD], self._leading_share()
        group = {int(v) for v in self.compiled.variant[mine]}
        return sorted(
            (self.compiled.variants[v] for v in group), key=lambda one: (-round(self._share_of(one), 9), one)
        ), self._leading_share()

    def _share_of(self, ident: str) -> float:
        return float(self._shares[self.compiled.variants.index(ident)])

    @cached_property
    def _leader(self) -> tuple[int, Bools]:
        """(the likeliest variant, -1 for what is not in the record; which candidates it or its twins are)."""
        leader = int(np.round(self._shares, 9).argmax())
        if leader == len(self.compiled.variants):
            return -1, self.compiled.variant < 0
        first = int((self.compiled.variant == leader).argmax())
        return leader, self._twin_groups == self._twin_groups[first]

    def _leading_share(self) -> float:
        return float(self.belief.probability[self._leader[1]].sum())

    @cached_property
    def settled(self) -> bool:
        """Whether the target is as sure as the knowledge base asks."""
        if not self.belief.plausible or not self.compiled.candidates:
            return False
        shares = {"variant": self._leading_share, "set": self._set_share, "original": self._original_share}
        wanted = shares if self.target == "all" else (self.target,)
        return all(shares[one]() >= self.compiled.settled - SAME for one in wanted)

    def _original_share(self) -> float:
        original = original_share(self.compiled, self.belief)
        return max(original, 1.0 - original)

    def _set_share(self) -> float:
        groups = set_groups(self.compiled)
        return float(np.bincount(groups - groups.min(), weights=self.belief.probability).max())

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
            if total >= self.compiled.settled - SAME:
                break
            total += chance
            found += [label] if label != NOT_IN_THE_RECORD else []
        return found if len(found) > 1 else []


def _is_open(question: Question, evidence: Evidence | None) -> bool:
    """Whether an answer could still be yes or no after what was said of the trait; not after a second look."""
    if evidence is None:
        return True
    if evidence.again:
        return False
    if question.cut is not None:
        return evidence.interval is not None and evidence.interval[0] < question.cut < evidence.interval[1]
    if evidence.weights is None or evidence.typed:
        return False
    return all(evidence.weights[list(outcome)].any() for outcome in question.outcomes[:2])

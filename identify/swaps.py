"""What must have been changed, or misread, for a unit to be what it may be: the least explanations. Pure.

A conflict is a set of things that cannot all be right.  A least explanation blames at least one thing of every conflict, and
nothing that it need not: a minimal hitting set (R. Reiter, "A theory of diagnosis from first principles", Artificial
Intelligence 32, 1987, 57-95; J. de Kleer and B. C. Williams, "Diagnosing multiple faults", same volume, 97-130).

For a candidate the things are its slots (right: as issued) and the answers (right: not misread).  An answer e to a trait of a
slot is split for every row or part i:

    right[e, i] + wrong[e, i] = P(answer e | i)      right: what it names is there; wrong: it is a mistake

Part i explains e as issued when right >= wrong: a slip of the eye would not be the likelier reason for it.  What was changed
may be anything that can show it at all.
"""

from collections.abc import Collection, Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod
from typing import TypeVar

import numpy as np

from .arrays import Bools, Compiled, Floats, Slot, Trait
from .belief import UNRECORDED_MARKING, Belief, Evidence, apart_from_told, likelihood, looks
from .doubts import THERE, named, told_wrong_by_row

#: An explanation that blames more things than this is not looked for.
LARGEST = 5
#: Candidates with less belief than this share of all are not explained.
RARE = 1e-9

Thing = TypeVar("Thing", bound=Hashable)
#: (slots changed, traits misread), both ascending.
Blame = tuple[tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True)
class Explanation:
    """A variant, the slots changed since (indices), and the traits whose answers are misread; ascending.

    probability   of exactly this: of the slots that an answer is about no other was changed, and no other answer is misread
    """

    variant: int
    changed: tuple[int, ...]
    misread: tuple[int, ...]
    probability: float

    @property
    def blames(self) -> int:
        """How many things it blames."""
        return len(self.changed) + len(self.misread)


@dataclass(frozen=True)
class SlotAnswers:
    """The answers about one slot: traits[e], and right[e, i], wrong[e, i] for its rows or parts."""

    slot: int
    traits: tuple[int, ...]
    right: Floats
    wrong: Floats

    @property
    def explained(self) -> Bools:
        """explained[e, i]: whether answer e is more than a mistake on i."""
        return (self.right >= self.wrong) & (self.right > 0)


def hitting_sets(
    conflicts: Iterable[Collection[Thing]], largest: int | None = None, most: int | None = None
) -> list[tuple[Thing, ...]]:
    """All minimal sets that share a member with every conflict, smallest first; at most `most`, of at most `largest` members.

    Members are ordered as they first occur in the conflicts, and so are sets of one size.  No conflict: the empty set alone.
    An empty conflict: none.  By multiplying the conflicts out one at a time and keeping what is minimal (C. Berge,
    "Hypergraphs", 1989, chapter 2).
    """
    wanted = [list(dict.fromkeys(one)) for one in conflicts]
    order = {thing: i for i, thing in enumerate(dict.fromkeys(thing for one in wanted for thing in one))}
    found: list[frozenset[Thing]] = [frozenset()]
    for conflict in sorted(wanted, key=len):
        grown = [one if one.intersection(conflict) else one | {thing} for one in found for thing in conflict]
        found = _minimal(one for one in grown if largest is None or len(one) <= largest)
    rows = sorted((sorted(order[thing] for thing in one) for one in found), key=lambda row: (len(row), row))
    things = list(order)
    return [tuple(things[i] for i in row) for row in rows[:most]]


def _minimal(sets: Iterable[frozenset[Thing]]) -> list[frozenset[Thing]]:
    kept: list[frozenset[Thing]] = []
    for one in sorted(dict.fromkeys(sets), key=len):
        if not any(other <= one for other in kept):
            kept.append(one)
    return kept


def explanations(compiled: Compiled, belief: Belief, evidence: Sequence[Evidence], largest: int = LARGEST) -> list[Explanation]:
    """The least explanations of every recorded variant: those that blame fewest first, then the likelier, then by variant.

    None can be left out of one without leaving an answer unexplained.  Nothing where the answers are impossible together.
    """
    if not belief.plausible:
        return []
    seen = answers_by_slot(compiled, evidence)
    blamed: dict[int, set[Blame]] = {}
    known: dict[tuple[int, ...], list[Blame]] = {}
    ways_of: dict[tuple[int, int], list[Blame]] = {}
    live = np.flatnonzero((belief.probability > RARE) & (compiled.variant >= 0)).tolist()
    for c in live:
        rows = tuple(int(compiled.slots[one.slot].row[c]) for one in seen)
        if rows not in known:
            for one, u in zip(seen, rows, strict=True):
                if (one.slot, u) not in ways_of:
                    ways_of[one.slot, u] = _of_slot(compiled.slots[one.slot], one, u, largest)
            known[rows] = _together([ways_of[one.slot, u] for one, u in zip(seen, rows, strict=True)], largest)
        blamed.setdefault(int(compiled.variant[c]), set()).update(known[rows])
    found: list[Explanation] = []
    for variant, ways in blamed.items():
        mine = [c for c in live if compiled.variant[c] == variant]
        for changed, misread in _none_in_vain(ways):
            chance = sum(chance_of(compiled, belief, seen, c, changed, misread) for c in mine)
            if round(chance, 12) > 0:
                found.append(Explanation(variant, changed, misread, chance))
    return sorted(found, key=lambda one: (one.blames, -round(one.probability, 12), one.variant, one.changed, one.misread))


def _none_in_vain(ways: Collection[Blame]) -> list[Blame]:
    """Without those that blame all that another one blames, and more: a place in a set may need what the variant does not."""
    return [
        one
        for one in sorted(ways)
        if not any(other != one and set(other[0]) <= set(one[0]) and set(other[1]) <= set(one[1]) for other in ways)
    ]


def least(found: Sequence[Explanation]) -> list[Explanation]:
    """Those that blame as few things as the first."""
    return [one for one in found if one.blames == found[0].blames]


def split(trait: Trait, one: Evidence) -> tuple[Floats, Floats]:
    """(right[i], wrong[i]) of an answer: the parts of its chance on row i where what it names is there, and where it is not.

    What others tell of a trait that was looked at is no answer, and only counts; of one that was not, it stands for the answer.
    """
    whole = likelihood(trait, one)
    alone = apart_from_told(trait, one)
    if alone is None or not alone.seen:
        missed = np.min(told_wrong_by_row(trait, one), axis=0)
        return whole * (1.0 - missed), whole * missed
    if alone is not one:
        right, wrong = split(trait, alone)
        share = np.divide(right, right + wrong, out=np.zeros_like(right), where=right + wrong > 0)
        return whole * share, whole * (1.0 - share)
    if one.weights is not None:
        all_looks = (one.weights, *one.again)
        if trait.measured or not all(look.any() for look in all_looks):
            return whole, np.zeros_like(whole)
        read = one.weights if one.typed else looks(trait, one)
        right = trait.truth @ np.where(named(one, len(one.again)), read, 0.0)
        if one.typed:
            right = np.where(trait.new, whole, np.minimum(right, whole - UNRECORDED_MARKING))
    elif one.gone:
        right = np.where(trait.applies < THERE, whole, 0.0)
    else:
        sure = likelihood(replace(trait, blunders=0.0), one) * (1.0 - trait.blunders)
        right = np.where(trait.applies < THERE, 0.0, sure)
    right = np.clip(right, 0.0, whole)
    return right, whole - right


def answers_by_slot(compiled: Compiled, evidence: Sequence[Evidence]) -> list[SlotAnswers]:
    """The answers of every slot that one is about, by slot."""
    slots = sorted({compiled.traits[one.trait].slot for one in evidence})
    found: list[SlotAnswers] = []
    for s in slots:
        mine = [one for one in evidence if compiled.traits[one.trait].slot == s]
        halves = [split(compiled.traits[one.trait], one) for one in mine]
        right, wrong = (np.stack([half[side] for half in halves]) for side in (0, 1))
        found.append(SlotAnswers(s, tuple(one.trait for one in mine), right, wrong))
    return found


def chance_of(
    compiled: Compiled, belief: Belief, seen: Sequence[SlotAnswers], c: int, changed: Collection[int], misread: Collection[int]
) -> float:
    """P(candidate c, exactly these slots changed of those seen, exactly these answers misread | answers)."""
    shares: list[float] = []
    for one in seen:
        slot, factor = compiled.slots[one.slot], belief.factor[one.slot]
        u = int(slot.row[c])
        wrong = np.array([t in misread for t in one.traits])
        shown = np.where(wrong[:, None], one.wrong, one.right).prod(axis=0)
        was = one.slot in changed
        kept = float(slot.issued[u] @ shown) if slot.parts else float(shown[u])
        redone = float(slot.replaced[u] @ shown) if slot.parts else float(shown[slot.redone[u]])
        joint = float(slot.swap[u]) * redone if was else (1.0 - float(slot.swap[u])) * kept
        shares.append(joint / float(factor[u]) if factor[u] > 0 else 0.0)
    return float(belief.probability[c]) * prod(shares)


def _together(ways: Sequence[Sequence[Blame]], largest: int) -> list[Blame]:
    """(changed, misread) of the minimal explanations of a candidate, from those of each slot."""
    found: list[Blame] = []
    for choice in product(*ways):
        changed = tuple(sorted(s for some, _ in choice for s in some))
        misread = tuple(sorted(t for _, some in choice for t in some))
        if len(changed) + len(misread) <= largest:
            found.append((changed, misread))
    return found


def _of_slot(slot: Slot, seen: SlotAnswers, u: int, largest: int) -> list[Blame]:
    """The same of one slot alone; no conflict reaches over two slots, so the whole is a choice for each.

    The slot is in every conflict among the answers that no part as issued explains; without it are those that nothing shows.
    """
    if slot.parts:
        as_issued, once_changed = slot.issued[u] > 0, slot.replaced[u] > 0
    else:
        rows = np.arange(len(slot.redone))
        as_issued, once_changed = rows == u, rows == slot.redone[u]
    explained, shown = seen.explained[:, as_issued], seen.right[:, once_changed] > 0
    together = _never_together(explained)
    anyhow = _never_together(np.concatenate([explained, shown], axis=1)) if slot.swap[u] > 0 else together
    blame_slot = [(-1, *one) for one in together] if slot.swap[u] > 0 else []
    found = hitting_sets([*blame_slot, *anyhow], largest)
    return [((seen.slot,) if -1 in one else (), tuple(sorted(seen.traits[e] for e in one if e >= 0))) for one in found]


def _never_together(explained: Bools) -> list[tuple[int, ...]]:
    """The minimal sets of answers e that no column explains all of: they hit what every column leaves unexplained."""
    left_out = {tuple(e for e, told in enumerate(column) if not told) for column in explained.T.tolist()}
    return hitting_sets(sorted(left_out))


def belonging(slot: Slot, probability: Floats) -> Floats:
    """P(part r was issued there), shape [parts], from the belief in the candidates."""
    issued: Floats = probability @ slot.issued[slot.row]
    return issued

"""Least explanations of what was changed or misread: hitting sets, and small knowledge bases counted out in full."""

from collections.abc import Iterator
from itertools import chain, combinations, product
from math import prod
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from tellmark.identify.arrays import Compiled, Slot
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.identify.swaps import SlotAnswers, answers_by_slot, chance_of, explanations, hitting_sets, least

HITTING: list[tuple[str, list[list[str]], list[tuple[str, ...]]]] = [
    ("nothing to hit", [], [()]),
    ("one conflict: each of its members", [["b", "a"]], [("b",), ("a",)]),
    ("an empty conflict cannot be hit", [["a"], []], []),
    ("a shared member first", [["a", "b"], ["b", "c"]], [("b",), ("a", "c")]),
    ("apart: every pair", [["a", "b"], ["c"]], [("a", "c"), ("b", "c")]),
    ("a conflict inside another settles it", [["a", "b", "c"], ["b"]], [("b",)]),
    ("named twice is once", [["a", "a"], ["a"]], [("a",)]),
]


@pytest.mark.parametrize(("conflicts", "expected"), [one[1:] for one in HITTING], ids=[one[0] for one in HITTING])
def test_hitting_sets(conflicts: list[list[str]], expected: list[tuple[str, ...]]) -> None:
    assert hitting_sets(conflicts) == expected


def test_limits_cut_from_the_end() -> None:
    """Five disjoint pairs: 32 sets of five; nothing smaller hits them all."""
    pairs = [[2 * i, 2 * i + 1] for i in range(5)]
    whole = hitting_sets(pairs)
    assert len(whole) == 32
    assert hitting_sets(pairs, most=3) == whole[:3]
    assert hitting_sets(pairs, largest=4) == []
    mixed = [["a", "b"], ["a", "c"]]
    assert hitting_sets(mixed, largest=1) == [("a",)]


def some(things: list[Any]) -> Iterator[tuple[Any, ...]]:
    """Every choice of some of them, smaller ones first."""
    return chain.from_iterable(combinations(things, n) for n in range(len(things) + 1))


def told(seed: int, random_kb: ModuleType) -> Session:
    entries = random_kb.random_entries(seed)
    return answered(start(entries, "railcar"), entries, "railcar", random_kb.random_answers(entries, seed, most=4))


def shown(slot: Slot, seen: SlotAnswers, u: int, changed: bool, misread: set[int]) -> bool:
    """Whether some part can sit there that explains every answer that is not misread."""
    kept = [e for e, t in enumerate(seen.traits) if t not in misread]
    parts = range(seen.right.shape[1])
    issued = [i for i in parts if (slot.issued[u, i] > 0 if slot.parts else i == u)]
    later = [i for i in parts if (slot.replaced[u, i] > 0 if slot.parts else i == slot.redone[u])]
    as_issued = any(all(seen.right[e, i] >= seen.wrong[e, i] and seen.right[e, i] > 0 for e in kept) for i in issued)
    return as_issued or (changed and any(all(seen.right[e, i] > 0 for e in kept) for i in later))


def counted(compiled: Compiled, seen: list[SlotAnswers], variant: int) -> set[tuple[tuple[int, ...], tuple[int, ...]]]:
    """The minimal (changed, misread) of a variant, by trying all."""
    fitting: list[frozenset[tuple[str, int]]] = []
    traits = [t for one in seen for t in one.traits]
    for c in np.flatnonzero(compiled.variant == variant).tolist():
        rows = {one.slot: int(compiled.slots[one.slot].row[c]) for one in seen}
        loose = [one.slot for one in seen if compiled.slots[one.slot].swap[rows[one.slot]] > 0]
        for changed, misread in product(some(loose), some(traits)):
            if all(shown(compiled.slots[o.slot], o, rows[o.slot], o.slot in changed, set(misread)) for o in seen):
                fitting.append(frozenset([*(("slot", s) for s in changed), *(("trait", t) for t in misread)]))
    minimal = {one for one in fitting if not any(other < one for other in fitting)}
    return {
        (tuple(sorted(i for kind, i in one if kind == "slot")), tuple(sorted(i for kind, i in one if kind == "trait")))
        for one in minimal
    }


@pytest.mark.parametrize("seed", range(60))
def test_explanations_are_those_of_trying_everything(seed: int, random_kb: ModuleType) -> None:
    session = told(seed, random_kb)
    compiled, belief = session.compiled, session.belief
    seen = answers_by_slot(compiled, session.evidence)
    found = explanations(compiled, belief, session.evidence)
    live = {int(compiled.variant[c]) for c in np.flatnonzero(belief.probability > 1e-9) if compiled.variant[c] >= 0}
    for variant in live:
        mine = {(one.changed, one.misread) for one in found if one.variant == variant}
        assert mine == counted(compiled, seen, variant)


def of_parts(session: Session, c: int, changed: tuple[int, ...], misread: tuple[int, ...]) -> float:
    """prior * product over slots of sum over the parts that can sit there, written out part by part."""
    compiled = session.compiled
    shares: list[float] = []
    for one in answers_by_slot(compiled, session.evidence):
        slot, total = compiled.slots[one.slot], 0.0
        u = int(slot.row[c])
        for i in range(one.right.shape[1]):
            kept = float(slot.issued[u, i]) if slot.parts else float(i == u)
            later = float(slot.replaced[u, i]) if slot.parts else float(i == slot.redone[u])
            there = slot.swap[u] * later if one.slot in changed else (1 - slot.swap[u]) * kept
            total += there * prod(float((one.wrong if t in misread else one.right)[e, i]) for e, t in enumerate(one.traits))
        shares.append(total)
    return float(compiled.prior[c]) * prod(shares)


@pytest.mark.parametrize("seed", range(20))
def test_probabilities_are_those_of_counting_out(seed: int, random_kb: ModuleType) -> None:
    """Each against the sum over all candidates, changes and misreadings; and these fill the whole."""
    session = told(seed, random_kb)
    compiled = session.compiled
    seen = answers_by_slot(compiled, session.evidence)
    slots, traits = [one.slot for one in seen], [t for one in seen for t in one.traits]
    ways = list(product(some(slots), some(traits)))
    joint = {(c, *way): of_parts(session, c, *way) for c in range(compiled.candidates) for way in ways}
    whole = sum(joint.values())
    for (c, changed, misread), part in joint.items():
        assert chance_of(compiled, session.belief, seen, c, changed, misread) == pytest.approx(part / whole, abs=1e-9)
    for one in explanations(compiled, session.belief, session.evidence):
        mine = [c for c in range(compiled.candidates) if compiled.variant[c] == one.variant]
        assert one.probability == pytest.approx(sum(joint[c, one.changed, one.misread] for c in mine) / whole, abs=1e-9)


def test_fewest_first_then_the_likelier(random_kb: ModuleType) -> None:
    for seed in range(20):
        session = told(seed, random_kb)
        found = explanations(session.compiled, session.belief, session.evidence)
        order = [(one.blames, -round(one.probability, 12)) for one in found]
        assert order == sorted(order)
        assert all(one.blames == found[0].blames for one in least(found))

"""What a fixed key carries down its tree, against the same found from nothing; and which questions there are."""

from itertools import combinations
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tellmark.identify.arrays import Bools, Compiled, Floats
from tellmark.identify.belief import Belief, Evidence, believe
from tellmark.identify.compile import compile_entries
from tellmark.identify.key_asking import Asking, as_issued, asking, in_stretches
from tellmark.identify.key_left import Left, begun
from tellmark.identify.questions import Question, news, outcome_chances, twin_groups, variant_groups

SEEDS = st.integers(0, 10_000)
some_of_them = settings(max_examples=40, deadline=None)


def asked_of(random_kb: ModuleType, seed: int) -> Asking:
    """What can be asked of a random family."""
    as_found = in_stretches(compile_entries(random_kb.random_entries(seed)))
    return asking(as_issued(as_found), as_found)


def walk(asked: Asking, seed: int, most: int = 6) -> Left:
    """After some answers, each to a trait in which those left differ, and true of one of them."""
    rng, left = np.random.default_rng(seed), begun(asked)
    for _ in range(int(rng.integers(1, most + 1))):
        apart = [n for n in range(len(asked.traits)) if differ(left.chances[asked.first[n] : asked.first[n + 1]])]
        if not apart:
            break
        n = int(rng.choice(apart))
        seen = rng.choice(np.flatnonzero(left.chances[asked.first[n] : asked.first[n + 1]].any(axis=1)))
        states = np.arange(asked.first[n + 1] - asked.first[n])
        left = left.told(n, (states == seen) | (rng.random(len(states)) < 0.4))
    return left


def differ(chances: Floats) -> bool:
    return bool((chances.max(axis=1) > chances.min(axis=1) + 1e-9).any())


def evidence(left: Left) -> list[Evidence]:
    """All answers on the way."""
    return [Evidence(left.asking.traits[n], weights=named.astype(np.float64)) for n, named in left.answers.items()]


def path(compiled: Compiled, belief: Belief) -> Floats:
    """P(all answers | candidate)."""
    factors = zip(compiled.slots, belief.factor, strict=True)
    return np.prod([factor[slot.row] for slot, factor in factors], axis=0)


@given(seed=SEEDS)
@some_of_them
def test_the_belief_carried_down_is_that_of_all_answers(random_kb: ModuleType, seed: int) -> None:
    asked = asked_of(random_kb, seed)
    left = walk(asked, seed)
    belief = believe(asked.issued, evidence(left))
    carried, passed = np.zeros(asked.issued.candidates), np.zeros(asked.issued.candidates)
    carried[left.live], passed[left.live] = left.belief, left.path
    assert carried == pytest.approx(belief.probability, abs=1e-9)
    assert passed == pytest.approx(np.where(asked.prior > 0, path(asked.issued, belief), 0.0), abs=1e-9)


@given(seed=SEEDS)
@some_of_them
def test_the_chances_carried_down_are_those_after_all_answers(random_kb: ModuleType, seed: int) -> None:
    asked = asked_of(random_kb, seed)
    left = walk(asked, seed)
    belief = believe(asked.issued, evidence(left))
    each = [Question(t, tuple((k,) for k in range(len(asked.issued.traits[t].states)))) for t in asked.traits]
    found = outcome_chances(asked.issued, belief, each, left.live, evidence(left))
    assert left.chances == pytest.approx(np.concatenate(found, axis=1).T, abs=1e-9)


@given(seed=SEEDS)
@some_of_them
def test_right_counts_all_that_was_changed_and_misread(random_kb: ModuleType, seed: int) -> None:
    asked = asked_of(random_kb, seed)
    left = walk(asked, seed)
    as_found = believe(asked.as_found, evidence(left))
    leaders = np.isin(asked.as_found.variant, left.leaders)
    assert left.right == pytest.approx(float((asked.as_found.prior * path(asked.as_found, as_found))[leaders].sum()), abs=1e-9)


@given(seed=SEEDS)
@some_of_them
def test_twins_are_those_of_the_questioner(random_kb: ModuleType, seed: int) -> None:
    asked = asked_of(random_kb, seed)
    assert asked.twins.tolist() == twin_groups(asked.issued, tuple(asked.traits)).tolist()


@given(seed=SEEDS)
@some_of_them
def test_what_is_asked_tells_something(random_kb: ModuleType, seed: int) -> None:
    """As the questioner counts the news; and units are parted by it, none lost."""
    asked = asked_of(random_kb, seed)
    left = walk(asked, seed, most=2)
    one = left.next(1.0)
    if one is None:
        return
    rest = tuple(np.flatnonzero(~one.named).tolist())
    question = Question(asked.traits[one.n], (tuple(np.flatnonzero(one.named).tolist()), rest))
    given_ = evidence(left)
    (bits,) = news(asked.issued, believe(asked.issued, given_), [question], variant_groups(asked.issued), given_)
    assert bits >= 1e-3
    sides = [left.told(one.n, named) for named in (one.named, ~one.named)]
    assert sum(side.chance for side in sides) == pytest.approx(left.chance, abs=1e-9)
    assert all(len(side.live) for side in sides)


# Questions -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("states", "left", "missing", "expected"),
    [
        (2, (0, 1), False, [(0,)]),
        (4, (0, 1, 3), False, [(0,), (1,), (3,)]),
        (4, (0, 1, 2, 3), False, [(0,), (1,), (2,), (3,), (0, 1), (0, 2), (0, 3)]),
        (3, (0, 2), True, [(0, 1)]),
        (3, (0, 1, 2), True, [(0,), (1,), (0, 1)]),
        (3, (0, 1), True, [(0,)]),
    ],
    ids=[
        "of two states one question",
        "what is no longer left is not asked about",
        "what another question leaves out asks the same",
        "one kind or none: whether there is any",
        "two kinds or none",
        "two kinds and surely there",
    ],
)
def test_one_question_for_each_way_to_part(
    random_kb: ModuleType, states: int, left: tuple[int, ...], missing: bool, expected: list[tuple[int, ...]]
) -> None:
    assert named_in(kinds(random_kb, states - missing, missing), np.isin(np.arange(states), left)) == expected


def kinds(random_kb: ModuleType, count: int, missing: bool) -> Asking:
    """What can be asked of a family whose horn, which some may lack, or whose color is of so many kinds."""
    looks = {"name": "Kind", "view": "side", "states": {f"s{k}": f"S{k}" for k in range(count)}}
    if not missing:
        variants = {f"v{k}": {"name": "V", "shows": {"kind": f"s{k}"}} for k in range(count)}
        entries = random_kb.knowledge_base(traits={"kind": {**looks, "slot": "body"}}, variants=variants)
    else:
        entries = random_kb.knowledge_base(
            family={"slots": {"horn": {"name": "Horn", "type": "horn"}}},
            slot_types={"horn": {"traits": {"kind": looks}}},
            parts={
                f"p{k}": {"type": "horn", "shows": {"kind": f"s{k}"}, "fits": {random_kb.FAMILY: ["horn"]}} for k in range(count)
            },
            variants={f"v{k}": {"name": "V", "fitted": {"horn": f"p{k}" if k < count else "none"}} for k in range(count + 1)},
        )
    as_found = in_stretches(compile_entries(entries))
    return asking(as_issued(as_found), as_found)


def named_in(asked: Asking, left: Bools) -> list[tuple[int, ...]]:
    """The states that each question about the trait names."""
    assert len(asked.traits) == 1
    named, more = asked.questions(0, left)
    assert more.tolist() == (named.sum(axis=1) - 1).tolist()
    return [tuple(np.flatnonzero(row).tolist()) for row in named]


@pytest.mark.parametrize("count", range(2, 8))
def test_every_way_to_part_is_asked_about(random_kb: ModuleType, count: int) -> None:
    found = {frozenset(one) for one in named_in(kinds(random_kb, count, False), np.ones(count, dtype=bool))}
    ways = {frozenset(some) for size in (1, 2, 3) if size < count for some in combinations(range(count), size)}
    everything = frozenset(range(count))
    assert all((some in found) != (everything - some in found) for some in ways)

"""The fixed key against the best tree there is, and against the tree another program grows.

Sources.  L. Hyafil and R. L. Rivest, Constructing Optimal Binary Decision Trees is NP-complete, Information Processing Letters
5 (1976) 15-17: no way to the best tree is known that is fast for large tables, so the best is found here by going through all of
them, on small tables only.  C. E. Shannon (1948): no tree of yes/no questions takes fewer steps on average than the entropy.
scikit-learn's DecisionTreeClassifier with the entropy criterion, grown until every leaf is pure.
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

from collections.abc import Sequence
from functools import cache
from itertools import combinations
from random import Random
from statistics import fmean
from types import ModuleType

import numpy as np
import pytest
from scipy.stats import entropy
from sklearn.tree import DecisionTreeClassifier
from tellmark.identify.key import Key, fixed_key
from tellmark.identify.key_asking import EACH_MORE, MOST_NAMED

Rows = list[dict[str, str]]
#: Ours: how near to the best tree a key must come on average, and at worst.
NEAR, WORST = 1.001, 1.01


def table(seed: int, variants: int, traits: int, states: int) -> tuple[Rows, list[float]]:
    """Different rows of random states, and how common each is."""
    rng = Random(seed)
    rows: set[tuple[str, ...]] = set()
    while len(rows) < variants:
        rows.add(tuple(f"s{rng.randrange(states)}" for _ in range(traits)))
    return [{f"t{t:02}": cell for t, cell in enumerate(row)} for row in sorted(rows)], [0.1 + rng.random() for _ in rows]


def key_of(random_kb: ModuleType, games: ModuleType, rows: Rows, weights: Sequence[float]) -> Key:
    session = games.begin(random_kb, {f"v{v:03}": row for v, row in enumerate(rows)}, weights)
    return fixed_key(session.compiled)


def effort(key: Key) -> float:
    """What the key takes on average: a glance a step, and what each state named after the first adds."""
    return sum(step.chance * (1 + EACH_MORE * (len(step.states) - 1)) for step in key.steps)


def best_tree(rows: Rows, weights: Sequence[float]) -> float:
    """The least effort on average over every tree of the questions a key may ask."""
    sets: list[tuple[int, float]] = []
    for trait in rows[0]:
        states = sorted({row[trait] for row in rows})
        for size in range(1, min(MOST_NAMED, len(states) - 1) + 1):
            for named in combinations(states, size):
                yes = sum(1 << v for v, row in enumerate(rows) if row[trait] in named)
                sets.append((yes, 1 + EACH_MORE * (size - 1)))

    @cache
    def least(left: int) -> float:
        """Times the weight of those left."""
        if left & (left - 1) == 0:
            return 0.0
        mine = sum(weight for v, weight in enumerate(weights) if left >> v & 1)
        parted = [(left & yes, left & ~yes, cost) for yes, cost in sets if left & yes and left & ~yes]
        return min(cost * mine + least(one) + least(other) for one, other, cost in parted)

    return least((1 << len(rows)) - 1) / sum(weights)


@pytest.mark.parametrize(
    ("states", "traits", "cases"),
    [pytest.param(2, 8, 15, id="yes or no"), pytest.param(4, 4, 10, id="sets of four states")],
)
def test_near_the_best_tree(random_kb: ModuleType, games: ModuleType, states: int, traits: int, cases: int) -> None:
    """Every tree of every question is gone through: up to 2^9 sets of variants left."""
    ratios: list[float] = []
    for seed in range(cases):
        rows, weights = table(seed, 5 + seed % 5, traits, states)
        key = key_of(random_kb, games, rows, weights)
        assert len(key.leaves) == len(rows)
        ratios.append(effort(key) / best_tree(rows, weights))
    print(f"{states} states: {fmean(ratios):.4f} x the best tree, worst {max(ratios):.4f} x")
    assert min(ratios) >= 1 - 1e-6, "nothing is better than the best"
    assert fmean(ratios) <= NEAR
    assert max(ratios) <= WORST


@pytest.mark.filterwarnings("ignore:The number of unique classes")
def test_no_more_steps_than_another_program_takes(random_kb: ModuleType, games: ModuleType) -> None:
    """Both ask "is it this one?" of every state of every trait; the key may name several, and asks no more."""
    ratios: list[float] = []
    for seed in range(5):
        rows, weights = table(seed, 24, 8, 3)
        key, theirs = key_of(random_kb, games, rows, weights), steps_of_tree(rows, weights)
        assert float(entropy(weights, base=2)) - 1e-9 <= key.mean_to_the_end
        ratios.append(key.mean_to_the_end / theirs)
    print(f"{fmean(ratios):.4f} x scikit-learn's tree, worst {max(ratios):.4f} x")
    assert max(ratios) <= 1.0


def steps_of_tree(rows: Rows, weights: Sequence[float]) -> float:
    """Questions that scikit-learn's tree asks on average until it knows the row."""
    asked = [(trait, state) for trait in rows[0] for state in sorted({row[trait] for row in rows})]
    answers = np.array([[row[trait] == state for trait, state in asked] for row in rows], dtype=float)
    tree = DecisionTreeClassifier(criterion="entropy", random_state=0)
    tree.fit(answers, range(len(rows)), sample_weight=weights)
    assert tree.score(answers, range(len(rows))) == 1.0
    depth = np.asarray(tree.decision_path(answers).sum(axis=1)).reshape(-1) - 1
    return float(np.average(depth, weights=weights))

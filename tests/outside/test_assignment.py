"""Parts to units, units to seats: the assignment against the library's own worked example, and against every permutation."""

from itertools import permutations

import numpy as np
import pytest
from tellmark.identify.lots_kernel import assign


def test_documented_example() -> None:
    """SciPy reference, scipy.optimize.linear_sum_assignment, the example: rows take columns 1, 0, 2, at a cost of 5 in all."""
    columns, total = assign(np.array([[4.0, 1.0, 3.0], [2.0, 0.0, 5.0], [3.0, 2.0, 2.0]]))
    assert columns.tolist() == [1, 0, 2]
    assert total == 5.0


@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (2, 2), (3, 3), (5, 5), (6, 6), (2, 5), (4, 6)])
@pytest.mark.parametrize("forbidden", [0.0, 0.3, 0.8], ids=["all allowed", "some forbidden", "most forbidden"])
def test_no_permutation_is_cheaper(rows: int, columns: int, forbidden: float) -> None:
    rng = np.random.default_rng([rows, columns, int(10 * forbidden)])
    for _ in range(20):
        costs = rng.uniform(0, 30, (rows, columns))
        costs[rng.random(costs.shape) < forbidden] = np.inf
        least = min(float(costs[np.arange(rows), list(order)].sum()) for order in permutations(range(columns), rows))
        found, total = assign(costs)
        assert total == pytest.approx(least)
        assert len(set(found.tolist())) == rows
        assert float(costs[np.arange(rows), found].sum()) == pytest.approx(least)

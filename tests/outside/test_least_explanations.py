"""Hitting sets against published diagnoses, and against another program's."""

from collections.abc import Callable, Iterable, Iterator
from itertools import combinations
from random import Random
from typing import cast

import pytest
from pysat.examples.hitman import Hitman  # pyright: ignore[reportMissingTypeStubs]
from tellmark.identify.swaps import hitting_sets

Gate = tuple[str, Callable[[int, int], int], str, str, str]


def sets_of(found: Iterable[Iterable[str]]) -> set[frozenset[str]]:
    return {frozenset(one) for one in found}


def test_five_component_circuit() -> None:
    """Three multipliers and two adders: J. de Kleer and B. C. Williams, "Diagnosing multiple faults", Artificial Intelligence

    32 (1987), 97-130, section 2: its two minimal conflicts and four minimal candidates (from memory).
    """
    found = hitting_sets([["A1", "M1", "M2"], ["A1", "A2", "M1", "M3"]])
    assert sets_of(found) == sets_of([["A1"], ["M1"], ["A2", "M2"], ["M2", "M3"]])


#: A full adder: each gate with what it does, its two inputs and its output.
ADDER: list[Gate] = [
    ("X1", lambda a, b: a ^ b, "a", "b", "x"),
    ("X2", lambda a, b: a ^ b, "x", "c", "sum"),
    ("A1", lambda a, b: a & b, "a", "b", "y"),
    ("A2", lambda a, b: a & b, "x", "c", "z"),
    ("O1", lambda a, b: a | b, "y", "z", "carry"),
]
SEEN = {"a": 1, "b": 0, "c": 1, "sum": 1, "carry": 0}


def contradicts(sound: set[str]) -> bool:
    """Whether these gates cannot all work: no values of the inner wires agree with all of them and with what is seen."""
    for bits in range(8):
        wires = {**SEEN, **{wire: bits >> i & 1 for i, wire in enumerate("xyz")}}
        if all(wires[out] == does(wires[left], wires[right]) for name, does, left, right, out in ADDER if name in sound):
            return False
    return True


def test_full_adder() -> None:
    """R. Reiter, "A theory of diagnosis from first principles", Artificial Intelligence 32 (1987), 57-95: inputs 1, 0, 1, and

    outputs 1 and 0 where 0 and 1 are due; its three diagnoses (from memory).  The conflicts are worked out from the circuit.
    """
    names = [gate[0] for gate in ADDER]
    conflicts = [set(some) for n in range(1, 6) for some in combinations(names, n) if contradicts(set(some))]
    least = [one for one in conflicts if not any(other < one for other in conflicts)]
    assert sets_of(least) == sets_of([["X1", "X2"], ["X1", "A2", "O1"]])
    assert sets_of(hitting_sets([sorted(one) for one in least])) == sets_of([["X1"], ["X2", "O1"], ["X2", "A2"]])
    assert sets_of(hitting_sets([sorted(one) for one in conflicts])) == sets_of(hitting_sets([sorted(one) for one in least]))


@pytest.mark.parametrize("seed", range(40))
def test_same_sets_as_hitman(seed: int) -> None:
    """All minimal hitting sets as python-sat's `Hitman` lists them (A. Ignatiev, A. Morgado and J. Marques-Silva, "PySAT: a

    Python toolkit for prototyping with SAT oracles", SAT 2018), up to 8 conflicts among 9 things.
    """
    rng = Random(seed)
    conflicts = [rng.sample(range(1, 10), rng.randint(1, 5)) for _ in range(rng.randint(1, 8))]
    with Hitman(bootstrap_with=conflicts, htype="sorted") as solver:
        listed = cast("Iterator[list[int]]", solver.enumerate())
        theirs = [frozenset(one) for one in listed]
    mine = hitting_sets(conflicts)
    assert {frozenset(one) for one in mine} == set(theirs)
    assert len(mine) == len(set(theirs))
    assert [len(one) for one in mine] == sorted(len(one) for one in theirs)

"""Lots against plain enumeration: every partition of the units, every set of each part, every seating."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product
from math import comb, prod
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from tellmark.identify import lots_kernel
from tellmark.identify.arrays import Floats
from tellmark.identify.lot import Units, report_lot, units_of
from tellmark.identify.lots_kernel import USUAL, Group, Prior, candidates_given, exchanges, explain_lot, seat_shares, seated
from tellmark.kb.load import Entries
from tellmark.kb.models import LotFile

SEEDS = range(30)
#: Few finds, mostly boxed: what comes together by chance in a record of few variants still comes together.
BOXY = Prior(finds=0.3, boxed=0.7, stayed=0.6)


@dataclass
class Plain:
    """Everything worked out the long way.

    weights[explanation], an explanation being {(set, units)}; shares[u][c]: weight of all in which unit u is candidate c;
    seats[set, units][seating]: the weight of that seating
    """

    weights: dict[frozenset[tuple[int, tuple[int, ...]]], float]
    shares: Floats
    seats: dict[tuple[int, tuple[int, ...]], dict[tuple[int, ...], float]]

    @property
    def total(self) -> float:
        return sum(self.weights.values())


def partitions(units: Sequence[int]) -> Iterator[list[tuple[int, ...]]]:
    if not units:
        yield []
        return
    first, *others = units
    for rest in partitions(others):
        yield [(first,), *rest]
        for i, block in enumerate(rest):
            yield [*rest[:i], (first, *block), *rest[i + 1 :]]


Block = tuple[int, tuple[int, ...]]


class LongWay:
    """The model of a lot as it is described, with nothing shared and nothing clever."""

    def __init__(self, units: Units) -> None:
        self.compiled, self.seen, self.prior = units.compiled, units.likelihood, units.prior
        sizes = {s: len(units.entries.sets[ident].positions) for s, ident in enumerate(self.compiled.sets)}
        self.sizes = {s: size for s, size in sizes.items() if size >= 2}
        self.common = {s: self.compiled.prior[self.compiled.set_of == s].sum() / size for s, size in self.sizes.items()}
        self.seats: dict[Block, dict[tuple[int, ...], float]] = {}
        self.inside: dict[Block, Floats] = {}
        for block in {block for some in partitions(range(len(self.seen))) for block in some if len(block) > 1}:
            for s in self.sizes:
                self.sit(s, block)

    def alone(self, u: int) -> Floats:
        return self.prior.finds * (1 - self.prior.boxed) * self.compiled.prior * self.seen[u]

    def seat(self, u: int, s: int, p: int) -> Floats:
        here = (self.compiled.set_of == s) & (self.compiled.position == p + 1)
        among = np.where(here, self.compiled.prior, 0.0)
        return among / among.sum() * self.seen[u] if among.sum() else among

    def pattern(self, s: int, many: int) -> float:
        size, stayed = self.sizes[s], self.prior.stayed
        several = sum(comb(size, m) * stayed**m * (1 - stayed) ** (size - m) for m in range(2, size + 1))
        chance = stayed**many * (1 - stayed) ** (size - many) / several
        return self.prior.finds * self.prior.boxed * self.common[s] / sum(self.common.values()) * chance

    def sit(self, s: int, block: tuple[int, ...]) -> None:
        found: dict[tuple[int, ...], float] = {}
        shares = np.zeros((len(block), self.compiled.candidates))
        for where in permutations(range(self.sizes[s]), len(block)):
            fits = [self.seat(u, s, p) for u, p in zip(block, where, strict=True)]
            found[where] = self.pattern(s, len(block)) * prod(float(one.sum()) for one in fits)
            if found[where] > 0:
                shares += [found[where] * one / one.sum() for one in fits]
        if sum(found.values()) > 0:
            self.seats[s, block], self.inside[s, block] = found, shares

    def ways(self) -> Iterator[list[Block]]:
        """Every choice of a set for every part of every partition; parts of one unit are strays."""
        for some in partitions(range(len(self.seen))):
            large = [block for block in some if len(block) > 1]
            yield from map(list, product(*([(s, block) for s in self.sizes if (s, block) in self.seats] for block in large)))


def enumerated(units: Units) -> Plain:
    plain = LongWay(units)
    weights: dict[frozenset[Block], float] = {}
    shares = np.zeros(plain.seen.shape)
    for way in plain.ways():
        single = set(range(len(plain.seen))) - {u for _, block in way for u in block}
        weight = prod(sum(plain.seats[one].values()) for one in way) * prod(float(plain.alone(u).sum()) for u in single)
        weights[frozenset(way)] = weight
        for u in single:
            shares[u] += weight * plain.alone(u) / plain.alone(u).sum()
        for one in way:
            for i, u in enumerate(one[1]):
                shares[u] += weight * plain.inside[one][i] / plain.inside[one][i].sum()
    return Plain(weights, shares, plain.seats)


def random_lot(random_kb: ModuleType, seed: int) -> Units:
    """3 to 6 randomly described units of a random knowledge base; 6 where it has few sets."""
    entries = random_kb.random_entries(seed)
    many = 3 + seed % 3 + (len(entries.sets) < 2)
    answers = [random_kb.random_answers(entries, 100 * seed + u) for u in range(many)]
    units = units_of(entries, LotFile.model_validate({"units": [{"answers": one} for one in answers]}))
    return replace(units, prior=BOXY if seed % 2 else USUAL)


def of(units: Units, group: Group) -> tuple[int, tuple[int, ...]]:
    return units.lot.sets[group.boxed].set, group.units


@pytest.mark.parametrize("seed", SEEDS)
def test_every_law_against_enumeration(seed: int, random_kb: ModuleType) -> None:
    """The total, the best explanations in order, every group's and every candidate's probability, and who sits where."""
    units = random_lot(random_kb, seed)
    assert not units.impossible
    plain, solved = enumerated(units), units.solved
    assert solved.exact
    assert np.exp(solved.log_total) == pytest.approx(plain.total, rel=1e-9)
    best = sorted(plain.weights.values(), reverse=True)[: lots_kernel.MOST_EXPLANATIONS]
    best = [weight / plain.total for weight in best if weight > 0]
    assert [one.probability for one in solved.explanations] == pytest.approx(best, rel=1e-9)
    for one in solved.explanations:
        named = frozenset(of(units, group) for group in one.groups)
        assert one.probability == pytest.approx(plain.weights[named] / plain.total, rel=1e-9)
    for group, chance in solved.used.items():
        mine = sum(weight for some, weight in plain.weights.items() if of(units, group) in some)
        assert chance == pytest.approx(mine / plain.total, rel=1e-9, abs=1e-15)
        seats = plain.seats[of(units, group)]
        boxed = units.lot.sets[group.boxed]
        assert seats[tuple(seated(boxed, group.units).tolist())] == pytest.approx(max(seats.values()), rel=1e-9)
        shares = seat_shares(boxed, group.units)
        for i in range(len(group.units)):
            for p in range(shares.shape[1]):
                there = sum(weight for where, weight in seats.items() if where[i] == p)
                assert shares[i, p] == pytest.approx(there / sum(seats.values()), abs=1e-9)
    assert units.given_the_lot == pytest.approx(plain.shares / plain.total, abs=1e-8)


def test_sets_are_really_found_in_the_random_lots(random_kb: ModuleType) -> None:
    """The laws above are tried on lots in which something comes together."""
    lots = [one for seed in SEEDS if not (one := random_lot(random_kb, seed)).impossible]
    assert sum(bool(one.solved.used) for one in lots) >= 8
    assert sum(bool(one.solved.explanations[0].groups) for one in lots) >= 4
    assert len(lots) >= 20


def test_limits_are_owned_up_to_and_lose_little(random_kb: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """Followed only in part, a lot says that it is not exact, and its total is no larger; the best is found all the same here."""
    tried = 0
    for seed in SEEDS:
        units = random_lot(random_kb, seed)
        if units.impossible or len(units.solved.used) < 6:
            continue
        tried += 1
        monkeypatch.setattr(lots_kernel, "EXACT_UNITS", 1)
        monkeypatch.setattr(lots_kernel, "MOST_STATES", 4)
        narrow = explain_lot(units.lot)
        monkeypatch.undo()
        assert narrow.log_total <= units.solved.log_total + 1e-9
        assert narrow.exact is False or narrow.log_total == pytest.approx(units.solved.log_total, abs=1e-3)
        best = [one.log_total + np.log(one.explanations[0].probability) for one in (narrow, units.solved)]
        assert best[0] == pytest.approx(best[1], abs=0.05), seed
    assert tried >= 3


def test_seats_that_are_not_plausible_hardly_matter(random_kb: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """Six units of three colors, all seats against the plausible ones: the total loses less than a hundredth."""
    answers = [{"color": f"c{k}", "end": end} for k in range(3) for end in ("front", "back")]
    units = units_of(kits(random_kb, 3), LotFile.model_validate({"units": [{"answers": one} for one in answers]}))
    whole = units.solved
    monkeypatch.setattr(lots_kernel, "EXACT_UNITS", 1)
    monkeypatch.setattr(lots_kernel, "NOT_THERE", 0.01)
    plausible = explain_lot(units.lot)
    assert len(plausible.used) < len(whole.used)
    assert 0 <= whole.log_total - plausible.log_total < 0.01


def test_units_that_no_set_links_are_settled_apart(random_kb: ModuleType) -> None:
    """Thirty units of which no set links more than two: exact, and each pair as on its own."""
    entries = kits(random_kb, 15)
    answers = [{"color": f"c{k}", "end": end} for k in range(15) for end in ("front", "back")]
    units = units_of(entries, LotFile.model_validate({"units": [{"answers": one} for one in answers]}))
    assert units.solved.exact
    found = {(units.compiled.sets[units.lot.sets[one.boxed].set], one.units) for one in units.solved.explanations[0].groups}
    assert found == {(f"kit-{k}", (2 * k, 2 * k + 1)) for k in range(15)}


def kits(random_kb: ModuleType, many: int, fitted: bool = False) -> Entries:
    """Sets of two units of one color each; where fitted, each with a hook of its own kind."""
    colors = {f"c{k}": {"name": f"Color {k}"} for k in range(many)}
    traits = {
        "color": {"name": "Color", "view": "side", "mistakes": 0.001, "states": colors},
        "end": {"name": "End", "view": "side", "mistakes": 0.001, "states": {"front": {"name": "F"}, "back": {"name": "B"}}},
    }
    hooks = {f"hook-{k}": {"type": "hook", "fits": {"railcar": ["hook"]}, "shows": {}} for k in range(many)}
    variants = {
        f"{end}-{k}": {"shows": {"color": f"c{k}", "end": end}, **({"fitted": {"hook": f"hook-{k}"}} if fitted else {})}
        for k in range(many)
        for end in ("front", "back")
    }
    sets = {f"kit-{k}": {"positions": [{"variants": f"front-{k}"}, {"variants": f"back-{k}"}]} for k in range(many)}
    parts = {"slots": {"hook": {"name": "Hook", "type": "hook"}}} if fitted else {}
    more: dict[str, Any] = {"slot_types": {"hook": {}}, "parts": hooks} if fitted else {}
    return random_kb.knowledge_base(traits=traits, family=parts, variants=variants, sets=sets, **more)


#: (reason, answers of each unit, the sets found, the strays)
LOTS: dict[str, tuple[str, list[str], list[tuple[str, list[int]]], list[int]]] = {
    "a pair": ("both ends of one color", ["c0 front", "c0 back"], [("kit-0", [1, 2])], []),
    "two colors": ("two fronts of one color and a stray of another", ["c0 front", "c1 back"], [], [1, 2]),
    "one of each too many": ("one seat takes one unit", ["c0 front", "c1 front", "c1 back"], [("kit-1", [2, 3])], [1]),
    "two strays of one kind": (
        "neither has a mate here",
        ["c2 front", "c0 back", "c2 front", "c0 front"],
        [("kit-0", [2, 4])],
        [1, 3],
    ),
}


@pytest.mark.parametrize(("reason", "lot", "sets", "strays"), LOTS.values(), ids=LOTS)
def test_plain_lots(
    reason: str, lot: list[str], sets: list[tuple[str, list[int]]], strays: list[int], random_kb: ModuleType
) -> None:
    answers = [dict(zip(("color", "end"), one.split(), strict=True)) for one in lot]
    units = units_of(kits(random_kb, 3), LotFile.model_validate({"units": [{"answers": one} for one in answers]}))
    best = report_lot(units)["explanations"][0]
    assert [(one["set"], sorted(unit["unit"] for unit in one["units"])) for one in best["sets"]] == sets, reason
    assert best["strays"] == strays, reason


def test_the_same_set_may_be_there_twice(random_kb: ModuleType) -> None:
    """Two like boxes; which front goes with which back cannot be told, so the two ways are as likely."""
    answers = [{"color": "c2", "end": end} for end in ("front", "front", "back", "back")]
    units = units_of(kits(random_kb, 3), LotFile.model_validate({"units": [{"answers": one} for one in answers]}))
    first, second, *_ = report_lot(units)["explanations"]
    for one in (first, second):
        assert [some["set"] for some in one["sets"]] == ["kit-2", "kit-2"]
        assert one["strays"] == []
    assert first["probability"] == pytest.approx(second["probability"])


def test_a_hook_of_another_set_lowers_the_set(random_kb: ModuleType) -> None:
    """Parts that belong speak for the set, and foreign ones against it."""
    entries = kits(random_kb, 2, fitted=True)
    chances: list[float] = []
    for hook in ("hook-0", "hook-1"):
        answers = [{"end": "front", "hook": "hook-0"}, {"end": "back", "hook": hook}]
        units = units_of(entries, LotFile.model_validate({"units": [{"answers": one} for one in answers]}))
        chances.append(sum(chance for group, chance in units.solved.used.items() if group.units == (0, 1)))
    assert chances[0] > 2 * chances[1]


def test_hooks_are_given_back(random_kb: ModuleType) -> None:
    entries = kits(random_kb, 2, fitted=True)
    answers = [
        {"color": "c0", "end": "front", "hook": "hook-1"},
        {"color": "c0", "end": "back", "hook": "hook-0"},
        {"color": "c1", "end": "front", "hook": "hook-0"},
    ]
    units = units_of(entries, LotFile.model_validate({"units": [{"answers": one} for one in answers]}))
    (one,) = report_lot(units)["exchanges"]
    assert (one["slot"], one["between"], one["slots"], one["parts"]) == ("hook", [1, 3], ["hook", "hook"], ["hook-1", "hook-0"])
    assert one["chance"] > 0.55, "the third may be of a kind nobody recorded"


#: (reason, belongs[i, j], changed[i], rings)
RINGS: dict[str, tuple[str, list[list[float]], list[float], list[tuple[int, ...]]]] = {
    "all right": ("nothing was changed", [[1, 0], [0, 1]], [0.02, 0.02], []),
    "a pair": ("each has the other's", [[0, 1], [1, 0]], [1, 1], [(0, 1)]),
    "only one changed": ("what one wants is right where it is", [[0, 1], [0, 1]], [1, 0.05], []),
    "ring of three": ("each has the next one's", [[0, 1, 0], [0, 0, 1], [1, 0, 0]], [1, 1, 1], [(0, 1, 2)]),
    "pair among others": ("the third stays", [[0, 0, 1], [0, 1, 0], [1, 0, 0]], [0.9, 0.1, 0.9], [(0, 2)]),
}


@pytest.mark.parametrize(("reason", "belongs", "changed", "rings"), RINGS.values(), ids=RINGS)
def test_rings(reason: str, belongs: list[list[float]], changed: list[float], rings: list[tuple[int, ...]]) -> None:
    found = exchanges(np.array(belongs, dtype=float), np.array(changed, dtype=float))
    assert [ring for ring, _ in found if _ > 0.2] == rings, reason


def test_impossible_unit_is_named(random_kb: ModuleType) -> None:
    """A unit with weight nowhere is found before anything is divided by it."""
    units = random_lot(random_kb, 0)
    rows = units.likelihood.copy()
    rows[1] = 0.0
    assert Units(units.entries, units.file, units.compiled, units.sessions, rows).impossible == [1]


def test_a_single_find_is_what_identify_says(random_kb: ModuleType) -> None:
    """Where the record has no set that two of the units could be of, every unit is believed as on its own."""
    units = units_of(
        kits(random_kb, 2),
        LotFile.model_validate({"units": [{"answers": {"color": "c0"}}, {"answers": {"end": "front"}}]}),
    )
    alone = candidates_given(units.lot, units.compiled, units.likelihood, {})
    for row, session in zip(alone, units.sessions, strict=True):
        assert row == pytest.approx(session.belief.probability, abs=1e-12)

"""What others say of a unit, each wrong so often, against plain enumeration and against a Bayesian network of pyAgrum.

The model is common practice for reports of a source that may be wrong, no source for the form we gave it: with the chance `wrong`
a statement names each state alike, whatever the unit is; else it is a reading like one's own, made anew.  In the network a
statement is a node with two parents, the true state and whether its author is wrong; or the same as soft evidence on the true
state: J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, section 2.2.2 (virtual evidence; from memory).
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import product
from random import Random
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pyagrum
import pytest
from tellmark.identify.belief import leaning, swapped
from tellmark.identify.doubts import told_wrong
from tellmark.identify.given import Heard
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.answers import read_all
from tellmark.kb.load import Entries
from tellmark.kb.values import Answer

if TYPE_CHECKING:
    from .conftest import PlainModel, PlainSlot, PlainTrait

Read = Callable[[Entries], "PlainModel"]
Allowed = Callable[["PlainModel", Mapping[str, Answer]], dict[str, list[str]]]
Named = Callable[[Any, int], tuple[str | None, str | None, int]]
CLOSE = 1e-9
BATCH, BATCHES = 20, 5


@dataclass(frozen=True)
class Statement:
    """One statement: the trait it is about, the readings that agree with it, and how often its author is wrong."""

    key: str
    left: list[str]
    wrong: float


@dataclass(frozen=True)
class Case:
    """A knowledge base, what was answered and said of a unit, and for each candidate the chance of what is said of the whole."""

    entries: Entries
    model: "PlainModel"
    seen: dict[str, list[str]]
    said: list[Statement]
    whole: list[float]
    session: Session


@pytest.fixture
def case(random_kb: ModuleType, plain_model: Read, allowed: Allowed, candidate: Named) -> Callable[[int], Case]:
    """From a seed; two people may speak of one trait, and of one that was looked at as well."""

    def make(seed: int) -> Case:
        rng = Random(seed)
        entries = random_kb.random_entries(seed)
        answers = random_kb.random_answers(entries, seed, most=2)
        model = plain_model(entries)
        session = answered(start(entries), entries, random_kb.FAMILY, answers)
        said: list[Statement] = []
        heard: list[Heard] = []
        for n in range(rng.randint(1, 2)):
            told = random_kb.random_answers(entries, seed + 7919 * (n + 1), most=2)
            left = allowed(model, told)
            for asked, reading in read_all(entries, random_kb.FAMILY, {key: told[key] for key in left})[0]:
                wrong = rng.choice([0.0, 0.05, 0.3, 0.8, 1.0])
                heard.append(Heard(session.compiled.trait(asked.id, asked.family), reading, wrong))
                said.append(Statement(asked.id, left[asked.id], wrong))
        chances = {(one.variant, one.set, one.position): rng.uniform(0.05, 1) for one in model.candidates}
        compiled = session.compiled
        factor = np.array([chances[candidate(compiled, c)] for c in range(compiled.candidates)])
        session = replace(session, compiled=leaning(compiled, factor), heard=tuple(heard))
        return Case(entries, model, allowed(model, answers), said, [*chances.values()], session)

    return make


def chance_said(trait: "PlainTrait", state: str, one: Statement) -> float:
    """Of a statement, when the trait is truly in a state."""
    right = sum(trait.misread[state][read] for read in one.left)
    return (1 - one.wrong) * right + one.wrong * len(one.left) / len(trait.states)


def enumerated(one: Case) -> tuple[dict[Any, float], float]:
    """(chance of each event with all that was seen and said, chance of the latter)."""
    joint: dict[Any, float] = defaultdict(float)
    total = 0.0
    for c, prior in enumerate(one.model.prior):
        by_slot = [list(worlds(slot, c, one)) for slot in one.model.slots]
        for row in product(*by_slot):
            chance = prior * one.whole[c]
            for *_, of_world in row:
                chance *= of_world
            total += chance
            joint["candidate", c] += chance
            for slot, (changed, part, states, _) in zip(one.model.slots, row, strict=True):
                joint["part", c, slot.id, part] += chance
                joint["changed", c, slot.id] += chance * changed
                for n, said in enumerate(one.said):
                    joint["wrong", n] += chance * (said.key in states and states[said.key] not in said.left)
            joint["original",] += chance * (not any(changed for changed, *_ in row))
    return joint, total


def worlds(slot: "PlainSlot", c: int, case: Case) -> list[tuple[bool, str, dict[str, str], float]]:
    """(changed, part, true states of what was seen or said of it, chance with all that agrees) of one slot."""
    keys = {*case.seen, *(one.key for one in case.said)}
    traits = [trait for key, trait in slot.traits.items() if key in keys]
    found: list[tuple[bool, str, dict[str, str], float]] = []
    for changed in (False, True):
        for part, of_part in (slot.replaced if changed else slot.issued)[c].items():
            start = (slot.swap[c] if changed else 1 - slot.swap[c]) * of_part
            for true in product(*(trait.truth[part] for trait in traits)) if start > 0 else ():
                chance = start
                for trait, state in zip(traits, true, strict=True):
                    chance *= trait.truth[part][state]
                    if trait.key in case.seen:
                        chance *= sum(trait.misread[state][read] for read in case.seen[trait.key])
                    for one in case.said:
                        chance *= chance_said(trait, state, one) if one.key == trait.key else 1.0
                if chance > 0:
                    found.append((changed, part, {trait.key: s for trait, s in zip(traits, true, strict=True)}, chance))
    return found


@pytest.mark.parametrize("batch", range(BATCHES))
def test_what_is_said_counts_as_enumerated(batch: int, case: Callable[[int], Case], deviation: Callable[..., float]) -> None:
    moved = 0
    for seed in range(50_000 + batch * BATCH, 50_000 + (batch + 1) * BATCH):
        one = case(seed)
        joint, total = enumerated(one)
        belief = one.session.belief
        assert belief.plausible == (total > 0), seed
        if total == 0:
            continue
        worst = deviation(one.model, one.session, joint, total)
        worst = max([worst, *(abs(wrong - joint["wrong", n] / total) for n, wrong in enumerate(doubts(one)))])
        assert worst < CLOSE, (seed, one.said)
        without = replace(one.session, heard=()).belief.probability
        moved += bool(np.abs(belief.probability - without).max() > 1e-3)
    assert moved > BATCH / 3, "most of what is said should say something"


def doubts(one: Case) -> list[float]:
    """The chance of each statement that it names what is not there, as we compute it."""
    compiled, belief = one.session.compiled, one.session.belief
    by_trait = {some.trait: told_wrong(compiled, belief, some) for some in one.session.evidence}
    return [by_trait[heard.trait].pop(0) for heard in one.session.heard]


# pyAgrum ---------------------------------------------------------------------------------------------------------------


class Network:
    """A network of a case: candidate -> changed -> part -> true state -> what was read and said, or soft evidence of it."""

    def __init__(self, one: Case, soft: bool) -> None:
        self.one, self.soft, self.net = one, soft, pyagrum.BayesNet()
        self.evidence: dict[str, list[float]] = {}
        weights = np.array(one.model.prior) * one.whole
        self.node("candidate", [str(c) for c in range(len(weights))]).fillWith((weights / weights.sum()).tolist())
        keys = {*one.seen, *(said.key for said in one.said)}
        for slot in one.model.slots:
            rows = self.slot(slot)
            for trait in (trait for key, trait in slot.traits.items() if key in keys):
                self.trait(slot, trait, rows)

    def node(self, name: str, labels: list[str], *parents: str) -> Any:
        self.net.add(pyagrum.LabelizedVariable(name, name, labels))
        for parent in parents:
            self.net.addArc(parent, name)
        return self.net.cpt(name)

    def slot(self, slot: "PlainSlot") -> list[str]:
        rows = sorted({row for table in (slot.issued, slot.replaced) for chances in table for row in chances})
        changed = self.node(f"changed.{slot.id}", ["no", "yes"], "candidate")
        part = self.node(f"part.{slot.id}", rows, "candidate", f"changed.{slot.id}")
        for c, swap in enumerate(slot.swap):
            changed[{"candidate": c}] = [1 - swap, swap]
            for z, chances in enumerate((slot.issued[c], slot.replaced[c])):
                part[{"candidate": c, f"changed.{slot.id}": z}] = [chances.get(row, 0.0) for row in rows]
        return rows

    def trait(self, slot: "PlainSlot", trait: "PlainTrait", rows: list[str]) -> None:
        true = self.node(f"true.{trait.key}", trait.states, f"part.{slot.id}")
        for r, row in enumerate(rows):
            true[{f"part.{slot.id}": r}] = [trait.truth[row].get(state, 0.0) for state in trait.states]
        said = [said for said in self.one.said if said.key == trait.key]
        if self.soft:
            likely = np.array([[chance_said(trait, state, some) for state in trait.states] for some in said])
            self.evidence[f"true.{trait.key}"] = np.prod(likely, axis=0).tolist() if said else [1.0] * len(trait.states)
        else:
            for n, some in enumerate(said):
                self.statement(trait, n, some)
        if trait.key in self.one.seen:
            read = self.node(f"read.{trait.key}", trait.states, f"true.{trait.key}")
            for k, state in enumerate(trait.states):
                read[{f"true.{trait.key}": k}] = [trait.misread[state].get(to, 0.0) for to in trait.states]
            self.evidence[f"read.{trait.key}"] = [float(state in self.one.seen[trait.key]) for state in trait.states]

    def statement(self, trait: "PlainTrait", n: int, said: Statement) -> None:
        wrong, names = f"wrong.{trait.key}.{n}", f"said.{trait.key}.{n}"
        self.node(wrong, ["no", "yes"]).fillWith([1 - said.wrong, said.wrong])
        table = self.node(names, trait.states, f"true.{trait.key}", wrong)
        for k, state in enumerate(trait.states):
            table[{f"true.{trait.key}": k, wrong: 0}] = [trait.misread[state].get(to, 0.0) for to in trait.states]
            table[{f"true.{trait.key}": k, wrong: 1}] = [1 / len(trait.states)] * len(trait.states)
        self.evidence[names] = [float(state in said.left) for state in trait.states]

    def posteriors(self) -> dict[str, list[float]]:
        """Of the candidate, and of whether each slot was changed, by exact inference."""
        inference = pyagrum.LazyPropagation(self.net)
        inference.setEvidence(self.evidence)
        inference.makeInference()
        wanted = ["candidate", *(f"changed.{slot.id}" for slot in self.one.model.slots)]
        return {name: inference.posterior(name).tolist() for name in wanted}


@pytest.mark.parametrize("soft", [False, True], ids=["a node for each statement", "soft evidence"])
@pytest.mark.parametrize("batch", range(2))
def test_what_is_said_counts_as_in_a_bayesian_network(
    batch: int, soft: bool, case: Callable[[int], Case], candidate: Named
) -> None:
    compared, seed = 0, 60_000 + 1000 * batch
    while compared < 10:
        seed += 1
        one = case(seed)
        compiled, belief = one.session.compiled, one.session.belief
        if not belief.plausible:
            continue
        theirs = Network(one, soft).posteriors()
        ours = {candidate(compiled, c): float(belief.probability[c]) for c in range(compiled.candidates)}
        mine = [ours[each.variant, each.set, each.position] for each in one.model.candidates]
        assert mine == pytest.approx(theirs["candidate"], abs=CLOSE), seed
        for s, slot in enumerate(compiled.slots):
            changed = float(belief.probability @ swapped(slot, belief.evidence[s], belief.factor[s])[slot.row])
            assert changed == pytest.approx(theirs[f"changed.{slot.id}"][1], abs=CLOSE), (seed, slot.id)
        compared += 1

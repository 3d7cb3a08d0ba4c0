"""Loose parts against plain enumeration and pyAgrum's exact inference, and what the trade knows of them.

The weights are worked out from the records by dictionaries (`conftest.py`), without our compiler or any array.
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from random import Random
from types import ModuleType
from typing import TYPE_CHECKING, Any

import pyagrum
import pytest
from tellmark.identify.start import answered, start_part
from tellmark.kb.load import Entries, load
from tellmark.kb.models import Trait
from tellmark.kb.values import Answer, Fact

if TYPE_CHECKING:
    from .conftest import PlainModel

Read = Callable[[Entries], "PlainModel"]
Chances = dict[str, float]
ENTRIES = Path(__file__).parents[2] / "entries"
#: As close as `design.md` asks for.
CLOSE = 1e-9
BATCH, BATCHES = 12, 4
#: What the compiler assumes where no record says it: how often the sort of a part is mistaken, a trait taken for missing, and how
#: common a part is that nobody recorded in any slot, beside the average one.
SORT_MISTAKEN, TO_THE_CONFUSED, TO_MISSING, NO_SLOT = 0.01, 0.9, 0.05, 0.01
SOMETHING_ELSE = "unlisted"


@dataclass(frozen=True)
class Candidate:
    """A part, or (ident None) what nobody recorded of a sort."""

    ident: str | None
    sort: str
    weight: float


@dataclass(frozen=True)
class Seen:
    """truth[candidate][state] and misread[state][read] of one trait; the first one is the sort."""

    key: str
    states: list[str]
    truth: list[Chances]
    misread: dict[str, Chances]


class Plain:
    """All loose parts of a knowledge base of one family, as words and chances."""

    def __init__(self, entries: Entries, model: "PlainModel") -> None:
        self.entries = entries
        family = next(iter(entries.families.values()))
        self.sorts = sorted(entries.slot_types)
        weight = dict.fromkeys(entries.parts, 0.0)
        unlisted = dict.fromkeys(self.sorts, 0.0)
        for slot in model.slots:
            if not slot.has_parts:
                continue
            sort = family.slots[slot.id].type or ""
            for prior, swap, issued, replaced in zip(model.prior, slot.swap, slot.issued, slot.replaced, strict=True):
                for part in weight:
                    weight[part] += prior * swap * (issued.get(part, 0.0) + replaced.get(part, 0.0))
                unlisted[sort] += prior * swap * (issued.get("unlisted", 0.0) + replaced.get("unlisted", 0.0))
        self.usable = all(weight[part] > NO_SLOT * self.usual(part, weight) for part in weight) and all(unlisted.values())
        share = entries.about.not_in_the_record
        other = (sum(weight.values()) + sum(unlisted.values())) * share / (1 - share)
        self.candidates = [Candidate(part, entries.home["part", part], weight[part]) for part in sorted(weight)]
        self.candidates += [Candidate(None, sort, unlisted[sort]) for sort in self.sorts]
        self.candidates.append(Candidate(None, SOMETHING_ELSE, other))
        self.traits = [self.sort(), *(self.trait(sort, name) for sort in self.sorts for name in entries.slot_types[sort].traits)]

    def usual(self, part: str, weight: Chances) -> float:
        """The average weight of the parts of its sort."""
        mine = [other for other in weight if self.entries.home["part", other] == self.entries.home["part", part]]
        return sum(weight[other] for other in mine) / len(mine)

    def sort(self) -> Seen:
        states = [*self.sorts, SOMETHING_ELSE]
        wrong = SORT_MISTAKEN / (len(states) - 1)
        misread = {true: {read: 1 - SORT_MISTAKEN if read == true else wrong for read in states} for true in states}
        return Seen("slot-type", states, [{one.sort: 1.0} for one in self.candidates], misread)

    def trait(self, sort: str, name: str) -> Seen:
        """What is not recorded is as that of all parts of the sort, by how common they are; other sorts have no such thing."""
        trait = self.entries.slot_types[sort].traits[name]
        states = list(trait.states or {})
        mine = [one for one in self.candidates if one.sort == sort]
        said = {one.ident: self.shares(self.entries.parts[one.ident].shows.get(name)) for one in mine if one.ident}
        known = [(one.weight, row) for one in mine if one.ident and (row := said[one.ident])]
        total = sum(weight for weight, _ in known)
        blend = {
            state: sum(w * row.get(state, 0.0) / sum(row.values()) for w, row in known) / total if total else 1 / len(states)
            for state in states
        }
        truth = [self.row(said.get(one.ident or ""), blend) if one.sort == sort else {"missing": 1.0} for one in self.candidates]
        return Seen(f"{sort}.{name}", [*states, "missing"], truth, self.misreading(trait, states))

    def row(self, said: Chances | None, blend: Chances) -> Chances:
        rest = 1.0 - sum((said or {}).values())
        return {state: (said or {}).get(state, 0.0) + rest * share for state, share in blend.items()}

    def shares(self, fact: Fact | None) -> Chances | None:
        if fact is None or "unknown" in fact.is_:
            return None
        numbers = {k: self.entries.about.frequencies[w] if isinstance(w, str) else w for k, w in fact.is_.items()}
        return numbers if len(numbers) == 1 else {k: value / sum(numbers.values()) for k, value in numbers.items()}

    def misreading(self, trait: Trait, states: list[str]) -> dict[str, Chances]:
        said = trait.mistakes
        mistakes = self.entries.about.mistakes[said] if isinstance(said, str) else said
        misread: dict[str, Chances] = {"missing": dict.fromkeys(states, mistakes / len(states)) | {"missing": 1 - mistakes}}
        for true in states:
            named = (trait.states or {})[true].mistaken_for
            others = [state for state in states if state != true and state not in named]
            to_named = 0.0 if not named else TO_THE_CONFUSED if others else 1.0
            row = {true: 1 - mistakes}
            row |= {state: mistakes * to_named / len(named) for state in named}
            row |= {state: mistakes * (1 - to_named) / len(others) for state in others}
            misread[true] = {read: chance * (1 - mistakes * TO_MISSING) for read, chance in row.items()}
            misread[true]["missing"] = mistakes * TO_MISSING
        return misread

    def enumerated(self, left: dict[str, list[str]]) -> list[float]:
        """P(candidate | answers), by every combination of true states and readings."""
        seen = [trait for trait in self.traits if trait.key in left]
        joint: list[float] = []
        for c, one in enumerate(self.candidates):
            total = 0.0
            for true in product(*(trait.truth[c].items() for trait in seen)):
                for read in product(*(left[trait.key] for trait in seen)):
                    chance = one.weight
                    for trait, (state, share), word in zip(seen, true, read, strict=True):
                        chance *= share * trait.misread[state].get(word, 0.0)
                    total += chance
            joint.append(total)
        return [chance / sum(joint) for chance in joint]

    def network(self, left: dict[str, list[str]]) -> list[float]:
        """The same by a Bayesian network: candidate -> true state -> reading, for each trait that was answered."""
        net = pyagrum.BayesNet()
        net.add(pyagrum.LabelizedVariable("candidate", "candidate", [str(c) for c in range(len(self.candidates))]))
        total = sum(one.weight for one in self.candidates)
        net.cpt("candidate").fillWith([one.weight / total for one in self.candidates])
        evidence: dict[str, list[float]] = {}
        for trait in self.traits:
            if trait.key not in left:
                continue
            true, read = f"true.{trait.key}", f"read.{trait.key}"
            for name, parent in ((true, "candidate"), (read, true)):
                net.add(pyagrum.LabelizedVariable(name, name, trait.states))
                net.addArc(parent, name)
            for c, row in enumerate(trait.truth):
                net.cpt(true)[{"candidate": c}] = [row.get(state, 0.0) for state in trait.states]
            for k, state in enumerate(trait.states):
                net.cpt(read)[{true: k}] = [trait.misread[state].get(word, 0.0) for word in trait.states]
            evidence[read] = [float(state in left[trait.key]) for state in trait.states]
        inference = pyagrum.LazyPropagation(net)
        inference.setEvidence(evidence)
        inference.makeInference()
        return inference.posterior("candidate").tolist()


def random_answers(plain: Plain, seed: int) -> tuple[dict[str, Answer], dict[str, list[str]]]:
    """Up to four answers, and the readings that agree with each."""
    rng = Random(seed)
    answers: dict[str, Answer] = {}
    left: dict[str, list[str]] = {}
    for trait in rng.sample(plain.traits, min(len(plain.traits), rng.randint(1, 4))):
        named = [state for state in trait.states if state != "missing"]
        some = rng.sample(named, rng.randint(1, len(named) - 1))
        form = rng.choice(["is", "not", "one_of", "missing" if "missing" in trait.states else "is"])
        if form == "missing":
            plainly, left[trait.key] = {"is": "missing"}, ["missing"]
        elif form == "not":
            plainly, left[trait.key] = {"not": some}, [state for state in named if state not in some]
        else:
            plainly, left[trait.key] = ({"is": some[0]}, some[:1]) if form == "is" else ({"one_of": some}, some)
        answers[trait.key] = Answer.model_validate(plainly)
    return answers, left


@pytest.mark.parametrize("batch", range(BATCHES))
def test_belief_of_a_loose_part(batch: int, random_kb: ModuleType, plain_model: Read) -> None:
    """No idea which sort: prior, sort and traits against enumeration and against pyAgrum."""
    worst, compared, seed = 0.0, 0, 50_000 + 1000 * batch
    while compared < BATCH:
        seed += 1
        entries = random_kb.random_entries(seed)
        plain = Plain(entries, plain_model(entries)) if entries.parts else None
        if plain is None or not plain.usable:
            continue
        answers, left = random_answers(plain, seed)
        session = answered(start_part(entries), entries, None, answers, part=True)
        compiled = session.compiled
        ours = {
            (compiled.label(c), compiled.families[int(compiled.family[c])]): float(session.belief.probability[c])
            for c in range(compiled.candidates)
        }
        keys = [(one.ident or "not-in-the-record", one.sort) for one in plain.candidates]
        for theirs in (plain.enumerated(left), plain.network(left)):
            found = max(abs(ours[key] - chance) for key, chance in zip(keys, theirs, strict=True))
            assert found < CLOSE, f"seed {seed}: {answers}"
            worst = max(worst, found)
        compared += 1
    print(f"batch {batch}: largest deviation {worst:.2e}")


# What the trade knows --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demonstration() -> Entries:
    loaded = load(ENTRIES)
    assert loaded.findings == []
    return loaded.entries


def chances(entries: Entries, slot_type: str, **said: Any) -> Chances:
    answers = {key.replace("_", "-"): Answer.model_validate({"is": value}) for key, value in said.items()}
    return dict(answered(start_part(entries, slot_type), entries, slot_type, answers, part=True).variants)


def test_a_reproduction_is_told_by_what_it_does_otherwise(demonstration: Entries) -> None:
    """Common practice, no source: a copy follows the looks of the original; its small mechanical parts give it away."""
    alike = chances(demonstration, "motor", gearing="twin", traction="smooth-treads")
    given_away = chances(
        demonstration, "motor", gearing="twin", traction="smooth-treads", brush_plate="hex-caps", motor_mark="unmarked"
    )
    assert alike["twin-gear"] > 10 * alike["kiln-lane-twin"]
    assert given_away["kiln-lane-twin"] > 0.9


def test_a_loose_part_is_sooner_a_common_one(demonstration: Entries) -> None:
    """Common practice, no source: an unmarked part in a box of parts is what was made most and changed most."""
    for slot_type in ("motor", "coupler", "truck", "pilot"):
        shares = chances(demonstration, slot_type)
        first = next(iter(shares))
        assert demonstration.parts[first].how_common == "common", first
        assert demonstration.parts[first].reproduction_of is None, first


def test_boxes_of_parts_hold_couplers_and_trucks(demonstration: Entries) -> None:
    """Common practice, no source: what all units have, and a screwdriver takes off, turns up loose more often."""
    session = start_part(demonstration)
    compiled, prior = session.compiled, session.compiled.prior
    shares = {sort: float(prior[compiled.family == f].sum()) for f, sort in enumerate(compiled.families)}
    assert set(sorted(shares, key=lambda one: -shares[one])[:2]) == {"coupler", "truck"}
    assert shares["coupler"] > 5 * shares["dome-glass"]

"""The belief against Bayesian networks and naive Bayes as others compute them.

Sources: S. Russell and P. Norvig, Artificial Intelligence: A Modern Approach, the burglary network (tables and the result
0.284 from memory); pyAgrum's exact inference; scikit-learn's CategoricalNB.
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

from collections.abc import Callable
from random import Random
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pyagrum
import pytest
from sklearn.naive_bayes import CategoricalNB
from tellmark.identify.belief import parts_now, swapped
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.load import Entries
from tellmark.kb.values import Answer

if TYPE_CHECKING:
    from .conftest import PlainModel

Read = Callable[[Entries], "PlainModel"]
CLOSE = 1e-9
BATCH, BATCHES = 12, 5


# Russell and Norvig ----------------------------------------------------------------------------------------------------

BURGLARY, EARTHQUAKE = 0.001, 0.002
ALARM = {(True, True): 0.95, (True, False): 0.94, (False, True): 0.29, (False, False): 0.001}
JOHN, MARY = {"ringing": 0.90, "silent": 0.05}, {"ringing": 0.70, "silent": 0.01}
PRINTED = 0.284


def called(share: float) -> dict[str, float]:
    return {"calls": share, "quiet": 1 - share}


@pytest.fixture
def burglary(random_kb: ModuleType) -> Entries:
    """A variant is a night (burglary or not, earthquake or not), the alarm a part it was issued with, the calls its traits."""
    trait = {"name": "Call", "view": "side", "mistakes": 0, "states": {"calls": "Calls", "quiet": "Does not call"}}
    nights = {
        f"burglary-{b}-earthquake-{e}".lower(): {
            "name": "A night",
            "how_common": (BURGLARY if b else 1 - BURGLARY) * (EARTHQUAKE if e else 1 - EARTHQUAKE),
            "fitted": {"alarm": {"ringing": ringing, "silent": 1 - ringing}},
        }
        for (b, e), ringing in ALARM.items()
    }
    return random_kb.knowledge_base(
        about={"not_in_the_record": 1e-12},
        family={"slots": {"alarm": {"name": "Alarm", "type": "alarm", "swapped": 0}}},
        variants=nights,
        slot_types={"alarm": {"traits": {"john": trait, "mary": trait}}},
        parts={
            state: {
                "type": "alarm",
                "fits": {random_kb.FAMILY: ["alarm"]},
                "shows": {"john": called(JOHN[state]), "mary": called(MARY[state])},
            }
            for state in ("ringing", "silent")
        },
    )


def burglary_net() -> Any:
    """The same as a network of five nodes."""
    net = pyagrum.BayesNet()
    for name in ("burglary", "earthquake", "alarm", "john", "mary"):
        net.add(pyagrum.LabelizedVariable(name, name, ["no", "yes"]))
    for tail, head in [("burglary", "alarm"), ("earthquake", "alarm"), ("alarm", "john"), ("alarm", "mary")]:
        net.addArc(tail, head)
    net.cpt("burglary").fillWith([1 - BURGLARY, BURGLARY])
    net.cpt("earthquake").fillWith([1 - EARTHQUAKE, EARTHQUAKE])
    for (b, e), ringing in ALARM.items():
        net.cpt("alarm")[{"burglary": int(b), "earthquake": int(e)}] = [1 - ringing, ringing]
    for name, calls in (("john", JOHN), ("mary", MARY)):
        for a, state in enumerate(("silent", "ringing")):
            net.cpt(name)[{"alarm": a}] = [1 - calls[state], calls[state]]
    return net


@pytest.mark.parametrize(
    ("john", "mary", "printed"),
    [("calls", "calls", PRINTED), ("calls", None, None), ("calls", "quiet", None), ("quiet", "calls", None)],
)
def test_burglary_given_the_calls(
    john: str, mary: str | None, printed: float | None, burglary: Entries, random_kb: ModuleType
) -> None:
    said = {"alarm.john": john} | ({"alarm.mary": mary} if mary else {})
    answers = {key: Answer.model_validate({"is": state}) for key, state in said.items()}
    session = answered(start(burglary), burglary, random_kb.FAMILY, answers)
    ours = sum(chance for night, chance in session.variants if night.startswith("burglary-true"))
    inference = pyagrum.LazyPropagation(burglary_net())
    inference.setEvidence({key.partition(".")[2]: int(state == "calls") for key, state in said.items()})
    inference.makeInference()
    assert ours == pytest.approx(inference.posterior("burglary")[1], abs=CLOSE)
    if printed is not None:
        assert ours == pytest.approx(printed, abs=1e-3)


# pyAgrum on random knowledge bases -------------------------------------------------------------------------------------


class Net:
    """The Bayesian network of a plain model, with nodes only for what was answered.

    candidate -> changed.<slot>;  candidate, changed -> part.<slot>;  part -> true.<trait> -> read.<trait>.
    """

    def __init__(self, model: "PlainModel", allowed: dict[str, list[str]]) -> None:
        self.model, self.net = model, pyagrum.BayesNet()
        self.evidence: dict[str, list[float]] = {}
        self.node("candidate", [str(c) for c in range(len(model.candidates))])
        self.net.cpt("candidate").fillWith(model.prior)
        for slot in model.slots:
            self.slot(slot)
            rows = self.rows(slot)
            for trait in slot.traits.values():
                if trait.key in allowed:
                    self.node(f"true.{trait.key}", trait.states, [f"part.{slot.id}"])
                    for r, row in enumerate(rows):
                        chances = trait.truth[row]
                        self.net.cpt(f"true.{trait.key}")[{f"part.{slot.id}": r}] = [
                            chances.get(state, 0.0) for state in trait.states
                        ]
                    self.node(f"read.{trait.key}", trait.states, [f"true.{trait.key}"])
                    for k, state in enumerate(trait.states):
                        chances = trait.misread[state]
                        self.net.cpt(f"read.{trait.key}")[{f"true.{trait.key}": k}] = [
                            chances.get(read, 0.0) for read in trait.states
                        ]
                    self.evidence[f"read.{trait.key}"] = [float(state in allowed[trait.key]) for state in trait.states]

    def rows(self, slot: Any) -> list[str]:
        return sorted({row for rows in (slot.issued, slot.replaced) for one in rows for row in one})

    def slot(self, slot: Any) -> None:
        changed, part, rows = f"changed.{slot.id}", f"part.{slot.id}", self.rows(slot)
        self.node(changed, ["no", "yes"], ["candidate"])
        self.node(part, rows, ["candidate", changed])
        for c, swap in enumerate(slot.swap):
            self.net.cpt(changed)[{"candidate": c}] = [1 - swap, swap]
            for z, chances in enumerate((slot.issued[c], slot.replaced[c])):
                self.net.cpt(part)[{"candidate": c, changed: z}] = [chances.get(row, 0.0) for row in rows]

    def node(self, name: str, labels: list[str], parents: list[str] | None = None) -> None:
        self.net.add(pyagrum.LabelizedVariable(name, name, labels))
        for parent in parents or []:
            self.net.addArc(parent, name)

    def posteriors(self) -> Any:
        inference = pyagrum.LazyPropagation(self.net)
        inference.setEvidence(self.evidence)
        inference.makeInference()
        return inference


def deviation(model: "PlainModel", net: Net, session: Session) -> float:
    """The largest difference over candidates, parts in slots, and changed slots."""
    inference, compiled, belief = net.posteriors(), session.compiled, session.belief
    ours = {
        (compiled.label(c), int(compiled.set_of[c]), int(compiled.position[c])): float(belief.probability[c])
        for c in range(compiled.candidates)
    }
    theirs = inference.posterior("candidate").tolist()
    worst = 0.0
    for one, chance in zip(model.candidates, theirs, strict=True):
        of_set = compiled.sets.index(one.set) if one.set is not None else -1
        worst = max(worst, abs(chance - ours[one.variant or "not-in-the-record", of_set, one.position]))
    for plain in model.slots:
        s = next(i for i, slot in enumerate(compiled.slots) if slot.id == plain.id)
        slot, rows, factor = compiled.slots[s], belief.evidence[s], belief.factor[s]
        changed = float(belief.probability @ swapped(slot, rows, factor)[slot.row])
        worst = max(worst, abs(changed - inference.posterior(f"changed.{plain.id}")[1]))
        if plain.has_parts:
            now = belief.probability @ parts_now(slot, rows, factor)[slot.row]
            for name, chance in zip(net.rows(plain), inference.posterior(f"part.{plain.id}").tolist(), strict=True):
                worst = max(worst, abs(now[slot.parts.index(name)] - chance))
    return worst


@pytest.mark.parametrize("batch", range(BATCHES))
def test_belief_is_that_of_a_bayesian_network(
    batch: int, random_kb: ModuleType, plain_model: Read, allowed: Callable[..., dict[str, list[str]]]
) -> None:
    """Seeds apart from those of the enumeration; the network is made from the records without our compiler."""
    worst, compared, seed = 0.0, 0, 10_000 + 1000 * batch
    while compared < BATCH:
        seed += 1
        entries = random_kb.random_entries(seed)
        answers = random_kb.random_answers(entries, seed, most=6)
        session = answered(start(entries), entries, random_kb.FAMILY, answers)
        model = plain_model(entries)
        if session.belief.plausible:
            found = deviation(model, Net(model, allowed(model, answers)), session)
            assert found < CLOSE, f"seed {seed}: {answers}"
            worst, compared = max(worst, found), compared + 1
    print(f"batch {batch}: largest deviation from pyAgrum {worst:.2e}")


# Naive Bayes -----------------------------------------------------------------------------------------------------------

TENTHS = 10


@pytest.mark.parametrize("seed", range(12))
def test_without_changes_and_mistakes_it_is_naive_bayes(seed: int, random_kb: ModuleType) -> None:
    """CategoricalNB is fitted on ten rows a variant whose columns hold each state as often as the record says."""
    rng = Random(seed)
    states, variants, traits = ["red", "green", "blue"], rng.randint(2, 6), rng.randint(1, 5)
    shares = [[_tenths(rng) for _ in range(traits)] for _ in range(variants)]
    common = [rng.choice([1.0, 0.4, 0.15, 0.05]) for _ in range(variants)]
    rows: list[list[int]] = []
    classes: list[int] = []
    for v in range(variants):
        columns = [[k for k, share in enumerate(column) for _ in range(share)] for column in shares[v]]
        for column in columns:
            rng.shuffle(column)
        rows += [list(row) for row in zip(*columns, strict=True)]
        classes += [v] * TENTHS
    prior = np.array(common) / sum(common)
    theirs = CategoricalNB(alpha=1e-10, force_alpha=True, class_prior=prior, min_categories=3).fit(rows, classes)
    entries = random_kb.knowledge_base(
        about={"not_in_the_record": 1e-12},
        traits={
            f"trait-{t}": {"name": "Trait", "view": "side", "mistakes": 0, "states": {state: state for state in states}}
            for t in range(traits)
        },
        variants={
            f"variant-{v}": {
                "name": "Variant",
                "how_common": common[v],
                "shows": {
                    f"trait-{t}": {states[k]: share / TENTHS for k, share in enumerate(shares[v][t]) if share}
                    for t in range(traits)
                },
            }
            for v in range(variants)
        },
    )
    for row in rng.sample(rows, 8):
        answers = {f"trait-{t}": Answer.model_validate({"is": states[k]}) for t, k in enumerate(row)}
        session = answered(start(entries), entries, random_kb.FAMILY, answers)
        ours = [dict(session.variants)[f"variant-{v}"] for v in range(variants)]
        assert ours == pytest.approx(theirs.predict_proba([row])[0].tolist(), abs=1e-7)


def _tenths(rng: Random) -> list[int]:
    """Shares of three states in tenths, some of them 0."""
    first = rng.choice([0, 2, 5, 8, 10])
    second = rng.randint(0, TENTHS - first)
    return [first, second, TENTHS - first - second]

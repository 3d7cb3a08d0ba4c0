"""Every way to choose the next question on the same units, beside the bounds nobody can beat: part of `make bench`."""

import random
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import fmean

import numpy as np
from numpy.random import SeedSequence
from policies import POLICIES, Policy
from tellmark.identify.arrays import Floats
from tellmark.identify.compile import Assumed, compile_entries
from tellmark.identify.given import Given
from tellmark.identify.plan import Game, least_effort
from tellmark.identify.questions import entropy
from tellmark.identify.session import Proposal, Session
from tellmark.identify.trial import Questioner, Terms, examine, prepared, prior_entropy, run_trial, summed
from tellmark.identify.units import Unit
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries
from tellmark.kb.models import Family, KnowledgeBase, Variant

ROOT = Path(__file__).parents[1]


class Timed(Questioner):
    """Asks by a policy, and counts the seconds and the questions that were thought about."""

    def __init__(self, start: Session, policy: Policy) -> None:
        super().__init__(start)
        self.policy, self.seconds, self.thought = policy, 0.0, 0

    def _next(self, given: tuple[Given, ...]) -> Proposal | None:
        session = replace(self.start, given=given)
        if not session.belief.plausible:
            return None
        begun = time.perf_counter()
        found = self.policy(session)
        self.seconds, self.thought = self.seconds + time.perf_counter() - begun, self.thought + 1
        return found


@dataclass(frozen=True)
class Score:
    """How a policy did on a case."""

    questions: float
    worst: int
    effort: float
    right: float
    stated: float
    milliseconds: float

    def __str__(self) -> str:
        return (
            f"{self.questions:6.3f} questions, worst {self.worst:>2}, effort {self.effort:6.3f}, right {self.right:6.1%} "
            f"(stated {self.stated:6.1%}), {self.milliseconds:5.1f} ms each"
        )


def table(states: int, variants: int, traits: int, mistakes: float, seed: int, settled: float = 0.95) -> Entries:
    """Variants that show random states of traits, everything equally common."""
    rng = random.Random(seed)
    about = KnowledgeBase.model_validate(
        {
            "title": "Random",
            "license": "made up",
            "not_in_the_record": 1e-5,
            "settled": settled,
            "views": {"side": {"name": "Side", "effort": 1}},
        }
    )
    entries = Entries(Path(), about)
    named = {f"s{k}": f"State {k}" for k in range(states)}
    own = {
        f"t{t}": {"name": f"T{t}", "view": "side", "slot": "body", "mistakes": mistakes, "states": named} for t in range(traits)
    }
    entries.families["random"] = Family.model_validate({"name": "Random", "traits": own})
    for v in range(variants):
        shows = {name: rng.choice(list(named)) for name in own}
        entries.variants[f"v{v}"] = Variant.model_validate(
            {"name": f"V{v}", "shows": shows, "how_common": 0.2 + 0.8 * rng.random()}
        )
        entries.home["variant", f"v{v}"] = "random"
    return entries


def scored(start: Session, policy: Policy, n: int, seed: int = 1) -> Score:
    """The policy on n units drawn from the record."""
    asker = Timed(start, policy)
    trial = summed([examine(asker, one) for one in SeedSequence(seed).spawn(n)], seed, 0.0)
    each = asker.seconds / max(asker.thought, 1) * 1e3
    return Score(trial.mean_questions, trial.worst_questions, trial.mean_effort, trial.right, trial.stated, each)


def of_each(start: Session, policy: Policy) -> Score:
    """The policy on one truthful unit of every variant, weighed by how common it is."""
    asker = Timed(start, policy)
    recorded = np.flatnonzero(start.compiled.variant >= 0)
    asked: list[int] = []
    right: list[bool] = []
    shares: list[float] = []
    efforts: list[float] = []
    for c in recorded.tolist():
        session, put = asker.ask_all(truthful(start, c))
        asked.append(len(put))
        efforts.append(sum(one.effort for one in put))
        right.append(start.compiled.label(c) in session.leading[0])
        shares.append(session.leading[1])
    weight: Floats = start.compiled.prior[recorded] / start.compiled.prior[recorded].sum()
    each = asker.seconds / max(asker.thought, 1) * 1e3
    means = [float(np.array(one, dtype=float) @ weight) for one in (asked, efforts, right, shares)]
    return Score(means[0], max(asked), means[1], means[2], means[3], each)


class Truthful(Unit):
    """A unit that is never misread."""

    def read_state(self, t: int, look: int = 0) -> int:
        """What is there."""
        del look
        return self.true_state(t)


def truthful(start: Session, candidate: int) -> Unit:
    """A unit as issued, never misread."""
    rows = tuple(int(slot.row[candidate]) for slot in start.compiled.slots)
    return Truthful(start.compiled, SeedSequence(candidate), candidate, tuple(False for _ in rows), rows, rows)


def optimum(start: Session) -> float:
    """The least expected effort, over all ways to ask, of a record without mistakes."""
    compiled = start.compiled
    live = compiled.variant >= 0
    asked = start.questions
    chances = [
        np.stack(
            [compiled.traits[q.trait].truth[compiled.slots[0].row[live]][:, list(o)].sum(axis=1) for o in q.outcomes], axis=1
        )
        for q in asked
    ]
    ones = np.ones(len(asked))
    group = np.arange(int(live.sum()))
    return least_effort(Game(compiled.prior[live], group, chances, [0] * len(asked), ones, ones, 0, compiled.settled))


def small_cases(count: int = 40) -> Iterator[tuple[Session, float]]:
    """Random cases of up to 14 variants with their optimum."""
    for seed in range(count):
        rng = random.Random(seed)
        entries = table(2, rng.randint(5, 14), rng.randint(8, 24), 0.0, seed, settled=0.9999)
        start = Session(compile_entries(entries))
        yield start, optimum(start)


def noise_bound(bits: float, mistakes: float) -> float:
    """Questions that carry so many bits when each answer is wrong with this chance (Shannon 1948)."""
    return bits / (1.0 - entropy(np.array([mistakes, 1.0 - mistakes])))


def heading(text: str, bound: str) -> None:
    """A case and the figure to compare with."""
    print(f"\n{text}\n  {'':32} {bound}")


def best_of(found: dict[str, Score]) -> None:
    """One line for each policy."""
    for name, score in found.items():
        print(f"  {name:<32} {score}")


def policies(zoo: Session, names: Sequence[str] = tuple(POLICIES)) -> None:
    """All cases."""
    chosen = {name: POLICIES[name] for name in names}
    cases = list(small_cases())
    heading("Random cases of 5 to 14 variants, truthful answers", "must be within 1.01 x the exact optimum, on average")
    for name, policy in chosen.items():
        scores = [(of_each(start, policy), least) for start, least in cases]
        ratio = fmean(score.questions / least for score, least in scores)
        each = fmean(score.milliseconds for score, _ in scores)
        print(f"  {name:<32} {ratio:6.4f} x the optimum, worst {max(s.questions / b for s, b in scores):6.4f} x, {each:5.1f} ms")
    heading("UCI Zoo, truthful answers", "entropy 5.516; at most 0.35 more (5.866), and never more than greedy")
    best_of({name: of_each(zoo, policy) for name, policy in chosen.items()})
    noisy = Session(compile_entries(table(2, 128, 60, 0.05, 1, settled=0.96)))
    bits = entropy(noisy.compiled.prior)
    heading(
        "128 variants, 60 yes/no traits, 5 % wrong answers, settled at 96 %",
        f"right 98 %; at most {1.1 * noise_bound(bits, 0.05):.3f} questions = 1.1 x entropy / (1 - H2(0.05))",
    )
    best_of({name: scored(noisy, policy, 300) for name, policy in chosen.items()})
    entries, _ = sound(ROOT / "entries")
    for title, terms in {
        "Demonstration, 420 series, as recorded": Terms(family="cab-diesel-420"),
        "Demonstration, 420 series, 5 % mistakes, a tenth of slots swapped": Terms("cab-diesel-420", assumed=Assumed(0.05, 0.1)),
        "Demonstration, all families, as recorded": Terms(),
    }.items():
        start = prepared(entries, terms)
        heading(title, f"entropy {prior_entropy(start):.3f}; right as often as stated")
        best_of({name: scored(start, policy, 150) for name, policy in chosen.items()})


def trials(n: int = 400) -> None:
    """Whether what is concluded at p is right in a share p, and whether a changed part that shows is named."""
    entries, _ = sound(ROOT / "entries")
    print(f"\nTrials, {n} units each\n  {'':44} right and stated within 2 %; 95 % of changed parts that show it named")
    cases = {
        "420 series, as recorded": Terms("cab-diesel-420"),
        "420 series, 5 % mistakes, a tenth swapped": Terms("cab-diesel-420", assumed=Assumed(0.05, 0.1)),
        "the same, everything to be settled": Terms("cab-diesel-420", target="all", assumed=Assumed(0.05, 0.1)),
        "road switcher, as recorded": Terms("road-switcher-160"),
        "all families, as recorded": Terms(),
    }
    for title, terms in cases.items():
        found = run_trial(entries, terms, n, seed=1, jobs=-1)
        named = f"{found.slots.named}/{found.slots.shown} named, {found.slots.false} falsely"
        off = max((abs(one.right - one.stated) for one in found.calibration if one.n >= n // 10), default=0.0)
        print(
            f"  {title:<44} right {found.right:.1%}, stated {found.stated:.1%} (rows off by up to {off:.1%}); {named}; "
            f"{found.mean_questions:.2f} questions"
        )

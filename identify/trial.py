"""How well the questions identify: units drawn from the knowledge base itself, questioned to the end, and counted.

The units are drawn from the same model that belief computes with (`units.py`), so what is concluded at p must be right in a
share p of them; what is measured here is the questions, and the arithmetic, not whether the record is true.
"""

import math
import pickle
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from itertools import pairwise
from statistics import fmean
from typing import Any

import numpy as np
from joblib import Parallel, delayed, effective_n_jobs
from numpy.random import SeedSequence

from ..kb.findings import Unreadable
from ..kb.load import Entries
from ..kb.reading import Between, Gone, Measured, Reading, Seen, Typed
from .arrays import MISSING, NOT_IN_THE_RECORD
from .belief import changed_share
from .compile import AS_RECORDED, Assumed
from .given import Given
from .questions import Question, entropy, set_groups, set_names
from .session import Ask, Proposal, Session, Target
from .start import start
from .units import Unit, draw

#: The calibration table has a row for each stretch between these; close to 1, where conclusions are drawn, they are narrow.
STEPS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.995, 1.0)
#: No unit takes so many questions; more is a fault of the questioner.
ENDLESS = 200
#: Proposals kept in a process: the first questions are the same for most units.
KEPT = 20_000
#: A slot that was looked at is named as changed from here on.
NAMED = 0.5
#: A true value so many standard deviations from the mean of the original part shows that the part is another one.
FAR = 3.0
MOST_CONFUSED = 10
#: Units handed to a worker at a time, at most; and how many helpings each gets, if there are enough units.
MOST_AT_ONCE, HELPINGS = 100, 8
PLACES = 6


@dataclass(frozen=True)
class Terms:
    """What is tried: the family when it is taken as known, the views at hand, what is to be settled, and supposed rates."""

    family: str | None = None
    views: Sequence[str] | None = None
    target: Target = "variant"
    ask: Ask = "yes-no"
    assumed: Assumed = AS_RECORDED


AS_IDENTIFY = Terms()


@dataclass(frozen=True)
class Slots:
    """Slots of one unit or of all: how many were changed, show it in the true answer to something asked, and were then named.

    false: named and never changed, among `unchanged` that could have been
    """

    swapped: int = 0
    shown: int = 0
    named: int = 0
    false: int = 0
    unchanged: int = 0


@dataclass(frozen=True)
class Examined:
    """One simulated unit: what it is, what it was taken for at which stated probability, and what that took."""

    truth: str | None
    verdict: str | None
    right: bool
    stated: float
    settled: bool
    questions: int
    effort: float
    slots: Slots


@dataclass(frozen=True)
class Stretch:
    """A row of the calibration table: n verdicts stated at more than `low` and at most `high`; their mean; the share right."""

    low: float
    high: float
    n: int
    stated: float
    right: float

    def as_dict(self) -> dict[str, Any]:
        """For `--json`."""
        return {"from": self.low, "to": self.high, "n": self.n, "stated": _round(self.stated), "right": _round(self.right)}


@dataclass(frozen=True)
class Trial:
    """How n units came out.

    entropy_bits   of the prior over what the questions at hand can tell apart; a yes/no question tells at most one
    right, stated  share of verdicts that hold the truth, and the mean probability they were stated with
    confused       (truth, verdict, how often) of wrong verdicts, most frequent first; None: sold alone, where sets are told
    unlisted       units that are not in the record: how many, how many were found to be, how many others were taken for one
    """

    n: int
    seed: int
    mean_questions: float
    worst_questions: int
    mean_effort: float
    entropy_bits: float
    right: float
    stated: float
    settled: float
    calibration: tuple[Stretch, ...]
    confused: tuple[tuple[str | None, str | None, int], ...]
    slots: Slots
    unlisted: tuple[int, int, int]

    def as_dict(self) -> dict[str, Any]:
        """For `--json`: `tellmark/trial/1`."""
        exact = {"n": self.n, "seed": self.seed, "worst_questions": self.worst_questions}
        rounded = ("mean_questions", "mean_effort", "entropy_bits", "right", "stated", "settled")
        return {
            "format": "tellmark/trial/1",
            **exact,
            **{name: _round(getattr(self, name)) for name in rounded},
            "calibration": [one.as_dict() for one in self.calibration],
            "confused": [{"truth": truth, "verdict": verdict, "n": n} for truth, verdict, n in self.confused],
            "swaps": asdict(self.slots),
            "not_in_the_record": dict(zip(("n", "found", "false"), self.unlisted, strict=True)),
        }


def run_trial(
    entries: Entries,
    terms: Terms = AS_IDENTIFY,
    n: int = 200,
    seed: int = 1,
    jobs: int | None = None,
    done: Callable[[int], object] = lambda _: None,
) -> Trial:
    """Draws n units, questions each to the end, and sums up; the same for any number of jobs.

    jobs: processes, -1 for one a core; None leaves it to the joblib backend that is active, a cluster's for example.
    done: called with the number of units finished since the last call.  Raises Unreadable for an unknown family or view,
    and where no variant is recorded.
    """
    begin = prepared(entries, terms)
    seeds = SeedSequence(seed).spawn(n)
    size = min(MOST_AT_ONCE, max(1, math.ceil(n / (effective_n_jobs(jobs) * HELPINGS))))
    packed = pickle.dumps(begin)
    calls = (delayed(examine_all)(packed, seeds[first : first + size]) for first in range(0, n, size))
    found: list[Examined] = []
    for some in Parallel(n_jobs=jobs, return_as="generator")(calls):
        found += some
        done(len(some))
    return summed(found, seed, prior_entropy(begin))


def prepared(entries: Entries, terms: Terms) -> Session:
    """The session in which nothing was answered yet. Raises Unreadable where there is nothing to ask."""
    session = start(entries, terms.family, terms.views, terms.target, terms.ask, terms.assumed)
    if not session.compiled.variants:
        raise Unreadable("no variants", "something to draw units from")
    return session


def prior_entropy(start: Session) -> float:
    """Bits between the units before anything is asked: over variants with their twins, or over the sets of origin."""
    if start.target == "set":
        groups = np.unique(set_groups(start.compiled), return_inverse=True)[1].reshape(-1)
    else:
        names = [tuple(start.twins[start.compiled.label(c)]) for c in range(start.compiled.candidates)]
        order = {name: index for index, name in enumerate(dict.fromkeys(names))}
        groups = np.array([order[name] for name in names], dtype=np.int64)
    shares = np.zeros(int(groups.max()) + 1)
    np.add.at(shares, groups, start.compiled.prior)
    return entropy(shares)


# One unit --------------------------------------------------------------------------------------------------------------


class Questioner:
    """Asks one unit after another, and keeps what it asked first."""

    def __init__(self, start: Session) -> None:
        self.start = start
        self.next = lru_cache(maxsize=KEPT)(self._next)

    def _next(self, given: tuple[Given, ...]) -> Proposal | None:
        session = replace(self.start, given=given)
        return session.to_ask if session.belief.plausible else None

    def ask_all(self, unit: Unit) -> tuple[Session, list[Proposal]]:
        """The session after everything worth asking was answered as the unit shows it, and what was asked."""
        session, asked = self.start, list[Proposal]()
        while proposal := self.next(session.given):
            assert len(asked) < ENDLESS, "the questions have no end"
            asked.append(proposal)
            session = session.reply(proposal.question, read_off(unit, proposal.question, session.look_of(proposal.question)))
        return session, asked


def examine_all(packed: bytes, seeds: Sequence[SeedSequence]) -> list[Examined]:
    """The units of these seeds, examined; `packed` is the pickled session in which nothing was answered yet."""
    questioner = _questioner(packed)
    return [examine(questioner, seed) for seed in seeds]


@lru_cache(maxsize=1)
def _questioner(packed: bytes) -> Questioner:
    """One for a process, so that all units it gets share the first questions."""
    start: Session = pickle.loads(packed)
    return Questioner(start)


def examine(questioner: Questioner, seed: SeedSequence) -> Examined:
    """Draws a unit, questions it, and compares."""
    unit = draw(questioner.start.compiled, seed)
    session, asked = questioner.ask_all(unit)
    truth, verdict, right, stated = _set_verdict(session, unit) if session.target == "set" else _variant_verdict(session, unit)
    return Examined(
        truth=truth,
        verdict=verdict,
        right=right,
        stated=min(1.0, stated),
        settled=session.settled,
        questions=len(asked),
        effort=sum(one.effort for one in asked),
        slots=_slots(session, unit, [one.question for one in asked]),
    )


def read_off(unit: Unit, question: Question, look: int = 0) -> Reading:
    """What somebody with the unit in hand answers, after so many looks at the same trait."""
    t, trait = question.trait, unit.compiled.traits[question.trait]
    if trait.measured:
        value = unit.read_value(t, carefully=question.form == "value", look=look)
        if value is None:
            return Gone()
        if question.cut is None:
            return Measured(value, trait.reads)
        return Between(question.cut, math.inf) if value > question.cut else Between(-math.inf, question.cut)
    if question.form == "reading":
        text = unit.read_text(t)
        return Gone() if text is None else Typed(text)
    read = unit.read_state(t, look)
    outcome = next(one for one in question.outcomes if read in one)
    states = frozenset(trait.states[k] for k in outcome)
    return Gone() if states == frozenset({MISSING}) else Seen(states)


def _variant_verdict(session: Session, unit: Unit) -> tuple[str, str, bool, float]:
    """(what it is, the leader, whether the leader or a twin of it is what it is, their probability)."""
    truth, (group, stated) = unit.compiled.label(unit.candidate), session.leading
    return truth, group[0], truth in group, stated


def _set_verdict(session: Session, unit: Unit) -> tuple[str | None, str | None, bool, float]:
    truth = set_names(session.compiled)[unit.candidate]
    verdict, stated = next(iter(session.origins.items()))
    return truth, verdict, truth == verdict, stated


def shows_swap(unit: Unit, question: Question) -> bool:
    """Whether the true answer is another one than the original part or finish would most likely get."""
    t = question.trait
    if not unit.compiled.traits[t].measured:
        states = [unit.true_state(t), unit.usual_state(t)]
        now, then = (next((o for o, one in enumerate(question.outcomes) if state in one), -1) for state in states)
        return now != then
    value, usual = unit.true_value(t), unit.usual_value(t)
    if value is None or usual is None:
        return (value is None) != (usual is None)
    mean, sd = usual
    told = question.cut is None or (value > question.cut) != (mean > question.cut)
    return told and abs(value - mean) > FAR * sd


def _slots(session: Session, unit: Unit, asked: Sequence[Question]) -> Slots:
    compiled = session.compiled
    found = Slots()
    for s, slot in enumerate(compiled.slots):
        looked_at = any(compiled.traits[one.trait].slot == s for one in session.evidence)
        named = looked_at and changed_share(compiled, session.belief, s) >= NAMED
        changed = unit.swapped[s]
        shown = changed and any(shows_swap(unit, one) for one in asked if compiled.traits[one.trait].slot == s)
        could = changed or bool(slot.swap[slot.row[unit.candidate]] > 0)
        found = _added(found, Slots(changed, shown, shown and named, named and not changed, could and not changed))
    return found


def _added(one: Slots, other: Slots) -> Slots:
    return Slots(**{name: value + int(getattr(other, name)) for name, value in asdict(one).items()})


# All units -------------------------------------------------------------------------------------------------------------


def summed(found: Sequence[Examined], seed: int, entropy_bits: float) -> Trial:
    """The figures of a trial. `found` must not be empty."""
    slots = Slots()
    for one in found:
        slots = _added(slots, one.slots)
    wrong = Counter((one.truth, one.verdict) for one in found if not one.right)
    pairs = sorted(wrong.items(), key=lambda pair: (-pair[1], [name or "" for name in pair[0]]))
    new = [one.truth == NOT_IN_THE_RECORD for one in found]
    called = [one.verdict == NOT_IN_THE_RECORD for one in found]
    return Trial(
        n=len(found),
        seed=seed,
        mean_questions=fmean(one.questions for one in found),
        worst_questions=max(one.questions for one in found),
        mean_effort=fmean(one.effort for one in found),
        entropy_bits=entropy_bits,
        right=fmean(one.right for one in found),
        stated=fmean(one.stated for one in found),
        settled=fmean(one.settled for one in found),
        calibration=tuple(_calibration(found)),
        confused=tuple((truth, verdict, n) for (truth, verdict), n in pairs[:MOST_CONFUSED]),
        slots=slots,
        unlisted=(
            sum(new),
            sum(is_new and said for is_new, said in zip(new, called, strict=True)),
            sum(said and not is_new for is_new, said in zip(new, called, strict=True)),
        ),
    )


def _calibration(found: Sequence[Examined]) -> Iterator[Stretch]:
    for low, high in pairwise(STEPS):
        here = [one for one in found if low < one.stated <= high]
        if here:
            yield Stretch(low, high, len(here), fmean(one.stated for one in here), fmean(one.right for one in here))


def _round(value: float) -> float:
    return round(value, PLACES)

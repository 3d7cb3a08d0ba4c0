"""Tables of traits: what every record shows of a trait, and how it is read.

What nobody recorded becomes the blend of what is recorded in the family (leaning on all families, for what all of them have), so
that it neither helps nor hurts.
"""

from collections.abc import Iterable, Mapping, Sequence
from statistics import median
from typing import Generic, Protocol, TypeVar

import numpy as np

from ..kb.load import Entries
from ..kb.models import Trait as TraitRecord
from ..kb.reading import in_unit
from ..kb.resolve import number, shares
from ..kb.values import Fact, Measure
from .arrays import MISSING, Bools, Floats, Ints, Slot, Trait

#: Of the mistakes in reading a state, the share that goes to the states it is said to be mistaken for.
CONFUSED = 0.9
#: Of the mistakes in reading a part's trait, the share that takes the part for missing.
OVERLOOKED = 0.05
#: The chance of a misread character where readings are assumed never to go wrong; a marking must have one.
NEVER_WORN = 1e-12
MOST_CUTS = 12


class Row(Protocol):
    """What traits are read from: a variant of a family, or a loose part of a slot type."""

    @property
    def id(self) -> str:
        """Its id."""
        ...

    @property
    def family(self) -> str:
        """The family it is of; of a loose part, the slot type."""
        ...

    @property
    def shows(self) -> Mapping[str, Fact]:
        """What is recorded of its traits."""
        ...


Told = TypeVar("Told", bound=Row)


class Tables(Generic[Told]):
    """Makes traits of records. Their rows: one for each record (`stated`), then one for each family.

    families      what the records are of: families of variants, slot types of loose parts
    weight[v]     how common each record is
    unlisted[f]   what is known of whatever of the family is not in the record
    assumed_mistakes   share of all readings that go wrong, in the place of the recorded ones; None leaves those
    """

    def __init__(
        self,
        entries: Entries,
        families: Sequence[str],
        stated: Sequence[Told],
        views: Iterable[str],
        assumed_mistakes: float | None = None,
    ) -> None:
        self.entries = entries
        self.assumed_mistakes = assumed_mistakes
        self.about = entries.about
        self.families = list(families)
        self.stated = list(stated)
        self.family_at = [self.families.index(one.family) for one in self.stated]
        self.views = list(views)
        self.weight: Floats = np.ones(len(self.stated))
        self.unlisted: list[Mapping[str, Fact]] = [{} for _ in self.families]

    def own_slot(self, ident: str, swaps: Sequence[float], row: Ints) -> Slot:
        """A slot without parts: its rows are the records themselves. swaps[f]: how often it is found changed in a family."""
        family_of_row = [*self.family_at, *range(len(self.families))]
        return Slot(
            id=ident,
            parts=(),
            row=row,
            swap=np.array(swaps)[family_of_row] if family_of_row else np.zeros(0),
            issued=np.zeros((0, 0)),
            replaced=np.zeros((0, 0)),
            redone=np.array([len(self.stated) + f for f in family_of_row], dtype=np.int64),
        )

    def own_trait(self, s: int, name: str, family: str | None, record: TraitRecord) -> Trait:
        """Rows: one for each variant, one for each family."""
        facts: list[Fact | None] = [one.shows.get(name) if family in (None, one.family) else None for one in self.stated]
        facts += [one.get(name) for one in self.unlisted]
        blend = np.zeros((len(self.families), len(facts)))
        known = np.array([fact is not None for fact in facts], dtype=bool)
        weight = np.concatenate([self.weight, np.zeros(len(self.families))]) * known
        blend_of = np.array([*self.family_at, *range(len(self.families))], dtype=np.int64)
        for f in range(len(self.families)):
            mine = weight * (blend_of == (f if family is None else self.families.index(family)))
            blend[f] = _leaning(mine, weight)
        foreign = np.zeros(len(facts), dtype=bool) if family is None else blend_of != self.families.index(family)
        new = np.arange(len(facts)) >= len(self.stated)
        return self.trait(s, name, family, record, facts, blend, blend_of, foreign, new)

    def trait(
        self,
        s: int,
        name: str,
        family: str | None,
        record: TraitRecord,
        facts: Sequence[Fact | None],
        blend: Floats,
        blend_of: Ints,
        absent: Bools,
        new: Bools,
    ) -> Trait:
        """`absent[i]`: row i has no such thing to look at, being an empty slot or a unit of another family."""
        totals = blend.sum(axis=1, keepdims=True)
        blend = np.divide(blend, totals, out=np.zeros_like(blend), where=totals > 0)
        blend_of = np.where([fact is not None for fact in facts], -1, blend_of)
        states: tuple[str, ...] = ()
        table = truth = confusion = np.zeros((len(facts), 0))
        mean = sd = np.zeros(0)
        cuts = np.zeros(0)
        least, most, reads = 0.0, 1.0, 0.0
        mistakes = self.mistakes(number(self.about.mistakes, record.mistakes))
        if record.measured:
            mean, sd = self._measures(facts, record)
            least, most = record.measured.least, record.measured.most
            cuts = _cuts(mean)
            reads = record.measured.read_to if record.measured.read_to is not None else _usual_reading(sd)
        else:
            named = list(record.states) if record.states is not None else _markings(facts)
            truth = self._truth(facts, named, blend, blend_of)
            confusion = _confusion(record, named, mistakes)
            if absent.any():
                truth, confusion = _with_missing(truth, confusion, mistakes, absent)
                named = [*named, MISSING]
            states, table = tuple(named), truth @ confusion
            if not states:  # a marking that nobody recorded: like a value that nobody recorded, and there is nothing to ask
                mean = sd = np.full(len(facts), np.nan)
        return Trait(
            id=name,
            family=family,
            slot=s,
            view=self.views.index(record.view) if record.view in self.views else -1,
            states=states,
            table=table,
            truth=truth,
            confusion=confusion,
            mean=mean,
            sd=sd,
            applies=np.where(absent, mistakes, 1.0 - mistakes * OVERLOOKED) if absent.any() else np.ones(len(facts)),
            can_be_missing=bool(absent.any()),
            blend=blend,
            blend_of=blend_of,
            new=new,
            cuts=cuts,
            least=least,
            most=most,
            blunders=self.mistakes(self.about.blunders),
            reads=reads,
            worn=self._worn(record.marking.worn, states) if record.marking else 0.0,
            asked=record.measured is not None or any(state != MISSING for state in states),
        )

    def mistakes(self, recorded: float) -> float:
        """The share of readings that go wrong: as assumed, else as recorded."""
        return recorded if self.assumed_mistakes is None else self.assumed_mistakes

    def _worn(self, recorded: float, markings: Sequence[str]) -> float:
        """Misread characters: so many that, of markings of the usual length, the assumed share is misread somewhere."""
        if self.assumed_mistakes is None:
            return recorded
        length = max(1.0, float(np.mean([len(one) for one in markings if one != MISSING] or [1])))
        return max(NEVER_WORN, 1.0 - (1.0 - self.assumed_mistakes) ** (1.0 / length))

    def _truth(self, facts: Sequence[Fact | None], states: Sequence[str], blend: Floats, blend_of: Ints) -> Floats:
        """P(state | row) without mistakes, what is not recorded filled with the blend."""
        truth = np.zeros((len(facts), len(states)))
        at = {state: k for k, state in enumerate(states)}
        for i, fact in enumerate(facts):
            for state, share in shares(self.about.frequencies, fact.is_).items() if fact else ():
                truth[i, at[state]] += share
        sums = truth.sum(axis=1, keepdims=True)
        whole = np.divide(truth, sums, out=np.zeros_like(truth), where=sums > 0)
        blends = blend @ whole
        empty = blends.sum(axis=1) == 0
        blends[empty] = 1.0 / max(1, len(states))
        home = np.maximum(np.where(blend_of >= 0, blend_of, self._home(len(facts), len(blend))), 0)
        return truth + (1.0 - sums) * blends[home]

    def _home(self, rows: int, blends: int) -> Ints:
        """Which blend completes a row that is recorded only in part."""
        if blends == 1:
            return np.zeros(rows, dtype=np.int64)
        return np.array([*self.family_at, *range(len(self.families))], dtype=np.int64)

    def _measures(self, facts: Sequence[Fact | None], record: TraitRecord) -> tuple[Floats, Floats]:
        """Mean and standard deviation of each row in the trait's unit; several values become their moments."""
        assert record.measured
        unit = record.measured.unit
        written = [[in_unit(choice, unit) for choice in fact.is_] if fact else [] for fact in facts]
        stated_sd = [one.plus_minus for row in written for one in row if one.plus_minus is not None]
        usual = median(stated_sd) if stated_sd else (record.measured.most - record.measured.least) / 100
        floor = (record.measured.most - record.measured.least) * 1e-6
        mean, sd = np.full(len(facts), np.nan), np.full(len(facts), np.nan)
        for i, (fact, row) in enumerate(zip(facts, written, strict=True)):
            if fact:
                weights = np.array([*shares(self.about.frequencies, fact.is_).values()])
                mean[i], sd[i] = _moments(row, weights / weights.sum() if weights.sum() else weights, usual)
        return mean, np.maximum(sd, floor)


def _leaning(mine: Floats, all_of_them: Floats) -> Floats:
    """A family's blend, leaning on that of all families by the weight of one variant: few known ones say little of the rest."""
    count = np.count_nonzero(mine)
    own = mine / mine.sum() if count else mine
    return count * own + (all_of_them / all_of_them.sum() if all_of_them.sum() else all_of_them)


def _markings(facts: Iterable[Fact | None]) -> list[str]:
    return sorted({marking for fact in facts if fact for marking in fact.is_})


def _confusion(record: TraitRecord, states: Sequence[str], mistakes: float) -> Floats:
    """confusion[true, read]; each row sums to 1."""
    size = len(states)
    matrix = np.eye(size)
    if size < 2:
        return matrix
    for k, state in enumerate(states):
        named = [states.index(other) for other in (record.states[state].mistaken_for if record.states else [])]
        others = [j for j in range(size) if j != k and j not in named]
        share = (CONFUSED if others else 1.0) if named else 0.0
        matrix[k, k] = 1.0 - mistakes
        matrix[k, named] = mistakes * share / max(1, len(named))
        matrix[k, others] = mistakes * (1.0 - share) / max(1, len(others))
    return matrix


def _with_missing(truth: Floats, confusion: Floats, mistakes: float, absent: Bools) -> tuple[Floats, Floats]:
    """Adds the state "missing": what the rows show that have no such thing."""
    size = truth.shape[1]
    wider = np.column_stack([np.where(absent[:, None], 0.0, truth), absent.astype(float)])
    overlooked = mistakes * OVERLOOKED
    grown = np.zeros((size + 1, size + 1))
    grown[:size, :size] = confusion * (1.0 - overlooked)
    grown[:size, size] = overlooked
    grown[size, :size] = mistakes / max(1, size)
    grown[size, size] = 1.0 - mistakes if size else 1.0
    return wider, grown


def _moments(row: Sequence[Measure], weights: Floats, usual: float) -> tuple[float, float]:
    values = np.array([one.value for one in row])
    spreads = np.array([usual if one.plus_minus is None else one.plus_minus for one in row])
    mean = float(weights @ values)
    return mean, float(np.sqrt(weights @ (spreads**2 + (values - mean) ** 2)))


def _usual_reading(sd: Floats) -> float:
    """How closely a careful reading comes where nobody said: half of what units of one variant differ by."""
    known = sd[~np.isnan(sd)]
    return float(np.median(known)) / 2 if len(known) else 0.0


def _cuts(mean: Floats) -> Floats:
    """Values halfway between the recorded means: where "longer than" tells most."""
    known = np.unique(mean[~np.isnan(mean)])
    cuts = (known[1:] + known[:-1]) / 2
    if len(cuts) > MOST_CUTS:
        cuts = cuts[np.unique(np.linspace(0, len(cuts) - 1, MOST_CUTS).round().astype(int))]
    return cuts

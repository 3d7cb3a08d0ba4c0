"""Tables of traits: what every record shows of a trait, and how it is read.

What nobody recorded becomes the blend of what is recorded in the family (leaning on all families, for what all of them have), so
that it neither helps nor hurts.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import pairwise
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
#: What a trait has for each of its rows.
BY_ROW = ("table", "truth", "mean", "sd", "applies", "blend_of")


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


class Rows:
    """The rows of a table: what all traits that are read from the same records, or off the same parts, have in common.

    home[i]     the blend that row i takes where nothing, or not the whole, is recorded of it
    absent[i]   row i has no such thing to look at, being an empty slot or a unit of another family
    new[i]      row i stands for what is not in the record
    """

    def __init__(self, home: Ints, absent: Bools, new: Bools, blend: Callable[[Bools], Floats]) -> None:
        """`blend`: of those rows that are recorded, one for each home; it need not sum to 1."""
        self.home, self.absent, self.new = home, absent, new
        self.some_absent = bool(absent.any())
        self.all_apply = np.ones(len(home))
        self._blend = blend
        self._blends: dict[bytes, tuple[Floats, Ints]] = {}

    def blends(self, facts: Sequence[Fact | None]) -> tuple[Floats, Ints]:
        """(the blends, summing to 1, which of them each row takes) where these facts are recorded, as they are of many traits."""
        known = np.array([fact is not None for fact in facts], dtype=bool)
        key = known.tobytes()
        if key not in self._blends:
            blend = self._blend(known)
            totals = blend.sum(axis=1, keepdims=True)
            blend = np.divide(blend, totals, out=np.zeros_like(blend), where=totals > 0)
            self._blends[key] = blend, np.where(known, -1, self.home)
        return self._blends[key]


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
        at = {family: f for f, family in enumerate(self.families)}
        self.family_at = [at[one.family] for one in self.stated]
        self.views = list(views)
        self._view_at = {view: v for v, view in enumerate(self.views)}
        self.weight: Floats = np.ones(len(self.stated))
        self.unlisted: list[Mapping[str, Fact]] = [{} for _ in self.families]
        self._ones: dict[str, tuple[Tables[Told], Ints]] = {}

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

    @cached_property
    def own_rows(self) -> Rows:
        """Those of every own slot: one for each record, one for each family."""
        records, families = len(self.stated), len(self.families)
        family_of_row = np.array([*self.family_at, *range(families)], dtype=np.int64)
        weight = np.concatenate([self.weight, np.zeros(families)])
        mine = family_of_row == np.arange(families)[:, None]

        def blend(known: Bools) -> Floats:
            return _leaning(weight * known * mine, weight * known)

        return Rows(family_of_row, np.zeros(len(weight), dtype=bool), np.arange(len(weight)) >= records, blend)

    def own_trait(self, s: int, name: str, family: str | None, record: TraitRecord) -> Trait:
        """Rows: one for each variant, one for each family. What a family has alone is worked out of its own rows alone."""
        if family is not None and len(self.families) > 1:
            tables, rows = self.one(family)
            return _spread(tables.among_others(tables.own_trait(s, name, family, record), record), rows, len(self.stated))
        facts = [*(one.shows.get(name) for one in self.stated), *(one.get(name) for one in self.unlisted)]
        return self.trait(s, name, family, record, facts, self.own_rows)

    def one(self, family: str) -> tuple["Tables[Told]", Ints]:
        """(the tables of a family alone, which of their rows each row here is). Of other families: the one behind their last."""
        if family not in self._ones:
            f = self.families.index(family)
            mine = [v for v, at in enumerate(self.family_at) if at == f]
            tables = Tables(self.entries, [family], [self.stated[v] for v in mine], self.views, self.assumed_mistakes)
            tables.weight, tables.unlisted = self.weight[mine], [self.unlisted[f]]
            rows = np.full(len(self.stated) + len(self.families), len(mine) + 1, dtype=np.int64)
            rows[[*mine, len(self.stated) + f]] = np.arange(len(mine) + 1)
            self._ones[family] = tables, rows
        return self._ones[family]

    def among_others(self, trait: Trait, record: TraitRecord) -> Trait:
        """A trait of a single family with one more row, for all units of other families, which have no such thing to look at."""
        rows = len(trait.new)
        absent = np.arange(rows + 1) == rows
        mistakes = self.mistakes(number(self.about.mistakes, record.mistakes))
        more = {name: np.append(values, np.nan) for name in ("mean", "sd") if len(values := getattr(trait, name))}
        truth, confusion = _one_more(trait.truth), trait.confusion
        if not record.measured:
            more = {"mean": np.zeros(0), "sd": np.zeros(0)}
            truth, confusion = _with_missing(truth, confusion, mistakes, absent)
        return replace(
            trait,
            **more,
            states=() if record.measured else (*trait.states, MISSING),
            table=_one_more(trait.table) if record.measured else truth @ confusion,
            truth=truth,
            confusion=confusion,
            applies=_apply(absent, mistakes),
            can_be_missing=True,
            blend=np.column_stack([trait.blend, np.zeros(len(trait.blend))]),
            blend_of=np.append(trait.blend_of, 0),
            new=np.append(trait.new, False),
        )

    def trait(
        self, s: int, name: str, family: str | None, record: TraitRecord, facts: Sequence[Fact | None], rows: Rows
    ) -> Trait:
        """A trait whose rows show these facts."""
        blend, blend_of = rows.blends(facts)
        states: tuple[str, ...] = ()
        table = truth = confusion = np.zeros((len(facts), 0))
        mean = sd = cuts = np.zeros(0)
        least, most, reads = 0.0, 1.0, 0.0
        mistakes = self.mistakes(number(self.about.mistakes, record.mistakes))
        if record.measured:
            mean, sd = self._measures(facts, record)
            least, most = record.measured.least, record.measured.most
            cuts = _cuts(mean)
            reads = record.measured.read_to if record.measured.read_to is not None else _usual_reading(sd)
        else:
            named = list(record.states) if record.states is not None else _markings(facts)
            truth = self._truth(facts, named, blend, rows.home)
            confusion = _confusion(record, named, mistakes)
            if rows.some_absent:
                truth, confusion = _with_missing(truth, confusion, mistakes, rows.absent)
                named = [*named, MISSING]
            states, table = tuple(named), truth @ confusion
            if not states:  # a marking that nobody recorded: like a value that nobody recorded, and there is nothing to ask
                mean = sd = np.full(len(facts), np.nan)
        return Trait(
            id=name,
            family=family,
            slot=s,
            view=self._view_at.get(record.view, -1),
            states=states,
            table=table,
            truth=truth,
            confusion=confusion,
            mean=mean,
            sd=sd,
            applies=_apply(rows.absent, mistakes) if rows.some_absent else rows.all_apply,
            can_be_missing=rows.some_absent,
            blend=blend,
            blend_of=blend_of,
            new=rows.new,
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

    def _truth(self, facts: Sequence[Fact | None], states: Sequence[str], blend: Floats, home: Ints) -> Floats:
        """P(state | row) without mistakes, what is not recorded filled with the blend of its home."""
        distinct, which = once(facts)
        looks = recorded_shares(self.about.frequencies, distinct, {state: k for k, state in enumerate(states)})
        sums = looks.sum(axis=1, keepdims=True)
        if (sums == 1.0).all():
            return looks[which]
        whole = looks / np.where(sums > 0, sums, 1.0)
        blends = blend @ whole[which]
        empty = blends.sum(axis=1) == 0
        if empty.any():
            blends[empty] = 1.0 / max(1, len(states))
        return looks[which] + (1.0 - sums[which]) * blends[home]

    def _measures(self, facts: Sequence[Fact | None], record: TraitRecord) -> tuple[Floats, Floats]:
        """Mean and standard deviation of each row in the trait's unit; several values become their moments."""
        assert record.measured
        unit = record.measured.unit
        distinct, which = once(facts)
        written = [[in_unit(choice, unit) for choice in fact.is_] if fact else [] for fact in distinct]
        stated_sd = [one.plus_minus for i in which for one in written[i] if one.plus_minus is not None]
        usual = median(stated_sd) if stated_sd else (record.measured.most - record.measured.least) / 100
        floor = (record.measured.most - record.measured.least) * 1e-6
        looks = np.full((2, len(distinct)), np.nan)
        for i, (fact, row) in enumerate(zip(distinct, written, strict=True)):
            if fact:
                weights = np.array([*shares(self.about.frequencies, fact.is_).values()])
                looks[:, i] = _moments(row, weights / weights.sum() if weights.sum() else weights, usual)
        mean, sd = looks[:, which]
        return mean, np.maximum(sd, floor)


def _spread(trait: Trait, rows: Ints, known: int) -> Trait:
    """A trait of one family with a row for each variant and each family of all, of which there are so many variants."""
    blend = np.zeros((len(trait.blend), len(rows)))
    mine = rows < trait.blend.shape[1] - 1
    blend[:, mine] = trait.blend[:, rows[mine]]
    by_row = {name: values[rows] for name in BY_ROW if len(values := getattr(trait, name))}
    return replace(trait, **by_row, blend=blend, new=np.arange(len(rows)) >= known)


def once(facts: Sequence[Fact | None]) -> tuple[list[Fact | None], list[int]]:
    """(the facts that there are, each once; which of them each is). Many variants share the very same one."""
    distinct = {id(fact): fact for fact in facts}
    at = {ident: i for i, ident in enumerate(distinct)}
    return list(distinct.values()), [at[id(fact)] for fact in facts]


def recorded_shares(frequencies: Mapping[str, float], facts: Sequence[Fact | None], at: Mapping[str, int]) -> Floats:
    """[i, k]: the share of each choice in fact i, whose place is k; nothing where there is no fact."""
    rows = [[0.0] * len(at) for _ in facts]  # numpy would take longer for so few numbers
    for row, fact in zip(rows, facts, strict=True):
        for choice, share in shares(frequencies, fact.is_).items() if fact else ():
            row[at[choice]] += share
    return np.array(rows).reshape(len(rows), len(at))


def _leaning(mine: Floats, all_of_them: Floats) -> Floats:
    """The blend of each family, leaning on that of all by the weight of one variant: few known ones say little of the rest.

    mine[f]: how common the recorded rows of a family are; all_of_them: the same of all families.
    """
    count, total = np.count_nonzero(mine, axis=1)[:, None], mine.sum(axis=1, keepdims=True)
    own = np.divide(mine, total, out=mine.copy(), where=count > 0)
    return count * own + (all_of_them / all_of_them.sum() if all_of_them.sum() else all_of_them)


def _markings(facts: Iterable[Fact | None]) -> list[str]:
    return sorted({marking for fact in facts if fact for marking in fact.is_})


def _confusion(record: TraitRecord, states: Sequence[str], mistakes: float) -> Floats:
    """confusion[true, read]; each row sums to 1."""
    size = len(states)
    if size < 2:
        return np.eye(size)
    if record.states is None:  # a marking is taken for any other
        alike = np.full((size, size), mistakes / (size - 1))
        np.fill_diagonal(alike, 1.0 - mistakes)
        return alike
    at = {state: k for k, state in enumerate(states)}
    matrix = [[mistakes / (size - 1)] * size for _ in states]
    for k, state in enumerate(states):
        named = [at[other] for other in record.states[state].mistaken_for]
        if named:
            others = size - 1 - len({*named} - {k})
            share = CONFUSED if others else 1.0
            matrix[k] = [mistakes * (1.0 - share) / max(1, others)] * size
            for j in named:
                matrix[k][j] = mistakes * share / len(named)
        if k not in named:
            matrix[k][k] = 1.0 - mistakes
    return np.array(matrix)


def _with_missing(truth: Floats, confusion: Floats, mistakes: float, absent: Bools) -> tuple[Floats, Floats]:
    """Adds the state "missing": what the rows show that have no such thing."""
    rows, size = truth.shape
    wider = np.zeros((rows, size + 1))
    wider[:, :size] = truth
    wider[absent] = 0.0
    wider[:, size] = absent
    return wider, read_as_missing(confusion, mistakes)


def read_as_missing(confusion: Floats, mistakes: float) -> Floats:
    """confusion[true, read] with one more state, "missing"."""
    size, overlooked = len(confusion), mistakes * OVERLOOKED
    grown = np.full((size + 1, size + 1), overlooked)
    grown[:size, :size] = confusion * (1.0 - overlooked)
    grown[size, :size] = mistakes / max(1, size)
    grown[size, size] = 1.0 - mistakes if size else 1.0
    return grown


def _apply(absent: Bools, mistakes: float) -> Floats:
    """The chance that somebody reads a trait on each row, of which some have no such thing."""
    return np.where(absent, mistakes, reads_on_its_own(mistakes))


def reads_on_its_own(mistakes: float) -> float:
    """The chance that somebody reads a trait where there is such a thing, and elsewhere there is none."""
    return 1.0 - mistakes * OVERLOOKED


def _one_more(rows: Floats) -> Floats:
    """The rows and one of nothing."""
    return np.concatenate([rows, np.zeros((1, rows.shape[1]))])


def _moments(row: Sequence[Measure], weights: Floats, usual: float) -> tuple[float, float]:
    values = np.array([one.value for one in row])
    spreads = np.array([usual if one.plus_minus is None else one.plus_minus for one in row])
    mean = float(weights @ values)
    return mean, float(np.sqrt(weights @ (spreads**2 + (values - mean) ** 2)))


def _usual_reading(sd: Floats) -> float:
    """How closely a careful reading comes where nobody said: half of what units of one variant differ by."""
    known = [one for one in sd.tolist() if one == one]
    return median(known) / 2 if known else 0.0


def _cuts(mean: Floats) -> Floats:
    """Values halfway between the recorded means: where "longer than" tells most."""
    known = sorted({one for one in mean.tolist() if one == one})
    cuts = np.array([(one + other) / 2 for one, other in pairwise(known)])
    if len(cuts) > MOST_CUTS:
        cuts = cuts[np.linspace(0, len(cuts) - 1, MOST_CUTS).round().astype(int)]  # more than so many: none comes twice
    return cuts

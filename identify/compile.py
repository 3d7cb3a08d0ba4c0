"""Turns entries into arrays. Nothing after this reads a record.

What nobody recorded becomes the blend of what is recorded in the family (leaning on all families, for what all of them have), so
that it neither helps nor hurts.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from ..kb.load import Entries
from ..kb.models import Set as BoxedSet
from ..kb.models import Trait as TraitRecord
from ..kb.reading import in_unit
from ..kb.resolve import has_slot, living, moved, number, part_traits, parts_for, shares, slots_of, stated, views_of
from ..kb.values import Fact, Measure
from .arrays import MISSING, Bools, Compiled, Floats, Ints, Slot, Trait

#: Of the mistakes in reading a state, the share that goes to the states it is said to be mistaken for.
CONFUSED = 0.9
#: Of the mistakes in reading a part's trait, the share that takes the part for missing.
OVERLOOKED = 0.05
#: How a part is named at a bare slot: seldom wrongly, since whoever names it has it in hand.
PART_MISTAKES = 0.02
#: The chance of a misread character where readings are assumed never to go wrong; a marking must have one.
NEVER_WORN = 1e-12
MOST_CUTS = 12


@dataclass(frozen=True)
class _Candidate:
    variant: int
    family: int
    set: int
    position: int
    weight: float


@dataclass(frozen=True)
class Assumed:
    """Rates to suppose in the place of the recorded ones; None leaves those.

    mistakes  share of all readings that go wrong: of states, of parts, of values (blunders) and of whole markings
    swaps     chance of being changed, for every slot that is ever changed
    """

    mistakes: float | None = None
    swaps: float | None = None


AS_RECORDED = Assumed()


def compile_entries(entries: Entries, families: Iterable[str] | None = None, assumed: Assumed = AS_RECORDED) -> Compiled:
    """The arrays of these families (all of them where None), with some rates as assumed."""
    return _Compiler(entries, sorted(families if families is not None else entries.families), assumed).compiled()


class _Compiler:
    def __init__(self, entries: Entries, families: Sequence[str], assumed: Assumed) -> None:
        self.entries = entries
        self.assumed = assumed
        self.about = entries.about
        self.families = list(families)
        self.stated = [stated(entries, ident) for ident in living(entries) if entries.family_of(ident) in self.families]
        self.family_at = [self.families.index(one.family) for one in self.stated]
        self.index = {one.id: v for v, one in enumerate(self.stated)}
        self.sets = sorted(ident for ident, one in entries.sets.items() if self._variants_of(one))
        self.weight = self._weights()
        self.views = list(dict.fromkeys(view for family in [None, *self.families] for view in views_of(entries, family)))
        self.candidates = self._candidates()

    def compiled(self) -> Compiled:
        candidates = self.candidates
        prior = np.array([one.weight for one in candidates])
        slot_ids = list(dict.fromkeys(slot for family in self.families for slot in slots_of(self.entries, family)))
        slots = {ident: self._slot(ident) for ident in slot_ids}
        traits = [trait for s, ident in enumerate(slot_ids) for trait in self._traits(s, ident, slots[ident])]
        effort: dict[str, float] = {}
        for family in self.families:
            effort |= {name: view.effort for name, view in views_of(self.entries, family).items()}
        return Compiled(
            variants=tuple(one.id for one in self.stated),
            families=tuple(self.families),
            sets=tuple(self.sets),
            views=tuple(self.views),
            effort=np.array([effort.get(view, 1.0) for view in self.views]),
            asking=self.about.asking.model_dump(by_alias=True),
            prior=prior / prior.sum() if len(prior) else prior,
            variant=np.array([one.variant for one in candidates], dtype=np.int64),
            family=np.array([one.family for one in candidates], dtype=np.int64),
            set_of=np.array([one.set for one in candidates], dtype=np.int64),
            position=np.array([one.position for one in candidates], dtype=np.int64),
            slots=tuple(slots.values()),
            traits=tuple(traits),
            settled=self.about.settled,
            family_leads=self.about.family_leads,
        )

    # Candidates --------------------------------------------------------------------------------------------------------

    def _variants_of(self, one: BoxedSet) -> set[int]:
        return {
            self.index[now]
            for position in one.positions
            for v in position.variants
            for now in moved(self.entries, v)
            if now in self.index
        }

    def _weights(self) -> Floats:
        """How common each variant is; where nobody said, as common as the family's others on average."""
        said = [None if one.how_common is None else number(self.about.scarcity, one.how_common) for one in self.stated]
        weights = np.ones(len(said))
        for f, family in enumerate(self.families):
            mine = [v for v, at in enumerate(self.family_at) if at == f]
            known = [value for v in mine if (value := said[v]) is not None]
            usual = float(np.mean(known)) if known else 1.0
            record = self.entries.families.get(family)
            scale = number(self.about.scarcity, record.how_common) if record else 1.0
            for v in mine:
                value = said[v]
                weights[v] = scale * (usual if value is None else value)
        return weights

    def _candidates(self) -> list[_Candidate]:
        places: list[dict[tuple[int, int], float]] = []
        for one in self.stated:
            alone = 1.0 if one.sold_alone is None else number(self.about.scarcity, one.sold_alone)
            places.append({(-1, 0): alone})
        for s, ident in enumerate(self.sets):
            record = self.entries.sets[ident]
            common = number(self.about.scarcity, record.how_common)
            for p, position in enumerate(record.positions, 1):
                for written, weight in position.variants.items():
                    for now in moved(self.entries, written):
                        if now in self.index:
                            places[self.index[now]][s, p] = common * number(self.about.frequencies, weight)
        candidates: list[_Candidate] = []
        for v, shares_of in enumerate(places):
            total = sum(shares_of.values())
            for (s, p), share in sorted(shares_of.items()):
                part = share / total if total else 1.0 / len(shares_of)
                if part > 0:
                    candidates.append(_Candidate(v, self.family_at[v], s, p, float(self.weight[v]) * part))
        unlisted = self.about.not_in_the_record
        for f in range(len(self.families)):
            listed = sum(one.weight for one in candidates if one.family == f and one.variant >= 0) or 1.0
            candidates.append(_Candidate(-1 - f, f, -1, 0, listed * unlisted / (1 - unlisted)))
        return candidates

    # Slots -------------------------------------------------------------------------------------------------------------

    def _slot(self, ident: str) -> Slot:
        records = {f: slots_of(self.entries, family).get(ident) for f, family in enumerate(self.families)}
        if any(record and record.type for record in records.values()):
            return self._part_slot(ident)
        rows = len(self.stated) + len(self.families)
        family_of_row = [*self.family_at, *range(len(self.families))]
        swaps = np.array([self._swap(f, ident) for f in range(len(self.families))])
        return Slot(
            id=ident,
            parts=(),
            row=np.array([self._own_row(one) for one in self.candidates], dtype=np.int64),
            swap=swaps[family_of_row] if rows else np.zeros(0),
            issued=np.zeros((0, 0)),
            replaced=np.zeros((0, 0)),
            redone=np.array([len(self.stated) + f for f in family_of_row], dtype=np.int64),
        )

    def _own_row(self, one: _Candidate) -> int:
        return one.variant if one.variant >= 0 else len(self.stated) + one.family

    def _swap(self, family: int, slot: str) -> float:
        record = slots_of(self.entries, self.families[family]).get(slot)
        if record is None:
            return 0.0
        own = record.swapped if record.swapped is not None else self.about.fastened[record.fastened]
        return own if self.assumed.swaps is None or own == 0 else float(self.assumed.swaps)

    def _has(self, one: _Candidate, slot: str) -> bool:
        """Whether the candidate has the slot; a unit that is not in the record has all of its family."""
        kind = self.stated[one.variant].kind if one.variant >= 0 else None
        return has_slot(self.entries, self.families[one.family], slot, kind)

    def _part_slot(self, ident: str) -> Slot:
        fitting = [
            parts_for(self.entries, family, ident) if ident in slots_of(self.entries, family) else [] for family in self.families
        ]
        parts = [*sorted({part for row in fitting for part in row}), "none", "unlisted"]
        at = {part: r for r, part in enumerate(parts)}
        issued: list[Floats | None] = []
        for one in self.candidates:
            issued.append(self._issued(one, ident, at))
        self._fill(ident, issued, len(parts))
        keys: dict[bytes, int] = {}
        rows: list[Floats] = []
        row_of: list[int] = []
        meta: list[tuple[float, Floats]] = []
        for one, chances in zip(self.candidates, issued, strict=True):
            assert chances is not None
            has = self._has(one, ident)
            swap = self._swap(one.family, ident) if has else 0.0
            key = chances.tobytes() + f"{one.family} {has}".encode()
            if key not in keys:
                keys[key] = len(rows)
                rows.append(chances)
                meta.append((swap, self._replaced(one.family, ident, fitting[one.family], at)))
            row_of.append(keys[key])
        return Slot(
            id=ident,
            parts=tuple(parts),
            row=np.array(row_of, dtype=np.int64),
            swap=np.array([swap for swap, _ in meta]),
            issued=np.array(rows),
            replaced=np.array([replaced for _, replaced in meta]),
            redone=np.zeros(0, dtype=np.int64),
        )

    def _issued(self, one: _Candidate, slot: str, at: Mapping[str, int]) -> Floats | None:
        """The parts this candidate left the factory with there; None when nobody recorded them. May sum to less than 1."""
        chances = np.zeros(len(at))
        said = self.stated[one.variant] if one.variant >= 0 else None
        if not self._has(one, slot):
            chances[at["none"]] = 1.0
            return chances
        if said is None:
            return None
        fact = said.fitted.get(slot)
        if one.set >= 0:
            fact = self.entries.sets[self.sets[one.set]].positions[one.position - 1].fitted.get(slot, fact)
        if fact is None or fact.unknown:
            return None
        for part, share in shares(self.about.frequencies, fact.is_).items():
            chances[at[part]] += share
        return chances

    def _fill(self, slot: str, issued: list[Floats | None], width: int) -> None:
        """Puts the blend of the family's recorded rows where nothing, or not the whole, is recorded.

        A variant takes the blend of those that have the slot; a unit that is not in the record may be of any kind.
        """
        for f in range(len(self.families)):
            mine = [c for c, one in enumerate(self.candidates) if one.family == f]
            of_all = self._blend(mine, issued, width)
            having = [c for c in mine if self.candidates[c].variant < 0 or self._has(self.candidates[c], slot)]
            of_having = self._blend(having, issued, width)
            for c in mine:
                row = issued[c]
                blend = of_having if self.candidates[c].variant >= 0 else of_all
                issued[c] = blend if row is None else row + (1.0 - row.sum()) * blend

    def _blend(self, mine: Sequence[int], issued: Sequence[Floats | None], width: int) -> Floats:
        """The recorded rows of these candidates, weighed by how common they are."""
        known = [(self.candidates[c].weight, row) for c in mine if (row := issued[c]) is not None and row.sum() > 0]
        total = sum(weight for weight, _ in known)
        if total == 0:
            return np.full(width, 1.0 / width)
        return np.sum([weight * row / row.sum() for weight, row in known], axis=0) / total

    def _replaced(self, family: int, slot: str, fitting: Sequence[str], at: Mapping[str, int]) -> Floats:
        """How replacements fall out in this slot."""
        chances = np.zeros(len(at))
        record = slots_of(self.entries, self.families[family]).get(slot)
        if record is None:
            chances[at["none"]] = 1.0
            return chances
        missing = self.about.replaced.missing if record.missing is None else record.missing
        unlisted = self.about.replaced.unlisted if record.unlisted is None else record.unlisted
        weights = {part: number(self.about.scarcity, self.entries.parts[part].how_common) for part in fitting}
        total = sum(weights.values())
        rest = max(0.0, 1.0 - missing - unlisted) if total else 0.0
        for part, weight in weights.items():
            chances[at[part]] = rest * weight / total if total else 0.0
        chances[at["none"]], chances[at["unlisted"]] = missing, unlisted
        return chances / chances.sum() if chances.sum() else np.full(len(at), 1.0 / len(at))

    # Traits ------------------------------------------------------------------------------------------------------------

    def _traits(self, s: int, ident: str, slot: Slot) -> list[Trait]:
        if not slot.parts:
            own = [(name, None, trait) for name, trait in self.entries.traits.items() if trait.slot == ident]
            for family in self.families:
                record = self.entries.families.get(family)
                own += [(name, family, trait) for name, trait in (record.traits if record else {}).items() if trait.slot == ident]
            return [self._own_trait(s, name, family, trait) for name, family, trait in own]
        found: dict[str, TraitRecord] = {}
        for family in self.families:
            found |= {name: trait for name, trait in part_traits(self.entries, family) if trait.slot == ident}
        return [*(self._part_trait(s, name, slot, trait) for name, trait in found.items()), self._bare_slot(s, slot, not found)]

    def _own_trait(self, s: int, name: str, family: str | None, record: TraitRecord) -> Trait:
        """Rows: one for each variant, one for each family."""
        facts: list[Fact | None] = [one.shows.get(name) if family in (None, one.family) else None for one in self.stated]
        facts += [None] * len(self.families)
        blend = np.zeros((len(self.families), len(facts)))
        known = np.array([fact is not None for fact in facts], dtype=bool)
        weight = np.concatenate([self.weight, np.zeros(len(self.families))]) * known
        for f, home in enumerate(self.families):
            if family is not None and home != family:
                home = family
            mine = weight * np.array([at == self.families.index(home) for at in [*self.family_at, *range(len(self.families))]])
            blend[f] = _leaning(mine, weight)
        blend_of = np.array([*self.family_at, *range(len(self.families))], dtype=np.int64)
        foreign = np.zeros(len(facts), dtype=bool) if family is None else blend_of != self.families.index(family)
        new = np.arange(len(facts)) >= len(self.stated)
        return self._trait(s, name, family, record, facts, blend, blend_of, foreign, new)

    def _part_trait(self, s: int, name: str, slot: Slot, record: TraitRecord) -> Trait:
        """Rows: one for each part that fits; the last two are an empty slot and a part nobody recorded."""
        short = name.partition(".")[2]
        facts: list[Fact | None] = [
            self.entries.parts[part].shows.get(short) if part in self.entries.parts else None for part in slot.parts
        ]
        facts = [None if fact is None or fact.unknown else fact for fact in facts]
        blend = np.array([[1.0 if fact else 0.0 for fact in facts]])
        empty = np.array([part == "none" for part in slot.parts], dtype=bool)
        new = np.array([part == "unlisted" for part in slot.parts], dtype=bool)
        return self._trait(s, name, None, record, facts, blend, np.zeros(len(facts), dtype=np.int64), empty, new)

    def _trait(
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
        mistakes = self._mistakes(number(self.about.mistakes, record.mistakes))
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
            blunders=self._mistakes(self.about.blunders),
            reads=reads,
            worn=self._worn(record.marking.worn, states) if record.marking else 0.0,
            asked=True,
        )

    def _mistakes(self, recorded: float) -> float:
        return recorded if self.assumed.mistakes is None else self.assumed.mistakes

    def _worn(self, recorded: float, markings: Sequence[str]) -> float:
        """Misread characters: so many that, of markings of the usual length, the assumed share is misread somewhere."""
        if self.assumed.mistakes is None:
            return recorded
        length = max(1.0, float(np.mean([len(one) for one in markings if one != MISSING] or [1])))
        return max(NEVER_WORN, 1.0 - (1.0 - self.assumed.mistakes) ** (1.0 / length))

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

    def _bare_slot(self, s: int, slot: Slot, asked: bool) -> Trait:
        """Which part sits there, named outright. A question only where the slot type has no traits."""
        size = len(slot.parts)
        mistakes = self._mistakes(PART_MISTAKES)
        off = mistakes / max(1, size - 1)
        table = np.full((size, size), off) + np.eye(size) * (1.0 - mistakes - off)
        return Trait(
            id=slot.id,
            family=None,
            slot=s,
            view=-1,
            states=slot.parts,
            table=table,
            truth=np.eye(size),
            confusion=table,
            mean=np.zeros(0),
            sd=np.zeros(0),
            applies=np.ones(size),
            can_be_missing=False,
            blend=np.zeros((1, size)),
            blend_of=np.full(size, -1, dtype=np.int64),
            new=np.zeros(size, dtype=bool),
            cuts=np.zeros(0),
            least=0.0,
            most=1.0,
            blunders=self._mistakes(self.about.blunders),
            reads=0.0,
            worn=0.0,
            asked=asked,
        )


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

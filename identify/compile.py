"""Turns entries into arrays. Nothing after this reads a record.

Variants in their places become candidates, what sits where becomes slots; the tables of traits are made in `trait_tables`.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..kb.load import Entries
from ..kb.models import Set as BoxedSet
from ..kb.models import Trait as TraitRecord
from ..kb.resolve import Stated, has_slot, living, moved, number, part_traits, parts_for_all, slots_of, stated, views_of
from ..kb.values import Fact
from .arrays import Bools, Compiled, Floats, Ints, Slot, Trait
from .trait_tables import Rows, Tables, once, recorded_shares

#: How a part is named at a bare slot: seldom wrongly, since whoever names it has it in hand.
PART_MISTAKES = 0.02


@dataclass(frozen=True)
class _Candidate:
    variant: int
    family: int
    set: int
    position: int
    weight: float


@dataclass(frozen=True)
class _Issued:
    """The candidates of a family, by index, and what is known of how each left the factory; nothing of what is not in the record.

    listed: whether it is in the record;  fitted: the part in each slot, of the set position before the variant
    """

    candidates: list[int]
    listed: Bools
    weights: Floats
    kinds: list[str | None]
    fitted: list[Mapping[str, Fact]]


@dataclass(frozen=True)
class Assumed:
    """Rates to suppose in the place of the recorded ones; None leaves those.

    mistakes  share of all readings that go wrong: of states, of parts, of values (blunders) and of whole markings
    swaps     chance of being changed, for every slot that is ever changed
    """

    mistakes: float | None = None
    swaps: float | None = None


AS_RECORDED = Assumed()


def compile_entries(
    entries: Entries,
    families: Iterable[str] | None = None,
    assumed: Assumed = AS_RECORDED,
    told: Sequence[Stated] | None = None,
) -> Compiled:
    """The arrays of these families (all of them where None), with some rates as assumed.

    told: their living variants as they are stated, in the order of their ids, where that is known already
    """
    return _Compiler(entries, sorted(families if families is not None else entries.families), assumed, told).compiled()


def compile_shared(entries: Entries, told: Sequence[Stated]) -> Compiled:
    """The arrays of all families, but without the traits that a family has alone. told: as above, of all families."""
    return _Compiler(entries, sorted(entries.families), AS_RECORDED, told, shared_only=True).compiled()


@dataclass(frozen=True)
class Fitted:
    """What sits in some slots of some families, without anything to look at; `family[c]` is the family of each candidate."""

    families: tuple[str, ...]
    prior: Floats
    family: Ints
    slots: tuple[Slot, ...]


def compile_fitted(entries: Entries, slots: Mapping[str, Collection[str]], assumed: Assumed = AS_RECORDED) -> Fitted:
    """The part slots of families, by family."""
    compiler = _Compiler(entries, sorted(slots), assumed)
    prior = np.array([one.weight for one in compiler.candidates])
    return Fitted(
        families=tuple(compiler.families),
        prior=prior / prior.sum() if len(prior) else prior,
        family=np.array([one.family for one in compiler.candidates], dtype=np.int64),
        slots=tuple(compiler.part_slot(ident) for ident in sorted({ident for some in slots.values() for ident in some})),
    )


class _Compiler(Tables[Stated]):
    def __init__(
        self,
        entries: Entries,
        families: Sequence[str],
        assumed: Assumed,
        told: Sequence[Stated] | None = None,
        shared_only: bool = False,
    ) -> None:
        if told is None:
            wanted = set(families)
            told = [stated(entries, ident) for ident in living(entries) if entries.family_of(ident) in wanted]
        views = dict.fromkeys(view for family in [None, *families] for view in views_of(entries, family))
        super().__init__(entries, families, told, views, assumed.mistakes)
        self.assumed, self.shared_only = assumed, shared_only
        self.slots = [slots_of(entries, family) for family in self.families]
        self.index = {one.id: v for v, one in enumerate(self.stated)}
        self.sets = sorted(ident for ident, one in entries.sets.items() if self._variants_of(one))
        self.weight = self._weights()
        self.candidates = self._candidates()

    def compiled(self) -> Compiled:
        candidates = self.candidates
        prior = np.array([one.weight for one in candidates])
        slot_ids = list(dict.fromkeys(slot for slots in self.slots for slot in slots))
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
        for family, mine in zip(self.families, self._of_family(self.family_at), strict=True):
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
        of_family = self._of_family([one.family for one in candidates])
        for f, mine in enumerate(of_family):
            listed = sum(candidates[c].weight for c in mine) or 1.0
            candidates.append(_Candidate(-1 - f, f, -1, 0, listed * unlisted / (1 - unlisted)))
        return candidates

    def _of_family(self, family_at: Sequence[int]) -> list[list[int]]:
        """The places of each family in a list of families."""
        found: list[list[int]] = [[] for _ in self.families]
        for place, family in enumerate(family_at):
            found[family].append(place)
        return found

    # Slots -------------------------------------------------------------------------------------------------------------

    def _slot(self, ident: str) -> Slot:
        if any(ident in slots and slots[ident].type for slots in self.slots):
            return self.part_slot(ident)
        swaps = [self._swap(f, ident) for f in range(len(self.families))]
        return self.own_slot(ident, swaps, np.array([self._own_row(one) for one in self.candidates], dtype=np.int64))

    def _own_row(self, one: _Candidate) -> int:
        return one.variant if one.variant >= 0 else len(self.stated) + one.family

    def _swap(self, family: int, slot: str) -> float:
        record = self.slots[family].get(slot)
        if record is None:
            return 0.0
        own = record.swapped if record.swapped is not None else self.about.fastened[record.fastened]
        return own if self.assumed.swaps is None or own == 0 else float(self.assumed.swaps)

    @cached_property
    def _families_issued(self) -> list[_Issued]:
        found: list[_Issued] = []
        for mine in self._of_family([one.family for one in self.candidates]):
            some = [self.candidates[c] for c in mine]
            listed, weights = np.array([one.variant for one in some]) >= 0, np.array([one.weight for one in some])
            kinds = [self.stated[one.variant].kind if one.variant >= 0 else None for one in some]
            found.append(_Issued(mine, listed, weights, kinds, [self._fitted(one) for one in some]))
        return found

    def _fitted(self, one: _Candidate) -> Mapping[str, Fact]:
        if one.variant < 0:
            return {}
        fitted = self.stated[one.variant].fitted
        if one.set < 0:
            return fitted
        both = {**fitted, **self.entries.sets[self.sets[one.set]].positions[one.position - 1].fitted}
        return {slot: fact for slot, fact in both.items() if not fact.unknown}

    @cached_property
    def _fitting(self) -> list[dict[str, list[str]]]:
        """The parts that fit each slot of each family."""
        return [parts_for_all(self.entries, family) for family in self.families]

    def part_slot(self, ident: str) -> Slot:
        """A slot that holds parts. Its rows: of each family, for its units with the slot and without, every way of issue."""
        fitting = [of_family.get(ident, []) for of_family in self._fitting]
        parts = [*sorted({part for row in fitting for part in row}), "none", "unlisted"]
        at = {part: r for r, part in enumerate(parts)}
        nothing = _sure(at["none"], len(parts))
        rows: dict[object, tuple[Floats, float, Floats]] = {}
        keys: list[object] = [None] * len(self.candidates)
        for f, mine in enumerate(self._families_issued):
            if ident not in self.slots[f]:
                rows[f] = nothing, 0.0, nothing
                for c in mine.candidates:
                    keys[c] = f
                continue
            # A unit that is not in the record has every slot of its family.
            having = {kind: has_slot(self.entries, self.families[f], ident, kind) for kind in set(mine.kinds)}
            has = [having[kind] for kind in mine.kinds]
            swap, later = self._swap(f, ident), self._replaced(f, ident, fitting[f], at)
            issued = self._issued(ident, mine, np.array(has), at)
            for c, with_it, chances in zip(mine.candidates, has, issued, strict=True):
                keys[c] = key = (f, with_it, chances.tobytes())
                if key not in rows:
                    rows[key] = chances, swap if with_it else 0.0, later
        # The rows in the order in which candidates come to point at them.
        which = {key: row for row, key in enumerate(dict.fromkeys(keys))}
        found = [rows[key] for key in which]
        return Slot(
            id=ident,
            parts=tuple(parts),
            row=np.array([which[key] for key in keys], dtype=np.int64),
            swap=np.array([swap for _, swap, _ in found]),
            issued=np.array([chances for chances, _, _ in found]),
            replaced=np.array([later for _, _, later in found]),
            redone=np.zeros(0, dtype=np.int64),
        )

    def _issued(self, slot: str, mine: _Issued, having: Bools, at: Mapping[str, int]) -> Floats:
        """The parts that each candidate of one family left the factory with there. having: whether it has the slot.

        Where nothing, or not the whole, is recorded, a variant takes the blend of those of the family that have the slot; a unit
        that is not in the record may be of any kind.
        """
        distinct, which = once([fitted.get(slot) for fitted in mine.fitted])
        rows = recorded_shares(self.about.frequencies, distinct, at)[which]
        rows[~having] = _sure(at["none"], len(at))
        sums = rows.sum(axis=1)
        told = (sums > 0) & (mine.listed | ~having)
        of_all, of_having = (_blend(rows[some], mine.weights[some]) for some in (told, told & having))
        return rows + (1.0 - sums)[:, None] * np.where(mine.listed[:, None], of_having, of_all)

    def _replaced(self, family: int, slot: str, fitting: Sequence[str], at: Mapping[str, int]) -> Floats:
        """How replacements fall out in this slot."""
        chances = np.zeros(len(at))
        record = self.slots[family][slot]
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

    def own_records(self, slot: str) -> list[tuple[str, str, TraitRecord]]:
        """(id, family, trait) of what is seen of the body or the finish of a single family."""
        records = [(family, self.entries.families[family]) for family in self.families if family in self.entries.families]
        return [(name, family, trait) for family, one in records for name, trait in one.traits.items() if trait.slot == slot]

    def _traits(self, s: int, ident: str, slot: Slot) -> list[Trait]:
        if not slot.parts:
            common = [self.own_trait(s, name, None, trait) for name, trait in self.entries.traits.items() if trait.slot == ident]
            own = [] if self.shared_only else self.own_records(ident)
            return [*common, *(self.own_trait(s, name, family, trait) for name, family, trait in own)]
        found, rows = self._part_traits.get(ident, {}), _rows_of_parts(slot.parts)
        seen = [self._part_trait(s, name, slot, trait, rows) for name, trait in found.items()]
        return [*seen, self._bare_slot(s, slot, not found)]

    @cached_property
    def _part_traits(self) -> dict[str, dict[str, TraitRecord]]:
        """What is seen of the part in each slot."""
        found: dict[str, dict[str, TraitRecord]] = {}
        for family in self.families:
            for name, trait in part_traits(self.entries, family):
                found.setdefault(trait.slot, {})[name] = trait
        return found

    def _part_trait(self, s: int, name: str, slot: Slot, record: TraitRecord, rows: Rows) -> Trait:
        """Rows: one for each part that fits; the last two are an empty slot and a part nobody recorded."""
        short = name.partition(".")[2]
        facts: list[Fact | None] = [
            self.entries.parts[part].shows.get(short) if part in self.entries.parts else None for part in slot.parts
        ]
        facts = [None if fact is None or fact.unknown else fact for fact in facts]
        return self.trait(s, name, None, record, facts, rows)

    def _bare_slot(self, s: int, slot: Slot, asked: bool) -> Trait:
        """Which part sits there, named outright. A question only where the slot type has no traits."""
        size = len(slot.parts)
        mistakes = self.mistakes(PART_MISTAKES)
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
            blunders=self.mistakes(self.about.blunders),
            reads=0.0,
            worn=0.0,
            asked=asked,
        )


def _rows_of_parts(parts: Sequence[str]) -> Rows:
    """One for each part that fits somewhere; all that is recorded of them counts alike."""
    size = len(parts)
    empty, new = (np.array([part == word for part in parts], dtype=bool) for word in ("none", "unlisted"))
    return Rows(np.zeros(size, dtype=np.int64), empty, new, lambda known: known[None, :].astype(np.float64))


def _sure(part: int, parts: int) -> Floats:
    """The chances of so many parts, of which one is there for sure."""
    chances = np.zeros(parts)
    chances[part] = 1.0
    return chances


def _blend(rows: Floats, weights: Floats) -> Floats:
    """Recorded rows, weighed by how common they are."""
    total: float = sum(weights.tolist())
    if total == 0:
        width: int = rows.shape[1]
        return np.full(width, 1.0 / width)
    weighed: Floats = (weights[:, None] * rows / rows.sum(axis=1, keepdims=True)).sum(axis=0)
    return weighed / total

"""Turns entries into arrays. Nothing after this reads a record.

Variants in their places become candidates, what sits where becomes slots; the tables of traits are made in `trait_tables`.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..kb.load import Entries
from ..kb.models import Set as BoxedSet
from ..kb.models import Trait as TraitRecord
from ..kb.resolve import Stated, has_slot, living, moved, number, part_traits, parts_for, shares, slots_of, stated, views_of
from ..kb.values import Fact
from .arrays import Compiled, Floats, Ints, Slot, Trait
from .trait_tables import Tables

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
    def __init__(self, entries: Entries, families: Sequence[str], assumed: Assumed) -> None:
        all_stated = [stated(entries, ident) for ident in living(entries) if entries.family_of(ident) in families]
        views = dict.fromkeys(view for family in [None, *families] for view in views_of(entries, family))
        super().__init__(entries, families, all_stated, views, assumed.mistakes)
        self.assumed = assumed
        self.index = {one.id: v for v, one in enumerate(self.stated)}
        self.sets = sorted(ident for ident, one in entries.sets.items() if self._variants_of(one))
        self.weight = self._weights()
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
            return self.part_slot(ident)
        swaps = [self._swap(f, ident) for f in range(len(self.families))]
        return self.own_slot(ident, swaps, np.array([self._own_row(one) for one in self.candidates], dtype=np.int64))

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

    def part_slot(self, ident: str) -> Slot:
        """A slot that holds parts."""
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
            return [self.own_trait(s, name, family, trait) for name, family, trait in own]
        found: dict[str, TraitRecord] = {}
        for family in self.families:
            found |= {name: trait for name, trait in part_traits(self.entries, family) if trait.slot == ident}
        return [*(self._part_trait(s, name, slot, trait) for name, trait in found.items()), self._bare_slot(s, slot, not found)]

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
        return self.trait(s, name, None, record, facts, blend, np.zeros(len(facts), dtype=np.int64), empty, new)

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

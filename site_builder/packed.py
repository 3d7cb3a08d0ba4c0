"""The arrays of a knowledge base as a small plain value, for the page that identifies; `modules/kernel/unpack.js` unpacks it.

Whole numbers of an array stand as one string with a character for each (`letters`).  A trait is such a string: the character of
a row says which of the trait's distinct looks it has, and the looks stand once.  What follows from the rest is left out: a table
is truth @ confusion, the blend is that of what is recorded, weighted by how common it is, and a variant's own row is its number.

    slot    id, parts; swaps, swap: distinct chances, and which of them each row has
            row: of each candidate, left out of an own slot;  redone: of an own slot
            chances: distinct rows of parts, as `_sparse`;  issued, replaced: which of them each row has
    trait   looks: distinct [what, applies, blend_of, new];  rows: which of them each row has
            what: a state, or `_sparse` chances of states, or [mean, sd]; null: no value is recorded, or the blend of what is
            confusion: of each state [chance of any other state, state, chance, state, chance ...]
            blend: `_sparse` rows, only where they do not follow from how common the rows are
            elsewhere: of a trait that one family has alone, among others: what and applies of all rows of other families; the
            looks, rows and blend are then those of its own rows alone, its variants and behind them the family
"""

from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, TypeAlias, TypeVar

import numpy as np

from ..identify.arrays import MISSING, Bools, Compiled, Floats, Ints, Slot, Trait
from ..identify.trait_tables import BY_ROW, read_as_missing, reads_on_its_own
from ..kb.models import Trait as TraitRecord

#: Packed values may differ from the arrays by this much.
CLOSE = 1e-12
Plain = dict[str, Any]
Found = TypeVar("Found", bound=Hashable)
#: What a row shows, see `_shown`.
Shown: TypeAlias = tuple[float, ...] | None

#: Characters that need no escape in a string of JSON: printable ASCII but for ! " and the backslash, then what follows it.
_FIRST, _BACKSLASH, _LAST, _WIDE, _END = 35, 92, 126, 161, 0xD800
_NARROW = _LAST - _FIRST
#: So many different whole numbers can be a letter.
LETTERS = _NARROW + _END - _WIDE
#: What is said of a trait beside its slot and view, in this order.
FIELDS = (
    *("id", "looks", "rows", "states", "confusion", "cuts", "range", "blunders", "reads", "worn", "asked", "canBeMissing"),
    *("atOnce", "family", "blend", "elsewhere"),
)
#: The first of them.
_ASCII = [chr(code) for code in range(_FIRST, _LAST + 1) if code != _BACKSLASH]


def packed(compiled: Compiled) -> Plain:
    """Plain values of JSON. Raises ValueError for candidates that are not in the order of their variants."""
    known, families = len(compiled.variants), len(compiled.families)
    times = np.bincount(compiled.variant[compiled.variant >= 0], minlength=known)
    expected = np.concatenate([np.repeat(np.arange(known), times), -1 - np.arange(families)])
    if not np.array_equal(expected, compiled.variant):
        raise ValueError("candidates must be sorted by variant, then one of each family that is not in the record")
    priors, prior = _distinct(compiled.prior.tolist())
    rows = rows_of(compiled)
    return {
        "variants": list(compiled.variants),
        "families": list(compiled.families),
        "sets": list(compiled.sets),
        "views": list(compiled.views),
        "effort": compiled.effort.tolist(),
        "asking": dict(compiled.asking),
        "settled": compiled.settled,
        "familyLeads": compiled.family_leads,
        "times": letters(times),
        "priors": priors,
        "prior": letters(prior),
        "family": letters(compiled.family),
        "setOf": letters(compiled.set_of + 1),
        "position": letters(compiled.position),
        "slots": [_slot(compiled, slot) for slot in compiled.slots],
        "traits": [_trait(compiled, trait, rows) for trait in compiled.traits],
    }


def letters(numbers: Sequence[int] | Ints) -> str | list[int]:
    """One character for each number from 0; the numbers themselves where one is too large for that."""
    if isinstance(numbers, list) and max(numbers, default=0) < _NARROW:
        return "".join([_ASCII[number] for number in numbers])
    codes = np.asarray(numbers, dtype=np.int64)
    if codes.size and codes.max() >= LETTERS:
        return codes.tolist()
    codes = codes + np.where(codes < _BACKSLASH - _FIRST, _FIRST, _FIRST + 1)
    codes = codes + np.where(codes > _LAST, _WIDE - _LAST - 1, 0)
    return codes.astype("<u4").tobytes().decode("utf-32-le")


def _distinct(found: Iterable[Found]) -> tuple[list[Found], list[int]]:
    """(what there is, in the order it comes; which of them each is)."""
    at: dict[Found, int] = {}
    index = [at.setdefault(one, len(at)) for one in found]
    return list(at), index


def _distinct_rows(rows: Floats) -> tuple[list[int], list[int]]:
    """(the first of all rows that are alike, in the order they come; which of those each row is)."""
    data, width = (rows + 0.0).tobytes(), rows.shape[1] * rows.itemsize  # 0 is the same as -0
    at: dict[bytes, int] = {}
    index = [at.setdefault(data[i * width : (i + 1) * width], len(at)) for i in range(len(rows))]
    first = dict(zip(reversed(index), range(len(index) - 1, -1, -1), strict=True))
    return [first[which] for which in range(len(at))], index


def _sparse(row: Sequence[float]) -> tuple[float, ...]:
    """(index, number, index, number ...) of what is not 0."""
    return tuple([one for k, x in enumerate(row) if x for one in (k, x)])


# Slots -----------------------------------------------------------------------------------------------------------------


def _slot(compiled: Compiled, slot: Slot) -> Plain:
    swaps, swap = _distinct(slot.swap.tolist())
    plain: Plain = {"id": slot.id, "swaps": swaps, "swap": letters(swap)}
    if not slot.parts:
        if not np.array_equal(slot.row, own_rows(compiled)):
            raise ValueError(f"the rows of the slot {slot.id} must be the variants, then the families")
        return {**plain, "redone": letters(slot.redone - len(compiled.variants))}
    rows = np.concatenate([slot.issued, slot.replaced])
    first, which = _distinct_rows(rows)
    return {
        **plain,
        "parts": list(slot.parts),
        "row": letters(slot.row),
        "chances": [_sparse(row) for row in rows[first].tolist()],
        "issued": letters(which[: len(slot.swap)]),
        "replaced": letters(which[len(slot.swap) :]),
    }


def own_rows(compiled: Compiled) -> Ints:
    """The row of each candidate in an own slot: its variant, or behind those its family."""
    return np.where(compiled.variant >= 0, compiled.variant, len(compiled.variants) - 1 - compiled.variant)


# Traits ----------------------------------------------------------------------------------------------------------------


class Rows:
    """The rows of an own slot: the families there are, how common each row is (a family: not at all), and which it is of."""

    def __init__(self, families: Sequence[str], common: Floats, family: Ints) -> None:
        self.families, self.common, self.family = families, common, family
        self._said: dict[tuple[object, ...], list[tuple[float, ...]]] = {}

    def blend(self, trait: Trait, of_parts: bool = False) -> list[tuple[float, ...]]:
        """What must be said of the blend of a trait, or of one of parts; mostly nothing. Many traits have the same blend."""
        key = (of_parts, trait.family, trait.blend_of.tobytes(), trait.blend.tobytes())
        if key not in self._said:
            usual = _blend_of_parts(trait) if of_parts else self._usual(trait)
            close = np.abs(usual - trait.blend).max(initial=0.0) <= CLOSE
            self._said[key] = [] if close else [_sparse(row) for row in trait.blend.tolist()]
        return self._said[key]

    def _usual(self, trait: Trait) -> Floats:
        """The blend that follows from how common the rows are: a family's recorded ones, and all of them by the weight of one.

        blend[f, i] of a trait that all families have, as `identify.trait_tables` makes it; one row where one family has it alone.
        """
        weights = self.common * (trait.blend_of < 0)
        families = range(len(self.families)) if trait.family is None else [self.families.index(trait.family)]
        mine = weights * (self.family == np.array(families)[:, None])
        return _shares(np.count_nonzero(mine, axis=1)[:, None] * _shares(mine) + _shares(weights[None, :]))


def rows_of(compiled: Compiled) -> Rows:
    """The rows of every own slot."""
    rows = own_rows(compiled)
    size = len(compiled.variants) + len(compiled.families)
    common: Floats = np.bincount(rows, weights=compiled.prior, minlength=size).astype(np.float64)
    common[len(compiled.variants) :] = 0.0
    family = np.zeros(len(common), dtype=np.int64)
    family[rows] = compiled.family
    return Rows(compiled.families, common, family)


def _trait(compiled: Compiled, trait: Trait, rows: Rows) -> Plain:
    if trait.family is not None and len(compiled.families) > 1:
        mine = rows.family == compiled.families.index(trait.family)
        own = Rows([trait.family], rows.common[mine], np.zeros(np.count_nonzero(mine), dtype=np.int64))
        found = _packed_own(_alone(trait, mine), own)
    else:
        found = _packed(trait, rows.blend(trait, of_parts=bool(compiled.slots[trait.slot].parts)))
    return {"id": trait.id, "slot": trait.slot, "view": trait.view} | found


def _packed_own(trait: Trait, rows: Rows) -> Plain:
    """A trait that a family has alone among others; its slot and view left out.

    rows: those of the family; the trait has one more, which stands for all other families.
    """
    mine, others = _taken(trait, slice(-1)), _taken(trait, slice(-1, None))
    (elsewhere,) = _shown(others, [False])
    return _packed(mine, rows.blend(mine)) | {"elsewhere": [_short(others, elsewhere), float(others.applies[0])]}


def among_others(alone: Plain, trait: Trait, record: TraitRecord, mistakes: float) -> Plain:
    """The same of a trait that was packed where its family is the only one, and every unit has such a thing to look at.

    alone: the trait as it was packed there.  mistakes: the share of readings of it that go wrong
    """
    looks = [(what, reads_on_its_own(mistakes), blend_of, new) for what, _, blend_of, new in alone["looks"]]
    found = alone | {"looks": looks, "canBeMissing": True, "elsewhere": [None, float(mistakes)]}
    if not record.measured:
        found["states"] = [*trait.states, MISSING]
        found["confusion"] = _confusions(read_as_missing(trait.confusion, mistakes))
        found["elsewhere"] = [len(trait.states), float(mistakes)]
    return _told(found)


def _alone(trait: Trait, mine: Bools) -> Trait:
    """A trait that a family has alone, with its own rows and one for all others."""
    others = np.flatnonzero(~mine)
    foreign = _taken(trait, others)
    alike = {(what, applies) for what, applies, _, _ in _looks(foreign, [False] * len(others))}
    if len(alike) > 1 or trait.blend_of[others].any() or trait.blend[:, others].any():
        raise ValueError(f"all units of other families must be alike in the trait {trait.id}")
    return _taken(trait, np.append(np.flatnonzero(mine), others[0]))


def _taken(trait: Trait, at: Ints | slice) -> Trait:
    """A trait with some of its rows."""
    values = {name: held[at] for name in (*BY_ROW, "new") if len(held := getattr(trait, name))}
    return replace(trait, **values, blend=trait.blend[:, at])


def _packed(trait: Trait, blend: Sequence[tuple[float, ...]]) -> Plain:
    """A trait without its slot and view. blend: what must be said of that."""
    looks, rows = _distinct(_looks(trait, _left_out(trait)))
    plain: Plain = {
        "id": trait.id,
        "looks": [(_short(trait, what), applies, blend_of, int(new)) for what, applies, blend_of, new in looks],
        "rows": letters(rows),
        "states": list(trait.states),
        "confusion": [] if trait.measured else _confusions(trait.confusion),
        "cuts": trait.cuts.tolist(),
        "range": [trait.least, trait.most],
        "blunders": trait.blunders,
        "reads": trait.reads,
        "worn": trait.worn,
        "asked": trait.asked,
        "canBeMissing": trait.can_be_missing,
        "atOnce": trait.at_once,
    }
    if trait.family is not None:
        plain["family"] = trait.family
    if blend:
        plain["blend"] = blend
    return _told(plain)


def _told(plain: Plain) -> Plain:
    """What is said of a trait, in the order of FIELDS; what is usual is left out."""
    return {name: plain[name] for name in FIELDS if plain.get(name, False) not in ([], False, 0.0)}


def _looks(trait: Trait, left_out: Sequence[bool]) -> Iterator[tuple[Shown, float, int, bool]]:
    """All that a trait says of each of its rows."""
    return zip(_shown(trait, left_out), trait.applies.tolist(), trait.blend_of.tolist(), trait.new.tolist(), strict=True)


def _left_out(trait: Trait) -> list[bool]:
    """Which rows show the blend of what is recorded; of a value there is none."""
    unknown = trait.blend_of >= 0
    if trait.measured or not unknown.any():
        return [False] * len(unknown)
    blends: Floats = (trait.blend @ np.where(unknown[:, None], 0.0, trait.truth))[trait.blend_of]
    found: Bools = unknown & (np.abs(trait.truth - blends) <= CLOSE).all(axis=1)
    return found.tolist()


def _shown(trait: Trait, left_out: Sequence[bool]) -> list[Shown]:
    """What each row shows: a value with its spread, or the chances of the states.

    None for the blend of what is recorded, and for a value that nobody recorded.
    """
    if trait.measured:
        return [None if mean != mean else (mean, sd) for mean, sd in zip(trait.mean.tolist(), trait.sd.tolist(), strict=True)]
    return [None if out else tuple(row) for out, row in zip(left_out, trait.truth.tolist(), strict=True)]


def _short(trait: Trait, what: Shown) -> int | Shown:
    """The same as it is packed: a state where it is sure, else the chances that there are."""
    if what is None or trait.measured:
        return what
    return what.index(1.0) if what.count(0.0) == len(what) - 1 and 1.0 in what else _sparse(what)


def _confusions(confusion: Floats) -> list[list[float]]:
    """Each row as `_confused` has it."""
    return [_confused(row, k) for k, row in enumerate(confusion.tolist())]


def _confused(row: list[float], true: int) -> list[float]:
    """[the most usual chance, state, chance ...] of one true state."""
    other = row[not true] if len(row) > 1 else row[0]
    if row.count(other) == len(row) - 1 > 1 and row[true] != other:  # all other states alike, as mostly
        return [other, true, row[true]]
    usual = max(row, key=row.count)
    return [usual, *(one for k, x in enumerate(row) if x != usual for one in (k, x))]


def _blend_of_parts(trait: Trait) -> Floats:
    """Of the parts of a slot all count alike, and none where all are recorded."""
    known = trait.blend_of < 0
    return (np.zeros(len(known)) if known.all() else known / max(1, known.sum()))[None, :]


def _shares(weights: Floats) -> Floats:
    """Each row by its sum, where it has one."""
    totals = weights.sum(axis=1, keepdims=True)
    return np.divide(weights, totals, out=weights.copy(), where=totals > 0)

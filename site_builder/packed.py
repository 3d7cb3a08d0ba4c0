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
"""

from collections.abc import Hashable, Iterable, Sequence
from typing import Any, TypeVar

import numpy as np

from ..identify.arrays import Compiled, Floats, Ints, Slot, Trait

#: Packed values may differ from the arrays by this much.
CLOSE = 1e-12
Plain = dict[str, Any]
Found = TypeVar("Found", bound=Hashable)

#: Characters that need no escape in a string of JSON: printable ASCII but for ! " and the backslash, then what follows it.
_FIRST, _BACKSLASH, _LAST, _WIDE, _END = 35, 92, 126, 161, 0xD800
_NARROW = _LAST - _FIRST
#: So many different whole numbers can be a letter.
LETTERS = _NARROW + _END - _WIDE


def packed(compiled: Compiled) -> Plain:
    """Plain values of JSON. Raises ValueError for candidates that are not in the order of their variants."""
    known, families = len(compiled.variants), len(compiled.families)
    times = np.bincount(compiled.variant[compiled.variant >= 0], minlength=known)
    expected = np.concatenate([np.repeat(np.arange(known), times), -1 - np.arange(families)])
    if not np.array_equal(expected, compiled.variant):
        raise ValueError("candidates must be sorted by variant, then one of each family that is not in the record")
    priors, prior = _distinct(compiled.prior.tolist())
    return {
        "variants": list(compiled.variants),
        "families": list(compiled.families),
        "sets": list(compiled.sets),
        "views": list(compiled.views),
        "effort": compiled.effort.tolist(),
        "asking": dict(compiled.asking),
        "settled": compiled.settled,
        "familyLeads": compiled.family_leads,
        "times": letters(times.tolist()),
        "priors": priors,
        "prior": letters(prior),
        "family": letters(compiled.family.tolist()),
        "setOf": letters((compiled.set_of + 1).tolist()),
        "position": letters(compiled.position.tolist()),
        "slots": [_slot(compiled, slot) for slot in compiled.slots],
        "traits": [_trait(compiled, trait) for trait in compiled.traits],
    }


def letters(numbers: Sequence[int]) -> str | list[int]:
    """One character for each number from 0; the numbers themselves where one is too large for that."""
    if numbers and max(numbers) >= LETTERS:
        return list(numbers)
    return "".join(map(_letter, numbers))


def _letter(number: int) -> str:
    code = number + _FIRST if number < _BACKSLASH - _FIRST else number + _FIRST + 1
    return chr(code if code <= _LAST else code - _LAST - 1 + _WIDE)


def _distinct(found: Iterable[Found]) -> tuple[list[Found], list[int]]:
    """(what there is, in the order it comes; which of them each is)."""
    at: dict[Found, int] = {}
    index = [at.setdefault(one, len(at)) for one in found]
    return list(at), index


def _sparse(row: Iterable[float]) -> tuple[float, ...]:
    """(index, number, index, number ...) of what is not 0."""
    return tuple(one for k, x in enumerate(row) if x for one in (k, x))


# Slots -----------------------------------------------------------------------------------------------------------------


def _slot(compiled: Compiled, slot: Slot) -> Plain:
    swaps, swap = _distinct(slot.swap.tolist())
    plain: Plain = {"id": slot.id, "swaps": swaps, "swap": letters(swap)}
    if not slot.parts:
        if not np.array_equal(slot.row, own_rows(compiled)):
            raise ValueError(f"the rows of the slot {slot.id} must be the variants, then the families")
        return {**plain, "redone": letters((slot.redone - len(compiled.variants)).tolist())}
    rows = [_sparse(row) for row in [*slot.issued.tolist(), *slot.replaced.tolist()]]
    chances, which = _distinct(rows)
    return {
        **plain,
        "parts": list(slot.parts),
        "row": letters(slot.row.tolist()),
        "chances": chances,
        "issued": letters(which[: len(slot.swap)]),
        "replaced": letters(which[len(slot.swap) :]),
    }


def own_rows(compiled: Compiled) -> Ints:
    """The row of each candidate in an own slot: its variant, or behind those its family."""
    return np.where(compiled.variant >= 0, compiled.variant, len(compiled.variants) - 1 - compiled.variant)


# Traits ----------------------------------------------------------------------------------------------------------------


def _trait(compiled: Compiled, trait: Trait) -> Plain:
    what = _measures(trait) if trait.measured else _states(trait)
    others = zip(what, trait.applies.tolist(), trait.blend_of.tolist(), trait.new.astype(int).tolist(), strict=True)
    looks, rows = _distinct(others)
    plain: Plain = {
        "id": trait.id,
        "slot": trait.slot,
        "view": trait.view,
        "looks": looks,
        "rows": letters(rows),
        "states": list(trait.states),
        "confusion": [] if trait.measured else [_confused(row) for row in trait.confusion.tolist()],
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
    if not np.allclose(blend(compiled, trait), trait.blend, rtol=0, atol=CLOSE):
        plain["blend"] = [_sparse(row) for row in trait.blend.tolist()]
    return {key: value for key, value in plain.items() if value not in ([], False, 0.0) or key in ("slot", "view")}


def _measures(trait: Trait) -> list[tuple[float, float] | None]:
    pairs = zip(trait.mean.tolist(), trait.sd.tolist(), strict=True)
    return [None if mean != mean else (mean, sd) for mean, sd in pairs]


def _states(trait: Trait) -> list[int | tuple[float, ...] | None]:
    """What each row shows; None for the blend of what is recorded."""
    known = np.where((trait.blend_of < 0)[:, None], trait.truth, 0.0)
    blends = (trait.blend @ known)[trait.blend_of]
    left_out = (trait.blend_of >= 0) & (np.abs(trait.truth - blends) <= CLOSE).all(axis=1)
    alike, width = trait.truth.tobytes(), trait.truth.shape[1] * trait.truth.itemsize
    shown: dict[bytes, int | tuple[float, ...]] = {}  # most rows are those of other families, all alike
    rows: list[int | tuple[float, ...] | None] = []
    for i, out in enumerate(left_out.tolist()):
        key = alike[i * width : (i + 1) * width]
        if not out and key not in shown:
            row = _sparse(trait.truth[i].tolist())
            shown[key] = int(row[0]) if len(row) == 2 and row[1] == 1.0 else row
        rows.append(None if out else shown[key])
    return rows


def _confused(row: Sequence[float]) -> list[float]:
    """[the most usual chance, state, chance ...] of one true state."""
    usual = max(row, key=row.count)
    return [usual, *(one for k, x in enumerate(row) if x != usual for one in (k, x))]


def blend(compiled: Compiled, trait: Trait) -> Floats:
    """The blend that follows from how common the rows are: a family's recorded ones, and all of them by the weight of one.

    Of the parts of a slot all count alike, and none where all are recorded.  blend[f, i], as `identify.trait_tables` makes it.
    """
    known = trait.blend_of < 0
    if compiled.slots[trait.slot].parts:
        return (np.zeros(len(known)) if known.all() else known / max(1, known.sum()))[None, :]
    common = np.zeros(len(known))
    np.add.at(common, own_rows(compiled), compiled.prior)
    common[len(compiled.variants) :] = 0.0
    family = np.zeros(len(known), dtype=np.int64)
    family[own_rows(compiled)] = compiled.family
    everything = _share(common * known)
    rows: list[Floats] = []
    for f in range(len(compiled.families)):
        of = f if trait.family is None else compiled.families.index(trait.family)
        mine = common * known * (family == of)
        rows.append(_share(np.count_nonzero(mine) * _share(mine) + everything))
    return np.array(rows)


def _share(weights: Floats) -> Floats:
    total = weights.sum()
    return weights / total if total > 0 else weights

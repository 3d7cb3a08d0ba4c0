"""Several units at once: which sets they make up, which are strays, what is missing, and what they hold of each other."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from ..kb.load import Entries
from ..kb.models import LotFile
from ..kb.resolve import moved, number, slots_of
from .arrays import Compiled, Floats
from .belief import row_weights, swapped
from .compile import compile_entries
from .lots_kernel import (
    USUAL,
    Explained,
    Group,
    Lot,
    Prior,
    Solved,
    candidates_given,
    describe_lot,
    exchanges,
    explain_lot,
    seat_shares,
    seated,
)
from .session import Session
from .start import answered
from .wording import Words

Key = TypeVar("Key", bound=str | None)

#: So many variants, and sets, are listed for a unit; nothing less likely than this.
MOST_LISTED, LISTED = 3, 1e-4
#: An exchange is named from this chance on.
WORTH_NAMING = 0.2


@dataclass(frozen=True)
class Units:
    """The units of a lot as they were described, and what that says of all candidates.

    likelihood[u, c]: the chance of the answers of unit u if it is candidate c, the largest of a unit being 1; all 0 where nothing
    can show them together
    """

    entries: Entries
    file: LotFile
    compiled: Compiled
    sessions: tuple[Session, ...]
    likelihood: Floats
    prior: Prior = USUAL

    @property
    def impossible(self) -> list[int]:
        """The units, from 0, whose answers nothing in the record can show together."""
        return [u for u, row in enumerate(self.likelihood) if not row.any()]

    @cached_property
    def words(self) -> Words:
        """Names of everything."""
        return Words(self.entries, self.compiled)

    def twins(self, ident: str) -> list[str]:
        """The variants that nothing recorded separates from this one, itself included; empty where there is none."""
        found = self._twins[ident]
        return found if len(found) > 1 else []

    @cached_property
    def _twins(self) -> dict[str, list[str]]:
        return Session(self.compiled).twins

    @cached_property
    def lot(self) -> Lot:
        """What the kernel works on."""
        sizes = [len(self.entries.sets[ident].positions) for ident in self.compiled.sets]
        return describe_lot(self.compiled, self.likelihood, sizes, self.prior)

    @cached_property
    def solved(self) -> Solved:
        """The best explanations."""
        return explain_lot(self.lot)

    @cached_property
    def given_the_lot(self) -> Floats:
        """P(candidate | the whole lot), shape [u, c]."""
        return candidates_given(self.lot, self.compiled, self.likelihood, self.solved.used)

    @cached_property
    def given_the_best(self) -> Floats:
        """The same if the best explanation is true."""
        sure = dict.fromkeys(self.solved.explanations[0].groups, 1.0)
        return candidates_given(self.lot, self.compiled, self.likelihood, sure)


def units_of(entries: Entries, file: LotFile) -> Units:
    """The units of a lot; every family and answer must have been found readable."""
    compiled = compile_entries(entries)
    sessions = tuple(answered(Session(compiled), entries, one.family, one.answers) for one in file.units)
    rows = [likelihood_of(compiled, one, unit.family) for one, unit in zip(sessions, file.units, strict=True)]
    return Units(entries, file, compiled, sessions, np.array(rows))


def likelihood_of(compiled: Compiled, session: Session, family: str | None) -> Floats:
    """The chance of a unit's answers for every candidate over that of the likeliest; 0 for another family than a stated one."""
    log = np.zeros(compiled.candidates)
    with np.errstate(divide="ignore"):
        for s in sorted({compiled.traits[one.trait].slot for one in session.evidence}):
            log += np.log(session.belief.factor[s])[compiled.slots[s].row]
    if family is not None:
        log[compiled.family != compiled.families.index(family)] = -np.inf
    top = log.max(initial=-np.inf)
    return np.exp(log - top) if top > -np.inf else np.zeros(compiled.candidates)


# The answer as plain values --------------------------------------------------------------------------------------------


def report_lot(units: Units) -> dict[str, Any]:
    """`tellmark/lot/1`; see cli/schemas/lot.json. No unit may be impossible."""
    best = units.solved.explanations[0]
    boxed = {u for group in best.groups for u in group.units}
    return {
        "format": "tellmark/lot/1",
        "units": [_unit(units, u, u not in boxed) for u in range(len(units.sessions))],
        "explanations": [_explained(units, one) for one in units.solved.explanations],
        "exchanges": list(_exchanges(units)),
        "exact": units.solved.exact,
    }


def _unit(units: Units, u: int, stray: bool) -> dict[str, Any]:
    compiled, shares = units.compiled, units.given_the_lot[u]
    variants: dict[str, float] = {}
    origins: dict[str | None, float] = {}
    for c in np.flatnonzero(shares > 0).tolist():
        label, s = compiled.label(c), int(compiled.set_of[c])
        variants[label] = variants.get(label, 0.0) + float(shares[c])
        origin = compiled.sets[s] if s >= 0 else None
        origins[origin] = origins.get(origin, 0.0) + float(shares[c])
    listed = _best(variants)
    return {
        "unit": u + 1,
        "name": units.file.units[u].name,
        "variants": [{"id": ident, "name": units.words.variant(ident), "probability": chance} for ident, chance in listed],
        "sets": [{"id": ident, "probability": chance} for ident, chance in _best(origins)],
        "cannot_be_told_apart": units.twins(listed[0][0]),
        "stray": stray,
    }


def _best(shares: Mapping[Key, float]) -> list[tuple[Key, float]]:
    ordered = sorted(shares.items(), key=lambda one: (-round(one[1], 9), str(one[0])))[:MOST_LISTED]
    return [(key, round(min(1.0, chance), 6)) for n, (key, chance) in enumerate(ordered) if n == 0 or chance >= LISTED]


def _explained(units: Units, one: Explained) -> dict[str, Any]:
    boxed = {u for group in one.groups for u in group.units}
    return {
        "probability": _digits(one.probability),
        "sets": [_set(units, group) for group in one.groups],
        "strays": [u + 1 for u in range(len(units.sessions)) if u not in boxed],
    }


def _digits(chance: float) -> float:
    """A probability to six digits, and so never 0 when it is not."""
    return float(f"{min(1.0, chance):.6g}")


def _set(units: Units, group: Group) -> dict[str, Any]:
    boxed, compiled = units.lot.sets[group.boxed], units.compiled
    ident = compiled.sets[boxed.set]
    places: list[int] = seated(boxed, group.units).tolist()
    sure = seat_shares(boxed, group.units)
    there: list[dict[str, Any]] = []
    for i, (u, p) in enumerate(zip(group.units, places, strict=True)):
        mine, weights = boxed.seats[int(p)]
        c = int(mine[int((units.likelihood[u, mine] * weights).argmax())])
        chance = round(float(sure[i, p]), 6)
        there.append({"unit": u + 1, "position": p + 1, "variant": compiled.label(c), "probability": chance})
    return {
        "set": ident,
        "name": units.entries.sets[ident].name,
        "probability": _digits(units.solved.used[group]),
        "units": sorted(there, key=lambda one: one["position"]),
        "missing": [
            {"position": p + 1, "variants": _seat(units.entries, ident, p)} for p in range(len(boxed.seats)) if p not in places
        ],
    }


def _seat(entries: Entries, ident: str, p: int) -> list[str]:
    """The variants that sat in a position, the commonest first."""
    written = entries.sets[ident].positions[p].variants
    ordered = sorted(written, key=lambda one: -number(entries.about.frequencies, written[one]))
    return list(dict.fromkeys(now for one in ordered for now in moved(entries, one)))


# Exchanges -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Place:
    """A slot of a unit that was looked at: the chance that it was changed, and if so, of the part there now and as issued."""

    unit: int
    slot: int
    type: str
    now: dict[str, float]
    issued: dict[str, float]
    changed: float


def _exchanges(units: Units) -> Iterator[dict[str, Any]]:
    """The parts that units of the lot hold of one another, by slot type, if the best explanation is true."""
    places = [place for u in range(len(units.sessions)) for place in _places(units, u)]
    found: list[dict[str, Any]] = []
    for kind in sorted({place.type for place in places}):
        mine = [place for place in places if place.type == kind]
        belongs = np.array([[_match(there.now, here.issued) for there in mine] for here in mine])
        for ring, chance in exchanges(belongs, np.array([place.changed for place in mine])):
            if chance >= WORTH_NAMING and len({mine[i].unit for i in ring}) > 1:
                found.append(_exchange(units, kind, [mine[i] for i in ring], chance))
    yield from sorted(found, key=lambda one: -one["chance"])


def _places(units: Units, u: int) -> Iterator[_Place]:
    compiled, session, shares = units.compiled, units.sessions[u], units.given_the_best[u]
    family = compiled.families[int(np.bincount(compiled.family, weights=shares).argmax())]
    records = slots_of(units.entries, family)
    for s in sorted({compiled.traits[one.trait].slot for one in session.evidence}):
        slot = compiled.slots[s]
        record = records.get(slot.id)
        if record is None or record.type is None:
            continue
        rows = row_weights(slot, shares)
        seen, factor = session.belief.evidence[s], session.belief.factor[s]
        changed = rows * swapped(slot, seen, factor)
        total = float(changed.sum())
        if total <= 0:
            continue
        later = slot.replaced * seen
        later = np.divide(later, later.sum(axis=1, keepdims=True), out=np.zeros_like(later), where=later > 0)
        now, issued = (_named(slot.parts, changed @ table / total) for table in (later, slot.issued))
        yield _Place(u, s, record.type, now, issued, min(1.0, total))


def _named(parts: Sequence[str], chances: Floats) -> dict[str, float]:
    """The chance of every recorded part; an empty slot and an unrecorded part have nothing to exchange."""
    pairs = zip(parts, chances.tolist(), strict=True)
    return {part: chance for part, chance in pairs if chance > 0 and part not in ("none", "unlisted")}


def _match(now: dict[str, float], issued: dict[str, float]) -> float:
    return sum(chance * issued.get(part, 0.0) for part, chance in now.items())


def _exchange(units: Units, kind: str, ring: Sequence[_Place], chance: float) -> dict[str, Any]:
    """Each place of the ring gets the part of the one behind it, the last that of the first."""
    behind = [*ring[1:], ring[0]]
    wanted = [
        max(one.now, key=lambda part: one.now[part] * to.issued.get(part, 0.0)) for to, one in zip(ring, behind, strict=True)
    ]
    parts = [wanted[-1], *wanted[:-1]]
    return {
        "slot": kind,
        "between": [one.unit + 1 for one in ring],
        "slots": [units.compiled.slots[one.slot].id for one in ring],
        "parts": parts,
        "chance": round(chance, 6),
    }

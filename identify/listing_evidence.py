"""What a seller's claims say of a unit: what each counts for every candidate, for traits, and for what was changed since.

A claim of number, year or name says which unit it is.  With `wrong`, how often such a claim is wrong,

    P(claim | c) = (1 - wrong) * fits[c] + wrong * by_chance

fits[c] is 1 if c is what it says, 0 if not, and for what nobody recorded the share of its family that is; by_chance is the chance
that a wrong claim names just this, all names of its sort being alike.  A claim that follows from another one ("Prairie Meridian"
from "424") is the same news told twice, and counts once.  A claim of a trait or a part counts there (see `belief`); one that may
be about several slots, for the candidates alone; and one of repainting, for the chance that the finish was redone.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..kb.findings import Unreadable
from ..kb.load import Entries
from ..kb.models import Worth
from ..kb.reading import Reading, Seen, Typed, read_reading
from ..kb.resolve import Stated, stated
from ..kb.values import Answer, Years, read_years
from .arrays import Compiled, Floats, Slot, Trait
from .belief import Evidence, anyhow, leaning, likelihood, slot_factor
from .claims import Claim
from .given import Heard, merge
from .wording import Words

#: A candidate that shows something less often than this, as issued, never shows it.
POSSIBLE = 0.005
#: A measured value this many standard deviations off is another value.
NEAR = 4.0
#: A typed text reads as a marking when it fits it at least so well.
READS = 0.05
#: The kinds of claims that say which unit it is.
NAMING = ("number", "year", "name")


@dataclass(frozen=True, eq=False)
class Meaning:
    """What one claim means.

    wrong       how often such a claim is wrong
    fits[c]     how far candidate c, as issued, is or shows what it says; None where it says nothing of that
    holds[c]    the chance of the claim given candidate c from one who is right, where it counts for candidates
    by_chance   the chance of the claim from one who is wrong
    heard       what it says of a trait, where it counts there
    redone      P(claim | the finish was redone) and P(claim | it was not), where it speaks of repainting
    names       whether it says which unit it is; sort: of names that exclude one another ("livery", "kind", "batch" ...)
    """

    claim: Claim
    wrong: float
    fits: Floats | None = None
    holds: Floats | None = None
    by_chance: float = 0.0
    heard: Heard | None = None
    redone: tuple[float, float] | None = None
    names: bool = False
    sort: str = ""

    @cached_property
    def told(self) -> Floats | None:
        """The chance of the claim given each candidate, where it counts for candidates."""
        return None if self.holds is None else (1.0 - self.wrong) * self.holds + self.wrong * self.by_chance

    @cached_property
    def true(self) -> Floats | None:
        """The chance that what is claimed is true given each candidate and the claim, where it counts for candidates."""
        if self.holds is None or self.told is None:
            return None
        right = np.minimum(self.holds, 1.0) * (1.0 - self.wrong + self.wrong * self.by_chance)
        return np.minimum(1.0, np.divide(right, self.told, out=np.zeros_like(right), where=self.told > 0))

    @property
    def counts(self) -> bool:
        """Whether it moves any belief."""
        return self.holds is not None or self.heard is not None or self.redone is not None


@dataclass(frozen=True)
class Reader:
    """Gives claims their meaning for one compiled knowledge base."""

    words: Words
    worth: Worth

    @property
    def entries(self) -> Entries:
        """The records."""
        return self.words.entries

    @property
    def compiled(self) -> Compiled:
        """The arrays."""
        return self.words.compiled

    def meanings(self, claims: Iterable[Claim]) -> list[Meaning]:
        """The meaning of each claim, in their order."""
        return [self._meaning(claim) for claim in claims]

    def wrong(self, claim: Claim, sort: str = "") -> float:
        """How often such a claim is wrong, or a guess that says the same of any unit; `sort`: of what sort a name is."""
        stated: dict[str, float] = {**self.worth.wrong}
        share = stated.get(sort, stated.get(claim.kind, 1.0))
        return share + (1.0 - share) * self.worth.hedged if claim.hedged else share

    def _meaning(self, claim: Claim) -> Meaning:
        plain = Meaning(claim, self.wrong(claim))
        if claim.kind in NAMING:
            return self._naming(plain)
        if claim.kind in ("state", "part", "measure"):
            return self._of_traits(plain)
        if claim.kind == "condition" and set(claim.says) <= set(self.entries.about.buying.repainted):
            return self._redone(plain)
        return plain

    # Which unit it is --------------------------------------------------------------------------------------------------

    def _naming(self, plain: Meaning) -> Meaning:
        """What a number, a year or a name says; a marking, and a livery that is known by one, are read off the finish."""
        claim = plain.claim
        found = [self._named(claim.kind, one) for one in claim.says]
        known = [one for one in found if one is not None]
        if not known:
            readings = [self._markings(one) for one in claim.says]
            marks = [pair for row in readings for pair in row]
            if not marks and claim.kind == "number":
                fits = np.zeros(self.compiled.candidates)
                return replace(plain, fits=fits, names=True, sort="number")
            return replace(self._about(plain, marks), names=bool(marks), sort="marking" if marks else "")
        fits = np.max([one.fits for one in known], axis=0)
        by_chance = min(1.0, sum(one.by_chance for one in known))
        if claim.denied:
            fits, by_chance = 1.0 - fits, 1.0 - by_chance
        sort = known[0].sort
        plain = replace(plain, wrong=self.wrong(claim, sort))
        if sort == "livery" and len(known) == 1 and (marks := self._livery_marks(claim.says[0])):
            return replace(self._about(plain, marks), fits=fits, names=True, sort=sort)
        return replace(plain, fits=fits, holds=fits, by_chance=by_chance, names=True, sort=sort)

    def _named(self, kind: str, says: str) -> "_Named | None":
        if kind == "year":
            years = read_years(says)
            return self._years(years) if isinstance(years, Years) else None
        entries, compiled = self.entries, self.compiled
        if kind == "number":
            return self._catalog_number(says)
        family, slash, of_kind = says.partition("/")
        if slash and family in compiled.families:
            kinds = entries.families[family].kinds
            return self._by(lambda one, _: _if(one.kind, (one.family, one.kind) == (family, of_kind)), len(kinds), "kind", family)
        if says in compiled.families:
            return self._by(lambda one, _: float(one.family == says), len(compiled.families), "family", says)
        if says in entries.families:
            return _Named(np.zeros(compiled.candidates), 1.0 / len(entries.families), "family")
        if says in entries.liveries:
            return self._by(lambda one, _: _if(one.livery, one.livery == says), len(entries.liveries), "livery", blank=0.0)
        if says in entries.sets:
            return self._by(lambda _, place: float(place == says), len(entries.sets), "set")
        if says.startswith("batch-"):
            batches = {one.batch for one in self._stated} - {None}
            wanted = says.removeprefix("batch-")
            return self._by(lambda one, _: _if(one.batch, str(one.batch) == wanted), len(batches), "batch")
        made = {ident: record.maker for ident, record in entries.families.items()}
        if says in set(made.values()):
            return self._by(lambda one, _: _if(made[one.family], made[one.family] == says), len(entries.makers), "maker")
        return None

    def _catalog_number(self, says: str) -> "_Named | None":
        """A catalog number of variants or sets, whole or before its last hyphen; None where it is none."""
        numbers = {one.catalog_number for one in self._stated} | {one.catalog_number for one in self.entries.sets.values()}
        known = {form for number in numbers if number for form in _forms(number)}
        if says not in known:
            return None

        def match(one: Stated, place: str | None) -> float | None:
            boxed = self.entries.sets[place].catalog_number if place is not None else None
            if one.catalog_number is None and boxed is None:
                return None
            return float(any(says in _forms(number) for number in (one.catalog_number, boxed) if number))

        return self._by(match, len(known), "number")

    def _years(self, years: Years) -> "_Named":
        """The share of the years in which a unit was made, in its set where it came in one, that lie within these."""

        def match(one: Stated, place: str | None) -> float | None:
            boxed = self.entries.sets[place].made if place is not None else None
            made = boxed or one.made
            if made is None:
                return None
            common = min(made.last, years.last) - max(made.first, years.first) + 1
            return max(0, common) / (made.last - made.first + 1)

        whole = [record.made for record in self.entries.families.values() if record.made]
        spread = max(one.last for one in whole) - min(one.first for one in whole) + 1 if whole else 1
        found = self._by(match, 1, "year")
        return replace(found, by_chance=min(1.0, (years.last - years.first + 1) / spread))

    def _by(
        self,
        match: Callable[[Stated, str | None], float | None],
        names: int,
        sort: str,
        family: str | None = None,
        blank: float | None = None,
    ) -> "_Named":
        """fits[c] from what holds of a variant in its set; what is not known of one takes the blend of its family.

        family: the one that is named, so that nothing of it is right of a unit of another.  blank: for a family of which it is
        known of none, where that means that there is no such thing.
        """
        nothing = 1.0 / max(1, names) if blank is None else blank
        compiled = self.compiled
        by_variant = {one.id: one for one in self._stated}
        values: list[float | None] = []
        for c in range(compiled.candidates):
            boxed = int(compiled.set_of[c])
            place = compiled.sets[boxed] if boxed >= 0 else None
            values.append(match(by_variant[compiled.label(c)], place) if compiled.variant[c] >= 0 else None)
        fits = np.array([np.nan if one is None else one for one in values])
        for f, ident in enumerate(compiled.families):
            mine = compiled.family == f
            known = mine & ~np.isnan(fits)
            weight = compiled.prior[known]
            blend = float(weight @ fits[known] / weight.sum()) if weight.sum() > 0 else nothing
            if family is not None:
                blend = blend if ident == family else 0.0
            fits[mine & np.isnan(fits)] = blend
        return _Named(fits, 1.0 / max(1, names), sort)

    @cached_property
    def _stated(self) -> list[Stated]:
        return [stated(self.entries, ident) for ident in self.compiled.variants]

    # Traits and parts --------------------------------------------------------------------------------------------------

    def _markings(self, text: str) -> list[tuple[int, Reading]]:
        """(trait, reading) of every marking that reads like this on some unit."""
        return [(t, Typed(text)) for t, trait in enumerate(self.compiled.traits) if trait.worn and text in trait.states]

    def _livery_marks(self, livery: str) -> list[tuple[int, Reading]]:
        """(trait, reading) of the marking by which a livery is known, such as the railroad's name."""
        shows = self.entries.liveries[livery].shows
        return [
            (t, Typed(next(iter(shows[trait.id].is_))))
            for t, trait in enumerate(self.compiled.traits)
            if trait.worn and trait.id in shows
        ]

    def _of_traits(self, plain: Meaning) -> Meaning:
        """What a state, a part or a measured value says."""
        claim = plain.claim
        by_trait: dict[int, list[Reading]] = {}
        for says in claim.says:
            for t, reading in self._said(claim, says):
                by_trait.setdefault(t, []).append(reading)
        pairs = [(t, _either(readings)) for t, readings in by_trait.items()]
        return self._about(plain, [(t, reading) for t, reading in pairs if reading is not None])

    def _said(self, claim: Claim, says: str) -> list[tuple[int, Reading]]:
        """(trait, reading) of everything that one meaning may be about."""
        key, equals, value = says.partition("=")
        found: list[tuple[int, Reading]] = []
        for t, trait in enumerate(self.compiled.traits):
            slot = self.compiled.slots[trait.slot]
            if claim.kind == "part":
                if trait.id == slot.id and self._is(slot, key):
                    named = frozenset({value}) if equals else frozenset(slot.parts) - {"none"}
                    if named <= set(slot.parts):
                        found.append((t, Seen(named)))
            elif trait.id == key or (slot.parts and self._is(slot, key.partition(".")[0]) and _short(trait.id) == _short(key)):
                reading = self._reading(t, value)
                found += [(t, reading)] if reading is not None else []
        return found

    def _is(self, slot: Slot, key: str) -> bool:
        """Whether a slot, or its type, is called so."""
        return bool(slot.parts) and (slot.id == key or (key in self.entries.slot_types and key in self._types[slot.id]))

    @cached_property
    def _types(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {slot.id: set() for slot in self.compiled.slots}
        for record in self.entries.families.values():
            for ident, slot in record.slots.items():
                if ident in found and slot.type:
                    found[ident].add(slot.type)
        return found

    def _reading(self, t: int, value: str) -> Reading | None:
        """A value as a reading of a trait; None where it has no such state or value."""
        trait, record = self.compiled.traits[t], self.words.record(t)
        if trait.worn:
            return Typed(value)
        if trait.states:
            return Seen(frozenset({value})) if value in trait.states else None
        if record is None:
            return None
        try:
            return read_reading(Answer.model_validate({"is": value}), record)
        except Unreadable:
            return None

    def _about(self, plain: Meaning, said: Sequence[tuple[int, Reading]]) -> Meaning:
        """A claim about one trait counts there; one that may be about one of several, for the candidates.

        What is denied of several is denied of each, which no single number says; it is counted for the candidates as well.
        """
        found: list[tuple[int, Reading, Evidence]] = []
        for t, reading in said:
            meant = self._denied(t, reading) if plain.claim.denied else reading
            one = merge(self.compiled.traits[t], t, [meant]) if meant is not None else None
            if meant is not None and one is not None:
                found.append((t, meant, one))
        if not found:
            return plain
        pick = np.min if plain.claim.denied else np.max
        fits: Floats = pick([as_issued(self.compiled, t, one) for t, _, one in found], axis=0)
        if len(found) == 1:
            t, reading, _ = found[0]
            return replace(plain, fits=fits, heard=Heard(t, reading, plain.wrong))
        chances: list[Floats] = []
        for t, _, one in found:
            trait = self.compiled.traits[t]
            slot = self.compiled.slots[trait.slot]
            chances.append(slot_factor(slot, likelihood(trait, one))[slot.row])
        holds: Floats = pick(chances, axis=0)
        by_chance = max(anyhow(self.compiled.traits[t], one) for t, _, one in found)
        return replace(plain, fits=fits, holds=holds, by_chance=by_chance)

    def _denied(self, t: int, reading: Reading) -> Reading | None:
        """The opposite; None for a value, whose opposite says next to nothing."""
        states = frozenset(self.compiled.traits[t].states)
        if isinstance(reading, Typed):
            return Seen(states - {reading.text})
        return Seen(states - reading.states) if isinstance(reading, Seen) else None

    def _redone(self, plain: Meaning) -> Meaning:
        """Repainted, or not, by someone who is wrong so often; a wrong claim is as likely either way."""
        right, other = 1.0 - plain.wrong / 2, plain.wrong / 2
        return replace(plain, redone=(other, right) if plain.claim.denied else (right, other))


@dataclass(frozen=True, eq=False)
class _Named:
    fits: Floats
    by_chance: float
    sort: str


def _if(known: object, holds: bool) -> float | None:
    """1 or 0, None where what it is about is not recorded."""
    return None if known is None else float(holds)


def _forms(number: str) -> set[str]:
    """How a catalog number may be said: whole, or before its last hyphen."""
    return {number, number.rpartition("-")[0]} - {""}


def _short(key: str) -> str:
    return key.partition(".")[2] or key


def _either(readings: Sequence[Reading]) -> Reading | None:
    """One reading of several that say "or"."""
    if len(readings) == 1:
        return readings[0]
    seen = [one.states for one in readings if isinstance(one, Seen)]
    return Seen(frozenset(state for states in seen for state in states)) if len(seen) == len(readings) else None


def as_issued(compiled: Compiled, t: int, one: Evidence) -> Floats:
    """How far each candidate as it left the factory shows what is said of a trait, without mistakes: 0 to 1."""
    trait = compiled.traits[t]
    slot = compiled.slots[trait.slot]
    rows = shown(trait, one)
    return (slot.issued @ rows if slot.parts else rows)[slot.row]


def shown(trait: Trait, one: Evidence) -> Floats:
    """How far each row or part shows what is said of a trait: 0 to 1."""
    if one.weights is not None and not trait.measured:
        named = one.weights >= READS if one.typed else one.weights > 0
        return np.minimum(1.0, trait.truth @ named)
    there = trait.applies >= 0.5
    if one.gone:
        return (~there).astype(float)
    if one.value is None:
        return there.astype(float)
    value, spread = one.value
    off = np.abs(trait.mean - value) > NEAR * np.hypot(trait.sd, spread)
    return (there & ~off).astype(float)


def follows(n: int, meanings: Sequence[Meaning]) -> bool:
    """Whether another claim that names the unit says more, and the n-th in it; of two that say the same, the later follows."""
    mine = meanings[n]
    if not mine.names or mine.told is None or mine.fits is None:
        return False
    for m, other in enumerate(meanings):
        if m == n or not other.names or other.told is None or other.fits is None or other.wrong > mine.wrong:
            continue
        inside = bool((other.fits <= mine.fits + 1e-12).all())
        same = inside and bool((mine.fits <= other.fits + 1e-12).all())
        if inside and (not same or m < n):
            return True
    return False


def counted(compiled: Compiled, meanings: Sequence[Meaning], finish: str) -> tuple[Compiled, tuple[Heard, ...]]:
    """The knowledge base with what was claimed of the whole unit in its prior, and what was claimed of traits.

    finish: the slot that a repaint redoes.
    """
    told = [one.told for n, one in enumerate(meanings) if one.told is not None and not follows(n, meanings)]
    if told:
        logs = np.sum(np.log(np.maximum(told, 1e-300)), axis=0)
        compiled = leaning(compiled, np.exp(logs - logs.max()))
    for one in meanings:
        if one.redone is not None:
            compiled = _repainted(compiled, finish, *one.redone)
    return compiled, tuple(one.heard for one in meanings if one.heard is not None)


def _repainted(compiled: Compiled, finish: str, if_redone: float, if_not: float) -> Compiled:
    """With a claim about whether a slot was changed counted into its swaps, and into the prior where those differ."""
    slots = list(compiled.slots)
    for s, slot in enumerate(slots):
        if slot.id == finish:
            whole = slot.swap * if_redone + (1.0 - slot.swap) * if_not
            swap = np.divide(slot.swap * if_redone, whole, out=slot.swap.copy(), where=whole > 0)
            slots[s] = replace(slot, swap=swap)
            return leaning(replace(compiled, slots=tuple(slots)), whole[slot.row])
    return compiled

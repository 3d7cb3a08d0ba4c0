"""A seller's text, and what its photographs show: which unit it is, what does not fit, what is not said, and what to ask.

Everything after the claims were found (see `claims`); the one structure that JSON and screen are made of.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from ..kb.load import Entries
from ..kb.models import Hazard, LotFile, LotUnit
from ..kb.values import Answer
from .claims import Claim
from .listing_evidence import Meaning, Reader
from .listing_findings import Remark, hazards_of, remarks
from .listing_price import asked
from .listing_questions import Asked, Silent, message, own_words, questions, silent
from .listing_unit import Described
from .listing_units import units_in
from .listing_words import called, meaning
from .lot import Units, likelihood_of, report_lot
from .report import report, said
from .session import Session
from .start import answered, view_indices
from .wording import Words

#: What ends a sentence: a stop before a blank, or an empty line; a line may end anywhere.
SENTENCE = re.compile(r"(?<=[.!?])\s+|\n\s*\n")
#: So many units can be looked at as one lot.
MOST_IN_A_LOT = 30
#: Claims of these sorts say which unit it is; a maker alone does not.
TELLING = frozenset({"number", "marking", "livery", "kind", "family", "set", "batch"})


@dataclass(frozen=True, eq=False)
class Listing:
    """A text with its claims; for each unit it is about, the claims that are about it (`parts`) and what they say together.

    shown   the unit whose photographs were answered for, from 0; None without answers
    """

    entries: Entries
    text: str
    claims: tuple[Claim, ...]
    base: Session
    words: Words
    meanings: tuple[Meaning, ...]
    parts: tuple[tuple[int, ...], ...]
    units: tuple[Described, ...]
    shown: int | None

    @property
    def plausible(self) -> bool:
        """Whether something in the record can be everything that was seen and said, for each unit."""
        return all(one.session.belief.plausible for one in self.units)

    @cached_property
    def remarks(self) -> tuple[tuple[Remark, ...], ...]:
        """What is not right about each unit; the claims counted within the unit."""
        return tuple(tuple(remarks(one, whole=tells(one))) for one in self.units)

    @cached_property
    def silent(self) -> tuple[tuple[Silent, ...], ...]:
        """What matters about each unit and is not said."""
        return tuple(tuple(silent(one)) if tells(one) and one.session.belief.plausible else () for one in self.units)

    @cached_property
    def questions(self) -> tuple[tuple[int, Asked], ...]:
        """(unit, what to ask of it): the few that promise most for all units together, by unit."""
        found: list[tuple[int, Asked]] = []
        hazards: set[Hazard] = {hazard for one in self.units for hazard in hazards_of(one)}
        for u, one in enumerate(self.units):
            if tells(one) or not of_parts(one):
                found += [(u, some) for some in questions(one, self.silent[u], self.remarks[u], hazards)]
        bits = [round(one.bits, 9) for _, one in found]
        kept = sorted(range(len(found)), key=lambda n: (-bits[n], n))[: self.entries.about.buying.questions]
        return tuple(found[n] for n in sorted(kept, key=lambda n: (found[n][0], -bits[n], n)))

    @cached_property
    def lot(self) -> Units | None:
        """The units as one lot, where there are several."""
        if not 2 <= len(self.units) <= MOST_IN_A_LOT or not self.plausible:
            return None
        rows = [self._likelihood(one) for one in self.units]
        file = LotFile(units=[LotUnit(name=name(one)) for one in self.units])
        return Units(self.entries, file, self.base.compiled, tuple(one.session for one in self.units), np.array(rows))

    def _likelihood(self, one: Described) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        """The chance of all that was seen and said of a unit for each candidate, over that of the likeliest."""
        compiled, prior = one.session.compiled, self.base.compiled.prior
        told = np.divide(compiled.prior, prior, out=np.zeros_like(prior), where=prior > 0)
        whole = likelihood_of(compiled, one.session, None) * told
        return whole / whole.max() if whole.max() > 0 else whole


def read_listing(
    entries: Entries,
    text: str,
    claims: Sequence[Claim],
    base: Session,
    family: str | None = None,
    views: Sequence[str] | None = None,
    answers: Mapping[str, Answer] | None = None,
) -> Listing:
    """What a text's claims mean, with what its photographs show (in these views).

    base: a session of the family, or of all, without answers (see `start`).  Raises Unreadable for a view that there is not.
    """
    words = Words(entries, base.compiled)
    reader = Reader(words, entries.sellers.worth)
    meanings = tuple(reader.meanings(claims))
    parts = tuple(units_in(text, words, meanings))
    pictured = spoken_of_photographs(text, claims, entries.about.buying.photographs)
    units = [
        Described(words, base, tuple(meanings[n] for n in mine), frozenset(k for k, n in enumerate(mine) if n in pictured))
        for mine in parts
    ]
    shown = None
    if answers or views:
        seen = replace(base, views=view_indices(base.compiled, views))
        seen = answered(seen, entries, family, answers or {})
        shown = _shown(units, seen)
        units[shown] = replace(units[shown], base=seen)
    return Listing(entries, text, tuple(claims), base, words, meanings, parts, tuple(units), shown)


def spoken_of_photographs(text: str, claims: Sequence[Claim], words: Sequence[str]) -> set[int]:
    """The claims in sentences that speak of photographs, in these words."""
    if not words:
        return set()
    said = re.compile(rf"\b(?:{'|'.join(map(re.escape, words))})\b", re.IGNORECASE)
    found: set[int] = set()
    at = 0
    for sentence in SENTENCE.split(text):
        begin = text.index(sentence, at)
        at = begin + len(sentence)
        if said.search(sentence):
            found |= {n for n, one in enumerate(claims) if begin <= one.start < at}
    return found


def _shown(units: Sequence[Described], seen: Session) -> int:
    """The unit that the answers fit best; the first of several that they fit alike."""
    chance = likelihood_of(seen.compiled, seen, None)
    fits = [float(one.session.belief.probability @ chance) for one in units]
    return max(range(len(units)), key=lambda u: (round(fits[u], 12), -u))


def tells(one: Described) -> bool:
    """Whether anything says which unit it is, beside parts; and the family that parts fit."""
    slots, traits = one.session.compiled.slots, one.session.compiled.traits
    own = any(some.heard is not None and not slots[traits[some.heard.trait].slot].parts for some in one.meanings)
    sorts = {some.sort for some in one.meanings if some.names} & TELLING
    return own or bool(one.answers) or bool(sorts - {"family"}) or (bool(sorts) and not of_parts(one))


def of_parts(one: Described) -> bool:
    """Whether claims are about parts."""
    return any(some.claim.kind in ("part", "state", "measure") and some.counts for some in one.meanings)


def name(one: Described) -> str:
    """What to call a unit: what its claims name together."""
    if tells(one):
        return called(one.words, one.named if one.agreeing else one.recorded)
    return "parts" if of_parts(one) else "a unit that is not named"


# The answer as plain values ---------------------------------------------------------------------------------------------


def report_listing(listing: Listing) -> dict[str, Any]:
    """`tellmark/listing/1`; see cli/schemas/listing.json. Claims, units and answers are named by their places, units from 1."""
    return {
        "format": "tellmark/listing/1",
        "text": listing.text,
        "claims": [_claim(listing, n) for n in range(len(listing.claims))],
        "units": [_unit(listing, u) for u in range(len(listing.units))],
        "photographs_of": None if listing.shown is None else listing.shown + 1,
        "questions": [_question(u, one) for u, one in listing.questions],
        "message": message([own_words(one) if tells(one) else "" for one in listing.units], listing.questions),
        "price": asked(listing.claims),
        "lot": report_lot(listing.lot) if listing.lot is not None else None,
    }


def _claim(listing: Listing, n: int) -> dict[str, Any]:
    claim, one = listing.claims[n], listing.meanings[n]
    return {
        "start": claim.start,
        "end": claim.end,
        "quote": claim.quote,
        "kind": claim.kind,
        "says": list(claim.says),
        "means": meaning(listing.words, one),
        "denied": claim.denied,
        "hedged": claim.hedged,
        "wrong": round(one.wrong, 6) if one.counts else None,
        "units": [u + 1 for u, mine in enumerate(listing.parts) if n in mine],
    }


def _unit(listing: Listing, u: int) -> dict[str, Any]:
    one, mine = listing.units[u], listing.parts[u]
    plausible = one.session.belief.plausible
    return {
        "unit": u + 1,
        "name": name(one),
        "claims": [
            {"claim": n, "bits": round(one.bits[k], 3) + 0.0, "doubt": _chance(one.doubts[k])}
            for k, n in enumerate(mine)
            if one.meanings[k].counts
        ],
        "photographs": [
            {"trait": one.words.key(t), "answer": said(one.session, one.words, t), "bits": round(bits, 3) + 0.0}
            for t, bits in (one.answer_bits.items() if plausible else ())
        ],
        "findings": [
            {
                "kind": some.kind,
                "claims": [mine[k] for k in some.claims],
                "answers": [one.words.key(t) for t in some.answers],
                "says": some.says,
            }
            for some in listing.remarks[u]
        ],
        "silent": [{"about": some.about, "id": some.id, "name": some.name, "view": some.view} for some in listing.silent[u]],
        "identified": report(one.session, one.words) if plausible and tells(one) else None,
    }


def _chance(chance: float | None) -> float | None:
    return None if chance is None else round(min(1.0, max(0.0, chance)), 6)


def _question(u: int, one: Asked) -> dict[str, Any]:
    return {
        "unit": u + 1,
        "view": one.view,
        "ask": one.ask,
        "bits": round(one.bits, 4),
        "traits": list(one.traits),
        "silent": list(one.silent),
    }

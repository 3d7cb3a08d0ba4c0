"""The answer to "what is this?" as plain values: the one structure that JSON and screen are made of."""

from typing import Any

import numpy as np

from .arrays import NOT_IN_THE_RECORD, Compiled, Floats
from .belief import believe, parts_now, swapped
from .questions import original_share
from .session import Proposal, Session
from .wording import Words

#: Nothing less likely is listed.
LISTED = 1e-4


def report(session: Session, words: Words) -> dict[str, Any]:
    """`tellmark/identify/1`; see cli/schemas/identify.json."""
    return {
        "format": "tellmark/identify/1",
        "family": leading_family(session),
        "variants": variants(session, words),
        "sets": [
            {"id": ident, "position": position, "probability": _share(chance)}
            for ident, position, chance in session.positions
            if chance >= LISTED
        ],
        "original": _share(original_share(session.compiled, session.belief)),
        "slots": slots(session),
        "answers": answers(session, words),
        "next": proposal(session.next, words),
        "settled": session.settled,
        "cannot_be_told_apart": session.inseparable,
    }


def variants(session: Session, words: Words) -> list[dict[str, Any]]:
    """The variants worth naming, best first."""
    listed = [(ident, chance) for ident, chance in session.variants if chance >= LISTED]
    return [{"id": ident, "name": words.variant(ident), "probability": _share(chance)} for ident, chance in listed]


def leading_family(session: Session) -> str | None:
    """The family with the most belief."""
    compiled = session.compiled
    if not compiled.families:
        return None
    shares = np.bincount(compiled.family, weights=session.belief.probability, minlength=len(compiled.families))
    return compiled.families[int(shares.argmax())]


def slots(session: Session) -> list[dict[str, Any]]:
    """Every slot that can have been changed: the chance that it was, and the parts that may sit there."""
    compiled, belief = session.compiled, session.belief
    found: list[dict[str, Any]] = []
    for slot, rows, factor in zip(compiled.slots, belief.evidence, belief.factor, strict=True):
        weight = np.bincount(slot.row, weights=belief.probability, minlength=len(slot.swap))
        if not float(weight @ (slot.swap > 0)) > 0.5:
            continue
        fitted: list[dict[str, Any]] = []
        if slot.parts:
            chances: Floats = weight @ parts_now(slot, rows, factor)
            fitted = [
                {"part": slot.parts[r], "probability": _share(float(chances[r]))}
                for r in np.argsort(-chances, kind="stable")
                if chances[r] >= LISTED
            ]
        changed = float(weight @ swapped(slot, rows, factor))
        found.append({"slot": slot.id, "swapped": _share(changed), "fitted": fitted})
    return found


def issued(session: Session) -> dict[str, str]:
    """The part each slot of the leading variant left the factory with, where one is more likely than not."""
    compiled = session.compiled
    leader = next((ident for ident, _ in session.variants if ident != NOT_IN_THE_RECORD), None)
    mine = [c for c in range(compiled.candidates) if compiled.label(c) == leader]
    if not mine:
        return {}
    best = max(mine, key=lambda c: float(session.belief.probability[c]))
    found: dict[str, str] = {}
    for slot in compiled.slots:
        if slot.parts:
            row = slot.issued[slot.row[best]]
            if row.max() > 0.5:
                found[slot.id] = slot.parts[int(row.argmax())]
    return found


def answers(session: Session, words: Words) -> list[dict[str, Any]]:
    """Every answer with its weight in bits: how much it moved the odds of the verdict, all the others given.

    The weight of evidence of Good (1950): log2 of the odds with the answer over the odds without it; below 0 it speaks against.
    """
    group = set(session.leading[0])
    with_all = _odds(session.compiled, session.belief.probability, group)
    found: list[dict[str, Any]] = []
    for t in dict.fromkeys(one.trait for one in session.given):
        others = [one for one in session.evidence if one.trait != t]
        without = _odds(session.compiled, believe(session.compiled, others).probability, group)
        said = [words.reading(t, one.reading) for one in session.given if one.trait == t]
        bits = round(with_all - without, 3) + 0.0
        found.append({"trait": words.key(t), "answer": ", ".join(dict.fromkeys(said)), "bits": bits})
    return found


def _odds(compiled: Compiled, probability: Floats, group: set[str]) -> float:
    """log2 odds of a group of variants, kept within what doubles can tell."""
    inside = np.array([compiled.label(c) in group for c in range(compiled.candidates)], dtype=bool)
    share, rest = float(probability[inside].sum()), float(probability[~inside].sum())
    return float(np.log2(max(share, 1e-300)) - np.log2(max(rest, 1e-300)))


def proposal(found: Proposal | None, words: Words) -> dict[str, Any] | None:
    """The next question as plain values."""
    if found is None:
        return None
    question = found.question
    trait = words.compiled.traits[question.trait]
    states = [] if question.cut is not None else [trait.states[k] for k in question.outcomes[0]]
    return {
        "trait": words.key(question.trait),
        "states": states,
        **({"more_than": words.cut(question)} if question.cut is not None else {}),
        "question": words.ask(question),
        "view": words.view(question.trait),
        "bits": round(found.bits, 4),
    }


def left(session: Session) -> int:
    """How many variants are still in the running: the fewest that hold 99 % of the belief in what is recorded."""
    shares = [chance for ident, chance in session.variants if ident != NOT_IN_THE_RECORD]
    total, count = 0.0, 0
    for chance in shares:
        if total >= 0.99 * sum(shares):
            break
        total, count = total + chance, count + 1
    return count


def _share(chance: float) -> float:
    return round(min(1.0, max(0.0, float(chance))), 6)

"""The answer to "what is this?" as plain values: the one structure that JSON and screen are made of."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..kb.reading import CannotTell, Gone, Reading
from .apart import Look, tell_apart
from .arrays import NOT_IN_THE_RECORD, SAME, Floats, Slot
from .belief import can_be_changed, changed_share
from .doubts import Doubt, rows_now
from .explain import Conclusion, Turn, Why, explain
from .history import companions, years_of_part
from .questions import original_share
from .session import Proposal, Session
from .swaps import belonging, explanations, least
from .views import views_worth
from .wording import Words, lower_first

#: Nothing less likely is listed.
LISTED = 1e-4
#: Fewer bits about a slot are not worth naming.
WEIGHS = 0.05
#: A runner-up of a settled verdict is told apart from this chance on.
NEAR = 0.005
#: So many looks that tell the leader from its runner-up are listed: those that tell most for their effort.
MOST_LOOKS = 5
#: So many histories of the unit are listed.
MOST_STORIES = 6
#: Shown so often, a state is said without how often; and so often, it is said to be shown mostly.
NEARLY_ALWAYS, MOSTLY = 0.9 - SAME, 0.6 - SAME


def report(session: Session, words: Words) -> dict[str, Any]:
    """`tellmark/identify/1`; see cli/schemas/identify.json."""
    return {
        "format": "tellmark/identify/1",
        "family": leading_family(session),
        "variants": variants(session, words),
        "sets": [
            {"id": ident, "position": position, "probability": _share(chance), "with": companion_ids(words, ident, position)}
            for ident, position, chance in session.positions
            if chance >= LISTED
        ],
        "original": _share(original_share(session.compiled, session.belief)),
        "slots": [
            {**one, "fitted": dated(words, one["fitted"]), "belongs": dated(words, one["belongs"])} for one in slots(session)
        ],
        "explanations": least_explanations(session, words),
        **reasons(session, words),
    }


def reasons(session: Session, words: Words) -> dict[str, Any]:
    """Why it is so, what is doubtful, and what to ask next: the same of a unit and of a loose part."""
    found = explain(session)
    return {
        "answers": answers(session, words, found[0] if found else None),
        "doubts": look_wrong(session, words),
        "explanation": [explanation(session, words, why) for why in found],
        "tell_apart": runner_up(session, words),
        "next": proposal(session.next, words),
        "look_again": proposal(session.look_again, words),
        "views": one_more_view(session, words),
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
    return compiled.families[int(shares.round(9).argmax())]


def companion_ids(words: Words, ident: str | None, position: int) -> list[str]:
    """The variants in the other positions of a set."""
    others = companions(words.entries, ident, position) if ident is not None else []
    return sorted({one for variants_there in others for one in variants_there})


def least_explanations(session: Session, words: Words) -> list[dict[str, Any]]:
    """What must have been changed or misread: the explanations that blame fewest, likelier ones first; at most `MOST_STORIES`.

    The likeliest of all is among them, as the last if it blames more.
    """
    compiled = session.compiled
    found = explanations(compiled, session.belief, session.evidence) if session.evidence else []
    if not found:
        return []
    simplest = [one for one in least(found) if one.probability >= LISTED] or found[:1]
    likeliest = max(found, key=lambda one: round(one.probability, 12))
    listed = simplest[:MOST_STORIES] if likeliest in simplest else [*simplest[: MOST_STORIES - 1], likeliest]
    return [
        {
            "changed": (changed := [compiled.slots[s].id for s in one.changed]),
            "repainted": "finish" in changed,
            "misread": [words.key(t) for t in one.misread],
            "variant": compiled.variants[one.variant],
            "probability": _share(one.probability),
        }
        for one in listed
    ]


def _listed_parts(slot: Slot, chances: Floats) -> list[dict[str, Any]]:
    """The parts of a slot worth naming, likeliest first."""
    order = np.argsort(-chances.round(9), kind="stable")
    return [{"part": slot.parts[r], "probability": _share(float(chances[r]))} for r in order if chances[r] >= LISTED]


def dated(words: Words, listed: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Parts with the years in which each was made; None where that is not recorded."""
    years = [years_of_part(words.entries, one["part"]) for one in listed]
    return [{**one, "made": str(when) if when else None} for one, when in zip(listed, years, strict=True)]


def slots(session: Session) -> list[dict[str, Any]]:
    """Every slot that can have been changed: the chance that it was, what may sit there, and what belongs there."""
    compiled, belief = session.compiled, session.belief
    found: list[dict[str, Any]] = []
    for s, slot in enumerate(compiled.slots):
        if not can_be_changed(compiled, belief, s):
            continue
        changed = changed_share(compiled, belief, s)
        fitted = _listed_parts(slot, rows_now(slot, belief, s)) if slot.parts else []
        belongs = _listed_parts(slot, belonging(slot, belief.probability)) if slot.parts else []
        found.append({"slot": slot.id, "swapped": _share(changed), "fitted": fitted, "belongs": belongs})
    return found


def said(session: Session, words: Words, t: int) -> str:
    """Everything that was answered to a trait, in words; of one that was not, what others say of it."""
    given = [one.reading for one in session.given if one.trait == t]
    told = [one.reading for one in session.heard if one.trait == t]
    return ", ".join(dict.fromkeys(words.reading(t, one) for one in given or told))


def answers(session: Session, words: Words, verdict: Why | None) -> list[dict[str, Any]]:
    """Every answer with its weight in bits for the verdict, all the others given; 0 for one that says nothing."""
    bits = verdict.bits if verdict else {}
    return [
        {"trait": words.key(t), "answer": said(session, words, t), "bits": _bits(bits.get(t, 0.0))}
        for t in dict.fromkeys(one.trait for one in session.given)
    ]


def explanation(session: Session, words: Words, why: Why) -> dict[str, Any]:
    """One conclusion: what speaks for it, and against it for its runner-up; and what would turn it over.

    Of a slot, and of whether all is original, only the answers that weigh something are named.
    """
    told = [t for t, bits in why.bits.items() if why.about in ("variant", "set") or abs(bits) >= WEIGHS]
    return {
        "about": words.noun if why.about == "variant" else why.about,
        **({"slot": session.compiled.slots[why.slot].id} if why.slot is not None else {}),
        "is": _plain(why.conclusion),
        "probability": _share(why.probability),
        "runner_up": {"is": _plain(why.runner_up), "probability": _share(why.runner_up_probability)},
        "answers": [_weighed(session, words, why, t) for t in told],
        "against": [words.key(t) for t in why.against],
        **({"flip": _flip(session, words, why.turn), "tried": why.turn.tried} if why.turn is not None else {}),
    }


def _weighed(session: Session, words: Words, why: Why, t: int) -> dict[str, Any]:
    weight = {"bits": _bits(why.bits[t]), "over_runner_up": _bits(why.over[t])}
    return {"trait": words.key(t), "answer": said(session, words, t), **weight}


def _flip(session: Session, words: Words, turn: Turn) -> dict[str, Any] | None:
    if not turn.changes:
        return None
    changes: list[dict[str, str]] = []
    for one in turn.changes:
        before = [words.plain(one.trait, given.reading) for given in session.given if given.trait == one.trait]
        now = words.plain(one.trait, one.reading)
        changes.append({"trait": words.key(one.trait), "from": ", ".join(dict.fromkeys(before)), "to": now})
    return {"changes": changes, "to": turn.to}


def _plain(conclusion: Conclusion) -> list[str] | str | bool | None:
    return list(conclusion) if isinstance(conclusion, tuple) else conclusion


def look_wrong(session: Session, words: Words) -> list[dict[str, Any]]:
    """The answers that look wrong, the worst first; of several looks at a trait the last, which has corrected the others."""
    last = {one.trait: one for one in session.doubts}
    found = sorted((one for one in last.values() if one.looks_wrong), key=lambda one: -round(one.chance, 9))
    return [
        {"trait": words.key(one.trait), "answer": _of_look(session, words, one), "chance": _share(one.chance)} for one in found
    ]


def _of_look(session: Session, words: Words, doubt: Doubt) -> str:
    """The words of one look: the n-th that said something; of a value measured again, the last."""
    told = [one for one in session.given if one.trait == doubt.trait and not isinstance(one.reading, CannotTell)]
    looks = sorted({one.look for one in told})
    look = looks[doubt.look] if len(looks) == sum(one.trait == doubt.trait for one in session.doubts) else looks[-1]
    return ", ".join(dict.fromkeys(words.reading(doubt.trait, one.reading) for one in told if one.look == look))


def runner_up(session: Session, words: Words) -> dict[str, Any] | None:
    """The recorded variant that comes next and is not a twin of the leader, and the looks that tell the leader from it.

    None without answers, when the leader is not in the record, or when the verdict is settled and nothing else comes near it.
    """
    group, _ = session.leading
    if not session.given or not session.belief.plausible or group == [NOT_IN_THE_RECORD]:
        return None
    rest = ((ident, chance) for ident, chance in session.variants if ident not in group and ident != NOT_IN_THE_RECORD)
    second, chance = next(rest, (None, 0.0))
    if second is None or (session.settled and chance < NEAR):
        return None
    first = session.variants[0][0]
    looks = two_apart(words, first, second, session)
    return {"from": second, "by": [apart(words, one, first, second) for one in worthwhile(looks)]}


def worthwhile(looks: Sequence[Look]) -> list[Look]:
    """The looks that tell most for their effort, in their order."""
    best = sorted(looks, key=lambda one: -round(one.bits / (one.view + one.form), 9))[:MOST_LOOKS]
    return [one for one in looks if one in best]


def two_apart(words: Words, first: str, second: str, session: Session | None = None) -> list[Look]:
    """The looks that tell two variants apart; with a session, those that were not taken yet, its answers considered."""
    compiled = words.compiled
    at = {ident: v for v, ident in enumerate(compiled.variants)}
    mine, other = (compiled.variant == at[ident] for ident in (first, second))
    told = (session.belief, session.evidence, session.views) if session else (None, (), None)
    looks = tell_apart(compiled, mine, other, *told)
    silent = {slot for ident in (first, second) for slot in words.unrecorded_slots(ident)}
    return [one for one in looks if compiled.slots[compiled.traits[one.question.trait].slot].id not in silent]


def apart(words: Words, look: Look, first: str, second: str) -> dict[str, Any]:
    """One look that tells two variants apart as plain values."""
    t = look.question.trait
    shown = {ident: _shown(words, t, shares) for ident, shares in ((first, look.first), (second, look.second))}
    return {
        "trait": words.key(t),
        "name": words.trait(t),
        "view": words.view(t),
        "effort": _rounded(look.view + look.form, 4),
        "bits": _rounded(look.bits, 4),
        "right": _share(look.right),
        "values": shown,
    }


def _shown(words: Words, t: int, shares: Sequence[tuple[float, Reading]]) -> str:
    """What a variant shows of a trait; mostly, or one of several, where it is not nearly always the same."""
    named = ["nothing there" if isinstance(reading, Gone) else words.plain(t, reading) for _, reading in shares]
    most = shares[0][0]
    if most >= NEARLY_ALWAYS:
        return named[0]
    return f"mostly {lower_first(named[0])}" if most >= MOSTLY else " or ".join([named[0], *map(lower_first, named[1:])])


def one_more_view(session: Session, words: Words) -> list[dict[str, Any]]:
    """What each view that is not at hand would settle, the best for its effort first; nothing when all can be seen."""
    if session.views is None or not session.given:
        return []
    compiled = session.compiled
    told = session.seen
    unclear = {one.trait for one in session.given} - told
    return [
        {
            "view": compiled.views[one.view],
            "effort": one.effort,
            "settles": [
                {"what": words.noun if what == "variant" else what, "chance": _share(chance)}
                for what, chance in one.chances.items()
            ],
        }
        for one in views_worth(compiled, session.belief, session.views, told, unclear)
    ]


def proposal(found: Proposal | None, words: Words) -> dict[str, Any] | None:
    """The next question as plain values."""
    if found is None:
        return None
    question = found.question
    trait = words.compiled.traits[question.trait]
    offered = question.outcomes if question.form == "choice" else question.outcomes[:1]
    by_state = not trait.measured and question.form != "reading"
    return {
        "trait": words.key(question.trait),
        "form": question.form,
        "states": [trait.states[k] for outcome in offered for k in outcome] if by_state else [],
        **({"more_than": words.cut(question)} if question.cut is not None else {}),
        "question": words.ask(question),
        "view": words.view(question.trait),
        "effort": _rounded(found.effort, 4),
        "bits": _rounded(found.bits, 4),
    }


def left(session: Session) -> int:
    """How many variants are still in the running: the fewest that hold 99 % of the belief in what is recorded."""
    shares = [chance for ident, chance in session.variants if ident != NOT_IN_THE_RECORD]
    total, count = 0.0, 0
    for chance in shares:
        if total >= 0.99 * sum(shares) - SAME:
            break
        total, count = total + chance, count + 1
    return count


def _bits(bits: float) -> float:
    return _rounded(bits, 3) + 0.0


def _share(chance: float) -> float:
    return _rounded(min(1.0, max(0.0, float(chance))), 6)


def _rounded(value: float, digits: int) -> float:
    """In two steps: what is just halfway must fall to one side, in whatever order it was summed."""
    return round(round(float(value), 12), digits)

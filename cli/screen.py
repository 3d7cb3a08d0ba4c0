"""Reports as lines for a terminal: 80 columns, no color that carries meaning alone."""

import re
import shutil
import textwrap
from collections.abc import Callable, Iterator
from typing import Any

import click

from ..identify.arrays import NOT_IN_THE_RECORD
from ..identify.history import origin, story
from ..identify.report import left
from ..identify.session import Session
from ..identify.wording import Words, confidence, lower_first, percent
from ..kb.reading import CannotTell

MOST_WIDTH = 80
#: A slot that was looked at is called changed, likely changed, or doubtful from here on.
CHANGED, LIKELY, DOUBTFUL = 0.8, 0.5, 0.25
#: A part is said to belong in a slot from this chance on.
BELONGS = 0.5
#: Fewer bits for another variant are not worth a word.
WORTH_SAYING = 0.3
#: The runner-up is named from here on; with so many looks that tell it, those first that are right in three of four cases.
WORTH_TELLING, MOST_LOOKS, TELLS = 0.05, 2, 0.75
#: So many answers that speak against the verdict are named; from this chance on, what would turn it over is said.
MOST_AGAINST, VERDICT = 2, 0.5
#: So many things that one more view would settle are named; it must settle so many on average for an effort of 1.
MOST_SUBJECTS, WORTH_LOOKING = 3, 0.5
#: From this chance on that it is not in the record, nothing is said of what it would be otherwise.
UNLISTED = 0.6
LEVELS = {
    "settled": "Settled",
    "likely": "Likely",
    "leaning": "Leaning towards",
    "open": "Open; first among several",
}
#: What is still to settle when the variant is, by target.
OTHER_TARGETS = {
    "set": "the set it came from is not yet",
    "original": "whether it is all original is not yet",
    "all": "the rest is not yet",
}

SETTLED_TARGETS = {
    "set": "The set it came from is settled; the variant most likely",
    "original": "{original}; the variant most likely",
}


#: The part of a report that only a unit, or only a loose part, has.
Sections = Callable[[Session, Words, dict[str, Any]], Iterator[str]]


def lines(session: Session, words: Words, found: dict[str, Any], sections: Sections) -> Iterator[str]:
    """The whole report, with these sections behind the verdict."""
    yield from verdict(session, words, found)
    yield from _otherwise(session, words, found)
    yield from sections(session, words, found)
    yield from _evidence(session, words, found)
    asked = found["look_again"] or found["next"]
    if asked:
        remarks = [words.where(asked["view"]), f"{asked['bits']:.2f} bits expected"]
        yield ""
        yield heading("What would help most")
        yield from wrapped(f"{asked['question']}  ({'; '.join(one for one in remarks if one)})")
    yield from _more_views(words, found)


def of_unit(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    """Where a unit came from, and what was changed on it."""
    if not unlisted(words, found):
        yield from _origin(session, words, found)
        yield from _parts(session, words, found)


def unlisted(words: Words, found: dict[str, Any]) -> bool:
    """Whether it is most likely nothing that anybody recorded."""
    first = candidates(words, found)[0]
    return first["id"] == NOT_IN_THE_RECORD and first["probability"] >= UNLISTED


def candidates(words: Words, found: dict[str, Any]) -> list[dict[str, Any]]:
    """The variants of a report, or the parts."""
    listed: list[dict[str, Any]] = found[f"{words.noun}s"]
    return listed


def width() -> int:
    """Columns to use: those of the terminal, at most 80."""
    return max(40, min(MOST_WIDTH, shutil.get_terminal_size((MOST_WIDTH, 24)).columns))


def heading(text: str) -> str:
    """A section's title."""
    return click.style(text, bold=True)


def wrapped(text: str, indent: str = "  ", hanging: str = "") -> list[str]:
    """A paragraph within the width; all lines but the first are indented by `hanging` more."""
    whole = re.sub(r" (\+-|%|in 10|bits)", "\N{NO-BREAK SPACE}\\1", text).replace("+- ", "+-\N{NO-BREAK SPACE}")
    found = textwrap.wrap(whole, width(), initial_indent=indent, subsequent_indent=indent + hanging, break_on_hyphens=False)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in found]


def row(name: str, chance: str, rest: str = "") -> str:
    """A line of a list: name, probability at the right, a remark."""
    room = width() - 12
    shown = name if len(name) <= room else name[: room - 1] + "…"
    return f"  {shown:<{room}} {chance:>7}  {rest}".rstrip()


def verdict(session: Session, words: Words, found: dict[str, Any], told: bool = False) -> Iterator[str]:
    """What it is, and what cannot be told apart; `told`: others have said something of it."""
    variants = candidates(words, found)
    level = confidence([one["probability"] for one in variants], session.compiled.settled)
    apart = found["cannot_be_told_apart"]
    if not found["answers"] and not told:
        yield heading("No answers yet; the commonest are")
    elif variants[0]["id"] == NOT_IN_THE_RECORD and level in ("settled", "likely"):
        yield heading(f"No recorded {words.noun} fits" if level == "settled" else "Probably not in the record")
    elif found["settled"] and session.target in SETTLED_TARGETS:
        original = "All original" if found["original"] >= 0.5 else "Not all original"
        shown = max(found["original"], 1.0 - found["original"])
        yield heading(SETTLED_TARGETS[session.target].format(original=f"{original} ({percent(shown)})"))
    elif level == "settled" and not found["settled"]:
        yield heading(f"The {words.noun} is settled; {OTHER_TARGETS.get(session.target, 'the rest is not yet')}")
    elif found["settled"] and apart and level != "settled":
        yield heading("Settled, as far as " + ("can be seen" if session.wanted_views else "the record goes"))
    else:
        yield heading(LEVELS[level])
    for one in variants[:4]:
        first = one is variants[0]
        if first or one["probability"] >= 0.005:
            yield row(one["name"], percent(one["probability"]))
        if first and one["id"] == NOT_IN_THE_RECORD and level in ("settled", "likely"):
            yield from wrapped(f"Nobody has recorded a {words.thing} like this. It may be worth recording.", "    ")
        elif first and one["id"] != NOT_IN_THE_RECORD:
            yield f"    {one['id']}"
    yield from _inseparable(session, words, apart)


def _otherwise(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    """Which answer looks wrong, what a changed answer would do, and how to tell the runner-up."""
    said = [
        *_wrong(session, words, found["doubts"]),
        *_against(session, words, found),
        *_turned(session, words, found),
        *_told_apart(words, found),
    ]
    if said:
        yield ""
        yield heading("Could it be another?")
        yield from said


def _wrong(session: Session, words: Words, doubts: list[dict[str, Any]]) -> Iterator[str]:
    keys = {words.key(one.trait): one.trait for one in session.given}
    names = [f"{words.trait(keys[one['trait']])}: {one['answer']} ({percent(one['chance'])})" for one in doubts]
    if len(names) == 1:
        yield from wrapped(f"One answer looks wrong: {names[0]}.")
    elif names:
        yield from wrapped(f"{len(names)} answers look wrong: {'; '.join(names)}.")


def _against(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    """What speaks against the verdict, and for what."""
    why = next((one for one in found["explanation"] if one["about"] == words.noun), None)
    if why is None or not why["against"]:
        return
    keys = {words.key(one.trait): one.trait for one in session.given}
    over = {one["trait"]: one["over_runner_up"] for one in why["answers"]}
    named = [
        f"{words.trait(keys[trait])} ({-over[trait]:.1f} bits)"
        for trait in why["against"][:MOST_AGAINST]
        if -over[trait] >= WORTH_SAYING
    ]
    if not named:
        return
    yield from wrapped(f"For {_variant(words, why['runner_up']['is'][0])} instead: {', '.join(named)}.")


def _turned(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    """The flip of the verdict in one sentence, once there is a verdict."""
    why = next((one for one in found["explanation"] if one["about"] == words.noun), None)
    if why is None or why["flip"] is None or why["probability"] < VERDICT:
        return
    keys = {words.key(one.trait): one.trait for one in session.given}
    changes = [
        f'"{words.trait(keys[one["trait"]])}" were {lower_first(one["to"])} instead of {lower_first(one["from"])}'
        for one in why["flip"]["changes"]
    ]
    yield from wrapped(f"It would be {_variant(words, why['flip']['to'])} if {' and '.join(changes)}.")


def _variant(words: Words, ident: str) -> str:
    return f"a {words.thing} that is not in the record" if ident == NOT_IN_THE_RECORD else words.variant(ident)


def _told_apart(words: Words, found: dict[str, Any]) -> Iterator[str]:
    """The runner-up, and the cheapest looks that tell the leader from it."""
    apart = found["tell_apart"]
    listed = candidates(words, found)
    chances = {one["id"]: one["probability"] for one in listed}
    if apart is None:
        return
    first, second = listed[0]["probability"], chances.get(apart["from"], 0.0)
    if second < WORTH_TELLING or first + second < VERDICT:
        return
    other, leader = words.variant(apart["from"]), listed[0]["id"]
    yield from wrapped(f"To tell it from {other}:" if apart["by"] else f"Nothing else that is recorded tells it from {other}.")
    good = [one for one in apart["by"] if one["right"] >= TELLS] or apart["by"]
    by_slot = {one["trait"].partition(".")[0]: one for one in reversed(good)}
    for one in [one for one in good if one in by_slot.values()][:MOST_LOOKS]:
        this, that = (lower_first(one["values"][ident]) for ident in (leader, apart["from"]))
        yield from wrapped(f"{look(words, one)}: {this} instead of {that}", "    ", "  ")


def look(words: Words, one: dict[str, Any]) -> str:
    """Where to look for what, of a look that tells two variants apart."""
    view = words.where(one["view"])
    return one["name"] + (f" [{view}]" if view else "")


def _more_views(words: Words, found: dict[str, Any]) -> Iterator[str]:
    """The view that would settle most for its effort, and the first that would settle the variant."""
    likely = {
        one["view"]: {some["what"]: some["chance"] for some in one["settles"] if some["chance"] >= 0.5} for one in found["views"]
    }
    effort = {one["view"]: one["effort"] for one in found["views"]}
    best = [view for view, some in likely.items() if sum(some.values()) >= WORTH_LOOKING * effort[view]]
    verdict = [view for view, some in likely.items() if words.noun in some]
    views = list(dict.fromkeys([*best[:1], *verdict[:1]]))
    if not views:
        return
    yield ""
    yield heading("What one more view would settle")
    for view in views:
        subjects = sorted(likely[view], key=lambda what: (what not in (words.noun, "set"), -likely[view][what]))
        named = [f"{_subject(words, what)} ({_in_ten(likely[view][what])})" for what in subjects[:MOST_SUBJECTS]]
        yield from wrapped(f"{words.view_name(view)}: {', '.join(named)}")


def _subject(words: Words, what: str) -> str:
    return f"the {what}" if what in (words.noun, "set") else lower_first(words.slot(what))


def _in_ten(chance: float) -> str:
    """A chance that is known from a few dozen trials."""
    return f"{min(9, round(chance * 10))} in 10" if chance < 0.95 else "nearly always"


def _inseparable(session: Session, words: Words, apart: list[str]) -> Iterator[str]:
    """What cannot be told apart now, and what would tell it."""
    if not apart:
        return
    names = ", ".join(apart[:4]) + (f" and {len(apart) - 4} more" if len(apart) > 4 else "")
    views = [words.view_name(session.compiled.views[view]).lower() for view in session.wanted_views]
    if views:
        yield from wrapped(f"Not enough can be seen to tell apart: {names}. It would take another view: {', '.join(views)}.")
    elif any(isinstance(one.reading, CannotTell) for one in session.given):
        yield from wrapped(f"What was seen does not tell apart: {names}. Some of what would was answered with: cannot tell.")
    else:
        yield from wrapped(f"Nothing that is recorded tells apart: {names}. {words.otherwise(apart)}")


def _origin(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    likely = [one for one in found["sets"] if one["probability"] >= 0.05][:4]
    if not any(one["id"] for one in likely) and session.target not in ("set", "all"):
        return
    yield ""
    yield heading("Where it came from")
    leading = next((one for one in likely if one["id"]), None)
    for one in likely:
        if one["id"] is None:
            yield row("sold alone, or in no recorded set", percent(one["probability"]))
        else:
            record = words.entries.sets[one["id"]]
            place = f"{record.name}, unit {one['position']} of {len(record.positions)}"
            yield row(place, percent(one["probability"]))
            yield f"    {one['id']}"
            if one is leading:
                for sentence in origin(words, found, one):
                    yield from wrapped(sentence, "    ")


def _parts(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    if not found["slots"]:
        return
    yield ""
    yield heading("Was it born this way?") + f"   all original: {percent(found['original'])}"
    for sentence in story(words, found, percent):
        yield from wrapped(sentence, hanging="  ")
    belongs = {one["slot"]: one["belongs"][0]["part"] for one in found["slots"] if one["belongs"]}
    sure = {one["slot"] for one in found["slots"] if one["belongs"] and one["belongs"][0]["probability"] > BELONGS}
    looked_at = {session.compiled.slots[session.compiled.traits[one.trait].slot].id for one in session.evidence}
    for one in found["slots"]:
        slot, chance = one["slot"], one["swapped"]
        there = one["fitted"][0] if one["fitted"] else None
        gone = there is not None and there["part"] == "none" and belongs.get(slot, "none") != "none"
        remark = _remark(chance, slot in looked_at, gone)
        text = words.slot(slot)
        if there:
            text += f": {words.part(there['part'])} ({percent(there['probability'])})"
        yield _swap_row(text, chance, remark)
        if there and remark == "changed" and slot in sure and belongs[slot] != there["part"]:
            yield f"      belongs there: {words.part(belongs[slot])}"


def _remark(chance: float, looked_at: bool, gone: bool) -> str:
    """A word on a slot; of one that nobody looked at only what is usual can be said."""
    if not looked_at:
        return "often" if chance >= LIKELY else ""
    if chance >= LIKELY:
        word = "missing" if gone else "changed"
        return word if chance >= CHANGED else f"{word}?"
    return "doubtful" if chance >= DOUBTFUL else ""


def _swap_row(text: str, chance: float, remark: str) -> str:
    shown = f"swapped {percent(chance)}"
    mark = click.style(remark, bold=True) if remark in ("changed", "missing") else remark
    room = width() - 27
    cut = text if len(text) <= room else text[: room - 1] + "…"
    return f"  {cut:<{room}} {shown:>14}  {mark}".rstrip()


def _evidence(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    if all(isinstance(one.reading, CannotTell) for one in session.given):
        return
    yield ""
    yield heading("Why") + "   bits for the verdict, the other answers given; below 0 is against it"
    keys = {words.key(one.trait): one.trait for one in session.given}
    unclear = {words.key(one.trait) for one in session.given if isinstance(one.reading, CannotTell)}
    told = {words.key(one.trait) for one in session.given if not isinstance(one.reading, CannotTell)}
    wrong = {one["trait"] for one in found["doubts"]}
    for one in sorted(found["answers"], key=lambda answer: -answer["bits"]):
        if one["trait"] in unclear - told:
            continue
        against = "  looks wrong" if one["trait"] in wrong else "  against" if one["bits"] <= -0.1 else ""
        text = f"{words.trait(keys[one['trait']])}: {one['answer']}"
        yield f"  {round(one['bits'], 1) + 0.0:>+6.1f}  {text}{against}"


def standing(session: Session, words: Words) -> str:
    """How many are left and who leads, in one line."""
    if not session.belief.plausible:
        return "Nothing in the record can show all of this; take an answer back."
    ident, chance = session.variants[0]
    count = left(session)
    remain = f"{count} {words.noun}{'s' if count != 1 else ''} left"
    if ident == NOT_IN_THE_RECORD:
        return f"{remain}; likelier, it is not in the record: {percent(chance)}."
    if count == 1:
        return f"{remain}: {words.variant(ident)}, {percent(chance)}."
    return f"{remain}; {words.variant(ident)} leads with {percent(chance)}."

"""Reports as lines for a terminal: 80 columns, no color that carries meaning alone."""

import textwrap
from collections.abc import Iterator
from typing import Any

import click

from ..identify.arrays import NOT_IN_THE_RECORD
from ..identify.report import issued, left
from ..identify.session import Session
from ..identify.wording import Words, confidence

WIDTH = 80
#: A slot is shown as changed from here on, and as doubtful from there.
CHANGED, DOUBTFUL = 0.5, 0.25
LEVELS = {
    "settled": "Settled",
    "likely": "Likely",
    "leaning": "Leaning towards",
    "open": "Open; first among several",
}


def percent(chance: float) -> str:
    """A probability for people: never 0 % or 100 % when it is not."""
    if 0 < chance < 0.005:
        return "<1 %"
    if 0.995 <= chance < 1:
        return ">99 %"
    return f"{chance * 100:.0f} %"


def lines(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    """The whole report."""
    yield from _verdict(session, found)
    yield from _origin(words, found)
    yield from _parts(session, words, found)
    yield from _evidence(session, words, found)
    if found["next"]:
        asked = found["next"]
        view = words.view_name(asked["view"]) if asked["view"] else ""
        yield ""
        yield heading("What would help most")
        yield from wrapped(f"{asked['question']}  ({view.lower()}; {asked['bits']:.2f} bits expected)")


def heading(text: str) -> str:
    """A section's title."""
    return click.style(text, bold=True)


def wrapped(text: str, indent: str = "  ") -> list[str]:
    """A paragraph within the width."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def row(name: str, chance: str, rest: str = "") -> str:
    """A line of a list: name, probability at the right, a remark."""
    room = WIDTH - 12
    shown = name if len(name) <= room else name[: room - 1] + "…"
    return f"  {shown:<{room}} {chance:>7}  {rest}".rstrip()


def _verdict(session: Session, found: dict[str, Any]) -> Iterator[str]:
    variants = found["variants"]
    level = confidence([one["probability"] for one in variants], session.compiled.settled)
    apart = found["cannot_be_told_apart"]
    if found["settled"] and apart and level != "settled":
        yield heading("Settled, as far as the record goes")
    else:
        yield heading(LEVELS[level])
    for one in variants[:1]:
        yield row(one["name"], percent(one["probability"]))
        if one["id"] != NOT_IN_THE_RECORD:
            yield f"    {one['id']}"
        else:
            yield from wrapped("No recorded variant fits what was seen. It may be worth recording.", "    ")
    for one in variants[1:4]:
        if one["probability"] >= 0.005:
            yield row(one["name"], percent(one["probability"]))
    if apart:
        yield from wrapped(
            f"Nothing that can be seen here tells apart: {', '.join(apart)}. It would take evidence outside the record: "
            "the carton, a dated receipt, or somebody who opened the box.",
        )


def _origin(words: Words, found: dict[str, Any]) -> Iterator[str]:
    likely = [one for one in found["sets"] if one["probability"] >= 0.05][:4]
    if not any(one["id"] for one in likely):
        return
    yield ""
    yield heading("Where it came from")
    for one in likely:
        if one["id"] is None:
            yield row("sold alone, or in no recorded set", percent(one["probability"]))
        else:
            record = words.entries.sets[one["id"]]
            place = f"{record.name}, unit {one['position']} of {len(record.positions)}"
            yield row(place, percent(one["probability"]))


def _parts(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    if not found["slots"]:
        return
    yield ""
    yield heading("Was it born this way?") + f"   all original: {percent(found['original'])}"
    belongs = issued(session)
    for one in found["slots"]:
        slot, chance = one["slot"], one["swapped"]
        remark = "changed" if chance >= CHANGED else "doubtful" if chance >= DOUBTFUL else ""
        there = one["fitted"][0] if one["fitted"] else None
        text = words.slot(slot)
        if there:
            text += f": {words.part(there['part'])} ({percent(there['probability'])})"
        yield _swap_row(text, chance, remark)
        if there and chance >= CHANGED and slot in belongs and belongs[slot] != there["part"]:
            yield f"      belongs there: {words.part(belongs[slot])}"


def _swap_row(text: str, chance: float, remark: str) -> str:
    shown = f"swapped {percent(chance)}"
    mark = click.style(remark, bold=True) if remark == "changed" else remark
    return f"  {text:<54} {shown:>14}  {mark}".rstrip()


def _evidence(session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    if not found["answers"]:
        return
    yield ""
    yield heading("Why") + "   bits for the verdict, all the other answers given; below 0 speaks against it"
    keys = {words.key(one.trait): one.trait for one in session.given}
    for one in sorted(found["answers"], key=lambda answer: -answer["bits"]):
        against = "  against" if one["bits"] <= -0.1 else ""
        text = f"{words.trait(keys[one['trait']])}: {one['answer']}"
        yield f"  {one['bits']:>+6.1f}  {text}{against}"


def standing(session: Session, words: Words) -> str:
    """How many are left and who leads, in one line."""
    if not session.belief.plausible:
        return "Nothing in the record can show all of this; take an answer back."
    ident, chance = session.variants[0]
    count = left(session)
    return f"{count} variant{'s' if count != 1 else ''} left; {words.variant(ident)} leads with {percent(chance)}."

"""`tellmark listing`: a seller's text, with what its photographs show."""

import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from ..identify.claims import claims
from ..identify.listing import Listing, read_listing, report_listing
from ..identify.start import start
from ..identify.vocabulary import vocabulary
from ..kb.files import read_bytes
from ..kb.findings import BadInput, Finding, Unreadable
from ..kb.load import Entries
from ..kb.models import AnswersFile
from ..kb.plain_text import MOST_BYTES, plain_text
from . import lot, screen
from .common import FINDINGS, entries_option, print_json, problems_said, refuse, sound_entries
from .identify import answers_file
from .screen import heading, percent, wrapped

#: Of a long text only the lines with claims are shown, and of these so much.
LONG = 2000
#: A claim that speaks against the verdict by so many bits is marked.
AGAINST = -0.1
#: A line of so many characters was broken because it was full.
FULL = 50


@click.command("listing")
@click.argument("text", metavar="TEXT")
@click.option("--answers", metavar="FILE", help="What its photographs show: an answers file.")
@click.option("--family", metavar="FAMILY", help="The family, when it is known.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Say what a seller's text claims, what of it does not fit, which unit it likely is, and what to ask.

    TEXT is a file, pasted text or a saved web page; - reads standard input. A claim counts for what sellers' claims are worth,
    your own answers to the photographs in full.
    """
    entries = sound_entries(ctx, options["entries"])
    with problems_said():
        listing = _listing(entries, options)
    if options["as_json"]:
        print_json(report_listing(listing))
    else:
        for line in lines(listing, report_listing(listing)):
            click.echo(line)
    if not listing.plausible:
        click.echo("Nothing in the record can show all that is said and seen of it together.", err=True)
        sys.exit(FINDINGS)
    if not listing.claims and listing.shown is None:
        click.echo("The text claims nothing that the record has a word for.", err=True)
        sys.exit(FINDINGS)


def _listing(entries: Entries, options: dict[str, Any]) -> Listing:
    """The text and the answers as read. Raises BadInput with every problem of both."""
    if options["text"] == "-" and options["answers"] == "-":
        refuse("standard input for both the text and the answers", "a file for one of the two")
    findings: list[Finding] = []
    text = ""
    try:
        text = _text(options["text"])
    except BadInput as error:
        findings += error.findings
    file = AnswersFile()
    if options["answers"] is not None:
        file = answers_file(entries, {**options, "part": None}, findings)
    if findings:
        raise BadInput(findings)
    if file.part is not None:
        refuse("answers about a loose part", "answers about the unit in the photographs")
    family = options["family"] or file.family
    try:
        base = start(entries, family)
        return read_listing(entries, text, claims(text, vocabulary(entries)), base, family, file.views, file.answers)
    except Unreadable as problem:
        refuse(problem.found, problem.expected, problem.nearest)


def _text(name: str) -> str:
    """The plain text of a file or of standard input. Raises BadInput."""
    if name == "-":
        return plain_text(sys.stdin.buffer.read(MOST_BYTES + 1), "standard input")
    return plain_text(read_bytes(Path(name), name, MOST_BYTES), name)


# The screen -------------------------------------------------------------------------------------------------------------


def lines(listing: Listing, found: dict[str, Any]) -> Iterator[str]:
    """The whole report."""
    yield from _marked(found)
    several = len(listing.units) > 1
    if several:
        yield ""
        yield heading(f"The text speaks of {len(listing.units)} units")
        for one in found["units"]:
            numbers = ", ".join(str(n) for n, claim in enumerate(found["claims"], 1) if one["unit"] in claim["units"])
            yield from wrapped(f"{one['unit']}. {one['name']}: claims {numbers}", hanging="   ")
    for u, one in enumerate(found["units"]):
        yield from _unit(listing, u, one, several)
    if listing.lot is not None and found["lot"] is not None:
        yield ""
        yield from lot.lines(listing.lot, found["lot"])
    yield ""
    yield heading("What it costs")
    yield from wrapped(found["price"]["says"])
    yield from _asking(found, several)


def _marked(found: dict[str, Any]) -> Iterator[str]:
    """The text with its claims in numbered brackets, and below it what each says and weighs."""
    yield heading("The text, its claims in brackets")
    text, at, pieces = found["text"], 0, list[str]()
    for n, claim in enumerate(found["claims"], 1):
        pieces.append(f"{text[at : claim['start']]}[{n}: {text[claim['start'] : claim['end']]}]")
        at = claim["end"]
    whole = "".join([*pieces, text[at:]])
    for paragraph in _paragraphs(whole):
        if len(whole) <= LONG or "[" in paragraph:
            yield from wrapped(paragraph)
    yield ""
    yield heading("What it claims") + "   bits for the verdict; below 0 is against it"
    bits = {some["claim"]: some for one in found["units"] for some in one["claims"]}
    for n, claim in enumerate(found["claims"]):
        yield from _claim(n, claim, bits.get(n))


def _paragraphs(text: str) -> list[str]:
    """The lines of a text, those that were only broken for length put together."""
    found: list[str] = []
    full = False
    for line in text.split("\n"):
        if full and line and (line[0].isalnum() or line[0] in "[("):
            found[-1] += f" {line}"
        elif line:
            found.append(line)
        full = len(re.sub(r"\[\d+: |\]", "", line)) >= FULL
    return found


def _claim(n: int, claim: dict[str, Any], weighed: dict[str, Any] | None) -> Iterator[str]:
    weight = f"{round(weighed['bits'], 1) + 0.0:>+5.1f}" if weighed else "     "
    notes = ["a guess"] if claim["hedged"] else []
    if weighed and weighed["doubt"] is not None and weighed["doubt"] >= 0.5:
        notes.append(f"wrong: {percent(weighed['doubt'])}")
    elif weighed and weighed["bits"] <= AGAINST:
        notes.append("against")
    means = claim["means"] + (f"  ({'; '.join(notes)})" if notes else "")
    yield from wrapped(f"{weight} {n + 1:>3}  {claim['kind']}: {means}", "  ", "            ")


def _unit(listing: Listing, u: int, one: dict[str, Any], several: bool) -> Iterator[str]:
    session, words = listing.units[u].session, listing.words
    if several:
        yield ""
        yield heading(f"Unit {u + 1}: {one['name']}")
    if one["photographs"]:
        yield ""
        yield heading("What the photographs show")
        keys = {words.key(some.trait): some.trait for some in session.given}
        for some in one["photographs"]:
            weight = f"{round(some['bits'], 1) + 0.0:>+5.1f}"
            yield from wrapped(f"{weight}  {words.trait(keys[some['trait']])}: {some['answer']}", hanging="       ")
    yield from _findings(one["findings"])
    if one["identified"] is None:
        yield ""
        loose = " It speaks of parts; tellmark identify --part looks at one of them." if one["name"] == "parts" else ""
        yield from wrapped(f"Nothing in the text says which unit it is.{loose}")
        return
    yield ""
    yield from screen.verdict(session, words, one["identified"], told=True)
    yield from screen.of_unit(session, words, one["identified"])
    if one["silent"]:
        yield ""
        yield heading("What is not said")
        for some in one["silent"]:
            view = f"  ({words.view_name(some['view']).lower()})" if some["view"] else ""
            yield from wrapped(f"{some['name']}{view}", hanging="  ")


def _findings(findings: Sequence[dict[str, Any]]) -> Iterator[str]:
    for kinds, title in ((False, "What does not fit"), (True, "Take care")):
        mine = [some for some in findings if (some["kind"] == "caution") == kinds]
        if mine:
            yield ""
            yield heading(title)
        for some in mine:
            yield from wrapped(some["says"], hanging="  ")


def _asking(found: dict[str, Any], several: bool) -> Iterator[str]:
    yield ""
    yield heading("What to ask the seller")
    if not found["questions"]:
        yield from wrapped("Nothing needs to be asked.")
    for n, one in enumerate(found["questions"], 1):
        of_unit = f"of unit {one['unit']}; " if several else ""
        yield from wrapped(f"{n}. {one['ask']}  ({of_unit}{one['bits']:.2f} bits expected)", hanging="   ")
    yield ""
    yield heading("A message, ready to send")
    for line in found["message"].split("\n"):
        yield from (wrapped(line, hanging="   " if line[:1].isdigit() else "") if line else [""])

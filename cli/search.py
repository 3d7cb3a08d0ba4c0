"""`tellmark search`: records by words, numbers or names."""

import sys
from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any

import click

from ..kb.describe import NAMED_KINDS
from ..kb.findings import Unreadable, quoted
from .common import FINDINGS, entries_option, print_json, refuse, sound_entries
from .screen import heading, wrapped

#: What a field that was found is called; the name and the id are not said again.
FIELDS = {
    "markings": "reads",
    "said": "also called",
    "livery": "livery",
    "maker": "maker",
    "parts": "parts",
    "states": "shows",
    "about": "about",
}


@click.command("search")
@click.argument("words", metavar="WORDS", nargs=-1, required=True)
@click.option("--kind", "kinds", type=click.Choice(NAMED_KINDS), multiple=True, help="Only this kind of record; may be repeated.")
@click.option("--limit", type=click.IntRange(1, 1000), default=10, show_default=True, help="Show no more than so many.")
@click.option("--json", "as_json", is_flag=True, help="What was found as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, words: tuple[str, ...], **options: Any) -> None:
    """Find records that have every word; catalog numbers first. Misspelled words find what they may mean."""
    entries = sound_entries(ctx, options["entries"])
    from ..kb.search import index_of

    text = " ".join(words)
    kinds: tuple[str, ...] = options["kinds"]
    try:
        found = index_of(entries).search(text, kinds or None, options["limit"])
    except Unreadable as problem:
        refuse(problem.found, problem.expected)
    hits = [hit.as_dict() for hit in found.hits]
    said = {"query": text, "kinds": list(kinds), "suggestions": list(found.suggestions)}
    if options["as_json"]:
        told = {"all_words": found.all_words, "count": found.count, "hits": hits}
        print_json({"format": "tellmark/search/1", **said, **told})
    else:
        for line in _lines(hits, found.suggestions, found.all_words):
            click.echo(line)
        if found.count > len(hits):
            click.echo(f"\n{len(hits)} of {found.count}. --limit {found.count} shows them all.")
    if not hits:
        if not options["as_json"]:
            meant = " or ".join(quoted(one) for one in found.suggestions)
            click.echo(f"nothing found for {quoted(text)}" + (f"; did you mean {meant}?" if meant else ""), err=True)
        sys.exit(FINDINGS)


def _lines(hits: Sequence[dict[str, Any]], suggestions: Sequence[str], all_words: bool) -> Iterator[str]:
    if hits and suggestions:
        yield f"Did you mean {' or '.join(quoted(one) for one in suggestions)}?"
    if hits and not all_words:
        yield "Nothing has all of these words; what has most of them:"
    for number, hit in enumerate(hits):
        if number or suggestions or not all_words:
            yield ""
        yield from _hit(hit)


def _hit(hit: dict[str, Any]) -> Iterator[str]:
    where = {shown["field"]: shown for shown in hit["where"]}
    yield f"{heading(hit['name'])}   {hit['kind']}"
    facts = [hit["id"], *hit.get("numbers", []), where["years"]["text"] if "years" in where else ""]
    yield "  " + " · ".join(filter(None, facts))
    for field, label in FIELDS.items():
        if field in where:
            yield from _field(label, where[field])


def _field(label: str, shown: dict[str, Any]) -> list[str]:
    """A field within the width, the found words in bold."""
    head, text = f"{label}: ", str(shown["text"])
    at = [len(head) + place for start, end in shown["marks"] for place in range(start, end)]
    letters = [place for place, one in enumerate(head + text) if not one.isspace()]
    bold = set(at) & set(letters)
    # Breaking lines moves nothing but spaces, so the letters can be counted through.
    marked = iter([place in bold for place in letters])
    return [_bold(line, marked) for line in wrapped(head + text, "  ", "  ")]


def _bold(line: str, marked: Iterator[bool]) -> str:
    """The line with its marked letters in bold; `marked` says of each letter whether it is."""
    flags = [not one.isspace() and next(marked) for one in line]
    runs = [(flag, "".join(one for one, _ in run)) for flag, run in groupby(zip(line, flags, strict=True), key=itemgetter(1))]
    return "".join(click.style(text, bold=True) if flag else text for flag, text in runs)

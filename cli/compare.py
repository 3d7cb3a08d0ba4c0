"""`tellmark compare`: what differs, and where to look."""

from collections.abc import Iterator, Sequence
from typing import Any

import click

from ..identify.compile import compile_entries
from ..identify.report import apart, two_apart, worthwhile
from ..identify.wording import Words, lower_first
from ..kb.describe import Difference, compare_parts, compare_variants, find
from ..kb.findings import Unreadable
from ..kb.load import Entries
from ..kb.resolve import moved
from .common import entries_option, print_json, refuse, sound_entries
from .screen import heading, look, wrapped


@click.command("compare")
@click.argument("idents", metavar="A B ...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="The differences as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, idents: tuple[str, ...], **options: Any) -> None:
    """Show what differs between two to six variants, or parts, and where to look; the cheapest look first."""
    entries = sound_entries(ctx, options["entries"])
    if not 2 <= len(dict.fromkeys(idents)) <= 6:
        refuse(f"{len(dict.fromkeys(idents))} different ids", "two to six of them")
    kind, compared = _resolved(entries, list(dict.fromkeys(idents)))
    differences = compare_variants(entries, compared) if kind == "variant" else compare_parts(entries, compared)
    words = _words(entries, compared) if kind == "variant" and len(compared) == 2 else None
    first, second = compared[0], compared[-1]
    looks = [apart(words, one, first, second) for one in worthwhile(two_apart(words, first, second))] if words else None
    if options["as_json"]:
        found = {"kind": kind, "ids": compared, "differences": [one.as_dict(compared) for one in differences]}
        print_json({"format": "tellmark/compare/1", **found, **({} if looks is None else {"tell_apart": looks})})
        return
    for line in _lines(entries, kind, compared, differences):
        click.echo(line)
    for line in _telling(words, compared, looks) if words and looks is not None else ():
        click.echo(line)


def _resolved(entries: Entries, idents: Sequence[str]) -> tuple[str, list[str]]:
    """The kind all ids have in common, and the ids, signposts followed. Ends the command when there is none."""
    try:
        kinds = [find(entries, ident, ["variant", "part"])[0] for ident in idents]
    except Unreadable as problem:
        refuse(problem.found, "the id of a variant or a part", problem.nearest)
    if len(set(kinds)) > 1:
        refuse("variants and parts together", "either variants or parts")
    if kinds[0] == "part":
        return "part", list(idents)
    compared = list(dict.fromkeys(now for ident in idents for now in moved(entries, ident)))
    if not 2 <= len(compared) <= 6:
        refuse(f"{len(compared)} variants once the old ids are followed", "two to six of them")
    return "variant", compared


def _words(entries: Entries, idents: Sequence[str]) -> Words:
    """The families of these variants as arrays, with their words."""
    return Words(entries, compile_entries(entries, {entries.family_of(ident) for ident in idents}))


def _telling(words: Words, idents: Sequence[str], looks: Sequence[dict[str, Any]]) -> Iterator[str]:
    """The looks that tell two variants apart, the cheapest first."""
    yield ""
    yield heading("How to tell A from B") + ("   cheapest look first; right in so many of 100 cases" if looks else "")
    if not looks:
        yield from wrapped("Nothing that is recorded tells them apart: it would take evidence outside the record.")
    for one in looks:
        shown = ", ".join(f"{letter} {lower_first(one['values'][ident])}" for letter, ident in zip("AB", idents, strict=True))
        yield from wrapped(f"{one['right'] * 100:4.0f}  {look(words, one)}: {shown}", "", "      ")


def _lines(entries: Entries, kind: str, idents: Sequence[str], differences: Sequence[Difference]) -> Iterator[str]:
    letters = "ABCDEF"
    for letter, ident in zip(letters, idents, strict=False):
        yield f"{heading(letter)}  {entries.of(kind)[ident].name or ident}   {ident}"
    yield ""
    if not differences:
        yield "Nothing that is recorded differs between them."
        return
    for one in differences:
        view = entries.about.views.get(one.view or "")
        yield heading(one.name) + (f"   [{view.name.lower()}]" if view else "")
        yield from wrapped(one.look) if one.look else ()
        for letter, value in zip(letters, one.values, strict=False):
            yield f"    {letter}  {value}"

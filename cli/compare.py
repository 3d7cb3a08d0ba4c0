"""`tellmark compare`: what differs, and where to look."""

from collections.abc import Iterator, Sequence
from typing import Any

import click

from ..kb.describe import Difference, compare_parts, compare_variants, find
from ..kb.findings import Unreadable
from ..kb.load import Entries
from ..kb.resolve import moved
from .common import entries_option, print_json, refuse, sound_entries
from .screen import heading, wrapped


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
    if options["as_json"]:
        found = [one.as_dict(compared) for one in differences]
        print_json({"format": "tellmark/compare/1", "kind": kind, "ids": compared, "differences": found})
        return
    for line in _lines(entries, kind, compared, differences):
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

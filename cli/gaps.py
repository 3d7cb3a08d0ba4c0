"""`tellmark gaps`: what is wanted next from those who have the trains in hand."""

from collections.abc import Iterator
from typing import Any

import click

from ..identify.gaps import Gaps, gaps
from ..kb.findings import listed, nearest
from ..kb.load import Entries
from ..kb.resolve import slots_of, traits_of
from .common import entries_option, print_json, refuse, sound_entries
from .screen import heading, wrapped

MOST_SHOWN = 8


@click.command("gaps")
@click.option("--family", metavar="FAMILY", help="Only this family.")
@click.option("--json", "as_json", is_flag=True, help="The gaps as JSON, all of them.")
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Say what is not known yet: variants that nothing recorded tells apart, and facts that nobody recorded."""
    entries = sound_entries(ctx, options["entries"])
    wanted = options["family"]
    if wanted is not None and wanted not in entries.families:
        refuse(f'the family "{wanted}"', f"one of {listed(entries.families)}", nearest(wanted, entries.families))
    found = [gaps(entries, family) for family in ([wanted] if wanted else sorted(entries.families))]
    if options["as_json"]:
        print_json({"format": "tellmark/gaps/1", "families": [one.as_dict() for one in found]})
        return
    for one in found:
        for line in _lines(entries, one):
            click.echo(line)


def _lines(entries: Entries, one: Gaps) -> Iterator[str]:
    yield heading(entries.families[one.family].name) + f"   {one.variants} variants"
    for group in one.inseparable:
        yield from wrapped("Cannot be told apart by anything recorded: " + ", ".join(group))
    names = {name: trait.name for name, trait in traits_of(entries, one.family).items()}
    names |= {name: slot.name for name, slot in slots_of(entries, one.family).items()}
    for name, count in list(one.unrecorded.items())[:MOST_SHOWN]:
        yield f"  {count:>4}  say nothing of: {names.get(name, name)}   ({name})"
    if len(one.unrecorded) > MOST_SHOWN:
        yield f"        and {len(one.unrecorded) - MOST_SHOWN} more traits and slots"
    for ident, count in list(one.of_variants.items())[:3]:
        yield f"  {count:>4}  facts wanted of {ident}"
    if not one.inseparable and not one.unrecorded:
        yield "  Nothing is wanted."
    yield ""

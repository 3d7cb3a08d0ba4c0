"""`tellmark measure`: lengths from marks on a photograph."""

from collections.abc import Iterable
from typing import Any

import click

from ..identify.measuring import Found, answer_line, lines, measure, needs_entries, report
from ..identify.recorded_lengths import is_length
from ..kb.answers import askable, meant
from ..kb.findings import Unreadable, nearest, printable
from ..kb.load import Entries
from ..kb.marks import read_marks
from .common import entries_option, print_json, problems_said, read_input, refuse, sound_entries


@click.command("measure")
@click.argument("file", metavar="FILE")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@click.option("--trait", metavar="KEY", help="Print a length as the line of an answers file for this measured trait.")
@click.option("--of", metavar="LENGTH", help="Which length that is, where FILE asks for several.")
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Measure lengths on a photograph, by something in it whose size is known.

    FILE names points of the photograph in pixels, what is known of some of them (a length, the gauge of a track, three marks of
    a line, a rectangle, or a trait that is in the record), and the lengths that are wanted; - reads standard input. What is
    known and what is wanted must lie in one plane: for a single known length, one that is parallel to the back of the camera.
    """
    if options["trait"] and options["as_json"]:
        refuse("--trait beside --json", "one of the two")
    if options["of"] and not options["trait"]:
        refuse("--of without --trait", "both")
    with problems_said():
        file, places = read_marks(*read_input(options["file"]))
        entries = sound_entries(ctx, options["entries"]) if options["trait"] or needs_entries(file) else None
        found = measure(file, places, entries)
    if options["as_json"]:
        print_json(report(found))
    elif options["trait"] and entries is not None:
        one = _chosen(found, options["of"])
        click.echo(answer_line(options["trait"], one.length, _unit(entries, options["trait"])))
    else:
        for line in lines(found):
            click.echo(printable(line))


def _chosen(found: Iterable[Found], name: str | None) -> Found:
    """The length of this name, or the only one. Ends the command when it cannot be told which."""
    named = {one.name: one for one in found}
    if name is None and len(named) == 1:
        return next(iter(named.values()))
    if name is None:
        refuse(f"{len(named)} lengths", "--of with one of " + ", ".join(named))
    return named[name] if name in named else refuse(f'"{name}"', "one of " + ", ".join(named), nearest(name, named))


def _unit(entries: Entries, key: str) -> str:
    """The unit of the measured trait that a key of an answers file means. Ends the command for anything else."""
    lengths = sorted({one.id for one in askable(entries, None) if is_length(one.trait)})
    try:
        asked = meant(entries, None, key)
    except Unreadable:
        asked = []
    for one in asked:
        if one.trait is not None and one.trait.measured is not None and is_length(one.trait):
            return one.trait.measured.unit
    return refuse(f'the trait "{key}"', "one of " + ", ".join(lengths), nearest(key, lengths))

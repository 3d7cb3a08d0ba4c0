"""`tellmark import`: a spreadsheet table becomes a knowledge base."""

import shlex
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import click

from ..kb.findings import quoted
from ..kb.imported import Imported, Unsound, Wishes, import_table
from ..kb.table import MOST_BYTES, STANDARD_INPUT
from .common import FINDINGS, print_json, problems_said

Item = TypeVar("Item")

SUGGESTED = {"remarks": "looks like remarks", "links": "looks like links", "dates": "looks like dates"}


@click.command("import")
@click.argument("table")
@click.option("--into", required=True, type=click.Path(path_type=Path), help="The folder to write; a new or an empty one.")
@click.option("--sheet", metavar="NAME", help="Which sheet of a workbook to read; else the first.")
@click.option("--family", help="What the rows are variants of; else the table's file name.")
@click.option("--title", help="The title of the knowledge base; else the family.")
@click.option("--name-column", metavar="COLUMN", help="What names a row; else the column called name, or the first that can.")
@click.option("--leave-out", metavar="COLUMN", multiple=True, help="Make no trait of this column; may be repeated.")
@click.option("--tolerance", metavar="COLUMN=VALUE", multiple=True, help="How far a measured column may be off; may be repeated.")
@click.option("--json", "as_json", is_flag=True, help="What was made, as JSON.")
def command(**options: Any) -> None:
    """Make a knowledge base of TABLE, a CSV file or an Excel workbook; - reads CSV from standard input.

    The first row names the columns. Each row below becomes a variant, and each column a trait: few values are states,
    numbers are measured, an empty cell is unknown, and so are ?, -, n/a, unknown, unk. and tbd. Rows that are the same in
    all traits are kept and listed.
    """
    wishes = Wishes(
        sheet=options["sheet"],
        title=options["title"],
        family=options["family"],
        name_column=options["name_column"],
        leave_out=options["leave_out"],
        tolerances=options["tolerance"],
    )
    piped = sys.stdin.buffer.read(MOST_BYTES + 1) if options["table"] == STANDARD_INPUT else b""
    with problems_said():
        try:
            imported = import_table(options["table"], options["into"], wishes, piped, bar)
        except Unsound as fault:
            message = (
                "Nothing was written: the entries made of this table do not pass their own check. This is a fault of tellmark:"
            )
            click.echo("\n".join([message, *map(str, fault.findings)]), err=True)
            sys.exit(FINDINGS)
    if options["as_json"]:
        print_json(as_json(imported, options["into"]))
    else:
        click.echo("\n".join(report(imported, options["into"])))


def bar(things: Iterable[Item], doing: str) -> Iterable[Item]:
    """Shows on a terminal how far the import has come, once it takes longer than a second."""
    from tqdm import tqdm

    return tqdm(things, desc=doing, delay=1, unit="", file=sys.stderr, disable=not sys.stderr.isatty(), leave=False)


def as_json(imported: Imported, into: Path) -> dict[str, Any]:
    """The output that `schemas/import.json` describes."""
    traits: list[dict[str, Any]] = []
    for column in imported.columns:
        trait: dict[str, Any] = {"id": column.id, "name": column.trait.name, "kind": column.kind}
        traits.append(trait if column.trait.states is None else trait | {"states": list(column.trait.states)})
    return {
        "format": "tellmark/import/1",
        "into": click.format_filename(into),
        "family": imported.family,
        "variants": len(imported.variants),
        "traits": traits,
        "sheet": imported.sheet,
        "other_sheets": imported.other_sheets,
        "left_out": [*imported.left_out, *imported.empty],
        "unknown": [{"column": name, "cells": number} for name, number in imported.unknown.items()],
        "not_measured": [{"column": odd.column, "row": odd.row, "cell": odd.cell} for odd in imported.not_measured],
        "suggested": [{"column": one.header, "looks_like": one.aside} for one in imported.columns if one.aside],
        "inseparable": imported.inseparable(),
    }


def report(imported: Imported, into: Path) -> Iterator[str]:
    """What was made, in lines."""
    folder = click.format_filename(into)
    named = f'named by the column "{imported.name_column}"' if imported.name_column else "named by their number"
    yield f"{folder}: {counted(len(imported.variants), 'variant')} of {imported.family}, {named}"
    if imported.other_sheets:
        yield f"sheet: {imported.sheet}; not read: {', '.join(imported.other_sheets)} (choose with --sheet)"
    for kind in ("states", "measured", "marking"):
        columns = [column for column in imported.columns if column.kind == kind]
        if columns:
            words = (column.id + (f" ({column.tolerance})" if column.tolerance else "") for column in columns)
            yield f"{kind}, {counted(len(columns), 'trait')}: {', '.join(words)}"
    if imported.left_out:
        yield f"left out as told: {', '.join(imported.left_out)}"
    if imported.empty:
        yield f"left out because empty: {', '.join(imported.empty)}"
    if imported.unknown:
        said = (f"{name} ({number:,})" for name, number in imported.unknown.items())
        yield f"taken as unknown, {counted(sum(imported.unknown.values()), 'cell')}: {', '.join(said)}"
    for odd in imported.not_measured:
        yield f"{odd.column}: not measured, because of row {odd.row}, {quoted(' '.join(odd.cell.split()))}"
    for one in imported.columns:
        if one.aside:
            yield f"{one.header}: {SUGGESTED[one.aside]}; to make no trait of it, add --leave-out {shlex.quote(one.header)}"
    for group in imported.inseparable():
        yield f"cannot be told apart: {', '.join(group)}"
    yield f"next: tellmark --entries {shlex.quote(folder)} identify"


def counted(number: int, noun: str) -> str:
    """The noun with its number, in the plural where there are several."""
    return f"{number:,} {noun}{'s' * (number != 1)}"

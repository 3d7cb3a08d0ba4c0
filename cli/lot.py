"""`tellmark lot`: several units at once."""

import sys
from collections.abc import Iterator, Sequence
from typing import Any, cast

import click

from ..identify.lot import Units, report_lot, units_of
from ..identify.wording import confidence, together
from ..kb.described import described_findings, sound_part
from ..kb.findings import BadInput, Finding, printable
from ..kb.load import Entries
from ..kb.models import LotFile, LotUnit
from ..kb.validate import build
from ..kb.yaml_text import places_in, read
from .common import FINDINGS, entries_option, print_json, problems_said, read_input, sound_entries
from .screen import LEVELS, heading, percent, row, wrapped

#: Another explanation is shown from this chance on; a set of which a stray may be from that one, if the stray's variant leads.
WORTH_SHOWING, LIKELY_SET, LEADS = 0.02, 0.2, 0.4


@click.command("lot")
@click.argument("file", metavar="FILE")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Say which of several units came in one box, which are strays, what is missing, and whose parts they hold.

    FILE lists two to thirty units, each with the answers of an answers file; - reads standard input.
    """
    entries = sound_entries(ctx, options["entries"])
    with problems_said():
        file = _lot_file(entries, options["file"])
    units = units_of(entries, file)
    if units.impossible:
        named = ", ".join(_called(units, u + 1) for u in units.impossible)
        click.echo(f"Nothing in the record can show all of the answers together of: {named}.", err=True)
        sys.exit(FINDINGS)
    found = report_lot(units)
    if options["as_json"]:
        print_json(found)
        return
    for line in lines(units, found):
        click.echo(line)


# Reading ---------------------------------------------------------------------------------------------------------------


def _lot_file(entries: Entries, name: str) -> LotFile:
    """The lot file. Raises BadInput with everything that is wrong with it."""
    text, shown = read_input(name)
    plain: Any = read(text, shown)
    places = places_in(text, shown)
    findings: list[Finding] = []
    try:
        file = build(LotFile, {} if plain is None else plain, places)
        units = dict(enumerate(file.units))
    except BadInput as error:
        file, findings, units = None, error.findings, _sound_units(plain)
    for index, unit in units.items():
        findings += described_findings(entries, unit, places, ["units", index])
    if findings or file is None:
        raise BadInput(sorted(findings, key=lambda one: (one.line, one.column)))
    return file


def _sound_units(plain: Any) -> dict[int, LotUnit]:
    """What can be read of the units of a file that cannot be read whole, so that the rest is checked in the same run."""
    whole = cast("dict[str, Any]", plain) if isinstance(plain, dict) else {}
    written = whole.get("units")
    units = cast("list[Any]", written) if isinstance(written, list) else []
    return {index: sound_part(LotUnit, one) for index, one in enumerate(units) if isinstance(one, dict)}


# The screen ------------------------------------------------------------------------------------------------------------


def lines(units: Units, found: dict[str, Any]) -> Iterator[str]:
    """The whole report."""
    first, *others = found["explanations"]
    level = confidence([one["probability"] for one in found["explanations"]], units.compiled.settled)
    yield heading(LEVELS[level]) + f"   {_how_sure(first, found['exact'])} that all of this is so"
    if not first["sets"]:
        yield from wrapped("No two of these units make up a set.")
    for one in first["sets"]:
        yield from _set_lines(units, one)
    yield from _stray_lines(units, found, first["strays"])
    yield from _missing_lines(units, first["sets"])
    yield from _exchange_lines(units, found["exchanges"])
    others = [one for one in others if one["probability"] >= WORTH_SHOWING]
    if others:
        yield ""
        yield heading("Or else")
        for one in others:
            yield from wrapped(f"{percent(one['probability'])}: {_in_short(one)}", hanging="      ")


def _how_sure(first: dict[str, Any], exact: bool) -> str:
    return ("" if exact else "at most ") + percent(first["probability"])


def _called(units: Units, number: int) -> str:
    name = units.file.units[number - 1].name
    return f"unit {number} ({printable(name)})" if name else f"unit {number}"


def _set_lines(units: Units, one: dict[str, Any]) -> Iterator[str]:
    numbers = together([str(n) for n in sorted(unit["unit"] for unit in one["units"])])
    yield from wrapped(f"Units {numbers} are of one set: {one['name']} ({percent(one['probability'])}).")
    yield f"    {one['set']}"
    for unit in one["units"]:
        doubt = "" if unit["probability"] >= 0.95 else f", its place {percent(unit['probability'])}"
        called = units.words.variant(unit["variant"])
        yield from wrapped(f"{unit['position']}. {_called(units, unit['unit'])}: {called}{doubt}", "    ", "   ")


def _stray_lines(units: Units, found: dict[str, Any], strays: Sequence[int]) -> Iterator[str]:
    if not strays:
        return
    yield ""
    yield heading("Strays")
    for number in strays:
        one = found["units"][number - 1]
        best = one["variants"][0]
        called = _called(units, number)
        among = "" if best["probability"] >= LEADS else "open; first, "
        yield row(f"{called[:1].upper()}{called[1:]}: {among}{best['name']}", percent(best["probability"]))
        if one["cannot_be_told_apart"]:
            yield from wrapped(f"Nothing recorded tells apart: {together(one['cannot_be_told_apart'])}.", "    ")
        origin = one["sets"][0]
        if not among and origin["id"] and origin["probability"] >= LIKELY_SET:
            name = units.entries.sets[origin["id"]].name
            yield from wrapped(f"perhaps of {name} ({percent(origin['probability'])}), of which nothing else is here", "    ")


def _missing_lines(units: Units, sets: Sequence[dict[str, Any]]) -> Iterator[str]:
    missing = [(one, place) for one in sets for place in one["missing"]]
    if not missing:
        return
    yield ""
    yield heading("Missing")
    for one, place in missing:
        wanted = " or ".join(units.words.variant(ident) for ident in place["variants"])
        yield from wrapped(f"Position {place['position']} of {one['name']}: {wanted}", hanging="  ")


def _exchange_lines(units: Units, exchanges: Sequence[dict[str, Any]]) -> Iterator[str]:
    if not exchanges:
        return
    yield ""
    yield heading("Exchange between them")
    for one in exchanges:
        there = [
            f"the {units.words.slot(slot).lower()} of unit {number} ({units.words.part(part)})"
            for number, slot, part in zip(one["between"], one["slots"], one["parts"], strict=True)
        ]
        text = together(there) if len(there) == 2 else "in a ring, each from the next, " + together(there)
        yield from wrapped(
            f"{text[:1].upper()}{text[1:]}: {percent(one['chance'])} that this puts all of them right.", hanging="  "
        )


def _in_short(one: dict[str, Any]) -> str:
    """An explanation in one sentence."""
    sets = [f"{together([str(unit['unit']) for unit in some['units']])} are of {some['set']}" for some in one["sets"]]
    strays = [str(number) for number in one["strays"]]
    alone = [f"{together(strays)} {'is a stray' if len(strays) == 1 else 'are strays'}"] if strays else []
    return "; ".join([*sets, *alone])

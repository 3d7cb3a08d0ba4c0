"""`tellmark lot`: several units at once."""

import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, cast

import click
from pydantic import ValidationError

from ..identify.lot import Units, report_lot, units_of
from ..identify.wording import confidence
from ..kb.answers import read_all
from ..kb.findings import BadInput, Finding, Kind, listed, nearest, printable
from ..kb.load import Entries
from ..kb.models import LotFile, LotUnit
from ..kb.resolve import views_of
from ..kb.validate import build
from ..kb.yaml_text import Places, places_in, read
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
    for line in _lines(units, found):
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
        findings += _unit_findings(entries, unit, ["units", index], places)
    if findings or file is None:
        raise BadInput(sorted(findings, key=lambda one: (one.line, one.column)))
    return file


def _unit_findings(entries: Entries, unit: LotUnit, base: list[str | int], places: Places) -> Iterator[Finding]:
    known = unit.family
    if known is not None and known not in entries.families:
        found, expected = f'the family "{known}"', f"one of {listed(entries.families)}"
        yield Finding(
            places.shown, *places.at([*base, "family"]), Kind.DANGLING, found, expected, nearest(known, entries.families)
        )
        known = None
    views = views_of(entries, known)
    for index, view in enumerate(unit.views or []):
        if view not in views:
            found, expected = f'the view "{view}"', f"one of {listed(views)}"
            yield Finding(places.shown, *places.at([*base, "views", index]), Kind.DANGLING, found, expected, nearest(view, views))
    for key, problem in read_all(entries, known, unit.answers)[1]:
        at = places.at([*base, "answers", key], key=problem.kind == Kind.UNKNOWN_KEY)
        yield Finding(places.shown, *at, problem.kind, problem.found, problem.expected, problem.nearest)


def _sound_units(plain: Any) -> dict[int, LotUnit]:
    """What can be read of the units of a file that cannot be read whole, so that the rest is checked in the same run."""
    whole = cast("dict[str, Any]", plain) if isinstance(plain, dict) else {}
    written = whole.get("units")
    units = cast("list[Any]", written) if isinstance(written, list) else []
    return {index: _sound_unit(cast("dict[str, Any]", one)) for index, one in enumerate(units) if isinstance(one, dict)}


def _sound_unit(plain: Mapping[str, Any]) -> LotUnit:
    pieces: list[dict[str, Any]] = [{key: plain[key]} for key in ("family", "views") if key in plain]
    answers = plain.get("answers")
    if isinstance(answers, dict):
        pieces += [{"answers": {key: value}} for key, value in cast("dict[str, Any]", answers).items()]
    sound: dict[str, Any] = {"answers": {}}
    for piece in pieces:
        try:
            LotUnit.model_validate(piece)
        except ValidationError:
            continue
        sound = {**sound, **piece, "answers": {**sound["answers"], **piece.get("answers", {})}}
    return LotUnit.model_validate(sound)


# The screen ------------------------------------------------------------------------------------------------------------


def _lines(units: Units, found: dict[str, Any]) -> Iterator[str]:
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


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else list(words))


def _set_lines(units: Units, one: dict[str, Any]) -> Iterator[str]:
    numbers = sorted(unit["unit"] for unit in one["units"])
    yield from wrapped(f"Units {_and([str(n) for n in numbers])} are of one set: {one['name']} ({percent(one['probability'])}).")
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
            yield from wrapped(f"Nothing recorded tells apart: {_and(one['cannot_be_told_apart'])}.", "    ")
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
        text = _and(there) if len(there) == 2 else "in a ring, each from the next, " + _and(there)
        yield from wrapped(
            f"{text[:1].upper()}{text[1:]}: {percent(one['chance'])} that this puts all of them right.", hanging="  "
        )


def _in_short(one: dict[str, Any]) -> str:
    """An explanation in one sentence."""
    sets = [f"{_and([str(unit['unit']) for unit in some['units']])} are of {some['set']}" for some in one["sets"]]
    strays = [str(number) for number in one["strays"]]
    alone = [f"{_and(strays)} {'is a stray' if len(strays) == 1 else 'are strays'}"] if strays else []
    return "; ".join([*sets, *alone])

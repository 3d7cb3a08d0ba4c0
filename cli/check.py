"""`tellmark check`: is the knowledge base valid?"""

import sys
from collections.abc import Iterator
from typing import Any

import click

from ..kb.check import check
from ..kb.findings import Finding, Kind
from ..kb.load import Entries
from ..kb.yaml_text import places_in
from .common import FINDINGS, entries_option, entries_root, print_json, problems_said, under


@click.command("check")
@click.option("--json", "as_json", is_flag=True, help="The findings as JSON.")
@click.option(
    "--annotate", is_flag=True, help="The findings as workflow-command lines, shown beside the lines of a pull request."
)
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Say everything that is wrong with a folder of entries; silent when nothing is."""
    root = entries_root(ctx, options["entries"])
    with problems_said():
        entries, found = check(root)
    if not found:
        found = list(_astray(entries))
    findings = list(under(root, found))
    if options["as_json"]:
        counts = {kind: len(entries.of(kind)) for kind in ("family", "variant", "set", "part", "sighting")}
        print_json({"format": "tellmark/check/1", "records": counts, "findings": [one.as_dict() for one in findings]})
    else:
        for finding in findings:
            click.echo(annotation(finding) if options["annotate"] else str(finding))
    if findings:
        if not (options["as_json"] or options["annotate"]):
            click.echo(f"{len(findings)} finding{'s' if len(findings) != 1 else ''}", err=True)
        sys.exit(FINDINGS)


def _astray(entries: Entries) -> Iterator[Finding]:
    """Sightings whose answers do not lead to their verdict: those that say no exception, or all once they are too many."""
    from ..identify.sightings import outcomes

    wrong = [one for one in outcomes(entries) if not one.right]
    allowed = entries.about.exceptions
    for one in wrong:
        if one.exception is None or len(wrong) > allowed:
            place = entries.places["sighting", one.sighting]
            text = (entries.root / place.path).read_text("utf-8-sig")
            line, column = places_in(text, place.path).at([*place.loc, "verdict", "variant"])
            found = f"answers that lead to {' or '.join(one.leaders)}"
            expected = f"the verdict, {' or '.join(one.verdict)}, to come first, or an exception; {allowed} may have one"
            yield Finding(place.path, line, column, Kind.ASTRAY, found, expected)


def annotation(finding: Finding) -> str:
    """One `::error` workflow command, as the code host's runner documents it."""

    def escaped(text: str, extra: bool = False) -> str:
        text = text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")
        return text.replace(":", "%3A").replace(",", "%2C") if extra else text

    place = {"file": finding.path, "line": finding.line, "col": finding.column, "title": str(finding.kind)}
    properties = ",".join(f"{name}={escaped(str(value), extra=True)}" for name, value in place.items() if value)
    return f"::error {properties}::{escaped(finding.message)}"

"""`tellmark identify`: questions on a terminal, or one go over a file of answers."""

import sys
from typing import Any

import click

from ..identify.report import report
from ..identify.session import Session
from ..identify.start import answered, start
from ..identify.wording import Words
from ..kb.check import answer_findings
from ..kb.findings import BadInput, Finding, Kind, Unreadable
from ..kb.load import Entries
from ..kb.models import AnswersFile
from ..kb.validate import build
from ..kb.yaml_text import places_in, read
from . import screen
from .common import FINDINGS, entries_option, print_json, problems_said, read_input, refuse, sound_entries


@click.command("identify")
@click.option("--answers", metavar="FILE", help="Answers to work from in one go; - reads standard input.")
@click.option("--family", metavar="FAMILY", help="The family, when it is known.")
@click.option("--views", metavar="VIEW,VIEW", help="What can be seen: side,nose,underside ... Nothing else is asked for.")
@click.option(
    "--target",
    type=click.Choice(["variant", "set", "original", "all"]),
    default="variant",
    show_default=True,
    help="What to settle: the variant, the set it came from, whether it is all original, or all three.",
)
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Say what a unit is: by questions, or in one go from a file of answers.

    Without --answers it asks; answer yes, no, or cannot tell, and see at any time who is left.
    """
    entries = sound_entries(ctx, options["entries"])
    with problems_said():
        session, words = _session(entries, options)
    if options["answers"] is None and not options["as_json"]:
        from .asking import ask_all

        session = ask_all(session, words, options["family"])
        if not session.given:
            return
        click.echo()
    found = report(session, words)
    if options["as_json"]:
        print_json(found)
    elif session.belief.plausible:
        for line in screen.lines(session, words, found):
            click.echo(line)
    if not session.belief.plausible:
        click.echo("Nothing in the record can show all of these answers together.", err=True)
        sys.exit(FINDINGS)


def _session(entries: Entries, options: dict[str, Any]) -> tuple[Session, Words]:
    """The session as the options and the answers file have it. Raises BadInput."""
    file, text, shown = AnswersFile(), "", ""
    if options["answers"] is not None:
        text, shown = read_input(options["answers"])
        plain = read(text, shown)
        file = build(AnswersFile, {} if plain is None else plain, places_in(text, shown))
    family = options["family"] or file.family
    views = options["views"].split(",") if options["views"] is not None else file.views
    views = [view.strip() for view in views if view.strip()] if views is not None else None
    findings: list[Finding] = []
    session: Session | None = None
    try:
        session = start(entries, family, views, options["target"])
    except Unreadable as problem:
        in_file = bool(shown) and not (options["family"] or options["views"])
        if not in_file:
            refuse(problem.found, problem.expected, problem.nearest)
        places = places_in(text, shown)
        bad_family = file.family is not None and file.family not in entries.families
        bad = next((i for i, view in enumerate(file.views or []) if f'"{view}"' in problem.found), 0)
        line, column = places.at(["family"] if bad_family else ["views", bad])
        findings.append(Finding(shown, line, column, Kind.DANGLING, problem.found, problem.expected, problem.nearest))
        family = None if bad_family else family
    findings += answer_findings(entries, family, file.answers, text, shown)
    if findings or session is None:
        raise BadInput(findings)
    session = answered(session, entries, family, file.answers)
    return session, Words(entries, session.compiled)

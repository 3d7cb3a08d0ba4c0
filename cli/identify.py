"""`tellmark identify`: questions on a terminal, or one go over a file of answers."""

import sys
from typing import Any

import click

from ..identify.report import report
from ..identify.session import Session
from ..identify.start import answered, start
from ..identify.wording import Words
from ..kb.described import described_findings, sound_part
from ..kb.findings import BadInput, Finding, Unreadable
from ..kb.load import Entries
from ..kb.models import AnswersFile
from ..kb.validate import build
from ..kb.yaml_text import places_in, read
from . import screen
from .common import (
    FINDINGS,
    entries_option,
    listed_views,
    print_json,
    problems_said,
    read_input,
    refuse,
    seen_options,
    sound_entries,
    target_option,
)


@click.command("identify")
@click.option("--answers", metavar="FILE", help="Answers to work from in one go; - reads standard input.")
@seen_options
@target_option("variant", "set", "original", "all")
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
        if not session.given and session.to_ask is not None:
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
    """The session as the options and the answers file have it. Raises BadInput with every problem of both."""
    findings: list[Finding] = []
    file = AnswersFile()
    if options["answers"] is not None:
        file = _answers_file(entries, options, findings)
    family = options["family"] or file.family
    views = listed_views(options["views"]) if options["views"] is not None else file.views
    if findings:
        raise BadInput(findings)
    try:
        session = start(entries, family, views, options["target"], options["ask"])
    except Unreadable as problem:
        refuse(problem.found, problem.expected, problem.nearest)
    session = answered(session, entries, family, file.answers)
    return session, Words(entries, session.compiled)


def _answers_file(entries: Entries, options: dict[str, Any], findings: list[Finding]) -> AnswersFile:
    """The answers file as far as it can be read; what is wrong with it is added to `findings`."""
    text, shown = read_input(options["answers"])
    plain: Any = read(text, shown)
    places = places_in(text, shown)
    try:
        file = build(AnswersFile, {} if plain is None else plain, places)
    except BadInput as error:
        findings += error.findings
        file = sound_part(AnswersFile, plain)
    findings += described_findings(entries, file, places, family=options["family"])
    return file

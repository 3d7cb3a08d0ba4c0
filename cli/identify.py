"""`tellmark identify`: questions on a terminal, or one go over a file of answers; of a unit, or of a loose part."""

import sys
from typing import Any, cast

import click

from ..identify.part_report import part_report
from ..identify.part_words import PartWords
from ..identify.report import report
from ..identify.session import Session
from ..identify.start import answered, start, start_part
from ..identify.wording import Words
from ..kb.described import described_findings, loose_type, sound_part
from ..kb.findings import BadInput, Finding, Unreadable
from ..kb.load import Entries
from ..kb.models import ANY_PART, AnswersFile
from ..kb.validate import build
from ..kb.yaml_text import places_in, read
from . import part_screen, screen
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
@click.option(
    "--part",
    metavar="[SLOT-TYPE]",
    is_flag=False,
    flag_value=ANY_PART,
    help="It is a loose part: a motor, a coupler ...; of any sort where SLOT-TYPE is left out.",
)
@seen_options
@target_option("variant", "set", "original", "all")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Say what a unit is, or a loose part: by questions, or in one go from a file of answers.

    Without --answers it asks; answer yes, no, or cannot tell, and see at any time who is left.
    """
    if options["part"] is not None:
        _only_of_a_part(options)
    entries = sound_entries(ctx, options["entries"])
    with problems_said():
        session, words, home = _session(entries, options)
    if options["answers"] is None and not options["as_json"]:
        from .asking import ask_all

        session = ask_all(session, words, home)
        if not session.given and session.to_ask is not None:
            return
        click.echo()
    loose = isinstance(words, PartWords)
    found = part_report(session, words) if loose else report(session, words)
    if options["as_json"]:
        print_json(found)
    elif session.belief.plausible:
        for line in screen.lines(session, words, found, part_screen.of_part if loose else screen.of_unit):
            click.echo(line)
    if not session.belief.plausible:
        click.echo("Nothing in the record can show all of these answers together.", err=True)
        sys.exit(FINDINGS)


def _only_of_a_part(options: dict[str, Any]) -> None:
    """Ends the command over options that ask of a part what only a unit has."""
    if options["family"] is not None:
        refuse("--part together with --family", "one of the two: a loose part, or a unit of a family")
    if options["target"] != "variant":
        refuse(f"--part together with --target {options['target']}", "no target: which part it is")


def _session(entries: Entries, options: dict[str, Any]) -> tuple[Session, Words, str | None]:
    """The session as the options and the answers file have it, its words, and the family or slot type if one is named.

    Raises BadInput with every problem of both.
    """
    findings: list[Finding] = []
    file = AnswersFile()
    if options["answers"] is not None:
        file = answers_file(entries, options, findings)
    views = listed_views(options["views"]) if options["views"] is not None else file.views
    if findings:
        raise BadInput(findings)
    loose = options["part"] is not None or file.part is not None
    home = loose_type(options["part"], file.part) if loose else options["family"] or file.family
    if loose:
        _only_of_a_part(options)
    try:
        if loose:
            session = start_part(entries, home, views, options["ask"])
        else:
            session = start(entries, home, views, options["target"], options["ask"], kept=True)
    except Unreadable as problem:
        refuse(problem.found, problem.expected, problem.nearest)
    words = (PartWords if loose else Words)(entries, session.compiled)
    return answered(session, entries, home, file.answers, part=loose), words, home


def answers_file(entries: Entries, options: dict[str, Any], findings: list[Finding]) -> AnswersFile:
    """The answers file as far as it can be read; what is wrong with it is added to `findings`."""
    text, shown = read_input(options["answers"])
    plain: Any = read(text, shown)
    places = places_in(text, shown)
    try:
        file = build(AnswersFile, {} if plain is None else plain, places)
    except BadInput as error:
        findings += error.findings
        file = sound_part(AnswersFile, plain)
    unreadable = file.part is None and isinstance(plain, dict) and cast("dict[str, Any]", plain).get("part") is not None
    part = ANY_PART if options["part"] is None and unreadable else options["part"]
    findings += described_findings(entries, file, places, family=options["family"], part=part)
    return file

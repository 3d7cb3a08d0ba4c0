"""`tellmark identify`: questions on a terminal, or one go over a file of answers."""

import sys
from typing import Any, cast

import click
from pydantic import ValidationError

from ..identify.report import report
from ..identify.session import Session
from ..identify.start import answered, start
from ..identify.wording import Words
from ..kb.check import answer_findings
from ..kb.findings import BadInput, Finding, Kind, Unreadable, listed, nearest
from ..kb.load import Entries
from ..kb.models import AnswersFile
from ..kb.resolve import views_of
from ..kb.validate import build
from ..kb.yaml_text import places_in, read
from . import screen
from .common import FINDINGS, entries_option, listed_views, print_json, problems_said, read_input, refuse, sound_entries


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
@click.option(
    "--ask",
    type=click.Choice(["yes-no", "any"]),
    default="yes-no",
    show_default=True,
    help="Yes/no questions, or any: also which of several pictures it is, and what it measures.",
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
        file = _sound_part(plain)
    family = None if options["family"] else file.family
    if family is not None and family not in entries.families:
        line, column = places.at(["family"])
        expected, near = f"one of {listed(entries.families)}", nearest(family, entries.families)
        findings.append(Finding(shown, line, column, Kind.DANGLING, f'the family "{family}"', expected, near))
    known = family or options["family"]
    known = known if known in entries.families else None
    views = views_of(entries, known)
    for index, view in enumerate(file.views or []):
        if view not in views:
            line, column = places.at(["views", index])
            found, expected = f'the view "{view}"', f"one of {listed(views)}"
            findings.append(Finding(shown, line, column, Kind.DANGLING, found, expected, nearest(view, views)))
    findings += answer_findings(entries, known, file.answers, text, shown)
    return file


def _sound_part(plain: Any) -> AnswersFile:
    """What can be read of an answers file that cannot be read whole, so that the rest is checked in the same run."""
    if not isinstance(plain, dict):
        return AnswersFile()
    whole = cast("dict[str, Any]", plain)
    answers = whole.get("answers")
    pieces: list[dict[str, Any]] = [{key: whole[key]} for key in ("family", "views") if key in whole]
    if isinstance(answers, dict):
        pieces += [{"answers": {key: value}} for key, value in cast("dict[str, Any]", answers).items()]
    sound: dict[str, Any] = {"answers": {}}
    for piece in pieces:
        try:
            AnswersFile.model_validate(piece)
        except ValidationError:
            continue
        sound = {**sound, **piece, "answers": {**sound["answers"], **piece.get("answers", {})}}
    return AnswersFile.model_validate(sound)

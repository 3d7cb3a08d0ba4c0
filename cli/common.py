"""What every command needs: where the entries are, how problems are said, how JSON is written."""

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NoReturn

import click

from ..kb.cache import sound
from ..kb.findings import BadInput, Finding
from ..kb.forked import ProcessEnded
from ..kb.load import Entries

BAD_INPUT = 2
FINDINGS = 1


def entries_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--entries`, also behind the subcommand's name."""
    help_text = "Folder of entries; else TELLMARK_ENTRIES, ./entries, the packaged demonstration."
    return click.option("--entries", type=click.Path(), help=help_text)(command)


def seen_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--family`, `--views` and `--ask`: what is known and can be seen, and how it is asked for."""
    ask = "Yes/no questions, or any: also which of several pictures it is, and what it measures."
    for option in (
        click.option("--ask", type=click.Choice(["yes-no", "any"]), default="yes-no", show_default=True, help=ask),
        click.option("--views", metavar="VIEW,VIEW", help="What can be seen: side,nose,underside ... Nothing else is asked for."),
        click.option("--family", metavar="FAMILY", help="The family, when it is known."),
    ):
        command = option(command)
    return command


#: What `--target` may be, in words.
TARGETS = {
    "variant": "the variant",
    "set": "the set it came from",
    "original": "whether it is all original",
    "all": "all three",
}


def target_option(*targets: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """`--target`, one of these."""
    *some, last = [TARGETS[target] for target in targets]
    help_text = f"What to settle: {', '.join(some)}, or {last}."
    return click.option("--target", type=click.Choice(targets), default="variant", show_default=True, help=help_text)


def entries_root(ctx: click.Context, stated: str | None) -> Path:
    """The folder of entries: as stated, TELLMARK_ENTRIES, ./entries, or the packaged demonstration."""
    chosen = stated or ctx.obj or os.environ.get("TELLMARK_ENTRIES")
    if chosen:
        return Path(chosen)
    here = Path("entries")
    if (here / "knowledge-base.yaml").is_file():
        return here
    spec = find_spec("tellmark.entries")
    packaged = [Path(place) for place in (spec.submodule_search_locations or [])] if spec else []
    return next((place for place in packaged if (place / "knowledge-base.yaml").is_file()), here)


def sound_entries(ctx: click.Context, stated: str | None) -> Entries:
    """The entries, checked. Ends the command with every finding when something is wrong with them."""
    root = entries_root(ctx, stated)
    with problems_said():
        return found_sound(root)


def found_sound(root: Path) -> Entries:
    """The entries at a root, checked. Raises BadInput with every finding when something is wrong with them, or OSError."""
    entries, findings = sound(root)
    if findings:
        raise BadInput(under(root, findings))
    return entries


def under(root: Path, findings: Iterable[Finding]) -> Iterator[Finding]:
    """The findings with paths one can open from here."""
    return (replace(finding, path=str(root / finding.path)) for finding in findings)


class problems_said:  # noqa: N801 (reads as a clause of `with`)
    """Turns bad input, a file that is gone, and the end of a process that read some, into standard error and exit status 2."""

    def __enter__(self) -> None:
        """Nothing to prepare."""

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        """Says the findings, if the block ended with some."""
        if isinstance(error, BadInput | ProcessEnded | FileNotFoundError):
            for line in said(error):
                click.echo(line, err=True)
            sys.exit(BAD_INPUT)


def said(problem: BadInput | OSError) -> list[str]:
    """What is to be said where entries could not be read, or something is wrong with them."""
    if isinstance(problem, BadInput):
        return [*map(str, problem.findings)]
    if isinstance(problem, ProcessEnded):
        return [wrong(str(problem), "it to end by itself; nothing was written (is there memory left?)")]
    return [wrong(of_the_disk(problem), "a file that can be read")]


def of_the_disk(problem: OSError, place: object = "a file") -> str:
    """What the system says of a file; `place`: of what, where it does not tell."""
    return f'"{problem.filename or place}" ({(problem.strerror or str(problem)).lower()})'


def refuse(found: str, expected: str, near: str | None = None) -> NoReturn:
    """Ends the command over something wrong on the command line itself."""
    click.echo(wrong(found, expected, near), err=True)
    sys.exit(BAD_INPUT)


def wrong(found: str, expected: str, near: str | None = None) -> str:
    """What is wrong outside of any file, in a sentence."""
    hint = f'; did you mean "{near}"?' if near else ""
    return f"found {found}, expected {expected}{hint}"


def listed_views(written: str) -> list[str]:
    """The views of `--views side,nose`; ends the command when there is none."""
    views = [view.strip() for view in written.split(",") if view.strip()]
    return views or refuse("no view", "one or more, such as side,nose")


def read_input(name: str) -> tuple[str, str]:
    """(text, shown name) of a file, or of standard input for `-`. Raises BadInput."""
    from ..kb.files import MOST_BYTES, decode, read_bytes

    if name == "-":
        return decode(sys.stdin.buffer.read(MOST_BYTES), "standard input"), "standard input"
    return decode(read_bytes(Path(name), name), name), name


def print_json(value: Any) -> None:
    """One JSON document on standard output."""
    click.echo(json.dumps(value, indent=2, ensure_ascii=False))

"""The `tellmark` command. Each subcommand lives in a module of its own, imported only when it is called."""

import importlib
import os
import sys
import threading
from typing import Any

import click

#: Looking for plugins of pydantic means reading the papers of every package that is installed; none has any business here.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

#: Subcommand, its module, and the line that `--help` shows (kept here so that help imports nothing).
COMMANDS = {
    "check": ("check", "Say what is wrong with a folder of entries."),
    "compare": ("compare", "Show what differs between variants or parts, and where to look."),
    "gaps": ("gaps", "Say what is not known yet, and what cannot be told apart."),
    "identify": ("identify", "Say what a unit is, by questions or from a file of answers."),
    "import": ("import_table", "Make a knowledge base of a spreadsheet or CSV table."),
    "listing": ("listing", "Read a seller's text: which unit it is, what does not fit, what to ask."),
    "lot": ("lot", "Say which of several units came in one box, what is missing, whose parts they hold."),
    "measure": ("measure", "Measure lengths on a photograph, by something whose size is known."),
    "schema": ("schema", "Print the JSON Schema of a kind of record or output."),
    "search": ("search", "Find records by words, numbers or names, misspelled or not."),
    "show": ("show", "Show one record of the knowledge base."),
    "site": ("site", "Publish the knowledge base as a static site."),
    "trial": ("trial", "Say how well the questions identify, on simulated units."),
}


class Lazy(click.Group):
    """A group that knows its commands by name and loads the one that is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All command names."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command, loaded; None for a name that is none."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f".{COMMANDS[cmd_name][0]}", __package__)
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of commands, without loading any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, help_line) for name, (_, help_line) in sorted(COMMANDS.items())])

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is meant; a misspelled one names the nearest."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from ..kb.findings import nearest

            near = nearest(args[0], COMMANDS)
            hint = f' Did you mean "{near}"?' if near else ""
            raise click.UsageError(f'There is no command "{args[0]}".{hint}', ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="tellmark", message="%(prog)s %(version)s")
@click.option("--entries", type=click.Path(), help="Folder of entries; else TELLMARK_ENTRIES, ./entries, the demonstration.")
@click.pass_context
def main(ctx: click.Context, **options: Any) -> None:
    """Tell exactly what an old toy train is: its variant and batch, the set it came from, and the parts that do not belong."""
    ctx.obj = options["entries"]


def run() -> None:
    """The command as a process of its own, which ends as soon as all is said.

    Python would take apart first whatever the command has read and made, and that takes as long as some commands do.  Whoever
    measures a command from inside, and writes at the end of the process, calls `main`.
    """
    status: object = 0
    try:
        main()
    except SystemExit as ended:
        status = ended.code
    if "multiprocessing" in sys.modules or threading.active_count() > 1 or not (status is None or isinstance(status, int)):
        sys.exit(status)  # others may have to end first
    try:
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:  # pyright: ignore[reportUnnecessaryComparison] (there is none where it was closed before)
                stream.flush()
    except (OSError, ValueError):
        sys.exit(status)  # nobody reads on; Python knows what to do
    os._exit(status or 0)


if __name__ == "__main__":
    run()

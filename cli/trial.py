"""`tellmark trial`: how well the questions identify, tried on simulated units."""

import sys
from collections.abc import Iterator
from typing import Any

import click

from ..identify.arrays import NOT_IN_THE_RECORD
from ..kb.findings import Unreadable
from ..kb.load import Entries
from .common import entries_option, listed_views, print_json, refuse, seen_options, sound_entries, target_option
from .screen import heading

MOST_RATE = 0.5
MOST_UNITS = 1_000_000


@click.command("trial")
@click.option("--n", "units", metavar="N", type=int, default=200, show_default=True, help="How many units to draw.")
@click.option("--mistakes", metavar="RATE", type=float, help="Suppose this share of all readings goes wrong, 0 to 0.5.")
@click.option("--swaps", metavar="RATE", type=float, help="Suppose this share of all parts and finishes is changed, 0 to 0.5.")
@seen_options
@target_option("variant", "set")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed draws the same units.")
@click.option("--jobs", metavar="N", type=int, default=-1, help="Processes to use; one a core unless told otherwise.")
@click.option("--json", "as_json", is_flag=True, help="The figures as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, **options: Any) -> None:
    """Say how well the questions identify: simulated units are drawn from the entries, questioned and counted."""
    _check_numbers(options)
    entries = sound_entries(ctx, options["entries"])
    found = _run(entries, options)
    if options["as_json"]:
        print_json(found)
    else:
        for line in lines(found, options["target"]):
            click.echo(line)


def _check_numbers(options: dict[str, Any]) -> None:
    for name in ("mistakes", "swaps"):
        rate = options[name]
        if rate is not None and not 0 <= rate <= MOST_RATE:
            refuse(f"the rate {rate:g} for --{name}", f"a share from 0 to {MOST_RATE:g}")
    if not 1 <= options["units"] <= MOST_UNITS:
        refuse(f"{options['units']} for --n", f"a number of units from 1 to {MOST_UNITS}")
    if options["seed"] < 0:
        refuse(f"{options['seed']} for --seed", "a number from 0")
    if options["jobs"] < 1 and options["jobs"] != -1:
        refuse(f"{options['jobs']} for --jobs", "a number of processes from 1, or -1 for one a core")


def _run(entries: Entries, options: dict[str, Any]) -> dict[str, Any]:
    from tqdm import tqdm

    from ..identify.compile import Assumed
    from ..identify.trial import Terms, run_trial

    views = options["views"]
    terms = Terms(
        family=options["family"],
        views=None if views is None else listed_views(views),
        target=options["target"],
        ask=options["ask"],
        assumed=Assumed(options["mistakes"], options["swaps"]),
    )
    silent = not sys.stderr.isatty()
    try:
        with tqdm(total=options["units"], desc="units", unit="", file=sys.stderr, disable=silent, leave=False) as bar:
            return run_trial(entries, terms, options["units"], options["seed"], options["jobs"], bar.update).as_dict()
    except Unreadable as problem:
        refuse(problem.found, problem.expected, problem.nearest)


# For people ------------------------------------------------------------------------------------------------------------


def lines(found: dict[str, Any], target: str) -> Iterator[str]:
    """The figures for people."""
    yield heading(f"{found['n']} simulated unit{'s' if found['n'] != 1 else ''}") + f"   seed {found['seed']}"
    yield _figure("Questions asked, mean", f"{found['mean_questions']:.2f}", f"the worst took {found['worst_questions']}")
    yield _figure("Bits to find out before any", f"{found['entropy_bits']:.2f}", "a yes/no question tells at most 1")
    if not found["worst_questions"]:
        yield "  Nothing can be asked in these views that would tell them apart: they count as one."
    yield _figure("Effort, mean", f"{found['mean_effort']:.2f}", "a glance at the side is 1")
    yield _figure("Settled", _exact(found["settled"]))
    yield _figure("Right", _exact(found["right"]), f"stated {_exact(found['stated'])} on average")
    yield ""
    yield heading("Stated and right") + "   of the verdicts stated at so much, so many are right"
    yield f"  {'stated at':<16}{'units':>7}{'stated':>10}{'right':>10}"
    for one in found["calibration"]:
        stretch = f"{one['from'] * 100:g} to {one['to'] * 100:g} %"
        yield f"  {stretch:<16}{one['n']:>7}{_exact(one['stated']):>10}{_exact(one['right']):>10}"
    yield ""
    swaps, new = found["swaps"], found["not_in_the_record"]
    yield heading("Parts and finishes")
    yield _figure("Changed since", f"{swaps['swapped']}", f"{swaps['shown']} show it in what was asked")
    yield _figure("Of those that show it, named", f"{swaps['named']}")
    yield _figure("Named though original", f"{swaps['false']}", f"of {swaps['unchanged']}")
    yield ""
    yield heading("Not in the record")
    yield _figure("Units", f"{new['n']}", f"{new['found']} found; {new['false']} others taken for one")
    if found["confused"]:
        yield ""
        yield heading("Taken for something else")
        for one in found["confused"]:
            yield f"  {one['n']:>4}  {_named(one['truth'], target)}"
            yield f"        for {_named(one['verdict'], target)}"


def _figure(name: str, figure: str, remark: str = "") -> str:
    return f"  {name:<30}{figure:>9}   {remark}".rstrip()


def _exact(share: float) -> str:
    return f"{share * 100:.1f} %"


def _named(ident: str | None, target: str) -> str:
    if ident == NOT_IN_THE_RECORD:
        return "a unit that is not in the record"
    return ident or ("sold alone" if target == "set" else "nothing")

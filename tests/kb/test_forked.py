"""Several processes do what one would: every task once, all is said in the same words and order, and one that fails ends all."""

import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import pytest
from tellmark.kb.check import checked
from tellmark.kb.findings import BadInput, Finding, Kind
from tellmark.kb.forked import ProcessEnded, spread
from tellmark.kb.load import FIELDS, Entries

ENTRIES = Path(__file__).parents[2] / "entries"
pytestmark = pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="this system cannot fork")


def squares(tasks: Iterable[int]) -> Iterator[int]:
    for one in tasks:
        yield one * one


def refusing(tasks: Iterable[int]) -> Iterator[int]:
    for one in tasks:
        if one == 3:
            raise BadInput([Finding("three", 0, 0, Kind.WRONG_VALUE, '"3"', "another number")])
        yield one


def killed(tasks: Iterable[int]) -> Iterator[int]:
    for one in tasks:
        if one == 3:
            os.kill(os.getpid(), signal.SIGKILL)
        yield one


@pytest.mark.parametrize("helping", [False, True], ids=["by others", "by this one too"])
@pytest.mark.parametrize("processes", [1, 2, 5], ids=["alone", "two", "more than tasks"])
def test_every_task_is_done_once(processes: int, helping: bool) -> None:
    assert sorted(spread(range(4), squares, processes, helping=helping)) == [0, 1, 4, 9]


@pytest.mark.parametrize(
    ("work", "helping", "problem", "said"),
    [
        (refusing, False, BadInput, 'found "3", expected another number'),
        (refusing, True, BadInput, 'found "3", expected another number'),
        (killed, False, ProcessEnded, "killed"),
    ],
    ids=["raises", "raises here or there", "is killed"],
)
def test_failure_of_one_ends_all(
    work: Callable[[Iterable[int]], Iterator[int]], helping: bool, problem: type[Exception], said: str
) -> None:
    others = multiprocessing.active_children()
    with pytest.raises(problem, match=said):
        list(spread(range(8), work, 2, helping=helping))
    assert set(multiprocessing.active_children()) <= set(others)


#: Says which processes it has, each of which says much more than a pipe holds, and hears none of it.
PARENT = """
import multiprocessing, time
from tellmark.kb.forked import spread
def telling(tasks):
    for _ in tasks:
        yield "x" * 1_000_000
heard = spread(range(10), telling, 2)
next(heard)
print(*[one.pid for one in multiprocessing.active_children()], flush=True)
time.sleep(60)
"""


def test_none_outlives_a_parent_that_was_killed() -> None:
    with subprocess.Popen([sys.executable, "-c", PARENT], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        children = [Path("/proc") / pid for pid in parent.stdout.readline().split()]
        assert len(children) == 2
        parent.kill()
    until = time.monotonic() + 20
    while any(_runs(one) for one in children) and time.monotonic() < until:
        time.sleep(0.05)
    assert [one.name for one in children if _runs(one)] == []


def _runs(process: Path) -> bool:
    """Whether a process is at work, and not just a number that nobody has asked for yet."""
    try:
        return (process / "stat").read_text("utf-8").rpartition(")")[2].split()[0] not in "ZX"
    except FileNotFoundError:
        return False


TAMARACK = "families/cab-diesel-420/variants/421-tamarack-northern.yaml"
#: What is written instead of some files of the demonstration, and how many things are wrong then.
BROKEN: list[tuple[str, dict[str, str], int]] = [
    ("nothing is wrong", {}, 0),
    (
        "files that cannot be read, in any process",
        {"makers.yaml": "a: [", TAMARACK: "- id: x\n  name: [\n", "sales/2019.csv": "date,prize\n", "elsewhere.yaml": "a: b\n"},
        4,
    ),
    (
        "an id in two files, of which the first in the order of paths has it, whichever is read first",
        {
            "families/tender-70/variants/a-first.yaml": "- {id: twice, name: First, kind: tender, shows: {nothing: so}}\n",
            "families/tender-70/variants/z-last.yaml": "- {id: twice, name: Last, made: once}\n",
        },
        3,
    ),
]


def everything(entries: Entries) -> list[object]:
    """All that entries hold, in its order."""
    kinds = [list(entries.of(kind).items()) for kind in FIELDS]
    return [entries.about, entries.sellers, kinds, list(entries.places.items()), list(entries.home.items()), entries.lost]


@pytest.mark.parametrize(("changes", "wrong"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_shared_check_says_the_same(changes: dict[str, str], wrong: int, tmp_path: Path) -> None:
    root = tmp_path / "record"
    shutil.copytree(ENTRIES, root)
    for path, text in changes.items():
        (root / path).write_text(text, "utf-8")
    alone = checked(root, processes=1)
    for processes in (2, 5):
        shared = checked(root, processes=processes)
        assert [str(one) for one in shared.findings] == [str(one) for one in alone.findings]
        assert everything(shared.entries) == everything(alone.entries)
        assert list(shared.leaned) == list(alone.leaned)
        assert {unit: set(one) for unit, one in shared.leaned.items()} == {unit: set(one) for unit, one in alone.leaned.items()}
        assert _how_many(shared.leaned.values()) == _how_many(alone.leaned.values())
    assert len(alone.findings) == wrong


def _how_many(leaned: Iterable[tuple[frozenset[object], ...]]) -> tuple[int, int]:
    """How many sets and keys are told apart: what is leaned on often is kept once, or the store would grow."""
    sets = {id(one): one for some in leaned for one in some}
    return len(sets), len({id(key) for one in sets.values() for key in one})

"""Work that falls into tasks, done by several processes at once where the system can fork.

A forked process begins with everything its parent has worked out so far, and hands back what cannot be seen on disk.
"""

import contextlib
import gc
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, TypeVar

T = TypeVar("T")
R = TypeVar("R")
#: Fewer tasks than this for each process are not worth a fork.
LEAST_EACH = 12


class _End:
    """The last message of a process that did all its work."""


class ProcessEnded(OSError):
    """A process ended before its work was done: something killed it."""


def processes_for(tasks: int, least_each: int = LEAST_EACH) -> int:
    """How many processes should share so many tasks: one where forking is not safe, or not worth it for fewer than the least.

    A process with several threads must not fork, since another thread may hold a lock; nor can one on macOS, whose own
    libraries use threads.
    """
    if not sys.platform.startswith("linux") or threading.active_count() > 1:
        return 1
    return max(1, min(len(os.sched_getaffinity(0)), tasks // least_each))


def spread(
    tasks: Sequence[T], work: Callable[[Iterable[T]], Iterator[R]], processes: int, *, helping: bool = False
) -> Iterator[R]:
    """What `work` yields, in whatever order, when each process takes the next task that none has taken.

    With one process nothing is forked.  helping: one of the processes is this one, which hears of the others when no task is
    left; that spares a fork, and whatever this one yields the way from one process to another.
    Raises whatever `work` raises, and ProcessEnded; no process outlives the iterator.
    """
    if processes < 2:
        yield from work(tasks)
        return
    import multiprocessing  # here, since most builds make too little to share it

    context = multiprocessing.get_context("fork")
    taken = context.Value("l", 0)
    children: dict[Any, Any] = {}
    try:
        for _ in range(processes - helping):
            receiving, sending = context.Pipe(duplex=False)
            heard = [*children, receiving]
            child = context.Process(target=_child, args=(_untaken(tasks, taken), work, sending, heard), daemon=True)
            child.start()
            sending.close()
            children[receiving] = child
        if helping:
            yield from work(_untaken(tasks, taken))
        yield from _received(list(children))
    finally:
        for child in children.values():
            child.terminate()
            child.join()


def stepped(reports: Iterable[R | int], steps: Iterator[object]) -> Iterator[R]:
    """The reports but for the numbers among them, each of which says how many more steps were done: a bar shows them."""
    for one in reports:
        if isinstance(one, int):
            for _ in range(one):
                next(steps, None)
        else:
            yield one


def _untaken(tasks: Sequence[T], taken: Any) -> Iterator[T]:
    while True:
        with taken.get_lock():
            number = taken.value
            taken.value += 1
        if number >= len(tasks):
            return
        yield tasks[number]


def _child(tasks: Iterator[T], work: Callable[[Iterable[T]], Iterator[R]], sending: Any, heard: Sequence[Any]) -> None:
    """`heard`: the ends of pipes where the parent hears; kept open here, they would make this wait for a parent that is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends it
    gc.disable()  # it ends soon
    for one in heard:
        one.close()
    with contextlib.suppress(BrokenPipeError):  # nobody hears it any more
        for message in _said(tasks, work):
            sending.send(message)


def _said(tasks: Iterator[T], work: Callable[[Iterable[T]], Iterator[R]]) -> Iterator[R | _End | Exception]:
    """What `work` yields, and then that it has ended, or what it raised."""
    try:
        yield from work(tasks)
        yield _End()
    except Exception as problem:  # noqa: BLE001 (raised in the parent)
        problem.add_note(traceback.format_exc())
        yield problem


def _received(waiting: list[Any]) -> Iterator[Any]:
    from multiprocessing.connection import wait

    while waiting:
        ready: list[Any] = wait(waiting)
        for one in ready:
            try:
                message = one.recv()
            except EOFError:
                raise ProcessEnded("that a process was killed that made a part of it") from None
            if isinstance(message, _End):
                waiting.remove(one)
            elif isinstance(message, Exception):
                raise message
            else:
                yield message

"""Without looking for garbage, while much is made of which nearly all stays."""

import gc
from collections.abc import Generator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Generator[None]:
    """Python's collector rests until the block ends: it would go through all that was made, again and again, and find little.

    Reading thousands of records and what was kept of them takes a third less so, and a tenth more memory is used.  What was made
    by then counts as old, or the collector would go through all of it at once when it wakes.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.freeze()
            gc.unfreeze()  # among what is old
            gc.enable()


def settled() -> None:
    """For a process that goes on: what there is now stays, and only what comes later is looked through, whenever it is told to.

    Python's collector would go through all of it in the midst of some work, or, of what `uncollected` counted as old, never.
    """
    gc.disable()
    gc.collect()
    gc.freeze()

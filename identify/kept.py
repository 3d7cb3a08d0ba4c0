"""Arrays kept between runs: making them of thousands of records takes seconds, unpacking them a blink."""

import hashlib
from pathlib import Path

from ..kb.cache import derived
from ..kb.load import Entries
from .arrays import Compiled
from .compile import compile_entries


def kept_arrays(entries: Entries, family: str | None) -> Compiled:
    """The arrays of a family (of all where None), with the rates as recorded. The entries must be as `sound` gave them."""
    families = None if family is None else [family]
    name = "arrays" if family is None else f"arrays-{hashlib.sha256(family.encode()).hexdigest()[:12]}"
    return derived(entries, name, Compiled, lambda: compile_entries(entries, families), code=Path(__file__).parent)

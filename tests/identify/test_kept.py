"""Arrays from the store: the same as made afresh, and never those of other entries."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tellmark.identify import kept
from tellmark.identify.arrays import Compiled
from tellmark.identify.compile import compile_entries
from tellmark.identify.kept import kept_arrays
from tellmark.identify.start import start
from tellmark.kb.cache import sound

ENTRIES = Path(__file__).parents[2] / "entries"
Folder = Callable[[Mapping[str, object]], Path]


@pytest.fixture(autouse=True)
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """A store of this test's own; and the families of which arrays were made while it runs."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("TELLMARK_CACHE", raising=False)
    seen: list[object] = []

    def watched(*given: object) -> Compiled:
        seen.append(given[1])
        return compile_entries(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(kept, "compile_entries", watched)
    return seen


def alike(one: Compiled, other: Compiled) -> bool:
    """Whether candidates, what they have in common, and every table are the same."""
    same = one.variants == other.variants and np.array_equal(one.prior, other.prior) and one.views == other.views
    slots = all(np.array_equal(a.row, b.row) and a.parts == b.parts for a, b in zip(one.slots, other.slots, strict=True))
    tables = all(np.array_equal(a.table, b.table) and a.states == b.states for a, b in zip(one.traits, other.traits, strict=True))
    return same and slots and tables


@pytest.mark.parametrize("family", [None, "power-pack-tx"])
def test_the_demonstration(made: list[object], family: str | None) -> None:
    fresh = compile_entries(sound(ENTRIES)[0], None if family is None else [family])
    first, second = (kept_arrays(sound(ENTRIES)[0], family) for _ in range(2))
    assert len(made) == 1
    assert alike(first, fresh)
    assert alike(second, fresh)


def test_each_family_has_its_own(folder: Folder, made: list[object]) -> None:
    root = folder({})
    for _ in range(2):
        kept_arrays(sound(root)[0], None)
        kept_arrays(sound(root)[0], "tram")
    assert made == [None, ["tram"]]


def test_changed_entries_make_new_arrays(folder: Folder, made: list[object]) -> None:
    root = folder({})
    assert start(sound(root)[0], kept=True).compiled.variants == ("gull-a", "gull-b")
    (root / "families/tram/variants/gull-c.yaml").write_text("name: Third\nlike: gull-a\n", "utf-8")
    assert start(sound(root)[0], kept=True).compiled.variants == ("gull-a", "gull-b", "gull-c")
    assert len(made) == 2


def test_entries_from_elsewhere_are_not_kept(folder: Folder, made: list[object]) -> None:
    """Entries that were put together in memory have no files to hold them against."""
    entries = replace(sound(folder({}))[0], variants={})
    for _ in range(2):
        assert kept_arrays(entries, None).variants == ()
    assert len(made) == 2

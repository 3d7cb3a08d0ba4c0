"""Several processes make one site: the same bytes, nothing left over, and a failure in one of them is a failure of all."""

import multiprocessing
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from tellmark.kb.check import check
from tellmark.site_builder import build as building
from tellmark.site_builder.build import build
from tellmark.site_builder.texts import CannotPublish

Folder = Callable[[Mapping[str, Any]], Path]
Contents = Callable[[Path], dict[str, str]]
pytestmark = pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="this system cannot fork")


@pytest.fixture(autouse=True)
def own_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "store"))
    monkeypatch.delenv("TELLMARK_CACHE", raising=False)


def test_same_bytes_and_the_same_is_known_of_them(folder: Folder, tmp_path: Path, contents: Contents) -> None:
    entries, _ = check(folder({}))
    first = build(entries, tmp_path / "shared", processes=2)
    build(entries, tmp_path / "alone", processes=1)
    assert contents(tmp_path / "shared") == contents(tmp_path / "alone")
    assert build(entries, tmp_path / "shared").made == 0
    folder({"parts/wheel/disc.yaml": [("Disc wheel", "Solid wheel")]})
    changed, _ = check(entries.root)
    assert 0 < build(changed, tmp_path / "shared", processes=2).made < first.made
    build(changed, tmp_path / "alone", processes=1)
    assert contents(tmp_path / "shared") == contents(tmp_path / "alone")


def test_failure_of_one_leaves_the_old_site(
    folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, contents: Contents
) -> None:
    entries, _ = check(folder({}))
    out = tmp_path / "site"
    build(entries, out, processes=2)
    before = contents(out)

    def refused(*_: object) -> str:
        raise CannotPublish("a page", "none")

    monkeypatch.setattr(building._Maker, "page", refused)  # pyright: ignore[reportPrivateUsage] (what a process does)
    (tmp_path / "store").rename(tmp_path / "lost")
    with pytest.raises(CannotPublish, match="found a page"):
        build(entries, out, processes=2)
    assert contents(out) == before
    assert not list(tmp_path.glob(".site-*"))

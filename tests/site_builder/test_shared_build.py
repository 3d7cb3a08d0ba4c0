"""Several processes make one site: the same bytes, nothing left over, and a failure in one of them is a failure of all."""

import multiprocessing
import pickle
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from tellmark.kb.check import check
from tellmark.site_builder import build as building
from tellmark.site_builder.build import build
from tellmark.site_builder.folder import MARKER
from tellmark.site_builder.reads import MADE
from tellmark.site_builder.record import Record
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


def test_a_task_is_left_to_others_until_the_one_before_is_made(
    folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Outputs are written by the score, but whoever took all of these at once would leave nothing for anybody else."""
    made: list[str] = []
    #: For each task: how many outputs there were when it was taken, and how many the ones before had asked for.
    taken: list[tuple[int, int]] = []
    maker = building._Maker  # pyright: ignore[reportPrivateUsage] (what a process does)
    make = maker.make

    def noting(tasks: Iterable[Sequence[Any]]) -> Iterator[Sequence[Any]]:
        asked = len(made)
        for task in tasks:
            taken.append((len(made), asked))
            asked += len(task)
            yield task

    def alone(tasks: Sequence[Any], work: Callable[[Iterable[Any]], Iterator[Any]], processes: int) -> Iterator[Any]:
        assert processes == 1
        return work(noting(tasks))

    def noted(self: Any, one: Any) -> Any:
        made.append(one.address)
        return make(self, one)

    monkeypatch.setattr(maker, "make", noted)
    monkeypatch.setattr(building, "spread", alone)
    build(check(folder({}))[0], tmp_path / "site", processes=1)
    assert len(taken) > 5
    assert [there for there, _ in taken] == [asked for _, asked in taken]


@pytest.mark.parametrize("processes", [1, 2])
def test_whatever_was_read_is_known_to_the_next_build(folder: Folder, tmp_path: Path, contents: Contents, processes: int) -> None:
    """Also where a process has cleared answers for itself: without their digests the next build would work them out anew."""
    entries, _ = check(folder({}))
    out = tmp_path / "site"
    build(entries, out, processes=processes)
    for path in (out / file for file in contents(out) if file != MARKER):
        path.write_text("changed by hand", "utf-8")
    folder({"families/tram/variants/gull-b.yaml": [("sources: [notes]", "sources: []")]})
    build(check(entries.root)[0], out, processes=processes)
    (place,) = (tmp_path / "store" / "tellmark").glob("*.site.pickle")
    record: Record = pickle.loads(place.read_bytes()[place.read_bytes().index(b"\x80") :])
    waiting = [*record.lasting, *(number for one in record.outputs.values() for number in one.read)]
    read = set[int]()
    while waiting:
        number = waiting.pop()
        if number not in read:
            read.add(number)
            waiting += record.reads.get(number, ())
    unknown = {key for number, key in record.keys.items() if number in read and number not in record.digests}
    assert {key for key in unknown if key[0] != MADE} == set()


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

"""What changed in the entries, read from real repositories made for each test."""

import os
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from tellmark.kb import changes
from tellmark.kb.changes import MOST_SHOWN, Change, History, history, written

Folder = Callable[[Mapping[str, Any]], Path]
B = "families/tram/variants/gull-b.yaml"


def git(root: Path, *words: str) -> str:
    quiet = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "GIT_COMMITTER_DATE": "2021-03-04T05:06:07+02:00"}
    who = ["-c", "user.name=Ines Calloway", "-c", "user.email=ines@shelf.example", "-c", "protocol.file.allow=always"]
    done = subprocess.run(
        ["git", "-C", str(root), *who, *words], capture_output=True, text=True, check=True, env=os.environ | quiet
    )
    return done.stdout


def commit(root: Path, why: str, files: Mapping[str, str | bytes | None]) -> None:
    """Writes, or takes away, these files and commits all."""
    for path, text in files.items():
        place = root / path
        if text is None:
            place.unlink()
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(text if isinstance(text, bytes) else text.encode())
    git(root, "add", "--all")
    git(root, "commit", "--quiet", "--allow-empty", "-m", why)


@pytest.fixture
def kept(folder: Folder, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """The sound folder in a repository of its own, committed once."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    root = folder({})
    git(root, "init", "--quiet", "--initial-branch=main")
    commit(root, "All of it", {})
    return root


VARIANT = """\
name: Gull Harbor streetcar, second batch
like: gull-a
shows:
  roof: {ribbed: usual, plain: sometimes}
sources: [notes]
"""
PAIR = """\
name: Gull Harbor pair
positions:
  - variants: gull-a
  - variants: gull-b
    fitted:
      wheels: disc
"""
WHOLE = """\
title: Streetcars
license: CC0-1.0
views:
  side: {name: Side, effort: 1}
  below: {name: Underside, effort: 3}
hazards:
  heat: {caution: The iron burns skin., brought_by: [soldering iron]}
"""
CASES: list[tuple[str, dict[str, str | bytes | None], list[Change]]] = [
    (
        "a fact is one value",
        {B: VARIANT.replace("{ribbed: usual, plain: sometimes}", "ribbed")},
        [Change("variant", "gull-b", ("shows", "roof"), "ribbed: usual, plain: sometimes", "ribbed")],
    ),
    (
        "a value that was not said",
        {B: VARIANT + "batch: 2\n"},
        [Change("variant", "gull-b", ("batch",), None, "2")],
    ),
    (
        "a value taken out",
        {B: VARIANT.replace("sources: [notes]\n", "")},
        [Change("variant", "gull-b", ("sources",), "notes", None)],
    ),
    (
        "a record with its name",
        {"families/tram/variants/gull-c.yaml": "name: Third batch\nlike: gull-a\n"},
        [Change("variant", "gull-c", (), None, "Third batch")],
    ),
    ("a record taken out", {"procedures/oil-axles.yaml": None}, [Change("procedure", "oil-axles", (), "Oil the axles", None)]),
    (
        "deep inside, through lists of mappings",
        {"families/tram/sets/gull-pair.yaml": PAIR},
        [Change("set", "gull-pair", ("positions", "2", "variants"), "gull-b: usual, gull-a: sometimes", "gull-b")],
    ),
    (
        "one of a file of many",
        {"liveries.yaml": "gull:\n  name: Gull Harbor Transit\n  colors: [white]\n  shows:\n    stripe: painted\n"},
        [Change("livery", "gull", ("colors",), None, "white")],
    ),
    (
        "rows of a table, in any order",
        {"sales/2021.csv": "date,variant,set,price\n2021-06-08,,gull-pair,240\n2021-06-01,gull-a,,95\n"},
        [
            Change("sale", "2021", ("row",), "date 2021-06-01, variant gull-a, price 85", None),
            Change("sale", "2021", ("row",), None, "date 2021-06-01, variant gull-a, price 95"),
        ],
    ),
    (
        "the knowledge base itself",
        {"knowledge-base.yaml": WHOLE},
        [
            Change("knowledge base", "knowledge-base", ("title",), "Streetcars of one shelf", "Streetcars"),
            Change("knowledge base", "knowledge-base", ("views", "below", "effort"), "2", "3"),
        ],
    ),
]


@pytest.mark.parametrize(("files", "expected"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_changed_values(kept: Path, files: dict[str, str | bytes | None], expected: list[Change]) -> None:
    commit(kept, "Corrected", files)
    found = history(kept)
    assert list(found.commits[0].changes) == expected
    assert (found.commits[0].why, found.commits[0].when) == ("Corrected", "2021-03-04T05:06:07+02:00")
    assert len(found.commits) == 2


NO_CHANGE: list[tuple[str, dict[str, str | bytes | None]]] = [
    (
        "moved to another file",
        {B: None, "families/tram/variants/later.yaml": f"- id: gull-b\n  {VARIANT.strip().replace(chr(10), chr(10) + '  ')}\n"},
    ),
    (
        "spaces, quotes, comments and order",
        {
            B: "# seen\n"
            + "".join(
                sorted(
                    VARIANT.replace("gull-a", '"gull-a"')
                    .replace(
                        "shows:\n  roof: {ribbed: usual, plain: sometimes}\n",
                        "shows: {roof: {plain: sometimes, ribbed: usual}}\n",
                    )
                    .splitlines(keepends=True)
                )
            )
        },
    ),
    ("a drawing", {"families/tram/drawings/side.svg": "<svg/>"}),
    ("a file that is no entry", {"README.md": "Read me."}),
    ("nothing at all", {}),
]


@pytest.mark.parametrize("files", [case[1] for case in NO_CHANGE], ids=[case[0] for case in NO_CHANGE])
def test_no_value_changed(kept: Path, files: dict[str, str | bytes | None]) -> None:
    commit(kept, "Tidied", files)
    assert [one.why for one in history(kept).commits] == ["All of it"]


def test_a_version_that_cannot_be_read(kept: Path) -> None:
    commit(kept, "Broken", {B: "name: [unclosed\n", "procedures/more.yaml": "name: More\nminutes: 1\nsteps: [Go.]\n"})
    commit(kept, "Mended", {B: VARIANT})
    mended, broken, _ = history(kept).commits
    assert (broken.unread, [one.id for one in broken.changes]) == ((B,), ["more"])
    assert (mended.unread, mended.changes) == ((B,), ())


def test_no_address_of_anybody(kept: Path) -> None:
    commit(kept, "From Ines Calloway <ines@shelf.example>, and o.b+x@mail.example too", {B: VARIANT + "batch: 2\n"})
    found = history(kept)
    assert found.commits[0].why == "From Ines Calloway …, and … too"
    assert "ines@" not in repr(found)


def test_why_is_one_printable_line(kept: Path) -> None:
    commit(kept, "First \x1b[31mline\n\nand more", {B: VARIANT + "batch: 2\n"})
    commit(kept, "\x01\x01", {B: VARIANT + "batch: 3\n"})
    assert [one.why for one in history(kept).commits[:2]] == ["\\x01\\x01", "First \\x1b[31mline"]


def test_names_of_files_that_are_hard_to_quote(kept: Path) -> None:
    commit(kept, "Odd", {'sightings/tram/a b"\n\u00e9.yaml': "seen: 2021-01-01\n"})
    assert [one.id for one in history(kept).commits[0].changes] == ['a b"\n\u00e9']


def test_bounded_and_newest_first(kept: Path) -> None:
    for batch in range(2, 7):
        commit(kept, f"To {batch}", {B: VARIANT + f"batch: {batch}\n"})
    assert [one.why for one in history(kept, 3).commits] == ["To 6", "To 5", "To 4"]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        pytest.param("a, b, c, d", "a, b, c, d, e", ("the 4 that stayed", "e, and 4 that stayed"), id="one more"),
        pytest.param("a, b, c, d, e", "a, f, c, d, e", ("b, and 4 that stayed", "f, and 4 that stayed"), id="one for another"),
        pytest.param("a, b, c, d, e", "b, c, d, e", ("a, and 4 that stayed", "the 4 that stayed"), id="one taken out"),
        pytest.param("a, b, c, d", "d, c, b, a", ("a, b, c, d", "d, c, b, a"), id="another order"),
        pytest.param("a, b, c", "a, b, c, d", ("a, b, c", "a, b, c, d"), id="short enough to be told whole"),
    ],
)
def test_of_a_long_list_what_came_and_went_is_told(kept: Path, old: str, new: str, told: tuple[str, str]) -> None:
    for colors in (old, new):
        commit(kept, "Said otherwise", {"liveries.yaml": f"gull:\n  name: Gull Harbor Transit\n  colors: [{colors}]\n"})
    (change,) = history(kept).commits[0].changes
    assert change == Change("livery", "gull", ("colors",), *told)


def test_a_folder_within_a_repository(kept: Path) -> None:
    """Only what lies in the folder, by paths from there."""
    commit(kept, "Beside", {"../record/other/knowledge-base.yaml": "title: x\nlicense: y\n"})
    commit(kept, "Inside and beside", {"other/makers.yaml": "wren: {name: Wren}\n", "procedures/oil-axles.yaml": None})
    found = history(kept / "other")
    assert [(one.why, [change.id for change in one.changes]) for one in found.commits] == [
        ("Inside and beside", ["wren"]),
        ("Beside", ["knowledge-base"]),
    ]


def test_a_merge_says_its_own_commits(kept: Path) -> None:
    git(kept, "checkout", "--quiet", "-b", "side")
    commit(kept, "On the side", {B: VARIANT + "batch: 2\n"})
    git(kept, "checkout", "--quiet", "main")
    commit(kept, "On the main line", {"makers.yaml": "wrenfield:\n  name: Wrenfield\n  made: 1948..1961\n"})
    git(kept, "merge", "--quiet", "--no-ff", "-m", "Merged", "side")
    assert {one.why for one in history(kept).commits} == {"All of it", "On the side", "On the main line"}


# What can be missing -----------------------------------------------------------------------------------------------------


def test_no_repository(folder: Folder) -> None:
    assert history(folder({})) == History(problem="the entries are not kept in a git repository")


def test_no_git(folder: Folder, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert history(folder({})) == History(problem="git is not installed where this was made")


def test_no_commit_yet(folder: Folder) -> None:
    root = folder({})
    git(root, "init", "--quiet")
    assert history(root) == History()


def test_a_damaged_repository(kept: Path) -> None:
    for path in (kept / ".git" / "objects").rglob("*"):
        if path.is_file():
            path.chmod(0o644)
            path.write_bytes(b"damaged")
    assert history(kept) == History(problem="git could not read the history of the entries")


def test_a_shortened_copy(kept: Path, tmp_path: Path) -> None:
    """The oldest commit there looks as if it had added everything, so it is left out."""
    for batch in (2, 3):
        commit(kept, f"To {batch}", {B: VARIANT + f"batch: {batch}\n"})
    git(tmp_path, "clone", "--quiet", "--depth", "2", kept.as_uri(), str(tmp_path / "copy"))
    found = history(tmp_path / "copy")
    assert ([one.why for one in found.commits], found.cut) == (["To 3"], True)
    assert not history(kept).cut


def test_git_runs_nothing_of_the_repository(kept: Path, tmp_path: Path) -> None:
    """What a repository from elsewhere could make git run: a file watcher, a diff program, a text filter, a signature check."""
    mark = tmp_path / "ran"
    program = tmp_path / "program"
    program.write_text(f"#!/bin/sh\necho \"$@\" >> '{mark}'\n", "utf-8")
    program.chmod(0o755)
    for name in (
        "core.fsmonitor",
        "diff.external",
        "diff.x.textconv",
        "diff.x.command",
        "gpg.program",
        "core.pager",
        "core.sshCommand",
    ):
        git(kept, "config", name, str(program))
    git(kept, "config", "log.showSignature", "true")
    (kept / ".git" / "info" / "attributes").write_text("*.yaml diff=x\n", "utf-8")
    mark.unlink(missing_ok=True)
    assert len(history(kept).commits) == 1
    assert not mark.exists()


# The store ---------------------------------------------------------------------------------------------------------------


def test_a_commit_is_read_once(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh = history(kept)
    asked: list[list[str]] = []
    whole = changes._commits  # pyright: ignore[reportPrivateUsage] (what it asks git for is the point)
    blobs = changes._blobs  # pyright: ignore[reportPrivateUsage]

    def counted(root: Path, names: list[str]) -> dict[str, bytes | None]:
        asked.append(sorted(names))
        return blobs(root, names)

    monkeypatch.setattr(changes, "_blobs", counted)
    assert history(kept) == fresh
    assert (asked, whole(kept, [])) == ([], [])
    commit(kept, "One more", {B: VARIANT + "batch: 2\n"})
    assert len(history(kept).commits) == 2
    assert [len(names) for names in asked] == [2]
    monkeypatch.setenv("TELLMARK_CACHE", "off")
    assert len(history(kept).commits) == 2
    assert len(asked) == 2


WRITTEN = [
    ("nothing", None, "nothing"),
    ("a list", ["a", "b"], "a, b"),
    ("inside each other", {"a": ["b", {"c": "d"}], "e": None}, "a: [b, {c: d}], e: nothing"),
    ("lines", "one\n two", "one two"),
    ("what steers a terminal", "a\x1bb\u202e", "a\\x1bb\\u202e"),
]


@pytest.mark.parametrize(("value", "text"), [case[1:] for case in WRITTEN], ids=[case[0] for case in WRITTEN])
def test_written(value: object, text: str) -> None:
    assert written(value) == text


def test_long_values_are_cut() -> None:
    assert len(written("long " * 200)) <= MOST_SHOWN
    assert written("long " * 200).endswith("long…")

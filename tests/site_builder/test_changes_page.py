"""The page of recent changes and its feed, from real repositories; and that a site without one says so."""

import os
import subprocess
from collections.abc import Callable, Mapping
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from tellmark.kb.cache import sound
from tellmark.site_builder.build import build

Folder = Callable[[Mapping[str, Any]], Path]
VARIANT = "families/tram/variants/gull-b.yaml"
EVIL = "<script>alert(1)</script> & <b>"


class Text(HTMLParser):
    """The text of the page, and its tags."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name == "href"]

    def handle_data(self, data: str) -> None:
        self.words += data.split()

    @property
    def text(self) -> str:
        return " ".join(self.words)


def commit(root: Path, why: str, changes: Mapping[str, str] | None = None) -> None:
    for path, text in (changes or {}).items():
        (root / path).write_text(text, "utf-8")
    quiet = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "GIT_COMMITTER_DATE": "2022-01-02T03:04:05+01:00"}
    who = ["-c", "user.name=Ines Calloway", "-c", "user.email=ines@shelf.example"]
    for words in (["init", "--quiet"], ["add", "--all"], ["commit", "--quiet", "-m", why]):
        subprocess.run(["git", "-C", str(root), *who, *words], check=True, capture_output=True, env=os.environ | quiet)


def page_of(root: Path, out: Path) -> Text:
    entries, findings = sound(root)
    assert findings == []
    build(entries, out)
    return Text((out / "changes.html").read_text("utf-8"))


def test_values_with_their_reason(folder: Folder, tmp_path: Path) -> None:
    root = folder({})
    commit(root, "All of it")
    whole = (root / VARIANT).read_text("utf-8")
    commit(
        root,
        "The roofs were counted again, says ines@shelf.example",
        {VARIANT: whole.replace("sometimes", "rarely") + "batch: 2\n"},
    )
    page = page_of(root, tmp_path / "site")
    assert "The roofs were counted again, says … 2022-01-02 · 2 values changed" in page.text
    assert "Gull Harbor streetcar, second batch variant What Before Since then" in page.text
    assert "Roof ribbed: usual, plain: sometimes ribbed: usual, plain: rarely" in page.text
    assert "Batch not said 2" in page.text
    assert "All of it 2022-01-02 · 14 records added" in page.text
    assert "2 variants added" in page.text
    assert "2 sales of 2021 added" in page.text
    assert "ines@" not in (tmp_path / "site" / "changes.html").read_text("utf-8")
    assert "variants/gull-b.html" in page.links
    assert "changes.xml" in page.links


def test_files_of_which_there_is_one(folder: Folder, tmp_path: Path) -> None:
    """They are no records with an id and a page, and are said as a whole; sellers' phrases only to whoever unfolds them."""
    root = folder({})
    commit(root, "All of it")
    commit(root, "Words of sellers", {"sellers.yaml": "small: [a, the]\n"})
    commit(root, "Doubts are guesses", {"sellers.yaml": "small: [a, the]\nworth: {hedged: 0.5}\n"})
    page = page_of(root, tmp_path / "site")
    assert "Words of sellers 2022-01-02 · 1 record added" in page.text
    assert "Doubts are guesses 2022-01-02 · 1 value changed 1 record changed what sellers say as a whole" in page.text
    assert page.tags.count("details") == page.tags.count("summary") >= 1


MISSING = [
    ("no repository", False, "What changed when is not known here: the entries are not kept in a git repository."),
    ("no git", True, "What changed when is not known here: git is not installed where this was made."),
]


@pytest.mark.parametrize(("hidden", "said"), [case[1:] for case in MISSING], ids=[case[0] for case in MISSING])
def test_what_is_missing_is_said(
    folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hidden: bool, said: str
) -> None:
    if hidden:
        monkeypatch.setenv("PATH", str(tmp_path))
    page = page_of(folder({}), tmp_path / "site")
    assert said in page.text
    assert not (tmp_path / "site" / "changes.xml").exists()
    assert "changes.xml" not in page.links


def test_a_shortened_copy_says_so(folder: Folder, tmp_path: Path) -> None:
    root = folder({})
    commit(root, "All of it")
    commit(root, "Later", {VARIANT: (root / VARIANT).read_text("utf-8") + "batch: 2\n"})
    subprocess.run(["git", "clone", "--quiet", "--depth", "1", root.as_uri(), str(tmp_path / "copy")], check=True)
    page = page_of(tmp_path / "copy", tmp_path / "site")
    assert "This site was made from a shortened copy of the repository; older changes are not in it." in page.text
    assert "Later" not in page.text


def test_a_new_commit_changes_the_page_of_a_built_site(folder: Folder, tmp_path: Path) -> None:
    root = folder({})
    commit(root, "All of it")
    assert "Tidied" not in page_of(root, tmp_path / "site").text
    (root / VARIANT).write_text((root / VARIANT).read_text("utf-8") + "batch: 2\n", "utf-8")
    before = page_of(root, tmp_path / "site").text
    commit(root, "Tidied")
    after = page_of(root, tmp_path / "site").text
    assert "Tidied" not in before
    assert "Tidied 2022-01-02 · 1 value changed" in after
    assert "Tidied" in (tmp_path / "site" / "changes.xml").read_text("utf-8")


def test_hostile_messages_and_values_become_text(folder: Folder, tmp_path: Path) -> None:
    root = folder({})
    commit(root, "All of it")
    commit(root, EVIL, {VARIANT: (root / VARIANT).read_text("utf-8") + f"about: '{EVIL}'\n"})
    page = page_of(root, tmp_path / "site")
    assert f"{EVIL} 2022-01-02 · 1 value changed" in page.text
    raw = (tmp_path / "site" / "changes.html").read_text("utf-8")
    assert "<script>alert" not in raw
    assert "b" not in page.tags
    assert "<b>" not in (tmp_path / "site" / "changes.xml").read_text("utf-8")


def test_equal_history_equal_bytes(folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = folder({})
    commit(root, "All of it")
    page_of(root, tmp_path / "one")
    monkeypatch.setenv("TELLMARK_CACHE", "off")
    page_of(root, tmp_path / "two")
    for name in ("changes.html", "changes.xml"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()

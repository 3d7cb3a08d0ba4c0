"""The feed of changes against RFC 4287 (The Atom Syndication Format, 2005), by two programs that are not ours.

`atom.rng` is the grammar of the RFC's appendix B in the XML syntax of RELAX NG, for lxml; feedparser reads feeds as readers do.
What the grammar cannot say stands in the RFC's sections 4.1.1, 4.1.2, 4.2.6, 4.2.7 and 3.3 (RFC 3339 for the dates).
"""

import os
import subprocess
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit
from xml.etree import ElementTree

import feedparser
import pytest
from lxml import etree
from tellmark.kb.cache import sound
from tellmark.site_builder.build import build

HERE = Path(__file__).parent
ATOM = "{http://www.w3.org/2005/Atom}"
VARIANT = "families/tram/variants/gull-b.yaml"
BASE = "https://trains.example/record/"
REASONS = ["All of it", "Batch & <roof> \u2028 \x1b[0m", "Mended, by ines@shelf.example"]
Built = Callable[[str], Path]


@pytest.fixture
def feed(folder: Callable[[Mapping[str, Any]], Path], tmp_path: Path) -> Built:
    """Builds the site of a repository with three commits for an address; gives its feed."""
    root = folder({})
    quiet = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "GIT_COMMITTER_DATE": "2022-01-02T03:04:05+01:00"}
    who = ["-c", "user.name=Ines Calloway", "-c", "user.email=ines@shelf.example"]

    def git(*words: str) -> None:
        subprocess.run(["git", "-C", str(root), *who, *words], check=True, capture_output=True, env=os.environ | quiet)

    git("init", "--quiet")
    for batch, why in enumerate(REASONS):
        (root / VARIANT).write_text(f"name: Gull Harbor streetcar, <second>\nlike: gull-a\nbatch: {batch + 1}\n", "utf-8")
        git("add", "--all")
        git("commit", "--quiet", "-m", why)

    def built(base: str) -> Path:
        out = tmp_path / f"site{len(base)}"
        build(sound(root)[0], out, base)
        return out / "changes.xml"

    return built


@pytest.mark.parametrize("base", ["", BASE], ids=["no address", "an address"])
def test_grammar(feed: Built, base: str) -> None:
    grammar = etree.RelaxNG(etree.parse(str(HERE / "atom.rng")))
    grammar.assertValid(etree.parse(str(feed(base))))


BROKEN = [
    ("no id", "<id>", "</id>"),
    ("no title", "<title>", "</title>"),
    ("no date", "<updated>", "</updated>"),
    ("no author", "<author>", "</author>"),
]


@pytest.mark.parametrize(("begin", "end"), [case[1:] for case in BROKEN], ids=[case[0] for case in BROKEN])
def test_grammar_would_find_what_is_missing(feed: Built, begin: str, end: str) -> None:
    text = feed("").read_text("utf-8")
    start = text.index(begin)
    cut = text[:start] + text[text.index(end, start) + len(end) :]
    assert not etree.RelaxNG(etree.parse(str(HERE / "atom.rng"))).validate(etree.fromstring(cut.encode()))


@pytest.mark.parametrize("base", ["", BASE], ids=["no address", "an address"])
def test_what_the_grammar_cannot_say(feed: Built, base: str) -> None:
    root = ElementTree.parse(feed(base)).getroot()
    ids = [one.text or "" for one in root.iter(f"{ATOM}id")]
    assert len(ids) == len(set(ids)) == 4
    assert all(urlsplit(one).scheme for one in ids), "absolute (4.2.6)"
    for date in root.iter(f"{ATOM}updated"):
        assert datetime.fromisoformat(date.text or "").tzinfo is not None
        assert "T" in (date.text or "")
    for holder in (root, *root.iter(f"{ATOM}entry")):
        alternate = [one for one in holder.findall(f"{ATOM}link") if one.get("rel") == "alternate"]
        assert len(alternate) == 1, "an entry without content must have one (4.1.2)"
    me = [one.get("href") for one in root.findall(f"{ATOM}link") if one.get("rel") == "self"]
    assert me == [urljoin(base, "changes.xml")]


def test_ids_do_not_depend_on_the_address(feed: Built) -> None:
    here, there = (ElementTree.parse(feed(base)).getroot() for base in ("", BASE))
    assert [one.text for one in here.iter(f"{ATOM}id")] == [one.text for one in there.iter(f"{ATOM}id")]


def test_as_a_reader_of_feeds_reads_it(feed: Built) -> None:
    place = feed(BASE)
    found = feedparser.parse(place.read_bytes())
    assert not found.bozo
    assert found.version == "atom10"
    assert [one.title for one in found.entries] == ["Mended, by …", "Batch & <roof> \\u2028 \\x1b[0m", "All of it"]
    page = (place.parent / "changes.html").read_text("utf-8")
    for one in found.entries:
        address, _, anchor = one.link.partition("#")
        assert address == BASE + "changes.html"
        assert f'id="{anchor}"' in page
    assert found.entries[0].summary == "1 value changed. Gull Harbor streetcar, <second>, Batch: 2 → 3."
    assert "ines@" not in place.read_text("utf-8")

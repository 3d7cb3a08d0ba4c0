"""The static site: complete, linked, harmless whatever the entries say, reproducible, and never half replaced."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main
from tellmark.kb.check import check
from tellmark.kb.describe import NO_PART, compare_variants
from tellmark.kb.resolve import living
from tellmark.site_builder.build import build
from tellmark.site_builder.folder import MARKER, beside, publish, write_marker
from tellmark.site_builder.look_alikes import ENOUGH, MOST_ROWS, LookAlikes
from tellmark.site_builder.tables import Site
from tellmark.site_builder.texts import CannotPublish, address, markdown, opening

ROOT = Path(__file__).parents[2]
ENTRIES = ROOT / "entries"
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "site.json").read_text("utf-8"))
#: The sound folder without its set, and without what leans on it.
NO_SET = {"families/tram/sets/gull-pair.yaml": None, "sightings/tram/shelf-1.yaml": None, "sales/2021.csv": None}
Folder = Callable[[Mapping[str, Any]], Path]
Contents = Callable[[Path], dict[str, str]]


def run(entries: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["--entries", str(entries), "site", "build", *arguments], catch_exceptions=False)


class Read(HTMLParser):
    """The tags, ids, links and text of one page."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(path.read_text("utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    @property
    def ids(self) -> list[str]:
        return [attrs["id"] or "" for _, attrs in self.tags if "id" in attrs]

    @property
    def links(self) -> list[str]:
        return [value for _, attrs in self.tags for name in ("href", "src") if (value := attrs.get(name)) is not None]


@cache
def read(root: Path) -> dict[str, Read]:
    return {path.relative_to(root).as_posix(): Read(path) for path in sorted(root.rglob("*.html"))}


def broken_links(root: Path) -> Iterator[str]:
    """Every inward link that leads nowhere, or that would not work under another address."""
    pages = read(root)
    for name, page in pages.items():
        for link in page.links:
            parts = urlsplit(link)
            if parts.scheme in ("http", "https", "mailto", "data"):
                continue
            place = (root / name).parent / unquote(parts.path) if parts.path else root / name
            inside = place.resolve().is_relative_to(root.resolve())
            if parts.scheme or parts.netloc or link.startswith("/") or not inside or not place.is_file():
                yield f"{name}: {link}"
            elif place.name == "compare.html" and parts.fragment and name != "compare.html":
                ids = parts.fragment.split(",")  # a script reads what to compare from there
                yield from (
                    f"{name}: {link}"
                    for one in ids
                    if not any((root / kind / f"{one}.html").is_file() for kind in ("variants", "parts"))
                )
            elif place.name == "identify.html" and parts.fragment and name != "identify.html":
                families = parse_qs(parts.fragment)["family"]  # likewise what is to be identified
                yield from (f"{name}: {link}" for one in families if not (root / "families" / f"{one}.html").is_file())
            elif parts.fragment and parts.fragment not in pages[place.resolve().relative_to(root.resolve()).as_posix()].ids:
                yield f"{name}: {link} (no such anchor)"


# What is there -----------------------------------------------------------------------------------------------------------


def test_every_record_has_its_page(site: Path) -> None:
    entries, findings = check(ENTRIES)
    assert findings == []
    pages = read(site)
    for kind in ("family", "variant", "set", "part", "procedure", "source"):
        for ident, record in entries.of(kind).items():
            assert (record.name or ident) in pages[address(kind, ident)].text, ident


def test_every_link_and_anchor_resolves(site: Path) -> None:
    assert list(broken_links(site)) == []


def test_ids_on_a_page_are_unique_and_labels_lead_to_them(site: Path) -> None:
    for name, page in read(site).items():
        assert len(page.ids) == len(set(page.ids)), name
        labelled = {attrs["aria-labelledby"] for _, attrs in page.tags if "aria-labelledby" in attrs}
        assert labelled <= set(page.ids), name


def test_every_page_is_reached_from_home(site: Path) -> None:
    pages = read(site)
    seen, now = {"index.html"}, ["index.html"]
    while now:
        name = now.pop()
        for link in pages[name].links:
            path = urlsplit(link).path
            place = ((site / name).parent / path).resolve()
            if path.endswith(".html") and (to := place.relative_to(site.resolve()).as_posix()) not in seen:
                seen.add(to)
                now.append(to)
    signposts = {address("variant", ident) for ident, one in check(ENTRIES)[0].variants.items() if one.signpost}
    uncited = {
        name for name, page in pages.items() if name.startswith("sources/") and "Nothing in this record cites it" in page.text
    }
    assert pages.keys() - seen <= signposts | uncited


POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'"
)


def test_policy_allows_nothing_from_elsewhere(site: Path) -> None:
    for name, page in read(site).items():
        policies = [attrs["content"] for tag, attrs in page.tags if tag == "meta" and "http-equiv" in attrs]
        assert policies == [POLICY], name
        assert not [tag for tag, attrs in page.tags if tag == "style" or "style" in attrs], name
        own = [attrs for tag, attrs in page.tags if tag == "script" and "src" not in attrs]
        assert [attrs.get("type") for attrs in own] == ["application/ld+json"], name
        assert not [attrs for _, attrs in page.tags if any(one.startswith("on") for one in attrs)], name


def test_variant_says_what_it_could_be_taken_for(site: Path) -> None:
    page = Read(site / "variants" / "426-lake-harrow-a-b4.html")
    twin = "426-lake-harrow-a-holloways.html"
    assert page.links.count(twin) + page.links.count(f"../variants/{twin}") == 1
    text = " ".join(page.text.split())
    assert "Cannot be told from 426 Lake Harrow, powered A, Holloway's edition" in text
    places = [text.rindex(part) for part in ("What to look for", "Fitted when new", "Nearest variants", "On whose word")]
    assert places == sorted(places)
    assert "Last verified 2024-10-05" in text


def test_nearest_look_alikes_differ_in_the_fewest_facts(folder: Folder, tmp_path: Path) -> None:
    base = "families/tram/variants/"
    root = folder(
        {
            f"{base}far.yaml": "name: Far one\nlike: gull-a\nshows:\n  roof: ribbed\n  length: 150 mm\n  number: 55\n",
            f"{base}near.yaml": "name: Near one\nlike: gull-a\nshows:\n  number: 42\n",
            f"{base}same.yaml": "name: Same one\nlike: gull-a\n",
            **NO_SET,
            f"{base}middle.yaml": "name: Middle one\nlike: gull-a\nshows:\n  length: 140 mm\n  number: 43\n",
        }
    )
    build(check(root)[0], tmp_path / "site")
    text = " ".join(Read(tmp_path / "site" / "variants" / "gull-a.html").text.split())
    alike = text[text.rindex("Nearest variants") :]
    names = ["Gull Harbor streetcar, second batch", "Near one", "Middle one"]
    assert sorted(names, key=lambda name: alike.find(name)) in (names, [names[1], names[0], names[2]])
    assert all(name in alike for name in names)
    assert "Far one" not in alike
    assert "Same one" not in alike
    assert "Cannot be told from Same one" in text


def test_look_alikes_say_what_a_comparison_says() -> None:
    """Two ways of laying variants side by side: many at once for the pages, and any few for a person who asks."""
    entries = check(ENTRIES)[0]
    site = Site(entries)
    look_alikes = LookAlikes(site)
    for ident in living(entries):
        for other in look_alikes.of(site.whole[ident]):
            theirs = other["compare"].partition(",")[2]
            found = [one for one in compare_variants(entries, [ident, theirs]) if NO_PART not in one.values]
            said = [(one.name.lower(), *(value.replace(" +- ", " ± ") for value in one.values)) for one in found]
            rows = [(name.lower(), mine, its) for name, _, mine, its in other["rows"]]
            shown = ENOUGH if len(said) > MOST_ROWS else len(said)
            assert (rows, other["more"]) == (said[:shown], len(said) - shown), (ident, theirs)


def images(path: Path) -> list[tuple[str, str]]:
    """(title, the whole SVG text) of each drawing in a page, and of each in a file that it shows."""
    page = path.read_text("utf-8")
    files = [(path.parent / src).read_text("utf-8") for src in re.findall(r'<img[^>]* src="([^"]+\.svg)"', page)]
    found = [*re.findall(r"<svg.*?</svg>", page, re.DOTALL), *files]
    return [(title[1] if (title := re.search(r"<title [^>]*>(.*?)</title>", svg)) else "", svg) for svg in found]


def head(path: Path) -> str:
    """What stands above the facts of a page, its drawings among it."""
    text = path.read_text("utf-8")
    return text[text.index('<div class="drawings">') : text.index('<dl class="labels">')]


def test_every_picture_is_named(site: Path) -> None:
    for name, page in read(site).items():
        for tag, attrs in page.tags:
            if tag == "svg" and attrs.get("aria-hidden") != "true":
                assert attrs["role"] == "img", name
                assert {attrs["aria-labelledby"], attrs["aria-describedby"]} <= set(page.ids), name
            elif tag == "img":
                assert attrs["alt"] is not None, name
                assert (attrs["width"] or "").isdecimal(), name
                assert (attrs["height"] or "").isdecimal(), name
        assert all(title for title, svg in images(site / name) if 'role="img"' in svg), name
        for ident in re.findall(r"url\(#([^)]+)\)", (site / name).read_text("utf-8")):
            assert ident in page.ids, (name, ident)


def test_a_drawing_in_a_file_needs_nothing_else(site: Path) -> None:
    """It refers to its own parts alone, and has the colors of the pages, for light and for dark."""
    style = (site / "site.css").read_text("utf-8")
    schemes = [dict(re.findall(r"(--\w+): (#\w+);", block)) for block in re.findall(r":root \{(.*?)\}", style, re.DOTALL)[:2]]
    files = sorted((site / "pictures").rglob("*.svg"))
    assert len(files) > 400
    for path in files:
        svg = path.read_text("utf-8")
        ids = re.findall(r' id="([^"]+)"', svg)
        assert len(ids) == len(set(ids)), path
        assert {*re.findall(r"url\(#([^)]+)\)", svg), *re.findall(r'href="#([^"]+)"', svg)} <= {*ids}, path
        own = [dict(re.findall(r"([\w-]+):(#\w+)", block)) for block in re.findall(r"svg\{(.*?)\}", svg)]
        for colors, page in zip(own, schemes, strict=True):
            assert colors == {"color": page["--ink"]} | {name: page[name] for name in ("--paper", "--shade", "--mark")}, path


def test_every_drawing_in_a_file_is_shown(site: Path) -> None:
    shown = {
        (page.parent / src).resolve()
        for page in site.rglob("*.html")
        for src in re.findall(r'<img[^>]* src="([^"]+\.svg)"', page.read_text("utf-8"))
    }
    made = {path.resolve() for path in (site / "pictures").rglob("*.svg")}
    assert shown <= made
    assert len(made - shown) < 0.1 * len(made), sorted(str(path) for path in made - shown)


def test_drawings_wear_the_livery(site: Path) -> None:
    """The side and the nose of a variant, and the side that lists show of it, have the color that its main color is drawn in."""
    orange = "#e5782a"
    assert orange in (site / "pictures" / "common" / "main-color.orange.svg").read_text("utf-8")
    drawn = head(site / "variants" / "424-prairie-meridian-a-b1.html").split("</svg>")[:2]
    assert [orange in svg for svg in drawn] == [True, True]
    assert orange in (site / "pictures" / "variants" / "424-prairie-meridian-a-b1.svg").read_text("utf-8")
    assert orange not in (site / "pictures" / "variants" / "421-tamarack-northern-a-b1.svg").read_text("utf-8")
    assert 'src="pictures/variants/424-prairie-meridian-a-b2.svg"' in (site / "index.html").read_text("utf-8")


#: What two variants of one family show, as their drawings can show it.
OWN_A = {"number-place": "nose-door", "side-stripes": "two-narrow", "nose-emblem": "round", "stripe-shape": "chevron"}
OWN_B = {"number-place": "side-center", "side-stripes": "two-narrow"}
#: A variant with a bell, and one that commonly left the factory without.
BELLS = ("161-tamarack-northern-b1", "164-prairie-meridian-b4")


def test_variant_is_drawn_in_its_own_states(site: Path) -> None:
    variants = site / "variants"
    titles = {title for title, _ in images(variants / "424-prairie-meridian-b-b1.html")}
    assert "Stripes along the flank: Two narrow stripes" in titles
    assert "Stripes along the flank: One wide stripe" not in titles
    for ident, own in (("a-b1", OWN_A), ("b-b1", OWN_B)):
        drawn = head(variants / f"424-prairie-meridian-{ident}.html")
        assert drawn.count("<svg") == 2
        for trait, state in own.items():
            assert set(re.findall(rf'data-trait="{trait}" data-state="([^"]+)"', drawn)) == {state}, (ident, trait)


def test_unit_without_a_cab_has_no_nose(site: Path) -> None:
    powered, trailing = (head(site / "variants" / f"424-prairie-meridian-{ident}.html") for ident in ("a-b1", "b-b1"))
    assert 'id="drawing-cab-diesel-420-nose-title"' in powered
    assert 'id="drawing-cab-diesel-420-side-trailing-b-title"' in trailing
    assert 'id="drawing-cab-diesel-420-end-title"' in trailing


def test_slot_that_holds_nothing_is_not_drawn(site: Path) -> None:
    with_bell, without = (head(site / "variants" / f"{ident}.html") for ident in BELLS)
    assert 'data-slot="bell"' in with_bell
    assert 'data-slot="bell"' not in without
    assert 'data-slot="horn"' in without


def test_family_shows_every_state_and_part_its_own(site: Path) -> None:
    family = {title for title, _ in images(site / "families" / "cab-diesel-420.html")}
    assert {"Stripes along the flank: Two narrow stripes", "Stripes along the flank: One wide stripe"} <= family
    part = {title for title, _ in images(site / "parts" / "kiln-lane-horn.html")}
    assert part == {"Bells: Two", "Material of the horn: Brass", "Bore of the bells: Only dished"}


def test_set_shows_its_couplers_in_order(site: Path) -> None:
    text = " ".join(Read(site / "sets" / "54-4-prairie-meridian-a-b-a.html").text.split())
    assert re.search(r"Unit 1 .* Front coupler: nothing there Rear coupler: Long fixed coupler Unit 2 .* Unit 3", text)


def test_cautions_come_first(site: Path) -> None:
    for path in (site / "procedures").glob("*.html"):
        text = Read(path).text
        assert text.index("Cautions first") < min(text.index(part) for part in ("Tools", "Consumables", "Steps"))


def test_old_id_points_on(site: Path) -> None:
    page = Read(site / "variants" / "424-prairie-meridian-a.html")
    assert "../variants/424-prairie-meridian-a-b1.html" in page.links
    assert "../variants/424-prairie-meridian-a-b2.html" in page.links


def test_smallest_knowledge_base(tmp_path: Path) -> None:
    root = tmp_path / "record"
    root.mkdir()
    (root / "knowledge-base.yaml").write_text("title: Nothing yet\nlicense: CC0-1.0\n", "utf-8")
    built = build(check(root)[0], tmp_path / "site")
    assert built.pages == len(list((tmp_path / "site").rglob("*.html")))
    assert list(broken_links(tmp_path / "site")) == []


# Hostile texts -----------------------------------------------------------------------------------------------------------

#: What a page may consist of; anything else came out of an entry.
OUR_TAGS = """
    article button circle details canvas fieldset figcaption figure form img input label legend noscript option rect script
    select summary a article aside blockquote body br caption code dd div dl dt em footer h1 h2 h3 h4 h5 h6 head header hr
    html li link main meta nav ol p pre section span strong table tbody td textarea th thead time title tr ul
"""
OUR_ATTRIBUTES = """
    accept alt aria-hidden aria-live autocapitalize autocomplete data-choose data-sort data-table data-up defer download for
    hidden inputmode loading novalidate rows spellcheck src title type value
    aria-current aria-label aria-labelledby charset class content data-label datetime href http-equiv id lang name rel scope
    checked data-does data-pin data-way max min step tabindex
"""


SVG_TAGS = "svg title desc g path text figure figcaption defs use circle rect"
SVG_ATTRIBUTES = """
    cx cy focusable height r width
    xmlns viewbox fill stroke role aria-labelledby aria-describedby color d x y data-trait data-state data-marking
"""


def test_hostile_texts_become_text(hostile: Path) -> None:
    pages = read(hostile)
    for name, page in pages.items():
        raw = (hostile / name).read_text("utf-8")
        assert {tag for tag, _ in page.tags} <= {*OUR_TAGS.split(), *SVG_TAGS.split()}, name
        attributes = {attribute for _, attrs in page.tags for attribute in attrs}
        assert attributes <= {*OUR_ATTRIBUTES.split(), *SVG_ATTRIBUTES.split()}, name
        assert not re.search(r"<script(?! defer src=\"|  type=\"application/ld\+json\")(?! type=)", raw.lower()), name
        own = re.findall(r"<script type=\"application/ld\+json\">(.*?)</script>", raw, re.DOTALL)
        assert len(own) == 1, name
        assert "<" not in own[0], name
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in raw, name
        assert "{{ 7*7 }}" in page.text, name
        assert {urlsplit(link).scheme for link in page.links} <= {"", "https", "data"}, name
        assert not [link for link in page.links if link.startswith("data:")], name
    assert list(broken_links(hostile)) == []


TEXTS = [
    ("script address", "[a](javascript:alert(1))", "<p>[a](javascript:alert(1))</p>\n"),
    ("address in capitals", "[a](JAVASCRIPT:alert(1))", "<p>[a](JAVASCRIPT:alert(1))</p>\n"),
    ("raw HTML", "<b onclick=x>a</b>", "<p>&lt;b onclick=x&gt;a&lt;/b&gt;</p>\n"),
    ("way out of the folder", "[a](../../b.html)", "<p>[a](../../b.html)</p>\n"),
    ("picture", "![a](https://b.example/c.png)", '<p>!<a href="https://b.example/c.png" rel="noopener noreferrer">a</a></p>\n'),
    ("web address", "[a](https://b.example)", '<p><a href="https://b.example" rel="noopener noreferrer">a</a></p>\n'),
    ("heading", "# a", "<h3>a</h3>\n"),
    ("emphasis", "*a* **b** `c`", "<p><em>a</em> <strong>b</strong> <code>c</code></p>\n"),
    ("list", "- a\n- b", "<ul>\n<li>a</li>\n<li>b</li>\n</ul>\n"),
]


@pytest.mark.parametrize(("text", "html"), [case[1:] for case in TEXTS], ids=[case[0] for case in TEXTS])
def test_markdown(text: str, html: str) -> None:
    assert markdown(text) == html


@pytest.mark.parametrize(
    "text", ["Né.", "A line.\n", "One.  Two.", "1957 on.", "Odds & ends.", "*A*.", 'A "best" (4.5 mm): it\'s as-is.']
)
def test_a_paragraph_reads_the_same_by_itself(text: str) -> None:
    """Those that are plain are not parsed; beside another one that is not, they are."""
    assert markdown(f"{text}\n\n*a*") == f"{markdown(text)}<p><em>a</em></p>\n"


OPENINGS = [
    ("nothing", None, None),
    ("as many sentences as have room", "One. Two. Three is long.", "One. Two."),
    ("at least one", "One that is far too long. Two.", "One that is far too long."),
    ("no end in sight", "Not a sentence at all, only words", "Not a sentence at all, only words"),
    ("emphasis stays whole", "One **is. Two** is. Three.", "One **is. Two** is."),
    ("a link stays whole", "See [a. B](https://b.example). Then more.", "See [a. B](https://b.example)."),
    ("first paragraph", "One.\n\nTwo.", "One."),
    ("figures are no ends", "It is 4.8 mm. Two.", "It is 4.8 mm."),
]


@pytest.mark.parametrize(("text", "expected"), [case[1:] for case in OPENINGS], ids=[case[0] for case in OPENINGS])
def test_opening(text: str | None, expected: str | None) -> None:
    assert opening(text, most=15) == expected


@pytest.mark.parametrize("ident", ["../a", "a/b", "", ".", "A", "a\n", "a.html", "a--b", "a b", "\x00"])
def test_no_id_leaves_its_folder(ident: str) -> None:
    with pytest.raises(CannotPublish):
        address("variant", ident)


# The folder --------------------------------------------------------------------------------------------------------------


def test_same_entries_same_bytes(site: Path, tmp_path: Path, contents: Contents) -> None:
    command = [sys.executable, "-m", "tellmark.cli.main", "--entries", str(ENTRIES), "site", "build", "--out", "again"]
    subprocess.run(command, cwd=tmp_path, env=os.environ | {"PYTHONHASHSEED": "7"}, check=True, capture_output=True)
    assert contents(tmp_path / "again") == contents(site)


def test_json(folder: Folder, tmp_path: Path) -> None:
    out = str(tmp_path / "site")
    result = run(folder({}), "--out", out, "--json")
    found = json.loads(result.stdout)
    jsonschema.validate(found, SCHEMA, cls=jsonschema.Draft202012Validator)
    files = [path for path in Path(out).rglob("*") if path.is_file() and path.name != MARKER]
    pages = [path for path in files if path.suffix == ".html"]
    assert found == {"format": "tellmark/site/1", "out": out, "pages": len(pages), "files": len(files), "made": len(files)}
    assert result.exit_code == 0


def test_new_site_replaces_the_old_whole(folder: Folder, tmp_path: Path) -> None:
    out = tmp_path / "site"
    out.mkdir()
    assert run(folder({}), "--out", str(out)).exit_code == 0
    root = folder(NO_SET)
    for path in NO_SET:
        (root / path).unlink()
    assert (out / "sets" / "gull-pair.html").is_file()
    assert run(root, "--out", str(out)).exit_code == 0
    assert not (out / "sets").exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["record", "site"]


def test_bad_entry_leaves_the_old_site(folder: Folder, tmp_path: Path, contents: Contents) -> None:
    out = tmp_path / "site"
    assert run(folder({}), "--out", str(out)).exit_code == 0
    before = contents(out)
    result = run(folder({"parts/wheel/disc.yaml": "name: Disc wheel\nshows:\n  rim: thik\n"}), "--out", str(out))
    assert result.exit_code == 2
    assert 'disc.yaml:3:8: found "thik", expected a state of it: thick or thin; did you mean "thick"?' in result.stderr
    assert contents(out) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["record", "site"]


def test_failure_while_writing_leaves_the_old_site(tmp_path: Path, contents: Contents) -> None:
    out = tmp_path / "site"
    publish({"index.html": b"old"}, out)
    before = contents(out)
    with pytest.raises(CannotPublish):
        publish({"index.html": b"new", "../outside.html": b"x"}, out)
    assert contents(out) == before
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_failure_in_the_swap_puts_the_old_site_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, contents: Contents) -> None:
    out = tmp_path / "site"
    publish({"index.html": b"old"}, out)
    before = contents(out)
    rename = Path.rename

    def failing(self: Path, target: Path) -> Path:
        if self.name == "fresh":
            raise OSError(28, "No space left on device", str(target))
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    with pytest.raises(OSError, match="No space left"):
        publish({"index.html": b"new"}, out)
    assert contents(out) == before
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


#: (files that come, files that go, those that stand afterwards), on a site of a.html, b/c.html and d.html.
EXCHANGED: list[tuple[dict[str, bytes], list[str], dict[str, bytes], str]] = [
    ({"a.html": b"new"}, [], {"a.html": b"new", "b/c.html": b"old", "d.html": b"old"}, "one page changed"),
    ({"b/e/f.html": b"new"}, [], {"a.html": b"old", "b/c.html": b"old", "b/e/f.html": b"new", "d.html": b"old"}, "a new folder"),
    ({}, ["b/c.html"], {"a.html": b"old", "d.html": b"old"}, "the last page of a folder goes, and the folder"),
    ({"d.html/g.html": b"new"}, ["d.html"], {"a.html": b"old", "b/c.html": b"old", "d.html/g.html": b"new"}, "file to folder"),
    ({"b": b"new"}, ["b/c.html"], {"a.html": b"old", "b": b"new", "d.html": b"old"}, "folder to file"),
]


def exchange(out: Path, come: Mapping[str, bytes], gone: Sequence[str], listed: Iterable[str]) -> None:
    with beside(out) as fresh:
        fresh.make_folders(come)
        for path, content in come.items():
            (fresh.path / path).write_bytes(content)
        write_marker(fresh.path, listed)
        fresh.gone = gone


@pytest.mark.parametrize(("come", "gone", "after"), [case[:3] for case in EXCHANGED], ids=[case[3] for case in EXCHANGED])
@pytest.mark.parametrize("fails", [False, True], ids=["done", "undone"])
def test_some_files_are_exchanged_or_none(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    come: Mapping[str, bytes],
    gone: Sequence[str],
    after: Mapping[str, bytes],
    fails: bool,
) -> None:
    """The list of files comes last: a failure there undoes everything, whatever has taken its place by then."""
    before = {"a.html": b"old", "b/c.html": b"old", "d.html": b"old"}
    out = tmp_path / "site"
    publish(before, out)
    replace = Path.replace

    def failing(self: Path, target: Path) -> Path:
        if self.parent.name == "fresh" and self.name == MARKER:
            raise OSError(28, "No space left on device", str(target))
        return replace(self, target)

    if fails:
        monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises(OSError, match="No space left") if fails else nullcontext():
        exchange(out, come, gone, after)
    found = {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    listed = found.pop(MARKER).decode().splitlines()
    assert found == (before if fails else after)
    assert set(found) <= set(listed)
    assert fails or listed == sorted(after)
    assert [path.name for path in tmp_path.iterdir()] == ["site"]
    assert {path.name for path in out.rglob("*") if path.is_dir()} == {
        folder.name for one in found for folder in Path(one).parents if folder.name
    }


def foreign_file(out: Path) -> None:
    out.mkdir()
    (out / "thesis.txt").write_text("ten years of work", "utf-8")


def file_beside_the_pages(out: Path) -> None:
    publish({"index.html": b"old"}, out)
    (out / "CNAME").write_text("trains.example", "utf-8")


def plain_file(out: Path) -> None:
    out.write_text("not a folder", "utf-8")


def link_beside_the_pages(out: Path) -> None:
    publish({"index.html": b"old"}, out)
    (out / "elsewhere").symlink_to(out.parent)


FOREIGN = [
    ("folder of someone's", foreign_file, 'found files in "{out}" that no site build wrote, expected an empty folder'),
    ("file added to a site", file_beside_the_pages, 'found "CNAME" in "{out}", expected only what the last build wrote there'),
    (
        "link added to a site",
        link_beside_the_pages,
        'found "elsewhere" in "{out}", expected only what the last build wrote there',
    ),
    ("file", plain_file, 'found a file at "{out}", expected a folder, or nothing yet'),
]


@pytest.mark.parametrize(("prepare", "message"), [case[1:] for case in FOREIGN], ids=[case[0] for case in FOREIGN])
def test_what_is_not_ours_stays(
    folder: Folder, tmp_path: Path, prepare: Callable[[Path], None], message: str, contents: Contents
) -> None:
    out = tmp_path / "site"
    prepare(out)
    before = contents(out)
    result = run(folder({}), "--out", str(out))
    assert result.exit_code == 2
    assert result.stderr.startswith(message.format(out=out.resolve()))
    assert contents(out) == before


def test_marker_lists_what_was_written(site: Path, contents: Contents) -> None:
    listed = (site / MARKER).read_text("utf-8").splitlines()
    assert listed == sorted(path for path in contents(site) if path != MARKER)

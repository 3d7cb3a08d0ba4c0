"""Building again: only what leans on a change is made anew, and the site is the one that a first build would have written."""

import pickle
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from tellmark.kb import cache
from tellmark.kb.cache import sound as cached
from tellmark.kb.check import check
from tellmark.site_builder import build as building
from tellmark.site_builder import record, templating
from tellmark.site_builder.build import build
from tellmark.site_builder.folder import MARKER
from tellmark.site_builder.reads import Key, Memo
from tellmark.site_builder.record import Changes, Record, Recorder

Folder = Callable[[Mapping[str, Any]], Path]
Contents = Callable[[Path], dict[str, str]]
ENTRIES = Path(__file__).parents[2] / "entries"


@pytest.fixture(autouse=True)
def own_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "store"))
    monkeypatch.delenv("TELLMARK_CACHE", raising=False)


def sound(root: Path) -> Any:
    entries, findings = check(root)
    assert [str(finding) for finding in findings] == []
    return entries


#: (file, what stands there, what to write instead, pages that change, pages that stay); a text of None is a new file.
CHANGES = [
    pytest.param(
        "families/tram/variants/gull-b.yaml",
        "second batch",
        "second run",
        ["variants/gull-b.html", "families/tram.html", "sets/gull-pair.html"],
        ["parts/disc.html", "procedures/oil-axles.html", "makers.html"],
        id="name of a variant",
    ),
    pytest.param(
        "families/tram/variants/gull-b.yaml",
        "sources: [notes]",
        "sources: []",
        ["variants/gull-b.html", "sources/notes.html"],
        ["parts/disc.html", "makers.html"],
        id="a word taken back",
    ),
    pytest.param(
        "families/tram/variants/gull-a.yaml",
        "wheels: spoked",
        "wheels: disc",
        ["variants/gull-a.html", "variants/gull-b.html", "parts/spoked.html", "parts/disc.html"],
        ["makers.html", "procedures/oil-axles.html"],
        id="a part fitted, inherited by another",
    ),
    pytest.param(
        "parts/wheel/disc.yaml",
        "Disc wheel",
        "Solid wheel",
        ["parts/disc.html", "parts.html", "sets/gull-pair.html"],
        ["sources/notes.html", "procedures/oil-axles.html"],
        id="name of a part",
    ),
    pytest.param(
        "families/tram/sets/gull-pair.yaml",
        "wheels: disc",
        "wheels: spoked",
        ["sets/gull-pair.html", "parts/disc.html"],
        ["makers.html", "sources/notes.html"],
        id="a part fitted for a set",
    ),
    pytest.param(
        "sales/2021.csv",
        "gull-a,,85",
        "gull-a,,95",
        ["variants/gull-a.html"],
        ["variants/gull-b.html", "families/tram.html", "sets/gull-pair.html"],
        id="a price",
    ),
    pytest.param(
        "sightings/tram/shelf-1.yaml",
        "Ines Calloway",
        "Ines C. Calloway",
        ["variants/gull-a.html"],
        ["variants/gull-b.html", "families/tram.html"],
        id="a sighting",
    ),
    pytest.param(
        "makers.yaml",
        "Wrenfield Toys",
        "Wrenfield Works",
        ["makers.html", "families/tram.html"],
        ["parts/disc.html", "sets/gull-pair.html"],
        id="name of a maker",
    ),
    pytest.param(
        "traits.yaml",
        "Stripe\n",
        "Side stripe\n",
        ["traits/stripe.html", "variants/gull-a.html", "traits.html"],
        ["makers.html", "sources/notes.html"],
        id="name of a common trait",
    ),
    pytest.param(
        "procedures/oil-axles.yaml",
        "Oil them.",
        "Oil them sparingly.",
        ["procedures/oil-axles.html"],
        ["variants/gull-a.html", "sets/gull-pair.html", "makers.html"],
        id="a step",
    ),
    pytest.param(
        "families/tram/variants/gull-c.yaml",
        None,
        "name: Third one\nlike: gull-b\n",
        ["variants/gull-c.html", "families/tram.html"],
        ["makers.html", "procedures/oil-axles.html", "sets/gull-pair.html"],
        id="a new variant",
    ),
    pytest.param(
        "families/barge/family.yaml",
        None,
        "name: Barge\n",
        ["measure.html", "search-data.js", "index.html"],
        [],
        id="a new family",
    ),
    pytest.param(
        "knowledge-base.yaml",
        "of one shelf",
        "of two shelves",
        ["makers.html", "variants/gull-a.html"],
        [],
        id="the title of it all",
    ),
]


@pytest.mark.parametrize(("file", "old", "new", "changed", "same"), CHANGES)
def test_changed_entry_rewrites_what_leans_on_it(
    folder: Folder, tmp_path: Path, file: str, old: str | None, new: str, changed: list[str], same: list[str], contents: Contents
) -> None:
    root, out = folder({}), tmp_path / "site"
    build(sound(root), out)
    before = {path: (out / path).stat().st_mtime_ns for path in contents(out)}
    folder({file: [(old, new)] if old is not None else new})
    entries = sound(root)
    built = build(entries, out)
    now = {path: (out / path).stat().st_mtime_ns for path in contents(out)}
    made = {path for path in now if before.get(path) != now[path]} - {MARKER}
    assert built.made == len(made)
    assert set(changed) <= made
    assert made.isdisjoint(same)
    build(entries, tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")


def stored(root: Path) -> Any:
    """Sound entries as they are kept between runs, which know what lies in folders that did not change."""
    return cached(root)[0]


def read_back(root: Path) -> Any:
    """The same in another process, which has nothing in mind of what the last one kept."""
    cache._HELD.clear()  # pyright: ignore[reportPrivateUsage]
    return stored(root)


READ = [
    pytest.param(read_back, record.FEW_ASKED, id="entries from the store"),
    pytest.param(stored, record.FEW_ASKED, id="entries kept in mind"),
    pytest.param(sound, record.FEW_ASKED, id="entries read afresh"),
    pytest.param(read_back, 0, id="more leans on each change than is asked first"),
]


@pytest.mark.parametrize(("read", "few"), READ)
def test_one_change_after_another(
    folder: Folder, tmp_path: Path, contents: Contents, read: Callable[[Path], Any], few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All changes one by one, then back: each record is made of that of the build before."""
    monkeypatch.setattr(record, "FEW_ASKED", few)
    root, out = folder({}), tmp_path / "site"
    build(read(root), out)
    changes = [change.values[:3] for change in CHANGES[:-1]]  # but for the last, which makes all
    there_and_back = [*changes, *((file, new, old) for file, old, new in reversed(changes))]
    for number, (file, old, new) in enumerate(there_and_back):
        path = root / str(file)
        if new is None:
            path.unlink()
        else:
            path.parent.mkdir(exist_ok=True)
            path.write_text(path.read_text("utf-8").replace(str(old), str(new)) if old else str(new), "utf-8")
        entries, fresh = read(root), tmp_path / f"fresh-{number}"
        build(entries, out)
        build(entries, fresh)
        assert contents(out) == contents(fresh)


def test_the_record_forgets_what_nobody_leans_on(folder: Folder, tmp_path: Path) -> None:
    root, out = folder({}), tmp_path / "site"
    build(sound(root), out)
    (place,) = (tmp_path / "store" / "tellmark").glob("*.site.pickle")
    first = place.stat().st_size
    for number in range(12):
        build(sound(folder({"families/tram/variants/gull-b.yaml": [("second batch", f"batch {number}")]})), out)
    assert place.stat().st_size < 1.3 * first


def test_nothing_changed_makes_nothing_and_leaves_the_site_standing(folder: Folder, tmp_path: Path) -> None:
    root, out = folder({}), tmp_path / "site"
    first = build(sound(root), out)
    standing = out.stat()
    again = build(sound(root), out)
    assert (first.made, again.made) == (first.files, 0)
    assert (out.stat().st_ino, out.stat().st_mtime_ns) == (standing.st_ino, standing.st_mtime_ns)


def test_what_was_in_doubt_is_read_and_nothing_else_done(folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A site that is built a moment after a file was saved has its digest; once nobody doubts it, the next build is quick too."""
    root, out = folder({}), tmp_path / "site"
    first = build(stored(root), out)
    (place,) = (tmp_path / "store" / "tellmark").glob("*.site.pickle")
    kept = place.stat()
    monkeypatch.setattr(cache, "DOUBT", -(10**12))
    again = build(stored(root), out)
    assert (again.files, again.made) == (first.files, 0)
    assert (place.stat().st_ino, place.stat().st_mtime_ns) == (kept.st_ino, kept.st_mtime_ns)
    assert not any(one.digest for one in cache.states_read(stored(root)).values())


def test_another_knowledge_base_in_the_same_process_has_its_own_name(folder: Folder, tmp_path: Path) -> None:
    about = "title: %s\nlicense: CC0-1.0\nviews: {side: {name: Side, effort: 1}, below: {name: Underside, effort: 2}}\n"
    hazards = "hazards: {heat: {caution: The iron burns skin., brought_by: [soldering iron]}}\n"
    for title in ("Streetcars of one shelf", "Streetcars of another"):
        build(sound(folder({"knowledge-base.yaml": about % title + hazards})), tmp_path / "site")
        pages = [path.read_text("utf-8") for path in (tmp_path / "site").rglob("*.html")]
        assert len(pages) > 20
        assert [text for text in pages if f">{title}<" not in text] == []


def test_a_template_that_changes_is_read_again(folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    templates = tmp_path / "templates"
    shutil.copytree(templating.TEMPLATES, templates)
    monkeypatch.setattr(templating, "TEMPLATES", templates)
    root = folder({})
    build(sound(root), tmp_path / "one")
    base = templates / "base.html"
    base.write_text(base.read_text("utf-8").replace("</body>", "<p>Anew</p></body>"), "utf-8")
    build(sound(root), tmp_path / "other")
    assert "Anew" in (tmp_path / "other" / "index.html").read_text("utf-8")


def test_what_other_code_made_of_a_template_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As of an earlier or a later tellmark with the same store."""

    class Other(templating.Templates.code_generator_class):
        def _output_child_pre(self, node: Any, frame: Any, finalize: Any) -> None:  # noqa: ARG002 (named by the library)
            self.write("nobody.has(")

    with monkeypatch.context() as other:
        other.setattr(templating, "_code", lambda: "other")
        other.setattr(templating.Templates, "code_generator_class", Other)
        templating.Templates(tmp_path).get_template("base.html")
    kept = set(tmp_path.iterdir())
    assert kept
    assert "nobody" not in templating.Templates(tmp_path).get_template("base.html").root_render_func.__code__.co_names
    assert set(tmp_path.iterdir()) > kept


def test_new_page_comes_into_the_sitemap(folder: Folder, tmp_path: Path) -> None:
    base, out = "https://trains.example/", tmp_path / "site"
    build(sound(folder({})), out, base)
    build(sound(folder({"families/tram/variants/gull-c.yaml": "name: Third one\nlike: gull-b\n"})), out, base)
    assert f"{base}variants/gull-c.html" in (out / "sitemap.xml").read_text("utf-8")


def test_unit_of_another_family_in_a_set_is_found_by_its_new_name(folder: Folder, tmp_path: Path, contents: Contents) -> None:
    """Whatever lists a set by the names of what sat in it leans on them, of whatever family they are."""
    pair = "name: Gull Harbor pair\npositions:\n  - variants: gull-a\n  - variants: %s\n"
    car = "families/car/variants/flat.yaml"
    changes = {"families/car/family.yaml": "name: Work car\n", "families/tram/sets/gull-pair.yaml": pair % "flat"}
    out = tmp_path / "site"
    build(sound(folder(changes | {car: "name: Flat car\n"})), out)
    entries = sound(folder(changes | {car: "name: Low car\n"}))
    build(entries, out)
    build(entries, tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")
    assert "Low car" in (out / "search" / "tram.js").read_text("utf-8")


CAR = "families/car/family.yaml"
STRIPE = "stripe:\n  name: Stripe\n  slot: finish\n  view: side\n  states: {painted: Painted, decal: Decal, bare: No stripe}\n"
BELL = "bell:\n  name: Bell\n  slot: body\n  view: side\n  states: {cast: Cast, none-seen: None}\n"
#: Two states of the entries of which one comes after the other, and files that must not stay as they were.
TURNED = [
    pytest.param(
        {"traits.yaml": STRIPE + BELL},
        {"traits.yaml": BELL + STRIPE},
        ["data/tables/traits.csv", "data/knowledge-base.sqlite"],
        id="two traits change places: the order of a file is shown",
    ),
    pytest.param(
        {
            CAR: "name: Work car\n",
            "families/car/variants/flat.yaml": "name: Flat car\n",
            "families/tram/variants/old.yaml": "moved_to: flat\n",
        },
        {
            CAR: "name: Work car\n",
            "families/car/variants/flat.yaml": "name: Low car\n",
            "families/tram/variants/old.yaml": "moved_to: flat\n",
        },
        ["search/tram.js", "variants/old.html"],
        id="a signpost says the new name of a unit of another family",
    ),
]


@pytest.mark.parametrize(("first", "then", "files"), TURNED)
def test_nothing_stale_stays(
    folder: Folder, tmp_path: Path, contents: Contents, first: Mapping[str, str], then: Mapping[str, str], files: list[str]
) -> None:
    out = tmp_path / "site"
    build(sound(folder(first)), out)
    before = contents(out)
    entries = sound(folder(then))
    build(entries, out)
    build(entries, tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")
    assert [path for path in files if contents(out)[path] == before[path]] == []


def test_what_is_saved_while_a_site_is_built_is_shown_by_the_next(folder: Folder, tmp_path: Path, contents: Contents) -> None:
    """The entries were read before it was saved; what was made from the file itself may show either."""
    root, out = folder({"sellers.yaml": "trailing: [etc]\n"}), tmp_path / "site"
    entries = stored(root)
    (root / "sellers.yaml").write_text("trailing: [and so on]\n", "utf-8")
    build(entries, out)
    build(stored(root), out)
    build(stored(root), tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")


def test_removed_entry_takes_its_page_along(folder: Folder, tmp_path: Path, contents: Contents) -> None:
    root, out = folder({"families/tram/variants/gull-c.yaml": "name: Third one\nlike: gull-b\n"}), tmp_path / "site"
    build(sound(root), out)
    (root / "families/tram/variants/gull-c.yaml").unlink()
    entries = sound(root)
    build(entries, out)
    assert not (out / "variants" / "gull-c.html").exists()
    build(entries, tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")


def test_page_changed_by_hand_is_written_again(folder: Folder, tmp_path: Path) -> None:
    root, out = folder({}), tmp_path / "site"
    build(sound(root), out)
    page = out / "parts.html"
    good = page.read_bytes()
    page.write_bytes(good.replace(b"Wheel", b"Whale"))
    assert build(sound(root), out).made == 1
    assert page.read_bytes() == good


def test_lost_or_broken_record_of_the_last_build_makes_all(folder: Folder, tmp_path: Path) -> None:
    root, out = folder({}), tmp_path / "site"
    first = build(sound(root), out)
    (kept,) = (tmp_path / "store" / "tellmark").glob("*.site.pickle")
    kept.write_bytes(kept.read_bytes()[:-100])
    assert build(sound(root), out).made == first.files
    shutil.rmtree(tmp_path / "store")
    assert build(sound(root), out).made == first.files


def test_changed_template_makes_all(folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root, out = folder({}), tmp_path / "site"
    first = build(sound(root), out)
    monkeypatch.setattr(building, "HERE", Path(shutil.copytree(building.HERE, tmp_path / "looks" / "site_builder")))
    for name in ("kb", "identify"):
        shutil.copytree(ENTRIES.parent / name, tmp_path / "looks" / name)
    assert build(sound(root), out).made == first.files


def test_answers_that_stay_the_same_leave_readers_alone() -> None:
    memo = Memo()
    readings: list[str] = []

    def longest(kind: str) -> int:
        memo.note((kind, "*"))
        readings.append(kind)
        return 3

    ask = memo.question("longest", longest)
    assert memo.reading(lambda: ask("part")) == (3, (("?", "longest", "part"),))
    assert memo.reading(lambda: ask("part"))[0] == 3
    assert readings == ["part"]
    kept = memo.kept(lambda: ask("part") + 1)
    assert memo.reading(kept) == memo.reading(kept) == (4, (("?", "longest", "part"),))


def test_lasting_answers_are_kept_until_something_they_lean_on_changes() -> None:
    """As from one build to the next: three drawings are counted, and a fourth is added."""
    worked_out: list[str] = []

    def built(drawn: str, old: Record | None) -> tuple[Any, Record]:
        memo = Memo()

        def count(home: str) -> list[str]:
            memo.note(("drawings", home))
            worked_out.append(home)
            return list(drawn)

        def digests(key: Key) -> str:
            assert key == ("drawings", "tram")
            return drawn

        changes = memo.earlier = Changes(old, digests, memo) if old else None
        value = memo.question("drawn", count, lasting=True)("tram")
        recorder = Recorder(digests, changes)
        recorder.learn({}, *memo.found())
        return value, recorder.recorded([])

    first, record = built("abc", None)
    assert (first, worked_out) == (["a", "b", "c"], ["tram"])
    again, record = built("abc", pickle.loads(pickle.dumps(record)))
    assert (again, worked_out) == (["a", "b", "c"], ["tram"])
    changed, _ = built("abcd", record)
    assert (changed, worked_out) == (["a", "b", "c", "d"], ["tram", "tram"])

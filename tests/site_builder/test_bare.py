"""What is made of facts and names alone is made of entries that have no sentences, and is left alone when one changes."""

import json
import pickle
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from types import ModuleType
from typing import Any, cast

import pytest
from pydantic import BaseModel
from tellmark.identify.arrays import Compiled
from tellmark.identify.compile import compile_entries
from tellmark.identify.gaps import gaps
from tellmark.identify.vocabulary import vocabulary
from tellmark.kb.check import check
from tellmark.kb.load import FIELDS, Entries
from tellmark.kb.resolve import Stated
from tellmark.site_builder import packed_families
from tellmark.site_builder.bare import PROSE, bare
from tellmark.site_builder.build import MARKER, build
from tellmark.site_builder.data_scripts import as_json
from tellmark.site_builder.packed import packed
from tellmark.site_builder.packed_families import packed_alone
from tellmark.site_builder.packed_listing import packed as packed_vocabulary
from tellmark.site_builder.packed_listing import packed_records
from tellmark.site_builder.packed_together import packed_together
from tellmark.site_builder.packed_words import packed_words
from tellmark.site_builder.page import Values
from tellmark.site_builder.tables import Site

Folder = Callable[[Mapping[str, Any]], Path]
Contents = Callable[[Path], dict[str, str]]
ENTRIES = Path(__file__).parents[2] / "entries"


@pytest.fixture(scope="module")
def entries() -> Entries:
    return check(ENTRIES)[0]


def models(value: object) -> Iterator[BaseModel]:
    """A record and everything in it that has fields."""
    if isinstance(value, BaseModel):
        yield value
        for _, held in value:
            yield from models(held)
    elif isinstance(value, dict):
        for held in cast("dict[object, object]", value).values():
            yield from models(held)
    elif isinstance(value, list):
        for held in cast("list[object]", value):
            yield from models(held)


@pytest.mark.parametrize("kind", sorted(set(FIELDS) - {"source", "sighting", "sale", "procedure"}))
def test_bare_records_say_all_but_prose(entries: Entries, kind: str) -> None:
    said = 0
    for record in entries.of(kind).values():
        pairs = zip(models(record), models(bare(record)), strict=True)
        for one, other in pairs:
            for name, value in one:
                if name in PROSE:
                    said += value != PROSE[name]
                    assert getattr(other, name) == PROSE[name]
                elif next(models(value), None) is None:
                    assert getattr(other, name) == value
    assert said > 0, "there must be something to leave out"


# The same is made of them -------------------------------------------------------------------------------------------------


def test_arrays_words_and_gaps_of_a_family(entries: Entries) -> None:
    site = Site(entries)
    for family in entries.families:
        held = site.bare.of_family(family)
        compiled = compile_entries(entries, [family])
        assert pickle.dumps(compile_entries(held, [family])) == pickle.dumps(compiled)
        assert packed_words(held, compiled) == packed_words(entries, compiled)
        assert gaps(held, family) == gaps(entries, family)


def test_all_families_are_put_together_of_what_each_has_alone(entries: Entries) -> None:
    site = Site(entries)
    compiled = compile_entries(entries)
    whole = {"packed": packed(compiled), "words": packed_words(entries, compiled)}
    assert together(site) == as_json(whole)


def together(site: Site) -> str:
    return packed_together(site.in_common(), [site.alone(family) for family in site.bare.families()])


def test_families_of_random_knowledge_bases_are_put_together_alike(random_kb: ModuleType, random_sessions: ModuleType) -> None:
    """Some of them share slots and names of traits, and say only in part what is fitted."""
    several = 0
    for seed in range(150):
        base: Entries = random_sessions.random_base(random_kb, seed)
        several += len(base.families) > 1
        site, compiled = Site(base), compile_entries(base)
        whole = {"packed": packed(compiled), "words": packed_words(base, compiled)}
        assert different(json.loads(as_json(whole)), json.loads(together(site))) == [], seed
    assert several > 20


def different(one: Any, other: Any, where: str = "all") -> list[str]:
    """Where two plain values differ, of numbers by more than rounding."""
    rows: list[Any] = [dict(enumerate(cast("list[Any]", value))) if isinstance(value, list) else value for value in (one, other)]
    if all(isinstance(row, dict) for row in rows):
        first, second = (cast("dict[object, Any]", row) for row in rows)
        inner = [more for key in first.keys() & second.keys() for more in different(first[key], second[key], f"{where}.{key}")]
        return [*inner, *(f"{where}.{key}" for key in first.keys() ^ second.keys())]
    same = abs(one - other) <= 1e-12 if isinstance(one, float) else one == other
    return [] if same else [f"{where}: {one} and {other}"]


def test_sellers_words(entries: Entries) -> None:
    bare = Site(entries).bare
    names = bare.names()
    assert packed_vocabulary(vocabulary(names, bare.words())) == packed_vocabulary(vocabulary(entries))
    assert packed_records(names) == packed_records(entries)


# What is made again -------------------------------------------------------------------------------------------------------

BASE = {"families/tram/variants/gull-b.yaml": "name: Harbor tram, second batch\nlike: gull-a\nabout: Made of what was left.\n"}
VARIANT = "families/tram/variants/gull-b.yaml"
FAMILY = {"identify/tram.js", "identify/tram-places.js"}
ARRAYS = {*FAMILY, "identify/all--.js"}
#: (file, what stands there, what to write instead, which of all that is made of bare entries is made again).
CHANGES = [
    pytest.param(VARIANT, "Made of what was left", "Left of what was made", set[str](), id="a sentence of known words"),
    pytest.param(VARIANT, "of what was left", "of remnants", {"listing-data.js"}, id="a sentence with a new word"),
    pytest.param(VARIANT, "like:", "sources: [notes]\nverified: 2024-05-06\nlike:", set[str](), id="on whose word"),
    pytest.param(VARIANT, "like:", "shows: {stripe: {is: painted, note: Faint.}}\nlike:", FAMILY, id="a fact, as before"),
    pytest.param(VARIANT, "like:", "shows: {stripe: decal}\nlike:", {*ARRAYS, "wanted.html"}, id="a fact"),
    pytest.param(VARIANT, "second batch", "second run", {*ARRAYS, "listing-data.js", "wanted.html"}, id="a name"),
    pytest.param("parts/wheel/disc.yaml", "name:", "about: Made of what was left.\nname:", set[str](), id="a sentence on a part"),
]
MADE_OF_BARE = ("identify.html", "listing-data.js", "wanted.html")


@pytest.mark.parametrize(("file", "old", "new", "expected"), CHANGES)
def test_what_is_made_again(
    folder: Folder,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    contents: Contents,
    file: str,
    old: str,
    new: str,
    expected: set[str],
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "store"))
    root, out = folder(BASE), tmp_path / "site"
    build(check(root)[0], out)
    before = {path: (out / path).stat().st_mtime_ns for path in contents(out)}
    text = (root / file).read_text("utf-8")
    assert text.count(old) == 1
    (root / file).write_text(text.replace(old, new), "utf-8")
    entries, findings = check(root)
    assert [str(one) for one in findings] == []
    build(entries, out)
    made = {path for path in contents(out) if before.get(path) != (out / path).stat().st_mtime_ns} - {MARKER}
    assert {path for path in made if path.startswith("identify/") or path in MADE_OF_BARE} == expected
    build(entries, tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")


def test_three_builds_in_a_row_keep_what_nobody_asked_for(
    folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, contents: Contents
) -> None:
    """Of two families one changes twice: what the other has alone is known from the first build, which the second did not ask."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "store"))
    root, out = folder(BASE), tmp_path / "site"
    shutil.copytree(root / "families" / "tram", root / "families" / "bus")
    shutil.rmtree(root / "families" / "bus" / "sets")
    for path in (root / "families" / "bus" / "variants").iterdir():
        path.write_text(path.read_text("utf-8").replace("gull-", "bus-"), "utf-8")
        path.rename(path.with_name(path.name.replace("gull-", "bus-")))
    asked: list[str] = []

    def noted(held: Entries, told: Iterable[Stated], compiled: Compiled, arrays: Values) -> Values:
        asked.extend(compiled.families)
        return packed_alone(held, told, compiled, arrays)

    monkeypatch.setattr(packed_families, "packed_alone", noted)
    for new, expected in (("", ["bus", "tram"]), ("about: Of few.\n", []), ("shows: {stripe: decal}\n", ["bus"])):
        asked.clear()
        changed = root / "families" / "bus" / "variants" / "bus-b.yaml"
        changed.write_text(changed.read_text("utf-8").replace("about: Made of what was left.\n", "") + new, "utf-8")
        entries, findings = check(root)
        assert [str(one) for one in findings] == []
        build(entries, out, processes=1)
        assert sorted(asked) == expected
    build(entries, tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")

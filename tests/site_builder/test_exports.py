"""The data a site offers: complete, described, the same from the same entries, and sound whatever the entries say."""

import csv
import hashlib
import io
import json
import re
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest
from tellmark.kb.check import check
from tellmark.kb.describe import record
from tellmark.kb.load import FIELDS
from tellmark.site_builder.exports import GROUPS, Exports, cited, size
from tellmark.site_builder.formats import schemas
from tellmark.site_builder.linked_data import Linker, license_address, script
from tellmark.site_builder.records_json import beside
from tellmark.site_builder.sitemap import MOST, sitemap_files
from tellmark.site_builder.tables import Site
from tellmark.site_builder.texts import FOLDERS, address

ROOT = Path(__file__).parents[2]
ENTRIES = ROOT / "entries"
SCHEMAS = ROOT / "site_builder" / "schemas"
Folder = Callable[[Mapping[str, Any]], Path]


def exported(root: Path) -> dict[str, bytes]:
    entries, findings = check(root)
    assert findings == []
    return {one.address: one.content() for one in Exports(Site(entries)).files()}


@pytest.fixture(scope="module")
def site() -> Site:
    return Site(check(ENTRIES)[0])


@pytest.fixture(scope="module")
def exports(site: Site) -> Exports:
    return Exports(site)


@pytest.fixture(scope="module")
def files(exports: Exports) -> dict[str, bytes]:
    return {one.address: one.content() for one in exports.files()}


# JSON ------------------------------------------------------------------------------------------------------------------


@cache
def validator(name: str) -> Any:
    """Made once: to check a schema of this size takes longer than to check a record against it."""
    schema = json.loads((SCHEMAS / f"{name}.json").read_text("utf-8"))
    return jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker())


def valid(name: str, value: object) -> None:
    validator(name).validate(value)


def test_every_page_of_a_record_offers_it_as_json(files: dict[str, bytes], site: Site) -> None:
    wanted = {beside(address(kind, ident)) for kind in FOLDERS for ident in site.entries.of(kind)}
    assert {name for name in files if not name.startswith("data/")} == wanted
    for name in wanted:
        valid("record", json.loads(files[name]))


@pytest.mark.parametrize("kind", FOLDERS)
def test_json_beside_a_page_is_the_record(files: dict[str, bytes], site: Site, kind: str) -> None:
    for ident in site.entries.of(kind):
        found = json.loads(files[beside(address(kind, ident))])
        assert {key: found[key] for key in ("format", "license", "kind", "id")} == {
            **{"format": "tellmark/record/1", "license": "CC-BY-4.0", "kind": kind, "id": ident}
        }
        shown = json.loads(json.dumps(record(site.entries, kind, ident)))
        assert found["record"].items() >= shown.items(), "not what `tellmark show` prints"


def test_a_variant_says_what_it_inherits_and_on_whose_word(folder: Folder) -> None:
    path = "families/tram/variants/gull-a.yaml"
    files = exported(folder({path: [("length: 120 +- 1 mm", "length: {is: 120 +- 1 mm, sources: {notes: proves}}")]}))
    heir = json.loads(files["variants/gull-b.json"])["record"]
    assert heir["shows"]["length"] == {"is": {"120 +- 1 mm": 1.0}, "sources": {"notes": "proves"}}
    assert heir["shows"]["stripe"] == {"is": {"painted": 1.0}}, "the livery's"
    assert heir["fitted"] == {"wheels": {"is": {"spoked": 1.0}}}
    assert heir["sets"] == [{"set": "gull-pair", "position": 2}]
    cited = csv.DictReader(io.StringIO(files["data/tables/citations.csv"].decode(), newline=""))
    assert [row["record"] for row in cited if row["name"] == "length"] == ["gull-a", "gull-b"]


def test_whole_file_has_every_record_once(files: dict[str, bytes], site: Site) -> None:
    whole = json.loads(files["data/knowledge-base.json"])
    valid("knowledge-base", whole)
    for kind, name in FIELDS.items():
        assert whole["records"][name].keys() == site.entries.of(kind).keys(), kind
    for kind in FOLDERS:
        for ident in site.entries.of(kind):
            one = json.loads(files[beside(address(kind, ident))])
            assert whole["records"][FIELDS[kind]][ident] == one["record"], (kind, ident)
    texts = [path.read_text("utf-8") for path in [*ENTRIES.rglob("*.yaml"), *ENTRIES.rglob("*.csv")]]
    days = [day for text in texts for day in re.findall(r"(?:verified: |seen: |^)(\d{4}-\d\d-\d\d)", text, re.MULTILINE)]
    assert whole["as_of"] == max(days)


def test_one_record_stands_on_one_line(files: dict[str, bytes], site: Site) -> None:
    lines = files["data/knowledge-base.json"].decode().split("\n")
    assert sum(line.startswith('"424-prairie-meridian-a-b1": {') for line in lines) == 1
    assert len(lines) > sum(len(site.entries.of(kind)) for kind in FIELDS)


#: (what is spoiled, the schema, the keys that lead there, what is put there)
SPOILED: list[tuple[str, str, list[str], object]] = [
    ("another version", "record", ["format"], "tellmark/record/2"),
    ("a kind that is none", "record", ["kind"], "engine"),
    ("a fact that is bare", "record", ["record", "shows", "surface"], "satin"),
    ("a key that nothing has", "record", ["record", "shade"], "dark"),
    ("a share above 1", "record", ["record", "shows", "surface", "is", "satin"], 1.5),
    ("a position that is none", "record", ["record", "sets"], [{"set": "x", "position": 0}]),
    ("records that are a list", "knowledge-base", ["records", "parts"], []),
    ("a day that is none", "knowledge-base", ["as_of"], "2025-02-30"),
    ("a sum that is none", "data", ["files"], [{"address": "a", "about": "b", "type": "c", "bytes": 1, "sha256": "d"}]),
    ("a datatype that is none", "tables", ["tables"], [{"url": "a", "dc:description": "b", "tableSchema": {"columns": []}}]),
]
SOUND = {
    "record": "variants/424-prairie-meridian-a-b1.json",
    "knowledge-base": "data/knowledge-base.json",
    "data": "data/index.json",
    "tables": "data/tables/csv-metadata.json",
}


@pytest.mark.parametrize(("name", "keys", "value"), [case[1:] for case in SPOILED], ids=[case[0] for case in SPOILED])
def test_schema_notices(files: dict[str, bytes], name: str, keys: list[str], value: object) -> None:
    whole = json.loads(files[SOUND[name]])
    valid(name, whole)
    place = whole
    for key in keys[:-1]:
        place = place[key]
    place[keys[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        valid(name, whole)


def test_schemas_are_those_of_the_models() -> None:
    """After a change of the models: python tests/site_builder/test_exports.py"""
    assert {path.stem for path in SCHEMAS.glob("*.json")} == schemas().keys()
    for name, schema in schemas().items():
        jsonschema.Draft202012Validator.check_schema(schema)
        assert json.loads((SCHEMAS / f"{name}.json").read_text("utf-8")) == schema, name


# The folder of downloads -----------------------------------------------------------------------------------------------


def test_list_of_files_is_right(files: dict[str, bytes]) -> None:
    listed = json.loads(files["data/index.json"])
    valid("data", listed)
    assert {one["address"] for one in listed["files"]} == {name for name in files if name.startswith("data/")} - {
        "data/index.json"
    }
    for one in listed["files"]:
        content = files[one["address"]]
        assert (one["bytes"], one["sha256"]) == (len(content), hashlib.sha256(content).hexdigest()), one["address"]


def test_page_lists_the_same(exports: Exports, files: dict[str, bytes]) -> None:
    page = exports.page()
    shown = {file["href"]: file["sha256"] for group in page["groups"] for file in group["files"]}
    assert shown == {one["address"]: one["sha256"] for one in json.loads(files["data/index.json"])["files"]}
    assert [group["name"] for group in page["groups"]] == [group.name for group in GROUPS]
    assert page["citation"] == (
        "Pellworth trains, a demonstration record. Kept by Odile Brandvold, Galena Bluff Toy Museum; "
        "Casimir Tatewell, Sorrel Fork. As of 2025-06-14."
    )
    rows = {table["name"]: table["rows"] for table in page["tables"]}
    header, *lines = files["data/tables/sales.csv"].decode().splitlines()
    assert rows["sales"] == f"{len(lines)} rows"
    assert header.split(",") == [
        column["name"] for table in page["tables"] if table["name"] == "sales" for column in table["columns"]
    ]


@pytest.mark.parametrize(
    ("number", "text"),
    [(0, "0 bytes"), (1, "1 byte"), (999, "999 bytes"), (1000, "1.0 kB"), (52_400, "52 kB"), (1_298_432, "1.3 MB")],
)
def test_size_is_readable(number: int, text: str) -> None:
    assert size(number) == text


def test_citation_says_only_what_is_known() -> None:
    assert cited("Trains", [], None) == "Trains."


@pytest.mark.parametrize(
    ("text", "address_"),
    [
        ("CC-BY-4.0", "https://creativecommons.org/licenses/by/4.0/"),
        ("CC-BY-NC-SA-3.0", "https://creativecommons.org/licenses/by-nc-sa/3.0/"),
        ("CC0-1.0", "https://creativecommons.org/publicdomain/zero/1.0/"),
        ("https://museum.example/terms", "https://museum.example/terms"),
        ("ask the museum", None),
        ("javascript:alert(1)", None),
        ("https://museum.example/ terms", None),
    ],
)
def test_license_leads_only_where_it_is_known_to(text: str, address_: str | None) -> None:
    assert license_address(text) == address_


# Reproducible, and sound whatever the entries say ----------------------------------------------------------------------

SUMS = """
import hashlib, sys
from pathlib import Path
from tellmark.kb.check import check
from tellmark.site_builder.exports import Exports
from tellmark.site_builder.tables import Site
for one in Exports(Site(check(Path(sys.argv[1]))[0])).files():
    print(one.address, hashlib.sha256(one.content()).hexdigest())
"""


def test_equal_entries_give_equal_bytes() -> None:
    """In processes that hash texts differently, and so go through sets in another order."""
    found: set[str] = set()
    for seed in ("1", "2"):
        command = [sys.executable, "-c", SUMS, str(ENTRIES)]
        run = subprocess.run(command, check=True, capture_output=True, text=True, env={"PYTHONHASHSEED": seed})
        found.add(run.stdout)
    assert len(found) == 1
    assert "data/knowledge-base.sqlite" in found.pop()


def database(files: Mapping[str, bytes]) -> sqlite3.Connection:
    found = sqlite3.connect(":memory:")
    found.deserialize(files["data/knowledge-base.sqlite"])
    return found


def test_database_does_not_tell_which_library_wrote_it(files: dict[str, bytes]) -> None:
    """https://www.sqlite.org/fileformat2.html, 1.3: the number at byte 96 is that of the last writer."""
    content = files["data/knowledge-base.sqlite"]
    assert int.from_bytes(content[96:100], "big") == 3_040_000
    assert int.from_bytes(content[16:18], "big") == 4096


FILES = (
    *("sources.yaml", "makers.yaml", "liveries.yaml", "traits.yaml", "families/tram/family.yaml", "sales/2021.csv"),
    *("families/tram/variants/gull-a.yaml", "families/tram/variants/gull-b.yaml", "families/tram/sets/gull-pair.yaml"),
    *("parts/wheel/slot-type.yaml", "parts/wheel/spoked.yaml", "parts/wheel/disc.yaml", "procedures/oil-axles.yaml"),
    "sightings/tram/shelf-1.yaml",
)
NOTHING: dict[str, None] = dict.fromkeys(FILES)


@pytest.mark.parametrize("changes", [{}, NOTHING], ids=["small", "nothing but a title"])
def test_small_knowledge_bases_are_exported_too(folder: Folder, changes: Mapping[str, None]) -> None:
    files = exported(folder(changes))
    valid("knowledge-base", json.loads(files["data/knowledge-base.json"]))
    valid("data", json.loads(files["data/index.json"]))
    assert json.loads(files["data/index.json"])["as_of"] == ("2021-06-08" if not changes else "1970-01-01")
    assert database(files).execute("PRAGMA foreign_key_check").fetchall() == []
    for name, content in files.items():
        if name.endswith(".xml"):
            ElementTree.fromstring(content)


def test_an_old_id_stays_a_row_that_leads_on(folder: Folder) -> None:
    path = "families/tram/variants/gull-old.yaml"
    files = exported(folder({path: "name: Gull, as once thought\nsplit_into: [gull-a, gull-b]\n"}))
    opened = database(files)
    assert opened.execute("PRAGMA foreign_key_check").fetchall() == []
    assert opened.execute("SELECT id, moved FROM variants ORDER BY id").fetchall() == [
        *(("gull-a", 0), ("gull-b", 0), ("gull-old", 1))
    ]
    assert opened.execute("SELECT now FROM variant_moves WHERE variant = 'gull-old'").fetchall() == [("gull-a",), ("gull-b",)]
    found = json.loads(files["variants/gull-old.json"])
    valid("record", found)
    assert found["record"]["split_into"] == ["gull-a", "gull-b"]


#: Ends a script, begins a comment, ends a row, a cell or an element; cannot be in XML at all; is longer than a label may be.
HOSTILE = '</script><script>alert(1)</script><!-- ]]> "quoted", \u2028 &amp; \\u0007 a\rb\nc ' + "long " * 80


def test_hostile_text_stays_text(folder: Folder) -> None:
    text = json.dumps(HOSTILE.replace("\\u0007", "\u0007"))
    changes = {
        "makers.yaml": f"wrenfield:\n  name: {text}\n  about: {text}\n",
        "families/tram/variants/gull-a.yaml": [
            ("name: Gull Harbor streetcar, first batch\n", f"name: {text}\nabout: {text}\n"),
            ("  roof: plain\n", f"  roof: {{is: plain, note: {text}, sources: [notes]}}\n"),
        ],
        "procedures/oil-axles.yaml": [("name: Oil the axles\n", f"name: {text}\n"), ("[Oil them.]", f"[{text}]")],
        "sources.yaml": f"notes:\n  name: {text}\n  kind: notes\n  where: {text}\n",
    }
    root = folder(changes)
    said = check(root)[0].variants["gull-a"].about
    assert said is not None
    assert "\u0007" in said
    files = exported(root)
    assert json.loads(files["variants/gull-a.json"])["record"]["about"] == said
    rows = csv.DictReader(io.StringIO(files["data/tables/variants.csv"].decode(), newline=""), strict=True)
    assert [row["about"] for row in rows] == [said, ""]
    described = ElementTree.fromstring(files["data/sdd/families/tram.xml"])
    label = described.find(".//{*}CodedDescription/{*}Representation/{*}Label")
    assert label is not None
    assert label.text is not None
    assert label.text.startswith("</script><script>alert(1)</script><!-- ]]>")
    assert len(label.text) == 255
    linker = Linker(Site(check(root)[0]))
    for kind, ident in (("variant", "gull-a"), ("procedure", "oil-axles"), ("source", "notes"), ("family", "tram")):
        data = linker.page(address(kind, ident), said, kind, ident)
        written = str(script(data))
        assert not set(written) & set("<>&\u2028\u2029"), kind
        assert json.loads(written) == data


# Addresses -------------------------------------------------------------------------------------------------------------


def test_linked_addresses_are_relative_without_a_base(site: Site) -> None:
    data = Linker(site).page("variants/424-prairie-meridian-a-b1.html", "A page", "variant", "424-prairie-meridian-a-b1")
    assert data["url"] == "../variants/424-prairie-meridian-a-b1.html"
    assert data["mainEntity"]["isVariantOf"]["url"] == "../families/cab-diesel-420.html"
    assert "https://" not in json.dumps({key: value for key, value in data.items() if key not in ("@context", "license")})


def test_breadcrumb_leads_over_the_family(site: Site) -> None:
    data = Linker(Site(site.plain, "https://trains.example/")).page(
        "sets/50-1-prairie-meridian-a.html", "A set", "set", "50-1-prairie-meridian-a"
    )
    assert [step["item"] for step in data["breadcrumb"]["itemListElement"]] == [
        "https://trains.example/index.html",
        "https://trains.example/families/cab-diesel-420.html",
        "https://trains.example/sets/50-1-prairie-meridian-a.html",
    ]


def test_cautions_come_first(site: Site) -> None:
    entity = Linker(site).page("procedures/replace-a-cord.html", "A cord", "procedure", "replace-a-cord")["mainEntity"]
    assert entity["description"].startswith("Mains voltage can kill.")


S = "{http://www.sitemaps.org/schemas/sitemap/0.9}"


def test_sitemap_names_every_page() -> None:
    """https://www.sitemaps.org/protocol.html: absolute, escaped, and no more than 50,000 in a file."""
    pages = ["index.html", "variants/a.html", "parts.html"]
    files = dict(sitemap_files("https://trains.example/", pages, {"variants/a.html": "2025-03-01"}))
    root = ElementTree.fromstring(files["sitemap.xml"])
    assert root.tag == f"{S}urlset"
    assert [(one.findtext(f"{S}loc"), one.findtext(f"{S}lastmod")) for one in root] == [
        ("https://trains.example/", None),
        ("https://trains.example/parts.html", None),
        ("https://trains.example/variants/a.html", "2025-03-01"),
    ]
    assert files["robots.txt"].decode().splitlines()[-1] == "Sitemap: https://trains.example/sitemap.xml"


def test_robots_are_told_only_where_they_ask() -> None:
    """RFC 9309, 2.3: the file is at the top of the host; below it nobody looks."""
    assert dict(sitemap_files("https://trains.example/record/", ["index.html"], {})).keys() == {"sitemap.xml"}


def test_large_sitemap_is_split() -> None:
    pages = [f"variants/{n}.html" for n in range(MOST + 1)]
    files = dict(sitemap_files("https://trains.example/?a&b='", pages, {}))
    index = ElementTree.fromstring(files["sitemap.xml"])
    names = [str(one.findtext(f"{S}loc")).removeprefix("https://trains.example/?a&b='") for one in index]
    assert index.tag == f"{S}sitemapindex"
    assert [len(ElementTree.fromstring(files[name])) for name in names] == [MOST, 1]


if __name__ == "__main__":
    for name, schema in schemas().items():
        (SCHEMAS / f"{name}.json").write_text(json.dumps(schema, indent=2, ensure_ascii=False) + "\n", "utf-8")

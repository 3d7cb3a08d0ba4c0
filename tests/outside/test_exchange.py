"""What the site offers as data, read by others: RFC 4180, SQLite, Structured Descriptive Data, schema.org, and back again.

Each way out is read with a reader of somebody else's, and what every variant shows and was fitted with is rebuilt from it.
"""

import csv
import io
import json
import os
import re
import sqlite3
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, cast
from xml.etree import ElementTree

import pytest
from lxml import etree
from rdflib import RDF, Graph, namespace
from tellmark.kb.check import check
from tellmark.kb.load import Entries
from tellmark.kb.reading import in_unit
from tellmark.kb.resolve import living, shares, stated, traits_of
from tellmark.kb.values import Fact
from tellmark.site_builder.exports import Exports
from tellmark.site_builder.linked_data import Linker, script
from tellmark.site_builder.tables import Site
from tellmark.site_builder.texts import FOLDERS, address

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
#: {variant: {trait or slot: {choice: share}}}; a measured choice is its value and uncertainty in the unit of its trait.
Matrix = dict[str, dict[str, dict[object, float]]]
Files = dict[str, bytes]


@pytest.fixture(scope="module")
def entries() -> Entries:
    found, findings = check(ROOT / "entries")
    assert findings == []
    return found


@pytest.fixture(scope="module")
def site(entries: Entries) -> Site:
    return Site(entries)


@pytest.fixture(scope="module")
def exports(site: Site) -> Exports:
    return Exports(site)


@pytest.fixture(scope="module")
def files(exports: Exports) -> Files:
    return {one.address: one.content() for one in exports.files()}


@pytest.fixture(scope="module")
def tables(files: Files) -> dict[str, list[dict[str, str]]]:
    """The CSV files as the standard library reads them."""
    return {
        Path(name).stem: list(csv.DictReader(io.StringIO(content.decode(), newline=""), strict=True))
        for name, content in files.items()
        if name.startswith("data/tables/") and name.endswith(".csv")
    }


@pytest.fixture
def database(files: Files) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(":memory:")
    connection.deserialize(files["data/knowledge-base.sqlite"])
    yield connection
    connection.close()


# What the entries say --------------------------------------------------------------------------------------------------


def choice_of(entries: Entries, family: str, name: str, choice: str) -> object:
    trait = traits_of(entries, family).get(name)
    if trait and trait.measured:
        measure = in_unit(choice, trait.measured.unit)
        return measure.value, measure.plus_minus
    return choice


@pytest.fixture(scope="module")
def matrix(entries: Entries) -> Matrix:
    """Straight from the resolved entries."""
    found: Matrix = {}
    for ident in living(entries):
        one = stated(entries, ident)
        facts: Mapping[str, Fact] = {**one.shows, **{f"slot {slot}": fact for slot, fact in one.fitted.items()}}
        found[ident] = {
            name: {
                choice_of(entries, one.family, name, choice): share
                for choice, share in shares(entries.about.frequencies, fact.is_).items()
            }
            for name, fact in facts.items()
        }
    return found


def test_the_demonstration_has_what_makes_exchange_hard(matrix: Matrix, entries: Entries) -> None:
    facts = [fact for facts in matrix.values() for fact in facts.values()]
    assert any(len(fact) > 1 for fact in facts), "no fact with several choices"
    assert any(isinstance(choice, tuple) for fact in facts for choice in fact), "no measured value"
    assert any("none" in fact for fact in facts), "no slot that was empty when new"
    assert any(one.signpost for one in entries.variants.values()), "no id that leads elsewhere"


# CSV -------------------------------------------------------------------------------------------------------------------


def csv_names(files: Files) -> list[str]:
    return [name for name in files if name.endswith(".csv")]


def test_csv_is_as_rfc_4180_has_it(files: Files) -> None:
    """Y. Shafranovich, RFC 4180, October 2005, section 2: rules 1 to 7, read here character by character."""
    for name in csv_names(files):
        text = files[name].decode("utf-8")
        records = rfc_4180(text)
        assert text.endswith("\r\n"), name
        assert len({len(record) for record in records}) == 1, name
        assert records == list(csv.reader(io.StringIO(text, newline=""), strict=True)), name


def rfc_4180(text: str) -> list[list[str]]:
    """The grammar of RFC 4180, page 3: file = record *(CRLF record) [CRLF]; field = escaped / non-escaped."""
    field = re.compile(r'(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r\n|$)')
    records: list[list[str]] = [[]]
    at = 0
    while at < len(text):
        found = field.match(text, at)
        assert found, f"no field of RFC 4180 at {at}: {text[at : at + 40]!r}"
        records[-1].append(found[2] if found[1] is None else found[1].replace('""', '"'))
        at = found.end()
        if found[3] == "\r\n" and at < len(text):
            records.append([])
    return records


def test_csv_metadata_describes_every_table(files: Files, tables: dict[str, list[dict[str, str]]]) -> None:
    """W3C, "Metadata Vocabulary for Tabular Data", 2015: names, required cells, datatypes, primary and foreign keys."""
    described = json.loads(files["data/tables/csv-metadata.json"])
    assert {Path(one["url"]).stem for one in described["tables"]} == tables.keys()
    by_name = {Path(one["url"]).stem: one["tableSchema"] for one in described["tables"]}
    for name, schema in by_name.items():
        rows, columns = tables[name], {column["name"]: column for column in schema["columns"]}
        header = files[f"data/tables/{name}.csv"].decode().split("\r\n")[0].split(",")
        assert header == [*columns], name
        for row in rows:
            for column, cell in row.items():
                assert cell or not columns[column].get("required"), (name, column, row)
                assert not cell or re.fullmatch(DATATYPES[columns[column]["datatype"]], cell, re.DOTALL), (name, column, cell)
        keys = [tuple(row[column] for column in schema["primaryKey"]) for row in rows]
        assert len(set(keys)) == len(keys), name
        for foreign in schema.get("foreignKeys", []):
            target = tables[Path(foreign["reference"]["resource"]).stem]
            there = {tuple(row[column] for column in foreign["reference"]["columnReference"]) for row in target}
            here = {tuple(row[column] for column in foreign["columnReference"]) for row in rows}
            assert {cells for cells in here if all(cells)} <= there, (name, foreign)


#: W3C XML Schema Part 2: lexical forms of the datatypes that the metadata names.
DATATYPES = {
    "string": r".*",
    "double": r"-?\d+(\.\d+)?([eE][+-]?\d+)?",
    "integer": r"-?\d+",
    "date": r"\d{4}-\d\d-\d\d",
    "boolean": r"0|1",
}


def from_rows(rows: Mapping[str, list[dict[str, Any]]]) -> Matrix:
    """The matrix from the tables, whether their cells are texts or values."""
    short = {row["id"]: row["short_id"] for row in rows["traits"]}
    found: Matrix = {row["id"]: {} for row in rows["variants"] if str(row["moved"]) == "0"}
    for row in rows["variant_shows"]:
        spread = row["plus_minus"]
        value = row["value"]
        choice: object = row["choice"]
        if value not in (None, ""):
            choice = float(value), None if spread in (None, "") else float(spread)
        found[row["variant"]].setdefault(short[row["trait"]], {})[choice] = float(row["share"])
    for row in rows["variant_fitted"]:
        found[row["variant"]].setdefault(f"slot {row['slot']}", {})[row["choice"]] = float(row["share"])
    return found


def test_matrix_comes_back_from_csv(tables: dict[str, list[dict[str, str]]], matrix: Matrix) -> None:
    assert from_rows(tables) == matrix


def test_family_spreadsheet_says_the_same(files: Files, entries: Entries) -> None:
    """A cell is a choice alone, choices with how often, nothing for unknown, or that the kind has no such slot."""
    for ident in living(entries):
        one = stated(entries, ident)
        rows = csv.DictReader(io.StringIO(files[f"data/families/{one.family}.csv"].decode(), newline=""))
        row = next(row for row in rows if row["variant"] == ident)
        facts = {**one.shows, **one.fitted}
        for name, cell in row.items():
            if name in facts and len(facts[name].is_) > 1:
                parts = dict(re.fullmatch(r"(.*) \((.*)\)", part, re.DOTALL).groups() for part in cell.split("; "))  # type: ignore[union-attr]
                assert parts == {choice: str(how) for choice, how in facts[name].is_.items()}, (ident, name)
            elif name in facts:
                assert next(iter(facts[name].is_)) in cell, (ident, name)


# SQLite ----------------------------------------------------------------------------------------------------------------


def test_database_is_whole(database: sqlite3.Connection) -> None:
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert database.execute("PRAGMA application_id").fetchone() == (int.from_bytes(b"tell", "big"),)
    assert database.execute("PRAGMA user_version").fetchone() == (1,)
    assert database.execute("SELECT value FROM about WHERE key = 'format'").fetchone() == ("tellmark/tables/1",)


def test_every_reference_of_a_table_is_a_key_of_the_database(database: sqlite3.Connection, files: Files) -> None:
    described = json.loads(files["data/tables/csv-metadata.json"])["tables"]
    for one in described:
        name = Path(one["url"]).stem
        keys: dict[int, tuple[str, list[tuple[str, str]]]] = {}
        for number, _, target, here, there, *_ in database.execute(f"PRAGMA foreign_key_list({name})"):
            keys.setdefault(number, (target, []))[1].append((here, there))
        wanted = [
            (
                Path(foreign["reference"]["resource"]).stem,
                list(zip(foreign["columnReference"], foreign["reference"]["columnReference"], strict=True)),
            )
            for foreign in one["tableSchema"].get("foreignKeys", [])
        ]
        assert sorted(keys.values()) == sorted(wanted), name


def test_names_need_no_quotes(database: sqlite3.Connection) -> None:
    for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        columns = [row[1] for row in database.execute(f"PRAGMA table_info({name})")]
        database.execute(f"SELECT {', '.join(columns)} FROM {name}").fetchone()


def test_database_and_csv_hold_the_same_rows(database: sqlite3.Connection, tables: dict[str, list[dict[str, str]]]) -> None:
    for name, rows in tables.items():
        found = database.execute(f"SELECT * FROM {name}").fetchall()
        written = {tuple("" if cell is None else str(cell) for cell in row) for row in found}
        assert written == {tuple(row.values()) for row in rows}, name


def test_matrix_comes_back_from_the_database(database: sqlite3.Connection, matrix: Matrix) -> None:
    database.row_factory = sqlite3.Row
    rows = {
        name: [dict(row) for row in database.execute(f"SELECT * FROM {name}")]
        for name in ("traits", "variants", "variant_shows", "variant_fitted")
    }
    assert from_rows(rows) == matrix


# JSON ------------------------------------------------------------------------------------------------------------------


def test_matrix_comes_back_from_json(files: Files, entries: Entries, matrix: Matrix) -> None:
    whole = json.loads(files["data/knowledge-base.json"])
    words = whole["about"]["frequencies"]
    found: Matrix = {}
    for ident, one in whole["records"]["variants"].items():
        if "shows" in one:
            facts = {**one["shows"], **{f"slot {slot}": fact for slot, fact in one["fitted"].items()}}
            found[ident] = {
                name: {choice_of(entries, one["family"], name, c): share for c, share in shares(words, fact["is"]).items()}
                for name, fact in facts.items()
            }
    assert found == matrix


# Structured Descriptive Data -------------------------------------------------------------------------------------------

U = "{http://rs.tdwg.org/UBIF/2006/}"


def schemas() -> list[Path]:
    """Our restatement; the published schema too, where somebody has it at hand (see sdd/README.md)."""
    published = os.environ.get("TELLMARK_SDD_SCHEMA")
    return [HERE / "sdd" / "restated.xsd", *([Path(published)] if published else [])]


@pytest.fixture(scope="module", params=schemas(), ids=lambda path: path.stem)
def schema(request: pytest.FixtureRequest) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(str(request.param)))


def sdd(files: Files) -> dict[str, bytes]:
    return {name: content for name, content in files.items() if name.startswith("data/sdd/")}


def problems(schema: etree.XMLSchema, content: bytes) -> list[str]:
    schema.validate(etree.fromstring(content))
    return [f"{entry.line}: {entry.message}" for entry in schema.error_log]


def test_sdd_is_valid(schema: etree.XMLSchema, files: Files, entries: Entries) -> None:
    documents = sdd(files)
    assert len(documents) == len(entries.families) + len(entries.slot_types)
    for name, content in documents.items():
        assert problems(schema, content) == [], name


#: (what is spoiled, what stands there, what is written instead): the schema must notice each, or it checks nothing.
SPOILED = [
    ("a reference to no state", '<State ref="state.trait.surface.satin"', '<State ref="state.trait.surface.silk"'),
    ("a number where a choice is", '<Categorical ref="trait.surface">', '<Categorical ref="trait.number-height">'),
    ("an id twice", 'id="description.variant.424-prairie-meridian-a-b1"', 'id="variant.424-prairie-meridian-a-b1"'),
    ("a status that is none", 'code="ToBeChecked"', 'code="Unknown"'),
    ("a value that is no number", 'type="Mean" value="6.2"', 'type="Mean" value="6.2 mm"'),
    ("a measure twice", 'type="SD" value="0.2"', 'type="Mean" value="0.2"'),
    ("a frequency above 1", 'lower="0.8"', 'lower="1.8"'),
    ("a state before its note", "<Note>", '<State ref="state.trait.surface.satin"/><Note>'),
    ("no time of creation", ' created="', ' made="'),
    ("an empty label", "<Label>424 Prairie Meridian, powered A, first batch</Label>", "<Label/>"),
    ("a label that is too long", "<Label>424 Prairie Meridian, powered A, first batch</Label>", f"<Label>{'x' * 256}</Label>"),
    ("states outside their list", "<States>", "<Assumptions/><States>"),
    ("an agent that is nobody", '<Agent role="edt" ref="agent.1"/>', '<Agent role="edt" ref="agent.9"/>'),
    ("a role that is none", '<Agent role="edt"', '<Agent role="curator"'),
    ("a citation of nothing", '<Citation ref="source.catalog-1950"', '<Citation ref="source.catalog-1850"'),
    ("a word of frequency that is none", '<Modifier ref="often.number"', '<Modifier ref="often.now-and-then"'),
    ("a node of no concept", '<DescriptiveConcept ref="view.side"', '<DescriptiveConcept ref="view.far-side"'),
    ("a node under itself", '<Node id="node.view.side">', '<Node id="node.view.side"><Parent ref="node.view.side"/>'),
    ("a statement of no sort", 'role="License"', 'role="Permit"'),
    ("a range with one end", '<PlausibleRange lower="2.0" upper="12.0"/>', '<PlausibleRange lower="2.0"/>'),
    ("no language", ' xml:lang="en"', ""),
    ("an element of no standard", "<TaxonNames>", "<TrainNames/><TaxonNames>"),
]
#: As above, what our restatement notices alone: the published schema has selectors for it, but of elements that it does not have.
OVERLOOKED = [
    ("a character under no node", '<Parent ref="node.view.side"', '<Parent ref="node.view.far-side"'),
    ("a node of no character", '<Character ref="trait.surface"', '<Character ref="trait.shine"'),
]


@pytest.mark.parametrize(("old", "new"), [case[1:] for case in SPOILED], ids=[case[0] for case in SPOILED])
def test_sdd_schema_notices(schema: etree.XMLSchema, files: Files, old: str, new: str) -> None:
    assert problems(schema, spoiled(files, old, new)) != []


@pytest.mark.parametrize(("old", "new"), [case[1:] for case in OVERLOOKED], ids=[case[0] for case in OVERLOOKED])
def test_sdd_restatement_notices_more(files: Files, old: str, new: str) -> None:
    restated, *published = [etree.XMLSchema(etree.parse(str(path))) for path in schemas()]
    content = spoiled(files, old, new)
    assert problems(restated, content) != []
    for schema in published:
        assert problems(schema, content) == []


def spoiled(files: Files, old: str, new: str) -> bytes:
    text = files["data/sdd/families/cab-diesel-420.xml"].decode()
    assert old in text
    return text.replace(old, new, 1).encode()


def test_matrix_comes_back_from_sdd(files: Files, entries: Entries, matrix: Matrix) -> None:
    found: Matrix = {}
    for family in entries.families:
        root = ElementTree.fromstring(files[f"data/sdd/families/{family}.xml"])
        names = {one.attrib["id"] for one in root.iter(f"{U}TaxonName") if "id" in one.attrib}
        for described in root.iter(f"{U}CodedDescription"):
            scope = described.find(f"{U}Scope/{U}TaxonName")
            assert scope is not None
            assert scope.attrib["ref"] in names
            found[scope.attrib["ref"].removeprefix("variant.")] = coded(described)
    assert found == matrix


def coded(described: ElementTree.Element) -> dict[str, dict[object, float]]:
    """What a description codes, by trait or slot."""
    found: dict[str, dict[object, float]] = {}
    for one in described.find(f"{U}SummaryData") or []:
        name = one.attrib["ref"].removeprefix("trait.").replace("slot.", "slot ", 1)
        if one.find(f"{U}Status") is not None:
            continue
        for state in one.findall(f"{U}State"):
            choice = state.attrib["ref"].removeprefix(f"state.{one.attrib['ref']}.")
            found.setdefault(name, {})[choice] = frequency(state)
        for content in one.findall(f"{U}Content"):
            found.setdefault(name, {})[content.text] = frequency(one)
        measures = {measure.attrib["type"]: float(measure.attrib["value"]) for measure in one.findall(f"{U}Measure")}
        if measures:
            found.setdefault(name, {})[measures["Mean"], measures.get("SD")] = frequency(one)
    return found


def frequency(one: ElementTree.Element) -> float:
    modifier = one.find(f"{U}Modifier")
    return 1.0 if modifier is None else float(modifier.attrib["lower"])


def test_sdd_keeps_unknown_and_impossible_apart(files: Files, entries: Entries) -> None:
    """Unknown is not absent: what nobody recorded is to be checked, and only a slot that the kind lacks is not applicable."""
    root = ElementTree.fromstring(files["data/sdd/families/cab-diesel-420.xml"])
    statuses: dict[str, dict[str, str]] = {}
    for described in root.iter(f"{U}CodedDescription"):
        statuses[described.attrib["id"].removeprefix("description.variant.")] = {
            one.attrib["ref"]: status.attrib["code"] for one in described.iter() if (status := one.find(f"{U}Status")) is not None
        }
    kinds = {slot: record.kinds for slot, record in entries.families["cab-diesel-420"].slots.items() if record.kinds}
    assert kinds, "no slot that only some kinds have"
    for ident, found in statuses.items():
        one = stated(entries, ident)
        for name, code in found.items():
            slot = name.removeprefix("slot.")
            lacking = name.startswith("slot.") and one.kind is not None and one.kind not in kinds.get(slot, [one.kind])
            assert code == ("NotApplicable" if lacking else "ToBeChecked"), (ident, name)
    assert {code for found in statuses.values() for code in found.values()} == {"NotApplicable", "ToBeChecked"}


# schema.org ------------------------------------------------------------------------------------------------------------

#: rdflib's own parser still uses what rdflib is about to drop.
QUIET = pytest.mark.filterwarnings("ignore:ConjunctiveGraph is deprecated")

BASE = "https://pellworth.example/record/"
#: As much of the context at https://schema.org as is used: its vocabulary, and the terms whose values are addresses.
CONTEXT = {"@vocab": "https://schema.org/", **{term: {"@type": "@id"} for term in ("url", "contentUrl", "item", "license")}}
VOCABULARY: dict[str, dict[str, list[str]]] = json.loads((HERE / "schema_org.json").read_text("utf-8"))["types"]


@pytest.fixture(scope="module")
def linked(site: Site, exports: Exports) -> dict[str, dict[str, Any]]:
    """The JSON-LD of every page, as it stands in its script element."""
    linker = Linker(Site(site.plain, BASE))
    pages = {
        address(kind, ident): script(linker.page(address(kind, ident), site.link(kind, ident)["text"], kind, ident))
        for kind in FOLDERS
        for ident in site.entries.of(kind)
    }
    pages["data.html"] = script(linker.dataset("data.html", "Data", exports.whole, exports.downloads))
    pages["parts.html"] = script(linker.page("parts.html", "Parts"))
    return {where: json.loads(str(text)) for where, text in pages.items()}


def parsed(data: dict[str, Any]) -> Graph:
    return Graph().parse(data=json.dumps({**data, "@context": CONTEXT}), format="json-ld", base=BASE)


@QUIET
def test_linked_data_is_json_ld_of_known_terms(linked: dict[str, dict[str, Any]]) -> None:
    """Read by rdflib; every type and property is in the list of schema.org's terms that rdflib carries."""
    known = {str(term) for term in dir(namespace.SDO)}
    for where, data in linked.items():
        graph = parsed(data)
        terms = {*graph.predicates(unique=True), *graph.objects(None, RDF.type)} - {RDF.type}
        assert {str(term) for term in terms} <= known, where
        assert str(namespace.SDO.WebPage) in {str(kind) for kind in graph.objects(None, RDF.type)}, where


def has(kind: str) -> set[str]:
    """The properties of a type, those of the types above it included."""
    return set(VOCABULARY[kind]["has"]).union(*(has(above) for above in VOCABULARY[kind]["under"]))


def things(value: Any) -> Iterator[dict[str, Any]]:
    """Everything that has a type, at any depth."""
    if isinstance(value, dict):
        thing = cast("dict[str, Any]", value)
        yield thing
        for one in thing.values():
            yield from things(one)
    elif isinstance(value, list):
        for one in cast("list[Any]", value):
            yield from things(one)


def test_every_property_belongs_to_its_type(linked: dict[str, dict[str, Any]]) -> None:
    used: set[str] = set()
    for where, data in linked.items():
        for thing in things(data):
            used.add(thing["@type"])
            assert {key for key in thing if not key.startswith("@")} <= has(thing["@type"]), where
    assert {"ProductModel", "ProductGroup", "ProductCollection", "HowTo", "Dataset", "DataDownload", "PropertyValue"} <= used


def test_nothing_is_offered_for_sale(linked: dict[str, dict[str, Any]]) -> None:
    for where, data in linked.items():
        keys = {key for thing in things(data) for key in thing}
        assert not keys & {"offers", "price", "priceCurrency", "aggregateRating", "review"}, where


def test_references_lead_to_the_records_they_mean(linked: dict[str, dict[str, Any]]) -> None:
    known = {thing["@id"]: thing["@type"] for data in linked.values() if (thing := data.get("mainEntity"))}
    for where, data in linked.items():
        for thing in things(data):
            if "@id" in thing:
                assert known[thing["@id"]] == thing["@type"], (where, thing["@id"])


def test_variant_tells_what_it_shows(linked: dict[str, dict[str, Any]], entries: Entries) -> None:
    one = stated(entries, "424-prairie-meridian-a-b1")
    entity = linked["variants/424-prairie-meridian-a-b1.html"]["mainEntity"]
    told = {row["propertyID"]: row for row in entity["additionalProperty"] if "propertyID" in row}
    assert told.keys() == one.shows.keys() | one.fitted.keys()
    assert told["number-height"] == {
        **{"@type": "PropertyValue", "propertyID": "number-height"},
        **{"name": "Height of the road number", "value": 6.2, "unitText": "mm", "unitCode": "MMT", "description": "± 0.2 mm"},
    }
    assert told["nose-stripe"]["value"] == "Painted"
    assert entity["isVariantOf"]["name"] == "420 series cab diesel"


def test_whole_is_a_dataset_with_its_downloads(linked: dict[str, dict[str, Any]], files: Files) -> None:
    dataset = linked["data.html"]["mainEntity"]
    assert dataset["license"] == "https://creativecommons.org/licenses/by/4.0/"
    offered = {one["contentUrl"].removeprefix(BASE) for one in dataset["distribution"]}
    assert offered == {name for name in files if name.startswith("data/")} - {"data/index.json"}

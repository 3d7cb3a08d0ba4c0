"""Everything a site offers as data: the JSON beside each page, the folder of downloads, and the page that lists them."""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path

from ..kb.load import FIELDS
from ..kb.resolve import living
from .database import database, of_facts, with_others
from .linked_data import Download, Linker, license_address, script
from .page import File, Page, Values
from .reads import Sum
from .records_json import beside, compact, record_file, record_text, whole_file
from .sdd import of_family, of_slot_type
from .tables import Site
from .tables_csv import csv_text, matrix, metadata
from .tables_seen import TABLES
from .tabular import Row, Table
from .texts import FOLDERS, address, counted
from .whole import Whole

FORMAT = "tellmark/data/1"
FOLDER = "data"
#: The page that lists the files.
PAGE, TITLE = "data.html", "Data"
SCHEMAS = Path(__file__).parent / "schemas"
CSV = "text/csv; charset=utf-8; header=present"

Made = Callable[[], bytes]


@dataclass(frozen=True)
class Group:
    """Files of one sort: what they hold, their media type, and what makes each, by its address below the folder."""

    name: str
    about: str
    type: str
    files: Callable[["Exports"], Iterable[tuple[str, Made]]]


class Exports:
    """The files of a site, listed cheaply; each is made once, when it is asked for, and what was read for it is written down."""

    def __init__(self, site: Site) -> None:
        self.site = site
        kept = site.memo.kept
        #: The site as whoever reads much of it sees it.
        self.whole = Whole(site)
        #: JSON of a record, by its kind and id.
        self.text: Callable[[str, str], str] = site.memo.question("json", partial(record_text, site), lasting=True)
        #: The rows of a table, by its name.
        self.rows: Callable[[str], Sequence[Row]] = kept(self._rows)
        #: How many rows a table has; the process that makes them answers it for those that come later.
        self.count: Callable[[str], int] = site.memo.question("rows", self._count, lasting=True)
        #: The first two steps of the database.
        self.facts: Callable[[], bytes] = site.memo.question("database of facts", partial(of_facts, self.rows), lasting=True)
        self.others: Callable[[], bytes] = site.memo.question(
            "database of others", lambda: with_others(self.rows, self.facts()), lasting=True
        )
        makers = [(f"{FOLDER}/{name}", group, make) for group in GROUPS for name, make in group.files(self)]
        #: {address: its group} of every file in the folder but its list.
        self.groups = {address: group for address, group, _ in makers}
        self._makers = {address: make for address, _, make in makers}

    def _rows(self, table: str) -> Sequence[Row]:
        return tuple(_TABLES[table].rows(self.whole))

    def _count(self, table: str) -> int:
        return len(self.rows(table))

    def download(self, address: str) -> Download:
        """One file of the folder, with its size and sum."""
        group = self.groups[address]
        found = self.site.made.get(address) or Sum.of(self._makers[address]())  # it is made by then, but for a list alone
        kind = "application/csvm+json" if address.endswith("csv-metadata.json") else group.type
        return Download(address, group.about, kind, found.size, found.sha256)

    @property
    def downloads(self) -> list[Download]:
        """Every file of the folder but its list."""
        return [self.download(address) for address in self.groups]

    def files(self) -> Iterator[File]:
        """The JSON beside each page that has a record, and the folder with its list."""
        for kind in FOLDERS:
            for ident in sorted(self.site.plain.of(kind)):
                yield File(beside(address(kind, ident)), partial(self._record, kind, ident), home=FOLDER)
        yield from (File(where, make, home=FOLDER) for where, make in self._makers.items())
        yield File(f"{FOLDER}/index.json", self.index, stage=1)

    def _record(self, kind: str, ident: str) -> bytes:
        return record_file(self.site, kind, ident, self.text(kind, ident))

    def index(self) -> bytes:
        """The list of the files in the folder."""
        about = self.site.about
        head = {"format": FORMAT, "title": about.title, "license": about.license, "as_of": self.whole.as_of}
        lines = ",\n".join(compact(vars(one)) for one in self.downloads)
        return f'{compact(head)[:-1]},\n"files": [\n{lines}\n]}}\n'.encode()

    def page(self) -> Values:
        """What the page of downloads says: the files with their sizes and sums, the license, how to cite, the columns."""
        about, day = self.site.about, self.whole.day
        files: dict[str, list[Values]] = {group.name: [] for group in GROUPS}
        for one in self.downloads:
            name = one.address.removeprefix(f"{FOLDER}/")
            line = {"href": one.address, "name": name, "size": size(one.bytes), "sha256": one.sha256}
            files[self.groups[one.address].name].append(line)
        return {
            "groups": [{"name": group.name, "about": group.about, "files": files[group.name]} for group in GROUPS],
            "linked": script(Linker(self.site).dataset(PAGE, TITLE, self.whole, self.downloads)),
            "license": {"text": about.license, "href": license_address(about.license)},
            "citation": cited(about.title, about.maintainers, day),
            "tables": [
                {
                    "name": table.name,
                    "about": table.about,
                    "rows": counted(self.count(table.name), "row"),
                    "columns": [{"name": column.name, "about": column.about} for column in table.columns],
                }
                for table in TABLES
            ],
        }


@lru_cache(maxsize=1)
def exports(site: Site) -> Exports:
    """The exports of a site; the page and the files share them."""
    return Exports(site)


def pages(site: Site) -> Iterator[Page]:
    """The page that lists the files."""
    yield Page(PAGE, "data.html", TITLE, exports(site).page, styles=("data.css",), stage=1)


def files(site: Site) -> Iterator[File]:
    """The JSON beside each page that has a record, and the folder of downloads."""
    return exports(site).files()


def cited(title: str, maintainers: Iterable[str], day: str | None) -> str:
    """How to name the data in a text or a list of sources."""
    keepers = "; ".join(maintainers)
    return f"{title}." + (f" Kept by {keepers}." if keepers else "") + (f" As of {day}." if day else "")


def size(number: int) -> str:
    """Bytes as a person reads them, in powers of a thousand."""
    if number < 1000:
        return counted(number, "byte")
    thousands = number / 1000
    value, unit = (thousands, "kB") if thousands < 1000 else (thousands / 1000, "MB")
    return f"{value:.1f} {unit}" if value < 10 else f"{value:.0f} {unit}"


# The groups ------------------------------------------------------------------------------------------------------------


def _whole(exports: Exports) -> bytes:
    whole = exports.whole
    texts = {kind: {ident: exports.text(kind, ident) for ident in sorted(whole.entries.of(kind))} for kind in FIELDS}
    return whole_file(whole, texts)


def _database(exports: Exports) -> bytes:
    return database(exports.rows, exports.facts(), exports.others())


def _families(exports: Exports) -> Iterator[tuple[str, Made]]:
    plain = exports.site.plain
    for family in sorted({plain.family_of(variant) for variant in living(plain)}):
        yield f"families/{family}.csv", partial(_family, exports, family)


def _family(exports: Exports, family: str) -> bytes:
    return matrix(exports.whole.families[family])


def _descriptions(exports: Exports) -> Iterator[tuple[str, Made]]:
    plain = exports.site.plain
    for family in sorted(plain.families):
        yield f"sdd/families/{family}.xml", partial(_described, exports, of_family, family)
    for slot_type in sorted(plain.slot_types):
        yield f"sdd/parts/{slot_type}.xml", partial(_described, exports, of_slot_type, slot_type)


def _described(exports: Exports, describe: Callable[[Whole, str], bytes], ident: str) -> bytes:
    return describe(exports.whole, ident)


def _tables(exports: Exports) -> Iterator[tuple[str, Made]]:
    for table in TABLES:
        yield f"tables/{table.name}.csv", partial(_table, exports, table)
    yield "tables/csv-metadata.json", partial(_metadata, exports.site)


def _table(exports: Exports, table: Table) -> bytes:
    exports.count(table.name)
    return csv_text([column.name for column in table.columns], exports.rows(table.name))


def _metadata(site: Site) -> bytes:
    described = metadata(site.about.title, license_address(site.about.license))
    return (json.dumps(described, ensure_ascii=False, indent=1) + "\n").encode()


_TABLES = {table.name: table for table in TABLES}
GROUPS = (
    Group(
        "Everything in one file",
        "Every record as JSON, a variant with what it inherits and on whose word. One record stands on one line.",
        "application/json",
        lambda exports: [("knowledge-base.json", partial(_whole, exports))],
    ),
    Group(
        "Database",
        "The tables below as one SQLite database with their keys. Each column has its meaning beside it in the definition.",
        "application/vnd.sqlite3",
        lambda exports: [("knowledge-base.sqlite", partial(_database, exports))],
    ),
    Group(
        "Families as spreadsheets",
        "One row for each variant, one column for each trait and each slot. An empty cell is unknown; several states have in "
        "brackets how often each is found.",
        CSV,
        _families,
    ),
    Group(
        "Descriptions for other databases",
        "Each family with its variants and each sort of part, as Structured Descriptive Data 1.1, a standard of TDWG (XML).",
        "application/xml",
        _descriptions,
    ),
    Group(
        "Tables",
        "The tables of the database as CSV. What each column means is said below, and for programs in csv-metadata.json as the "
        "W3C has it.",
        CSV,
        _tables,
    ),
    Group(
        "What the JSON files may hold",
        "JSON Schemas, draft 2020-12, of the JSON files here and of those beside the pages.",
        "application/schema+json",
        lambda _: ((f"schemas/{path.name}", path.read_bytes) for path in sorted(SCHEMAS.glob("*.json"))),
    ),
)

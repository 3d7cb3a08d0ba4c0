"""The tables as one SQLite database, the same bytes from the same entries.

It is made in three steps, each from what the ones before have made, and the first two last from build to build.  The tables of
facts alone come first: they hold most of the rows, and no sentence changes them.  Those come last that a sentence about a
variant changes, which is what is changed most often.

The file format is SQLite's own (https://www.sqlite.org/fileformat2.html).  Page size, encoding and the order of rows are
fixed, and the number of the library that wrote the file, which is for information only, is replaced.
"""

import zlib
from collections.abc import Callable, Collection, Generator, Sequence
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING

from .tables_known import OF_FACTS, OF_VARIANTS
from .tables_seen import TABLES
from .tabular import FORMAT, Column, Row, Table

TYPES = {"text": "TEXT", "number": "REAL", "integer": "INTEGER", "day": "TEXT", "boolean": "INTEGER"}
#: In the header of the file: "tell", so that a program which knows it can tell what the file is.
APPLICATION_ID = int.from_bytes(b"tell", "big")
PAGE_SIZE = 4096
#: Bytes 96 to 99 hold SQLITE_VERSION_NUMBER of whoever wrote the file last, here always that of 3.40.0.
WRITTEN_BY = (slice(96, 100), (3_040_000).to_bytes(4, "big"))
#: How hard the tables of facts are packed: the least there is takes an eighth of the room.
PACKING = 1
Rows = Callable[[str], Sequence[Row]]

if TYPE_CHECKING:
    from sqlite3 import Connection


def of_facts(rows: Rows) -> bytes:
    """The first step, packed: all tables, those of facts alone filled. `rows`: gives the rows of a table."""
    with _opened() as connection:
        connection.executescript(
            f"PRAGMA page_size = {PAGE_SIZE}; PRAGMA encoding = 'UTF-8'; PRAGMA application_id = {APPLICATION_ID}; "
            f"PRAGMA user_version = {FORMAT.rsplit('/', 1)[1]};"
        )
        connection.execute("BEGIN")
        for table in TABLES:
            connection.execute(definition(table))
        return zlib.compress(_filled(connection, OF_FACTS, rows), PACKING)


def with_others(rows: Rows, facts: bytes) -> bytes:
    """What the second step adds to the first, packed: all but the tables of variants.

    It is those pages of the file that are new or have changed, each behind its number.
    """
    before = zlib.decompress(facts)
    with _opened(before) as connection:
        connection.execute("BEGIN")
        after = _filled(connection, [table.name for table in TABLES if table.name not in (*OF_FACTS, *OF_VARIANTS)], rows)
    pages = ((number, slice(at, at + PAGE_SIZE)) for number, at in enumerate(range(0, len(after), PAGE_SIZE)))
    new = [part for number, page in pages if after[page] != before[page] for part in (number.to_bytes(4, "big"), after[page])]
    return zlib.compress(b"".join(new), PACKING)


def database(rows: Rows, facts: bytes, others: bytes) -> bytes:
    """The file, made of the first two steps. No key leads nowhere, since the entries are sound; the tests look at that."""
    with _opened(_second(facts, others)) as connection:
        connection.execute("BEGIN")
        content = memoryview(_filled(connection, OF_VARIANTS, rows))
    place, number = WRITTEN_BY
    return b"".join((content[: place.start], number, content[place.stop :]))


def _second(facts: bytes, others: bytes) -> bytearray:
    """The file as the second step left it."""
    content, new = bytearray(zlib.decompress(facts)), zlib.decompress(others)
    for start in range(0, len(new), 4 + PAGE_SIZE):
        at = PAGE_SIZE * int.from_bytes(new[start : start + 4], "big")
        content[at : at + PAGE_SIZE] = new[start + 4 : start + 4 + PAGE_SIZE]
    return content


@contextmanager
def _opened(content: bytes | bytearray | None = None) -> Generator["Connection"]:
    """A database in memory, in which keys are not looked at: an empty one, or what a file holds."""
    import sqlite3  # here, since most builds leave this file as it was

    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        if content:
            connection.deserialize(content)
        yield connection


def _filled(connection: "Connection", names: Collection[str], rows: Rows) -> bytes:
    """The file with the rows of the tables of these names, added in the order of all tables; a transaction must be open."""
    for table in (table for table in TABLES if table.name in names):
        marks = ", ".join("?" * len(table.columns))
        connection.executemany(f'INSERT INTO "{table.name}" VALUES ({marks})', rows(table.name))
    connection.execute("COMMIT")
    return connection.serialize()


def definition(table: Table) -> str:
    """The statement that makes a table; its columns have their meaning beside them, which the database keeps."""
    lines = [_column(column) for column in table.columns]
    lines.append(f"PRIMARY KEY ({_names(table.key)})")
    lines += [f'FOREIGN KEY ({_names(one.columns)}) REFERENCES "{one.table}" ({_names(one.to)})' for one in table.refers]
    head = f'CREATE TABLE "{table.name}" ( -- {table.about}\n'
    return head + "".join(f"  {line}\n" for line in _comma_separated(lines, table)) + ") WITHOUT ROWID"


def _comma_separated(lines: list[str], table: Table) -> list[str]:
    """Each line but the last with its comma, those of columns with a comment behind it."""
    notes = [f" -- {column.about}" for column in table.columns] + [""] * (len(lines) - len(table.columns))
    return [f"{line}{',' if n < len(lines) - 1 else ''}{note}" for n, (line, note) in enumerate(zip(lines, notes, strict=True))]


def _column(column: Column) -> str:
    check = f' CHECK ("{column.name}" IN (0, 1))' if column.type == "boolean" else ""
    return f'"{column.name}" {TYPES[column.type]}{" NOT NULL" if column.required else ""}{check}'


def _names(columns: tuple[str, ...]) -> str:
    return ", ".join(f'"{name}"' for name in columns)

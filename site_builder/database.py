"""The tables as one SQLite database, the same bytes from the same entries.

The file format is SQLite's own (https://www.sqlite.org/fileformat2.html).  Page size, encoding and the order of rows are
fixed, and the number of the library that wrote the file, which is for information only, is replaced.
"""

from collections.abc import Callable, Sequence

from .tables_seen import TABLES
from .tabular import FORMAT, Column, Row, Table

TYPES = {"text": "TEXT", "number": "REAL", "integer": "INTEGER", "day": "TEXT", "boolean": "INTEGER"}
#: In the header of the file: "tell", so that a program which knows it can tell what the file is.
APPLICATION_ID = int.from_bytes(b"tell", "big")
PAGE_SIZE = 4096
#: Bytes 96 to 99 hold SQLITE_VERSION_NUMBER of whoever wrote the file last, here always that of 3.40.0.
WRITTEN_BY = (slice(96, 100), (3_040_000).to_bytes(4, "big"))


def database(rows: Callable[[str], Sequence[Row]]) -> bytes:
    """The file. `rows`: gives the rows of a table. Raises sqlite3.IntegrityError for rows that break a key."""
    import sqlite3  # here, since most builds leave this file as it was

    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        connection.executescript(
            f"PRAGMA page_size = {PAGE_SIZE}; PRAGMA encoding = 'UTF-8'; PRAGMA application_id = {APPLICATION_ID}; "
            f"PRAGMA user_version = {FORMAT.rsplit('/', 1)[1]}; PRAGMA foreign_keys = OFF;"
        )
        connection.execute("BEGIN")
        for table in TABLES:
            connection.execute(definition(table))
        for table in TABLES:
            marks = ", ".join("?" * len(table.columns))
            connection.executemany(f'INSERT INTO "{table.name}" VALUES ({marks})', rows(table.name))
        # At the end, since a key may lead to a later row.
        broken = connection.execute("PRAGMA foreign_key_check").fetchone()
        if broken:
            raise sqlite3.IntegrityError(f"{broken[0]} leads to no row of {broken[2]}")
        connection.execute("COMMIT")
        content = bytearray(connection.serialize())
    finally:
        connection.close()
    place, number = WRITTEN_BY
    content[place] = number
    return bytes(content)


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

"""The tables as CSV files (RFC 4180), with a description of their columns that a program can read.

The description follows "Metadata Vocabulary for Tabular Data" (W3C Recommendation, 17 December 2015), in the file that
"Model for Tabular Data and Metadata on the Web" looks for beside a table: `csv-metadata.json`.
"""

import csv
import io
from collections.abc import Iterable, Sequence

from ..kb.values import Fact
from .tables_seen import TABLES
from .tabular import FORMAT, Cell, Column, Table, years
from .whole import WholeFamily

#: In the place of what a unit of this kind cannot have, which is not the same as unknown.
NOT_APPLICABLE = "not-applicable"
DATATYPES = {"text": "string", "number": "double", "integer": "integer", "day": "date", "boolean": "boolean"}


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """A table as RFC 4180 has it: lines end in CR LF, the first names the columns, an empty cell is nothing known."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")


# Metadata --------------------------------------------------------------------------------------------------------------


def metadata(title: str, license_address: str | None) -> dict[str, object]:
    """What the columns mean, what they refer to, and how their cells are written."""
    described: dict[str, object] = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dc:title": title,
        "dc:conformsTo": FORMAT,
        "dialect": {"lineTerminators": ["\r\n"], "encoding": "utf-8"},
        "tables": [_described(table) for table in TABLES],
    }
    return described | ({"dc:license": {"@id": license_address}} if license_address else {})


def _described(table: Table) -> dict[str, object]:
    foreign = [
        {"columnReference": list(one.columns), "reference": {"resource": f"{one.table}.csv", "columnReference": list(one.to)}}
        for one in table.refers
    ]
    schema = {
        "columns": [_column(column) for column in table.columns],
        "primaryKey": list(table.key),
        **({"foreignKeys": foreign} if foreign else {}),
    }
    return {"url": f"{table.name}.csv", "dc:description": table.about, "tableSchema": schema}


def _column(column: Column) -> dict[str, object]:
    described: dict[str, object] = {"name": column.name, "titles": column.name, "dc:description": column.about}
    return described | {"datatype": DATATYPES[column.type]} | ({"required": True} if column.required else {})


# One wide table a family -----------------------------------------------------------------------------------------------


def matrix(tables: WholeFamily) -> bytes:
    """A family's variants, one a row, with a column for each trait and each slot that holds a part.

    A cell has the state, the measured value, the marking or the part; several with how often each, as in
    `painted (usual); decal (sometimes)`; nothing where nobody recorded it.
    """
    traits = [name for name in tables.traits if any(name in one.shows for one in tables.variants)]
    slots = [name for name, slot in tables.slots.items() if slot.type]
    header = ["variant", "name", "kind", "livery", "catalog_number", "batch", "made_first", "made_last", *traits, *slots]
    lacking = {kind: tables.lacks(kind) for kind in {one.kind for one in tables.variants}}
    rows: list[list[Cell]] = []
    for one in tables.variants:
        row: list[Cell] = [one.id, one.name, one.kind, one.livery, one.catalog_number, one.batch, *years(one.made)]
        row += [_cell(one.shows.get(name)) for name in traits]
        lacks = lacking[one.kind] - one.fitted.keys()
        row += [NOT_APPLICABLE if name in lacks else _cell(one.fitted.get(name)) for name in slots]
        rows.append(row)
    return csv_text(header, rows)


def _cell(fact: Fact | None) -> str | None:
    if fact is None:
        return None
    if len(fact.is_) == 1:
        ((choice, how),) = fact.is_.items()
        if how in (1.0, "always"):
            return choice
    return "; ".join(f"{choice} ({how if isinstance(how, str) else f'{how:g}'})" for choice, how in fact.is_.items())

"""Everything that can be wrong with a folder of entries, and the whole of what is said about it.

Each row of `broken_entries.txt` changes the sound knowledge base of `conftest.py`:

    id: reason
        file: `what stands there once` => `what is written instead`
        file = the whole text (`file gone`: without it)
        > file:line:column: everything that is said, in order

What is not listed must not be said: a row also holds that one mistake does not call other entries wrong. Files and long
lists of what is expected have short names, `\\n` is a line break.
"""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from tellmark.kb.check import check as check_folder
from tellmark.kb.check import checked
from tellmark.kb.findings import listed
from tellmark.kb.load import Known, files_below
from tellmark.kb.models import Sellers
from tellmark.kb.validate import keys_of

FILES = {
    "tram": "families/tram/family.yaml",
    "gull-a": "families/tram/variants/gull-a.yaml",
    "gull-b": "families/tram/variants/gull-b.yaml",
    "new": "families/tram/variants/new.yaml",
    "more": "families/tram/variants/more.yaml",
    "gull-pair": "families/tram/sets/gull-pair.yaml",
    "wheel": "parts/wheel/slot-type.yaml",
    "spoked": "parts/wheel/spoked.yaml",
    "disc": "parts/wheel/disc.yaml",
    "oil-axles": "procedures/oil-axles.yaml",
    "many": "procedures/many.yaml",
    "shelf-1": "sightings/tram/shelf-1.yaml",
    "sales": "sales/2021.csv",
    **{name: f"{name}.yaml" for name in ("knowledge-base", "sellers", "sources", "makers", "liveries", "traits")},
}
EXPECTED = {
    "<an id>": "an id: lower-case letters and digits in words joined by hyphens",
    "<a frequency>": "a word of frequencies: always, rarely, sometimes or usual",
    "<a scarcity>": "a word of scarcity: common, never, rare, scarce or uncommon",
    "<a weight>": "a word of knowledge-base.yaml or a number from 0 to 1",
    "<a fact>": "a state, a measured value, a part, or choices with how often each",
    "<an answer>": "a state, a measured value, missing, cannot-tell, {not: state}, {one_of: [states]}, "
    "{more_than: value} or {less_than: value}",
    "<a hazard>": "dust, heat, lead, mains, moving-parts, sharp, small-parts or solvent",
    "<a citation>": "advertisement, article, book, catalog, instructions, interview, notes, unit or web",
    "<a column>": "complete, date, grade, note, place, price, set, shipping or variant",
    "<a key of makers>": "about, made, name, place, said, sources or verified",
    "<a key of sellers>": listed(keys_of(Sellers)),
    "<any place>": "families/*/family.yaml, families/*/sets/*.yaml, families/*/variants/*.yaml, knowledge-base.yaml, "
    "liveries.yaml, makers.yaml, parts/*/*.yaml, parts/*/slot-type.yaml, procedures/*.yaml, sales/*.csv, "
    "sellers.yaml, sightings/*/*.yaml, sources.yaml or traits.yaml",
}


class Row(NamedTuple):
    """One way to break the record. `said` is the whole of what must be said."""

    id: str
    why: str
    changes: dict[str, Any]
    said: list[str]


def rows(table: str) -> list[Row]:
    """The rows of a table in the notation above."""
    found: list[Row] = []
    for line in table.splitlines():
        written = line.strip()
        if not written or line.startswith("#"):
            continue
        if not line.startswith(" "):
            ident, why = line.split(": ", 1)
            found.append(Row(ident, why, {}, []))
        elif written == "> nothing":
            pass
        elif written.startswith("> "):
            name, rest = written.removeprefix("> ").split(":", 1)
            for short, long in EXPECTED.items():
                rest = rest.replace(short, long)
            found[-1].said.append(f"{FILES.get(name, name)}:{rest}")
        elif written.endswith(" gone"):
            found[-1].changes[FILES[written.removesuffix(" gone")]] = None
        elif "` => `" in written:
            name, change = written.split(": `", 1)
            was, now = change.replace("\\n", "\n").removesuffix("`").split("` => `")
            found[-1].changes.setdefault(FILES[name], []).append((was, now))
        else:
            name, text = written.split(" =", 1)
            found[-1].changes[FILES.get(name, name)] = text.removeprefix(" ").replace("\\n", "\n")
    return found


# What the notation cannot show
OTHERS = [
    Row(
        "long-text",
        "a limit on what a page must carry; the text is shown cut",
        {FILES["oil-axles"]: [("Oil the axles", "x" * 20_001)]},
        [f'procedures/oil-axles.yaml:1:7: found "{"x" * 57}...", expected at most 20000 characters'],
    ),
    Row(
        "huge-whole-number",
        "in our words, however long it is",
        {"sources.yaml": [("kind: notes", "kind: notes\n  year: " + "9" * 5000)]},
        [f'sources.yaml:4:9: found "{"9" * 57}...", expected a whole number'],
    ),
    Row(
        "too-many-positions",
        "a set of 31 cars is a slip",
        {FILES["gull-pair"]: "name: Long\npositions:\n" + "  - variants: gull-a\n" * 31, FILES["shelf-1"]: None},
        ["families/tram/sets/gull-pair.yaml:3:3: found a list, expected at most 30 of them"],
    ),
    Row(
        "id-with-a-line-break",
        "which the end of a pattern would let pass",
        {"procedures/many.yaml": '- id: "x\\n"\n  name: X\n  minutes: 1\n  steps: [a]\n'},
        [f'procedures/many.yaml:1:3: found "x\\n", expected {EXPECTED["<an id>"]}'],
    ),
    Row(
        "windows-lines",
        "as a spreadsheet saves it, with a byte order mark",
        {"sales/2021.csv": "\ufeffdate,variant,price\r\n2021-06-01,gull-a,85\r\n"},
        [],
    ),
]

BROKEN = 'name: "\n'  # the quotes are never closed
GIVES_UP = "found while scanning a quoted scalar found unexpected end of stream, expected one YAML document"
YAML_FILES = [name for name in FILES if name not in ("sales", "new", "more", "many", "gull-b")]
UNREADABLE = [
    Row(f"unreadable-{name}", "what leans on it is not called wrong", {FILES[name]: BROKEN}, [f"{FILES[name]}:2:1: {GIVES_UP}"])
    for name in YAML_FILES
]
EVERY_ROW = [*rows(Path(__file__).with_name("broken_entries.txt").read_text("utf-8")), *OTHERS, *UNREADABLE]


def of_row(row: Row) -> str:
    return row.id


@pytest.mark.parametrize("row", EVERY_ROW, ids=of_row)
def test_says(row: Row, folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    assert say(folder(row.changes)) == row.said, row.why


@pytest.mark.parametrize("row", EVERY_ROW, ids=of_row)
def test_says_the_same_where_the_rest_is_known(row: Row, folder: Callable[..., Path]) -> None:
    """Whatever was not read and not checked again because nothing of it had changed."""
    root = folder({})
    sound = checked(root)
    folder(row.changes)
    for path in (path for path, change in row.changes.items() if change is None):
        (root / path).unlink(missing_ok=True)
    files = {path for path, _ in files_below(root)}
    now = checked(root, known=Known(sound.entries, files - row.changes.keys(), files), leaned=sound.leaned)
    assert [str(finding) for finding in now.findings] == row.said, row.why


def test_sound_folder_gives_no_findings(folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    assert say(folder({})) == []


@pytest.mark.parametrize(
    ("name", "first"),
    [
        ("knowledge-base", "title:"),
        ("tram", "name: Streetcar"),
        ("gull-a", "name:"),
        ("gull-pair", "name:"),
        ("wheel", "name: Wheel"),
        ("spoked", "name:"),
        ("traits", "  name:"),
    ],
)
def test_record_with_a_key_too_many_is_told_once(
    name: str, first: str, folder: Callable[..., Path], say: Callable[[Path], list[str]]
) -> None:
    """It cannot be used, and what leans on it is not called wrong for that."""
    indent = " " * (len(first) - len(first.lstrip()))
    (line,) = say(folder({FILES[name]: [(first, f"{indent}zzz: 1\n{first}")]}))
    number = 2 if indent else 1
    assert line.startswith(f'{FILES[name]}:{number}:{len(indent) + 1}: found the key "zzz", expected ')


def test_a_slip_in_the_numbers_is_told_alone(tmp_path: Path) -> None:
    """Drawings, views and hazards that lean on knowledge-base.yaml are not called wrong for it."""
    root = tmp_path / "entries"
    shutil.copytree(Path(__file__).parents[2] / "entries", root)
    file = root / "knowledge-base.yaml"
    file.write_text(file.read_text("utf-8").replace("choice: 0.5", "choise: 0.5"), "utf-8")
    _, findings = check_folder(root)
    assert [finding.found for finding in findings] == ['the key "choise"']
    assert findings[0].nearest == "choice"

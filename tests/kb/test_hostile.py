"""Files that nobody wrote in good faith, or at all: each ends in findings, never in a crash, a hang or a leak."""

import json
import os
import threading
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from tellmark.kb import yaml_text
from tellmark.kb.check import check
from tellmark.kb.findings import Finding, Kind

OIL = "procedures/oil-axles.yaml"
A = "families/tram/variants/gull-a.yaml"
SALES = "sales/2021.csv"
REST = "\nname: Oil\nminutes: 5\nsteps: [Oil.]\n"
TOO_DEEP = "found very deep nesting, expected at most 20 levels"
MORE_LEVELS = "found more than 20 levels, expected at most 20 levels"
A_TAG = "expected a value without a tag"


def steering(text: str) -> str:
    """What of a message would break its line, steer a terminal, turn the direction of writing, or not be printed at all."""
    turning = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    return "".join(one for one in text if unicodedata.category(one) in ("Cc", "Cs", "Zl", "Zp") or one in turning)


DEEP = {
    "flow-lists": "[" * 200_000,
    "flow-lists-closed": "[" * 200_000 + "]" * 200_000,
    "flow-mappings": "{a: " * 200_000,
    "flow-mixed": "[{a: " * 100_000,
    "flow-tagged": "!!seq [" * 100_000,
    "block-lists": "- " * 200_000,
    "block-keys": "? " * 200_000,
    "block-mappings": "".join(" " * level + "a:\n" for level in range(1400)),
}


@pytest.mark.parametrize("text", DEEP.values(), ids=DEEP)
def test_deep_nesting_is_refused_before_it_is_composed(
    text: str, folder: Callable[..., Path], say: Callable[[Path], list[str]]
) -> None:
    """A recursive composer would overrun the stack of the process, which no `except` catches."""
    assert say(folder({OIL: text})) == [f"{OIL}: {TOO_DEEP}"]


BOMB = "about: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]\n" for before, name in zip("abcdefgh", "bcdefghi", strict=True)
)

#: id -> (text, the whole of what is said of it without the path)
YAML: dict[str, tuple[str, list[str]]] = {
    "a-level-too-many": (f"about: {'[' * 25}{']' * 25}{REST}", [f":1:28: {MORE_LEVELS}"]),
    "alias-bomb": (BOMB, [":1:15: found more than 200,000 values, expected fewer; mind what the aliases repeat"]),
    "alias-to-itself": ("name: &a [*a]\n", [f":1:7: {MORE_LEVELS}"]),
    "mapping-in-itself": ("&a\nname: *a\n", [f":2:1: {MORE_LEVELS}"]),
    "alias-to-nothing": ("name: *a\n", [":1:7: found undefined alias, expected one YAML document"]),
    "python-call": (
        f"about: !!python/object/apply:os.system [exit]{REST}",
        [f":1:8: found the tag tag:yaml.org,2002:python/object/apply:os.system, {A_TAG}"],
    ),
    "python-name": (
        f"about: !!python/name:os.system x{REST}",
        [f":1:8: found the tag tag:yaml.org,2002:python/name:os.system, {A_TAG}"],
    ),
    "binary": (f"about: !!binary aGk={REST}", [f":1:8: found the tag tag:yaml.org,2002:binary, {A_TAG}"]),
    "custom-scalar": (f"about: !secret x{REST}", [f":1:8: found the tag !secret, {A_TAG}"]),
    "custom-mapping": ("!secret\nname: Oil\n", [f":1:1: found the tag !secret, {A_TAG}"]),
    "merge-key": (
        f"<<: {{symptom: Squeal}}{REST}",
        [
            ':1:1: found the key "<<", expected about, consumables, hazards, minutes, name, serves, sources, steps, symptom, '
            "tools or verified"
        ],
    ),
    "bell": (f"about: a\x07b{REST}", [":1:9: found a control character, expected printable text"]),
    "nul": (f"about: x\0{REST}", [":1:9: found a control character, expected printable text"]),
    "second-control-set": (f"about: ab\x80{REST}", [":1:10: found a control character, expected printable text"]),
    "escape-sequence": (
        'name: Oil\nminutes: "\\e[31m5\\n::error::x"\nsteps: [Oil.]\n',
        [':2:10: found "\\x1b[31m5\\n::error::x", expected a number'],
    ),
    "too-large": ("#" * (1 << 20) + "\n", [": found a file over 1 MiB, expected at most 1 MiB; split it"]),
    "largest": ("#" * ((1 << 20) - len(REST)) + REST, []),
    "only-a-comment": (
        "# later\n",
        [f':1:1: found no key "{key}", expected the key "{key}"' for key in ("minutes", "name", "steps")],
    ),
}


@pytest.mark.parametrize(("text", "said"), YAML.values(), ids=YAML)
def test_yaml(text: str, said: list[str], folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    assert say(folder({OIL: text})) == [OIL + line for line in said]


@pytest.mark.parametrize("written", ["1e999", "1/2e3", "9" * 5000, "1/0", "nan", "inf", "-inf mm", "0/0 in"])
@pytest.mark.parametrize(("path", "was", "place"), [(A, "120 +- 1 mm", "6:11"), ("sightings/tram/shelf-1.yaml", None, "4:11")])
def test_numbers_nobody_measures(
    written: str, path: str, was: str | None, place: str, folder: Callable[..., Path], say: Callable[[Path], list[str]]
) -> None:
    change = (was, written) if was else ("roof: plain", f"length: {written}")
    shown = written if len(written) <= 60 else written[:57] + "..."
    assert say(folder({path: [change]})) == [f'{path}:{place}: found "{shown}", expected a measured value such as 4.8 +- 0.3 mm']


def test_many_mistakes_are_placed_with_one_look_at_the_file(folder: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of 1 MiB can hold 250,000 mistakes; composing it again for each would take days."""
    looks: list[str] = []
    compose = yaml_text.compose

    def counted(text: str, shown: str) -> Any:
        looks.append(shown)
        return compose(text, shown)

    monkeypatch.setattr(yaml_text, "compose", counted)
    items = ["- wax\n", "- {id: Wax}\n", "- {id: wax, name: W, minutes: 1, steps: [a]}\n"] * 20
    _, findings = check(folder({"procedures/many.yaml": "".join(items)}))
    assert len(findings) == 59
    assert looks.count("procedures/many.yaml") <= 4


BYTES = {
    "latin-1": (b"name: Oil\nabout: Z\xfcrich\n", f"{OIL}:2:9: found the byte 0xfc, expected UTF-8 text"),
    "utf-16": ("name: Oil\n".encode("utf-16"), f"{OIL}:1:1: found the byte 0xff, expected UTF-8 text"),
    "cut-off": (b"name: Oil \xe2\x82", f"{OIL}:1:11: found the byte 0xe2, expected UTF-8 text"),
    "surrogate": (b"name: \xed\xa0\x80", f"{OIL}:1:7: found the byte 0xed, expected UTF-8 text"),
}


@pytest.mark.parametrize(("data", "said"), BYTES.values(), ids=BYTES)
def test_bytes_that_are_no_text(data: bytes, said: str, folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    root = folder({})
    (root / OIL).write_bytes(data)
    assert say(root) == [said]


TABLES = {
    "nul": ("date,variant,price\n2021-06-01,gull-a,\0\n", ':2:3: found "\\x00", expected a number'),
    "huge-cell": (
        "date,variant,price\n2021-06-01,gull-a," + "9" * 200_000,
        ":2:1: found a cell over 131072 characters, expected a CSV table",
    ),
    "old-line-ends": ("date,variant,price\r2021-06-01,gull-a,cheap\r", ':2:3: found "cheap", expected a number'),
    "empty": ("", ": found an empty table, expected a first line with the names of the columns"),
    "overflow": ("date,variant,price\n2021-06-01,gull-a," + "9" * 400, f':2:3: found "{"9" * 57}...", expected a number'),
}


@pytest.mark.parametrize(("text", "said"), TABLES.values(), ids=TABLES)
def test_tables(text: str, said: str, folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    assert say(folder({SALES: text})) == [SALES + said]


# Files and folders -----------------------------------------------------------------------------------------------------


def test_link_out_of_the_folder_is_not_read(folder: Callable[..., Path], tmp_path: Path) -> None:
    (tmp_path / "private.yaml").write_text("name: Private\nminutes: 5\nsteps: [Read.]\n")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "secret.yaml").write_text("name: Secret\nminutes: 5\nsteps: [Read.]\n")
    root = folder({})
    (root / "procedures" / "private.yaml").symlink_to(tmp_path / "private.yaml")
    (root / "sightings" / "linked").symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    entries, _ = check(root)
    assert list(entries.procedures) == ["oil-axles"]
    assert list(entries.sightings) == ["shelf-1"]


def test_knowledge_base_behind_a_link_out_of_the_folder_is_told(folder: Callable[..., Path], tmp_path: Path) -> None:
    """Silence would mean that the record has been checked."""
    root = folder({})
    (root / "knowledge-base.yaml").rename(tmp_path / "other.yaml")
    (root / "knowledge-base.yaml").symlink_to(tmp_path / "other.yaml")
    _, findings = check(root)
    assert [finding.path for finding in findings] == ["knowledge-base.yaml"]


def test_link_inside_the_folder_is_read(folder: Callable[..., Path]) -> None:
    root = folder({})
    (root / "procedures" / "wax.yaml").symlink_to(root / OIL)
    entries, findings = check(root)
    assert (sorted(entries.procedures), findings) == (["oil-axles", "wax"], [])


def test_link_to_nothing(folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    root = folder({})
    (root / "procedures" / "gone.yaml").symlink_to(root / "nowhere.yaml")
    assert say(root) == ["procedures/gone.yaml: found no such file or directory, expected a file that can be read"]


def test_link_to_itself(folder: Callable[..., Path]) -> None:
    root = folder({})
    (root / "procedures" / "ring.yaml").symlink_to(root / "procedures" / "ring.yaml")
    _, findings = check(root)
    assert [(finding.path, finding.kind) for finding in findings] == [("procedures/ring.yaml", Kind.UNREADABLE)]


def test_pipe_is_not_waited_for(folder: Callable[..., Path]) -> None:
    """Opening a named pipe would wait for a writer forever."""
    root = folder({})
    pipe = root / "procedures" / "pipe.yaml"
    os.mkfifo(pipe)
    found: list[Finding] = []
    reader = threading.Thread(target=lambda: found.extend(check(root)[1]), daemon=True)
    reader.start()
    reader.join(timeout=3)
    waited = reader.is_alive()
    if waited:
        pipe.open("wb").close()
        reader.join()
    assert not waited
    assert [(finding.path, finding.kind) for finding in found] == [("procedures/pipe.yaml", Kind.UNREADABLE)]


def test_folder_called_like_a_file(folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    root = folder({})
    (root / "procedures" / "x.yaml").mkdir()
    (root / "makers.yml").mkdir()
    assert say(root) == []


@pytest.mark.parametrize(
    "name",
    ["two words", "a%0Ab", "a:1:2", "a\nb", "ü", "-x", "a--b", "$(id)", "\u202ecba", "x.y"],
    ids=ascii,
)
def test_odd_file_names(name: str, folder: Callable[..., Path]) -> None:
    root = folder({})
    (root / "procedures" / f"{name}.yaml").write_text("name: X\nminutes: 5\nsteps: [a]\n")
    entries, (finding,) = check(root)
    assert list(entries.procedures) == ["oil-axles"]
    assert (finding.kind, finding.line, finding.column) == (Kind.WRONG_VALUE, 1, 1)
    assert not steering(str(finding))


def test_file_name_that_is_no_text(folder: Callable[..., Path]) -> None:
    root = folder({})
    Path(os.fsdecode(os.fsencode(root / "procedures") + b"/\xff.yaml")).write_text("name: X\nminutes: 5\nsteps: [a]\n")
    _, (finding,) = check(root)
    assert str(finding).encode("utf-8"), "it can be printed"
    assert json.dumps(finding.as_dict(), ensure_ascii=False).encode("utf-8")


# Anything at all -------------------------------------------------------------------------------------------------------

PATHS = sorted(
    [
        "knowledge-base.yaml", "sources.yaml", "makers.yaml", "liveries.yaml", "traits.yaml", "families/tram/family.yaml",
        A, "families/tram/variants/gull-b.yaml", "families/tram/sets/gull-pair.yaml", "parts/wheel/slot-type.yaml",
        "parts/wheel/spoked.yaml", OIL, "sightings/tram/shelf-1.yaml", SALES,
    ]
)  # fmt: skip
ANYTHING = settings(
    max_examples=100,
    deadline=None,
    database=None,
    phases=[Phase.explicit, Phase.generate],  # an example is short as it is; shrinking would take minutes
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
WORDS = st.sampled_from(
    ["name", "is", "unknown", "missing", "gull-a", "wheels", "tram", "plain", "length", "1/0", "1e400", "nan", "4 +- 1 mm", ""]
)
VALUES = st.recursive(
    st.none() | WORDS | st.text(max_size=8) | st.floats() | st.integers() | st.booleans(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS | st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


def told(root: Path) -> None:
    """Checks the folder: findings or none, each of one line about a file in it."""
    for finding in check(root)[1]:
        assert not steering(str(finding)), finding
        assert (root / finding.path).exists(), finding
        assert finding.line >= 0, finding


@ANYTHING
@given(path=st.sampled_from(PATHS), text=st.text(st.characters(codec="utf-8")) | st.text("[]{}:,-?&*!|>'\"% #\n\tax10"))
def test_any_text(path: str, text: str, folder: Callable[..., Path]) -> None:
    told(folder({path: text}))


@ANYTHING
@given(path=st.sampled_from(PATHS), data=st.binary(max_size=200))
def test_any_bytes(path: str, data: bytes, folder: Callable[..., Path]) -> None:
    root = folder({})
    (root / path).write_bytes(data)
    told(root)


def steps_of(value: Any) -> list[Any]:
    """The keys or indexes below a plain value."""
    if isinstance(value, dict):
        return sorted(cast("dict[str, Any]", value))
    return [*range(len(cast("list[Any]", value)))] if isinstance(value, list) else []


@ANYTHING
@given(data=st.data())
def test_any_value_in_place_of_one(data: st.DataObject, folder: Callable[..., Path]) -> None:
    """Random text seldom gets past the parser: here one value of a sound file becomes another."""
    root = folder({})
    path = root / data.draw(st.sampled_from([path for path in PATHS if path != SALES]))
    whole: Any = yaml_text.read(path.read_text("utf-8"), path.name)
    inner = whole
    while True:
        step: Any = data.draw(st.sampled_from(steps_of(inner)))
        if not steps_of(inner[step]) or data.draw(st.booleans()):
            break
        inner = inner[step]
    inner[step] = data.draw(VALUES)
    path.write_text(json.dumps(whole), "utf-8")
    told(root)

"""`tellmark listing` as people and programs meet it, on the packaged demonstration."""

# The library of schemas and their references is typed in part.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result
from referencing import Registry, Resource
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "tests" / "examples"
FLOOR, MOTOR = (EXAMPLES / f"listing-{name}.txt" for name in ("solid-floor", "late-motor"))
SCHEMAS = {path.name: json.loads(path.read_text("utf-8")) for path in (ROOT / "cli" / "schemas").glob("*.json")}


def run(*arguments: str | Path, typed: str | bytes | None = None) -> Result:
    words = ["--entries", str(ROOT / "entries"), "listing", *map(str, arguments)]
    return CliRunner().invoke(main, words, input=typed, catch_exceptions=False)


def found(*arguments: str | Path, typed: str | bytes | None = None) -> dict[str, Any]:
    result = run(*arguments, "--json", typed=typed)
    assert result.exit_code == 0, result.stderr
    plain = json.loads(result.stdout)
    registry = Registry().with_resources([(key, Resource.from_contents(schema)) for key, schema in SCHEMAS.items()])
    jsonschema.Draft202012Validator(SCHEMAS["listing.json"], registry=registry).validate(plain)
    return plain


def test_a_text_that_contradicts_its_photographs() -> None:
    plain = found(FLOOR, "--answers", FLOOR.with_suffix(".yaml"))
    (one,) = plain["units"]
    first = one["findings"][0]
    assert first["kind"] == "photographs"
    assert [plain["claims"][n]["says"] for n in first["claims"]] == [["cab-diesel-420/powered-a"]]
    assert set(first["answers"]) == {"number", "floor-cutout"}
    assert one["identified"]["variants"][0]["id"] == "424-prairie-meridian-t-b2"
    (kind,) = [some for some in one["claims"] if plain["claims"][some["claim"]]["says"] == ["cab-diesel-420/powered-a"]]
    assert kind["doubt"] > 0.9
    assert plain["photographs_of"] == 1
    assert plain["price"]["total"] == {"low": 254.0, "high": 254.0, "currency": "USD"}


def test_a_late_motor_in_an_early_body_called_all_original() -> None:
    plain = found(MOTOR, "--answers", MOTOR.with_suffix(".yaml"))
    (one,) = plain["units"]
    assert one["identified"]["variants"][0]["id"] == "424-prairie-meridian-a-b1"
    assert [some["kind"] for some in one["findings"]] == ["original", "changed"]
    assert {some["id"] for some in one["silent"]} >= {"runs"}
    assert any(some["silent"] == ["runs"] for some in plain["questions"])


@pytest.mark.parametrize("path", [FLOOR, MOTOR], ids=["floor", "motor"])
def test_people_read_it_in_80_columns(path: Path) -> None:
    result = run(path, "--answers", path.with_suffix(".yaml"))
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= 80
    headings = [line for line in result.stdout.splitlines() if line and not line.startswith(" ")]
    for wanted in ("The text, its claims in brackets", "What does not fit", "What it costs", "A message, ready to send"):
        assert wanted in headings


def test_screen_and_json_use_the_same_words() -> None:
    plain = found(FLOOR, "--answers", FLOOR.with_suffix(".yaml"))
    shown = " ".join(run(FLOOR, "--answers", FLOOR.with_suffix(".yaml")).stdout.split())
    said = [plain["price"]["says"], *(one["says"] for one in plain["units"][0]["findings"])]
    said += [*(one["ask"] for one in plain["questions"]), plain["message"]]
    for text in said:
        assert " ".join(text.split()) in shown


def test_file_standard_input_and_saved_page_say_the_same() -> None:
    text = FLOOR.read_text("utf-8")
    lines = "".join(f"<p>{line}</p>" for line in text.splitlines())
    page = f"<!DOCTYPE html><html><head><title>424</title><script>var x = '$99 TX-80';</script></head><body>{lines}</body></html>"
    claimed = [[(one["kind"], one["says"]) for one in found(*source)["claims"]] for source in ([FLOOR],)]
    claimed += [[(one["kind"], one["says"]) for one in found("-", typed=typed)["claims"]] for typed in (text, page)]
    assert claimed[0] == claimed[1] == claimed[2]


def test_places_are_in_the_text_that_is_given() -> None:
    plain = found("-", typed=b"<html><body><div>424 &amp; Prairie&nbsp;Meridian</div><style>p {}</style>$80</body></html>")
    assert plain["text"] == "424 & Prairie Meridian\n$80"
    for one in plain["claims"]:
        assert plain["text"][one["start"] : one["end"]] == one["quote"]


def test_a_hedge_is_marked_as_a_guess() -> None:
    result = run("-", typed="I think this is a 424, first batch.")
    assert re.search(r"number: 424 +\(a guess\)", result.stdout)


BAD = [
    ("no such file", ["nowhere.txt"], None, "nowhere.txt: found no such file or directory, expected a file that can be read"),
    ("nothing in it", ["-"], b" \n\t ", "standard input: found no text, expected what a seller wrote"),
    ("a picture", ["-"], b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "standard input: found a binary file, expected a text"),
    ("too long", ["-"], b"word " * 20_000, "standard input: found a text of 99,999 characters, expected at most 60,000"),
    ("all from standard input", ["-", "--answers", "-"], b"", "found standard input for both the text and the answers, expected"),
    ("no such family", ["-", "--family", "cab-diesel-42"], b"424", 'found the family "cab-diesel-42", expected one of'),
]


@pytest.mark.parametrize(("arguments", "typed", "says"), [case[1:] for case in BAD], ids=[case[0] for case in BAD])
def test_bad_input_gets_one_clear_message(arguments: list[str], typed: bytes | None, says: str) -> None:
    result = run(*arguments, typed=typed)
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith(says)


def test_text_and_answers_are_both_refused_in_one_run(tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text("answers: {number-plase: nose-door}\n", "utf-8")
    result = run("-", "--answers", answers, typed="")
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 2
    assert 'did you mean "number-place"?' in result.stderr


def test_answers_about_a_loose_part_are_refused(tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text("part: motor\nanswers: {gearing: twin}\n", "utf-8")
    result = run("-", "--answers", answers, typed="424")
    assert result.exit_code == 2
    assert "found answers about a loose part" in result.stderr


def test_a_text_without_claims_is_nothing_to_go_by() -> None:
    result = run("-", typed="Hello, see you on Sunday.")
    assert result.exit_code == 1
    assert result.stderr == "The text claims nothing that the record has a word for.\n"


def test_a_text_of_several_units_says_so() -> None:
    typed = "First: powered A 424 Prairie Meridian, second batch. Second: trailing A, number 4242. $425 for both."
    plain = found("-", typed=typed)
    assert len(plain["units"]) == 2
    assert plain["lot"] is not None
    shown = run("-", typed=typed).stdout
    assert "The text speaks of 2 units" in shown
    assert "Unit 2: " in shown

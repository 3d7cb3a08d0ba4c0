"""`tellmark identify --part` as people and programs meet it, on the packaged demonstration."""

# ruff: noqa: E501 (whole messages are as long as they are)

import json
import os
import pty
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
ENTRIES = ROOT / "entries"
EXAMPLES = ROOT / "tests" / "examples"
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "part.json").read_text("utf-8"))


def run(*arguments: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(main, ["--entries", str(ENTRIES), "identify", *arguments], input=typed, catch_exceptions=False)


def identified(answers: str, *options: str) -> dict[str, Any]:
    result = run("--answers", "-", "--json", *options, typed=answers)
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    jsonschema.validate(found, SCHEMA, cls=jsonschema.Draft202012Validator)
    return found


def screen(answers: str, *options: str) -> str:
    result = run("--answers", "-", *options, typed=answers)
    assert result.exit_code == 0, result.stderr
    return flat(result.stdout)


def talk(*typed: str, options: tuple[str, ...] = ("--part",)) -> str:
    """What the screen shows when this is typed, one line after the other."""
    result = run(*options, typed="".join(f"{line}\n" for line in typed))
    assert result.exit_code == 0, result.stderr
    return result.output


def flat(text: str) -> str:
    return " ".join(text.split())


def questions(text: str) -> list[str]:
    return [line for line in text.splitlines() if line[:1].isdigit() and ". " in line and "?" in line]


# One go ----------------------------------------------------------------------------------------------------------------


def test_reproduction_motor() -> None:
    found = identified((EXAMPLES / "loose-motor.yaml").read_text("utf-8"))
    assert found["settled"]
    assert found["next"] is None
    assert found["parts"][0]["id"] == "kiln-lane-twin"
    assert found["reproduction"]["probability"] > 0.95
    assert [one["slot_type"] for one in found["parts"][:2]] == ["motor", None]


def test_reproduction_on_the_screen() -> None:
    shown = screen((EXAMPLES / "loose-motor.yaml").read_text("utf-8"))
    assert shown.startswith("Settled Kiln Lane reproduction twin-gear motor")
    assert "Kiln Lane Castings, 2009 to 2025" in shown
    assert "It is a reproduction (" in shown
    assert "of Twin-gear motor (twin-gear)" in shown
    assert "Hexagonal brush caps" in shown
    assert "420 series cab diesel: motor" in shown
    assert "No unit is recorded to have left the factory with it." in shown
    assert "variant" not in shown.partition("Born with it")[0]


def test_original_on_the_screen() -> None:
    """Of no idea at all: what it is, whom it was born with, and how to tell it from its copy."""
    shown = screen((EXAMPLES / "loose-coupler.yaml").read_text("utf-8"))
    assert "Plate coupler" in shown.partition("Could it be another?")[0]
    assert "Kiln Lane reproduction plate coupler: KL behind the jaw" in shown
    assert "310 series freight cars, coupler at the other end: always 15" in shown


def test_foreign_part_on_the_screen() -> None:
    shown = screen("part: motor\nanswers: {gearing: twin, motor-mark: diamond-a, brush-plate: flat-caps}")
    assert "Ashgrove Manufacturing made it to go into units by Pellworth Toy Works." in shown
    assert "No reproduction like it is recorded." in shown


def test_not_in_the_record_on_the_screen() -> None:
    shown = screen(
        "part: motor\nanswers: {gearing: single, brush-plate: hex-caps, motor-mark: diamond-a, field-resistance: 8 ohm}"
    )
    assert shown.startswith(("No recorded part fits", "Probably not in the record"))
    assert "Nobody has recorded a part like this." in shown
    assert "Born with it" not in shown
    assert "Take care" in shown


def test_twins_are_said_with_what_is_recorded_in_words() -> None:
    answers = "part: motor\nanswers: {gearing: single, traction: tires, brush-plate: molded-plate, motor-mark: unmarked, field-resistance: 4.1 ohm}"
    assert sorted(identified(answers)["cannot_be_told_apart"]) == ["economy-gear", "late-worm-motor"]
    shown = screen(answers)
    assert "How to tell is recorded in words only." in shown
    assert "A worm turns the middle axle" in shown
    assert shown.count("What it fits") == 2


def test_mains_caution_shows_before_any_answer() -> None:
    for options in (("--part", "cord"), ("--part", "plug")):
        assert "Work on the mains side belongs to a licensed person, and your local electrical code comes before" in screen(
            "{}", *options
        )


def test_mains_caution_comes_before_the_first_look_at_a_cord() -> None:
    """Once, and not before the sort is known."""
    for typed, options in ((("n", "x"), ("--part", "cord")), (("cord", "n", "x"), ("--part",))):
        asked = flat(talk(*typed, options=options)).partition("Take care")[0]
        assert asked.count("Mains voltage can kill.") == 1
        assert asked.index("Mains voltage can kill.") < asked.index("Is the mains cord rubber")
    assert "Mains voltage" not in talk("x", options=("--part", "motor"))


def test_probabilities_sum_to_one() -> None:
    found = identified("answers: {slot-type: coupler, jaw: fixed}", "--part")
    for key in ("slot_types", "parts", "makers"):
        assert sum(one["probability"] for one in found[key]) == pytest.approx(1, abs=0.02), key


@pytest.mark.parametrize(
    ("file", "options"),
    [
        pytest.param("part: motor\nanswers: {gearing: twin}", (), id="in the file"),
        pytest.param("answers: {gearing: twin}", ("--part", "motor"), id="on the command line"),
        pytest.param("part: motor\nanswers: {motor.gearing: twin}", ("--part",), id="the file says more than the command line"),
        pytest.param("part: any\nanswers: {gearing: twin}", ("--part", "motor"), id="the command line says more than the file"),
        pytest.param("part: coupler\nanswers: {gearing: twin}", ("--part", "motor"), id="the command line goes before the file"),
    ],
)
def test_ways_to_say_which_sort(file: str, options: tuple[str, ...]) -> None:
    assert identified(file, *options) == identified("part: motor\nanswers: {gearing: twin}")


def test_a_unique_key_tells_the_sort() -> None:
    """Nothing but a motor has gears that drive axles."""
    assert identified("part: any\nanswers: {gearing: twin}")["slot_types"][0]["id"] == "motor"


def test_views_restrict_the_next_question() -> None:
    found = identified("part: motor\nviews: [underside]\nanswers: {gearing: twin}")
    assert found["next"]["view"] == "underside"
    assert found == identified("part: motor\nanswers: {gearing: twin}", "--views", "underside")
    settled = identified("part: motor\nviews: [underside]\nanswers: {gearing: twin, traction: smooth-treads}")
    assert {one["what"] for view in settled["views"] for one in view["settles"]} <= {"part"}
    assert settled["views"][0]["view"] == "inside"


def test_no_answers_yet_describes_nothing() -> None:
    found = identified("answers: {}", "--part")
    assert (found["answers"], found["described"], found["cautions"]) == ([], [], [])
    assert found["next"]["trait"] == "slot-type"
    assert found["next"]["form"] == "choice"


def test_impossible_answers_are_findings() -> None:
    """A reading that no recorded part can give is still read as one that nobody recorded."""
    found = identified("part: coupler\nanswers: {jaw: {not: [opening, fixed, wire-loop]}}")
    assert found["answers"][0]["bits"] == 0


# Bad input -------------------------------------------------------------------------------------------------------------

TYPES = "bell, brake-wheel, car-door, cord, coupler, dome-glass, drawbar, handle, handrail, headlight, horn, lamp or 14 more"
WITH_ANY = "any, bell, brake-wheel, car-door, cord, coupler, dome-glass, drawbar, handle, handrail, headlight, horn or 15 more"
VIEWS = "bench, box, end, inside, nose, paper, roof, running, side or underside"
BESIDE = "found a loose part beside a family, expected one of the two"

BAD = [
    pytest.param(
        "part: motr\n",
        (),
        [f'1:7: found the slot type "motr", expected one of {WITH_ANY}; did you mean "motor"?'],
        id="misspelled slot type",
    ),
    pytest.param(
        "part: motor\nanswers: {gearin: twin}\n",
        (),
        ['2:11: found the key "gearin", expected a trait of a part of the slot type "motor"; did you mean "gearing"?'],
        id="misspelled trait",
    ),
    pytest.param(
        "answers: {motr.gearing: twin}\n",
        ("--part",),
        ['1:11: found the key "motr.gearing", expected a trait of any part; did you mean "motor.gearing"?'],
        id="misspelled slot type in a key",
    ),
    pytest.param(
        "answers: {substance: turned-brass}\n",
        ("--part",),
        ['1:11: found the key "substance", expected one of bell.substance or horn.substance'],
        id="a key of two slot types",
    ),
    pytest.param(
        "part: motor\nanswers: {gearing: twn}\n",
        (),
        ['2:20: found "twn", expected one of the states single or twin; did you mean "twin"?'],
        id="misspelled state",
    ),
    pytest.param(
        "answers: {slot-type: motr}\n",
        ("--part",),
        ['1:22: found "motr", expected one of the states ' + TYPES.replace("14", "15") + '; did you mean "motor"?'],
        id="misspelled sort",
    ),
    pytest.param(
        "part: motor\nanswers: {field-resistance: 2 mm}\n", (), ['2:29: found "2 mm", expected a value in ohm'], id="another unit"
    ),
    pytest.param(
        "part: motor\nviews: [sied]\n",
        (),
        [f'2:9: found the view "sied", expected one of {VIEWS}; did you mean "side"?'],
        id="misspelled view",
    ),
    pytest.param("part: motor\nfamily: tender-70\n", (), [f"1:1: {BESIDE}"], id="a part and a family in one file"),
    pytest.param(
        "part: motor\n", ("--family", "tender-70"), [f"1:1: {BESIDE}"], id="a part in the file, a family on the command line"
    ),
    pytest.param("family: tender-70\n", ("--part",), [f"1:1: {BESIDE}"], id="a family in the file, a part on the command line"),
    pytest.param(
        "part: [motor]\nviews: [sied]\nanswers: {gearin: twin, motor.traction: tyres}\n",
        (),
        [
            "1:7: found a list, expected a text",
            f'2:9: found the view "sied", expected one of {VIEWS}; did you mean "side"?',
            '3:11: found the key "gearin", expected a trait of any part; did you mean "gearing"?',
            '3:41: found "tyres", expected one of the states smooth-treads or tires; did you mean "tires"?',
        ],
        id="everything at once",
    ),
]


@pytest.mark.parametrize(("answers", "options", "messages"), BAD)
def test_bad_answers_file(answers: str, options: tuple[str, ...], messages: list[str]) -> None:
    result = run("--answers", "-", *options, typed=answers)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines() == [f"standard input:{message}" for message in messages]


REFUSED = [
    pytest.param(
        ("--part", "motor", "--family", "tender-70"),
        "found --part together with --family, expected one of the two: a loose part, or a unit of a family",
        id="with a family",
    ),
    pytest.param(
        ("--part", "--target", "set"),
        "found --part together with --target set, expected no target: which part it is",
        id="with a target",
    ),
    pytest.param(
        ("--part", "motr"), f'found the slot type "motr", expected one of {TYPES}; did you mean "motor"?', id="misspelled"
    ),
    pytest.param(
        ("--part", "motor", "--views", "sied"),
        f'found the view "sied", expected one of {VIEWS}; did you mean "side"?',
        id="no such view",
    ),
]


@pytest.mark.parametrize(("options", "message"), REFUSED)
def test_refused_on_the_command_line(options: tuple[str, ...], message: str) -> None:
    result = run(*options)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", message + "\n")


def test_a_target_in_front_of_a_file_with_a_part_is_refused() -> None:
    result = run("--answers", "-", "--target", "original", typed="part: motor\n")
    assert result.exit_code == 2
    assert "--target original" in result.stderr


def test_a_lot_has_no_loose_parts() -> None:
    result = CliRunner().invoke(main, ["--entries", str(ENTRIES), "lot", "-"], input="units:\n  - part: motor\n  - {}\n")
    assert result.exit_code == 2
    assert 'found the key "part", expected' in result.stderr


# The conversation ------------------------------------------------------------------------------------------------------


def test_the_sort_is_a_choice_by_number_or_name() -> None:
    assert questions(talk("15", "x")) == questions(talk("Motor", "x")) == questions(talk("motor", "x"))
    shown = talk("motor", "x")
    assert questions(shown)[0] == "1. Sort of part: which is it?"
    assert "   15  Motor" in shown
    assert "none of these" not in shown
    assert "parts left; Twin-gear motor leads with" in shown


def test_a_misspelled_sort_names_the_nearest() -> None:
    assert 'found "motr", expected numbers from 0 to 27; did you mean "motor"?' in flat(talk("motr", "x"))


def test_something_else_ends_it() -> None:
    shown = talk("something else")
    assert len(questions(shown)) == 1
    assert "No recorded part fits" in shown


def test_cannot_tell_the_sort_asks_about_all_sorts() -> None:
    shown = talk("c", "m", "x")
    assert "m where the part has no such thing at all." in shown
    assert "no such thing" in shown.split("Why")[1]


def test_conversation_says_part() -> None:
    shown = talk("w", "n", "h", "1", "2", "b", "x", options=("--part", "motor"))
    assert "part left; " in shown or "parts left; " in shown
    assert "variant" not in shown.split("Could it be another?")[0].lower()


def test_back_asks_the_sort_again() -> None:
    asked = questions(talk("lens", "b", "x"))
    assert asked[0] == asked[2]


def test_change_the_sort() -> None:
    shown = talk("lens", "h", "1", "whistle", "x")
    assert "    1  Sort of part: Lens" in shown
    assert "whistle" in questions(shown)[2]


def test_nothing_can_be_missing_on_a_part_in_hand() -> None:
    assert "Nothing can be missing there; answer no, or cannot tell." in talk("m", "x", options=("--part", "motor"))


def test_volunteer_by_slot_type_and_bare() -> None:
    assert "Gearing: Two geared axles" in talk("motor.gearing: twin", "x")
    shown = flat(talk("gearing: twn", "bell.swing: fast", "x"))
    assert 'did you mean "twin"?' in shown
    assert 'found the key "bell.swing", expected a trait of any part; did you mean "bell.swings"?' in shown


def test_no_view_is_named_that_only_takes_turning_it_around() -> None:
    """Nothing has to be opened to see the inside of what is in one's hand; a meter has to be fetched."""
    shown = talk("twin", "x", options=("--part", "motor"))
    assert "[inside the shell]" not in shown
    assert "[underside]" not in shown
    asked = talk(
        "gearing: single",
        "traction: tires",
        "brush-plate: molded-plate",
        "motor-mark: unmarked",
        "x",
        options=("--part", "motor"),
    )
    assert "[on the bench]" in questions(asked)[-1]


def test_on_a_real_terminal() -> None:
    """In a terminal of its own, to the verdict: a lens whose face is flat, in a brass ring."""
    words = ["lens", "y", "y"]
    child, terminal = pty.fork()
    if child == 0:
        os.environ |= {"COLUMNS": "80", "TERM": "dumb"}
        code = "from tellmark.cli.main import main; main()"
        os.execv(sys.executable, [sys.executable, "-c", code, "--entries", str(ENTRIES), "identify", "--part"])
    shown = b""
    asked = 0
    while True:
        try:
            piece = os.read(terminal, 4096)
        except OSError:  # how Linux says that the other end is closed
            break
        if not piece:
            break
        shown += piece
        while asked < len(words) and shown.count(b"\n> ") > asked:
            os.write(terminal, words[asked].encode() + b"\n")
            asked += 1
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    text = shown.decode()
    assert asked == len(words)
    assert "Flat glass lens" in text.split("Settled")[1]
    assert "What it fits" in text

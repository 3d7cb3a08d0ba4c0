"""The conversation: every word a person can type, and what is on the screen after it."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from tellmark.cli.main import main

ENTRIES = Path(__file__).parents[2] / "entries"


def talk(*typed: str, options: tuple[str, ...] = ("--family", "cab-diesel-420")) -> str:
    """What the screen shows when this is typed, one line after the other."""
    arguments = ["--entries", str(ENTRIES), "identify", *options]
    result = CliRunner().invoke(main, arguments, input="".join(f"{line}\n" for line in typed), catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result.output


def questions(screen: str) -> list[str]:
    """The numbered questions that were put."""
    return [line for line in screen.splitlines() if line[:1].isdigit() and ". " in line and "?" in line]


def test_legend_names_every_word() -> None:
    screen = talk("x")
    for word in ("yes", "no", "cannot tell", "missing", "show all states", "why", "back", "change", "stop"):
        assert word in screen


def test_stop_at_once_says_nothing_more() -> None:
    assert "Why" not in talk("stop")


def test_yes_counts_and_names_the_leader() -> None:
    screen = talk("y", "x")
    assert len(questions(screen)) == 2
    assert " left; " in screen
    assert " leads with " in screen
    assert "bits for the verdict" in screen


def test_words_may_be_written_out_or_begun() -> None:
    typed = ["y", "yes"], ["c", "cannot", "cannot tell"], ["n", "no", "NO"]
    for same in typed:
        assert len({talk(word, "x").replace(f"> {word}\n", "> \n") for word in same}) == 1


def test_cannot_tell_is_not_asked_again() -> None:
    screen = talk("c", "x")
    first, second = questions(screen)
    assert first.split(". ", 1)[1] != second.split(". ", 1)[1]


def test_back_asks_the_same_again() -> None:
    asked = questions(talk("n", "b", "x"))
    assert asked[0] == asked[2]


def test_back_at_the_first_question() -> None:
    assert "This is the first question." in talk("b", "x")


def test_why_tells_worth_and_outcomes() -> None:
    screen = talk("w", "x")
    assert "bits for an effort of" in screen
    assert "   Yes: " in screen
    assert "   No: " in screen
    assert len(questions(screen)) == 1


def test_states_lists_them_and_takes_a_number() -> None:
    screen = talk("road-name: PRAIRIE MERIDIAN", "s", "1", "x")
    assert "    1  " in screen
    assert "    0  none of these" in screen
    assert len(questions(screen)) == 3


def test_states_refuses_other_numbers() -> None:
    assert 'found "99", expected numbers from 0 to ' in talk("number: 4241", "s", "99", "x")


def test_change_an_earlier_answer() -> None:
    screen = talk("number-place: nose-door", "h", "1", "2", "x")
    assert "    1  Place of the road number: On the nose door" in screen
    assert "Place of the road number: On the nose door" not in screen.split("Why")[1]


def test_nothing_to_change_yet() -> None:
    assert "There is no answer to change yet." in talk("change", "x")


def test_volunteer_a_marking_with_unread_characters() -> None:
    screen = talk("number: 4?41", "x")
    assert 'Road number: reads "4?41"' in screen
    assert "Prairie Meridian" in screen


def test_volunteer_a_measured_value() -> None:
    assert "Height of the road number: 6.2 +- 0.1 mm" in talk("number-height: 6.2 ± 0.1 mm", "x")


def test_volunteered_nonsense_is_told() -> None:
    screen = talk("number-plase: nose-door", "number-place: nose-dor", "x")
    assert 'found the key "number-plase", expected a trait or slot of cab-diesel-420; did you mean "number-place"?' in screen
    assert 'did you mean "nose-door"?' in screen


def test_unknown_word_names_the_nearest() -> None:
    assert (
        'found "bakc", expected one of: yes, no, cannot tell, missing, states, why, back, change, stop; did you mean "back"?'
        in talk("bakc", "x")
    )


def test_end_of_input_ends_with_a_report() -> None:
    assert "What would help most" in talk("y")


def test_missing_only_where_there_is_a_part() -> None:
    screen = talk("number-place: nose-door", *["m", "c"] * 12)
    assert "That is no separate part; answer no, or cannot tell." in screen
    assert ": missing" in screen


@pytest.mark.parametrize("view", ["side", "underside"])
def test_only_the_views_at_hand(view: str) -> None:
    screen = talk(*["c"] * 6, options=("--family", "cab-diesel-420", "--views", view))
    shown = {line.rsplit("[", 1)[1] for line in questions(screen) if "[" in line}
    assert len(shown) == 1

"""The conversation: every word a person can type, and what is on the screen after it."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from tellmark.cli.main import main

ENTRIES = Path(__file__).parents[2] / "entries"


#: A view without anything to read: it begins with a yes/no question.
UNDER = ("--family", "cab-diesel-420", "--views", "underside")


def talk(*typed: str, options: tuple[str, ...] = ("--family", "cab-diesel-420")) -> str:
    """What the screen shows when this is typed, one line after the other."""
    arguments = ["--entries", str(ENTRIES), "identify", *options]
    result = CliRunner().invoke(main, arguments, input="".join(f"{line}\n" for line in typed), catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result.output


def flat(screen: str) -> str:
    """The screen without its line breaks."""
    return " ".join(screen.split())


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
    screen = talk("y", "x", options=UNDER)
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
    asked = questions(talk("n", "b", "x", options=UNDER))
    assert asked[0] == asked[2]


def test_back_at_the_first_question() -> None:
    assert "This is the first question." in talk("b", "x")


def test_why_tells_worth_and_outcomes() -> None:
    screen = talk("w", "x", options=UNDER)
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
    assert 'found the key "number-plase", expected a trait or slot of cab-diesel-420; did you mean "number-place"?' in flat(
        screen
    )
    assert 'did you mean "nose-door"?' in flat(screen)


def test_unknown_word_names_the_nearest() -> None:
    words = "yes, no, cannot tell, missing, states, why, back, change, stop"
    assert f'found "bakc", expected one of: {words}; or trait: what you see; did you mean "back"?' in flat(
        talk("bakc", "x", options=UNDER)
    )


def test_a_question_for_a_text_takes_a_text() -> None:
    screen = talk("y", "4?61", "x")
    assert "Type what can be read, ? for each character that cannot." in screen
    assert "Neither yes nor no answers this: type what you can read" in flat(screen)
    assert 'Road number: reads "4?61"' in screen


def test_a_text_that_nobody_recorded_is_said_to_be_one() -> None:
    screen = flat(talk("banana", "b", "x"))
    assert 'Nothing recorded reads "banana". b takes it back.' in screen
    assert "Nothing recorded" not in flat(talk("4?61", "x"))
    assert 'Nothing recorded reads "4444". b takes it back.' in flat(talk("number: '4444'", "x"))


def test_the_list_of_answers_tells_looks_apart() -> None:
    screen = flat(talk(*CONTRADICTION, "n", "h", "0", "x"))
    assert "Emblem on the nose: not winged (second look)" in screen


def test_a_slip_in_a_word_is_not_taken_for_a_text() -> None:
    screen = flat(talk("bakc", "x"))
    assert 'did you mean "back"? If it is what you read, type number: bakc' in screen
    assert "Why" not in screen


def test_any_form_shows_the_pictures_states_and_takes_their_number() -> None:
    screen = talk("-", "7", "x", options=("--ask", "any"))
    assert "    7  Freight car" in screen
    assert "    1  " in screen
    assert 'found "-", expected numbers from 0 to ' in screen


#: A first batch by its emblem, a second by everything else.
CONTRADICTION = (
    "number: 4231",
    "nose-emblem: {not: winged}",
    "front-coupler.jaw: missing",
    "number-height: {less_than: 5.5 mm}",
    "grab-irons: {not: molded-irons}",
)


def test_an_answer_that_looks_wrong_is_asked_again() -> None:
    screen = flat(talk(*CONTRADICTION, "w", "y", "x"))
    assert "6. Look again: does the nose emblem have wings?" in screen
    assert "You said: not winged. The other answers speak against it: it is wrong with a chance of " in screen
    assert "Looking again at this tells more for its effort than any new question." in screen
    assert screen.split("Settled")[1].startswith(" 423 Iron Coast, powered A, second batch")


def test_looking_again_may_confirm_it() -> None:
    screen = flat(talk(*CONTRADICTION, "n", "x"))
    assert screen.count("Look again: does the nose emblem have wings?") == 1
    assert "7. " in screen


def test_end_of_input_ends_with_a_report() -> None:
    assert "What would help most" in talk("y", options=UNDER)


def test_missing_only_where_there_is_a_part() -> None:
    screen = talk("number-place: nose-door", *["m", "c"] * 12)
    assert "Nothing can be missing there; answer no, or cannot tell." in screen
    assert ": missing" in screen


@pytest.mark.parametrize("view", ["side", "underside"])
def test_only_the_views_at_hand(view: str) -> None:
    screen = talk(*["c"] * 6, options=("--family", "cab-diesel-420", "--views", view))
    shown = {line.rsplit("[", 1)[1] for line in questions(screen) if "[" in line}
    assert len(shown) == 1


def test_one_impossible_answer_can_be_taken_back() -> None:
    """A marking typed wrong twice over; the conversation goes on."""
    told = [f"{trait}: {state}" for trait, state in (("number-height", "6.2 +- 0.1 mm"), ("horn", "missing"))]
    screen = talk(*told, "b", "b", "x")
    assert questions(screen)[0] == questions(screen)[-1].replace("3. ", "1. ")


def test_a_part_is_told_by_its_slot() -> None:
    assert "Motor: Single-gear motor" in talk("motor: single-gear", "x")
    assert 'found "nonsense", expected one of the parts' in flat(talk("motor: nonsense", "x"))
    assert "Horn: missing" in talk("horn: missing", "x") or "Horn: nothing there" in talk("horn: missing", "x")


def test_what_is_told_again_replaces_what_was_told() -> None:
    assert talk("stripe-shape: level-band", "stripe-shape: whiskers", "x").split("Why")[1].count("nose stripe") == 1


def test_other_forms_can_be_told_too() -> None:
    assert "Shape of the nose stripe: not" in talk("stripe-shape: {not: whiskers}", "x")


def test_a_missing_pilot_can_be_said_where_its_length_is_asked() -> None:
    screen = talk("pilot.length: missing", "x", options=("--family", "cab-diesel-420", "--views", "nose"))
    assert "Pilot: length of the pilot: missing" in screen


@pytest.mark.parametrize("word", ["x", "q", "quit", "exit", "stop"])
def test_ways_to_stop(word: str) -> None:
    assert "found" not in talk(word)


def test_help_shows_the_words_again() -> None:
    assert talk("?", "x").count("show all states") == 2


def test_nothing_seen_yet_promises_nothing() -> None:
    from tellmark.cli.main import main as command

    result = CliRunner().invoke(command, ["--entries", str(ENTRIES), "identify", "--answers", "-"], input="")
    assert result.stdout.startswith("No answers yet; the commonest are")

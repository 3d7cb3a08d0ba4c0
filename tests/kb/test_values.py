"""The small written values: what a collector may write, what it means, and what is refused."""

import math
import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError
from tellmark.kb.values import (
    UNITS,
    Answer,
    Fact,
    Measure,
    WrittenAnswer,
    WrittenFact,
    WrittenYears,
    Years,
    half_place,
    read_measure,
)
from tellmark.kb.values import Weight as WrittenWeight

YEARS: TypeAdapter[Years] = TypeAdapter(WrittenYears)
WEIGHT: TypeAdapter[str | float] = TypeAdapter(WrittenWeight)
FACT: TypeAdapter[Fact] = TypeAdapter(WrittenFact)
ANSWER: TypeAdapter[Answer] = TypeAdapter(WrittenAnswer)


def refused(adapter: TypeAdapter[Any], written: Any) -> str:
    """What was expected instead, where the value is refused."""
    with pytest.raises(ValidationError) as error:
        adapter.validate_python(written)
    return error.value.errors()[0]["msg"]


# Measured values -------------------------------------------------------------------------------------------------------

MEASURES = {
    "plain": ("4.8", Measure(4.8, None, "")),
    "whole": ("12", Measure(12, None, "")),
    "unit": ("4.8 mm", Measure(4.8, None, "mm")),
    "unit-without-space": ("4.8mm", Measure(4.8, None, "mm")),
    "typed-tolerance": ("4.8 +- 0.3 mm", Measure(4.8, 0.3, "mm")),
    "slashed-tolerance": ("4.8 +/- 0.3 mm", Measure(4.8, 0.3, "mm")),
    "printed-tolerance": ("4.8 ± 0.3 mm", Measure(4.8, 0.3, "mm")),
    "tolerance-without-spaces": ("4.8±0.3mm", Measure(4.8, 0.3, "mm")),
    "tolerance-without-unit": ("4.8 +- 0.3", Measure(4.8, 0.3, "")),
    "no-tolerance-at-all": ("4.8 +- 0 mm", Measure(4.8, 0.0, "mm")),
    "fraction": ("13/16 in", Measure(0.8125, None, "in")),
    "mixed-fraction": ("1 1/4 in", Measure(1.25, None, "in")),
    "fraction-as-tolerance": ("1 1/4 +- 1/32 in", Measure(1.25, 0.03125, "in")),
    "inch-mark": ('13/16"', Measure(0.8125, None, "in")),
    "printed-inch-mark": ("2″", Measure(2, None, "in")),
    "inch-as-word": ("2 inches", Measure(2, None, "in")),
    "volts": ("14 V", Measure(14, None, "V")),
    "negative": ("-3.5", Measure(-3.5, None, "")),
    "negative-mixed-fraction": ("-1 1/4 in", Measure(-1.25, None, "in")),
    "leading-point": (".5 mm", Measure(0.5, None, "mm")),
    "closing-point": ("5. mm", Measure(5, None, "mm")),
    "power-of-ten": ("1.2e3 ohm", Measure(1200, None, "ohm")),
    "spaces-around": ("  4.8 mm ", Measure(4.8, None, "mm")),
    "denominator-with-a-leading-zero": ("1/08 in", Measure(0.125, None, "in")),
}


@pytest.mark.parametrize(("written", "means"), MEASURES.values(), ids=MEASURES)
def test_measure(written: str, means: Measure) -> None:
    assert read_measure(written) == means


REFUSED = {
    "nothing": "",
    "a-word": "abc",
    "sign-apart": "- 3",
    "zero-by-zero": "0/0",
    "by-zero": "1/0 in",
    "mixed-by-zero": "1 1/0 in",
    "tolerance-by-zero": "4 +- 1/0",
    "negative-tolerance": "4.8 +- -0.3 mm",
    "tolerance-alone": "+- 0.3 mm",
    "two-values": "4.8 5.2",
    "a-span": "4..5 mm",
    "decimal-comma": "4,8 mm",
    "unknown-unit": "4.8 furlong",
    "unit-in-capitals": "4.8 MM",
    "unit-first": "mm 4.8",
    "two-units": "4.8 mm +- 0.3 in",
    "not-a-number": "nan",
    "endless": "inf",
    "overflow": "1e999",
    "fraction-with-a-power": "1/2e3",
    "too-large": "1e13",
    "too-many-digits": "9" * 5000,
    "formula": "2*2",
}


@pytest.mark.parametrize("written", REFUSED.values(), ids=REFUSED)
def test_no_measure(written: str) -> None:
    assert read_measure(written) is None


def test_power_that_would_take_forever_is_refused_at_once() -> None:
    """In a process of its own: no exception could end the computing of a number with a billion digits."""
    program = "from tellmark.kb.values import read_measure; print(read_measure('1e999999999 mm'))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=5, check=True)
    assert done.stdout == "None\n"


CONVERSIONS = {
    "inches-to-millimeters": (Measure(0.5, 0.1, "in"), "mm", Measure(12.7, 2.54, "mm")),
    "centimeters-to-millimeters": (Measure(3, None, "cm"), "mm", Measure(30, None, "mm")),
    "ounces-to-grams": (Measure(2, None, "oz"), "g", Measure(56.69904625, None, "g")),
    "as-it-is": (Measure(3, 1, "mm"), "mm", Measure(3, 1, "mm")),
    "no-unit-is-the-wanted-one": (Measure(3, 1, ""), "mm", Measure(3, 1, "mm")),
}


@pytest.mark.parametrize(("measure", "unit", "expected"), CONVERSIONS.values(), ids=CONVERSIONS)
def test_conversion(measure: Measure, unit: str, expected: Measure) -> None:
    found = measure.to(unit)
    assert found.value == pytest.approx(expected.value, rel=1e-12)
    assert (found.plus_minus, found.unit) == (
        None if expected.plus_minus is None else pytest.approx(expected.plus_minus, rel=1e-12),
        expected.unit,
    )


@pytest.mark.parametrize(("have", "want"), [("g", "mm"), ("V", "W"), ("mm", ""), ("mm", "furlong")])
def test_unlike_units(have: str, want: str) -> None:
    with pytest.raises(ValueError, match=f"{have} cannot be turned into {want}"):
        Measure(1, None, have).to(want)


@given(
    thousandths=st.integers(-999_999, 999_999), tolerance=st.none() | st.integers(0, 999_999), unit=st.sampled_from(["", *UNITS])
)
def test_written_measure_reads_back(thousandths: int, tolerance: int | None, unit: str) -> None:
    """Exactly, up to the six digits that a caliper, a scale or a meter gives."""
    measure = Measure(thousandths / 1000, None if tolerance is None else tolerance / 1000, unit)
    assert read_measure(str(measure)) == measure


@given(value=st.floats(1e-9, 1e9) | st.floats(-1e9, -1e-9) | st.just(0.0), unit=st.sampled_from(["", *UNITS]))
def test_any_written_measure_reads_back_to_six_digits(value: float, unit: str) -> None:
    found = read_measure(str(Measure(value, None, unit)))
    assert found is not None
    assert math.isclose(found.value, value, rel_tol=5.1e-6)
    assert found.unit == unit


@given(st.text() | st.text('0123456789./ +-±eE"inm'))
def test_any_text_is_a_measure_or_none(written: str) -> None:
    found = read_measure(written)
    assert found is None or (math.isfinite(found.value) and (found.plus_minus is None or found.plus_minus >= 0))


# Years and weights -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "means", "short"),
    [("1953", Years(1953, 1953), "1953"), (1953, Years(1953, 1953), "1953"), (" 1953 .. 1956 ", Years(1953, 1956), "1953..1956")],
)
def test_years(written: Any, means: Years, short: str) -> None:
    found = YEARS.validate_python(written)
    assert (found, str(found), YEARS.dump_python(found)) == (means, short, short)


FORM, RANGE = "expected years such as 1953 or 1953..1956", "expected years between 1800 and 2100, the earlier one first"


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("1953-1956", FORM),
        ("53", FORM),
        ("", FORM),
        (None, FORM),
        ("1953..", FORM),
        ("1956..1953", RANGE),
        ("1799", RANGE),
        ("2101", RANGE),
    ],
)
def test_no_years(written: Any, expected: str) -> None:
    assert refused(YEARS, written) == expected


@pytest.mark.parametrize(
    ("written", "means"), [("usual", "usual"), ("very-rare", "very-rare"), ("0.25", 0.25), (0, 0.0), ("1", 1.0)]
)
def test_weight(written: Any, means: str | float) -> None:
    assert WEIGHT.validate_python(written) == means


@pytest.mark.parametrize("written", ["1.01", "-0.1", "1e999", "Usual", "two words", "", None, [], {}, 2])
def test_no_weight(written: Any) -> None:
    assert refused(WEIGHT, written) == "expected a word of knowledge-base.yaml or a number from 0 to 1"


# Facts and answers -----------------------------------------------------------------------------------------------------


def fact(is_: dict[str, str | float], **rest: Any) -> Fact:
    """The long form, as the model has it."""
    return Fact.model_validate({"is": is_, **rest})


def answer(**forms: Any) -> Answer:
    """The long form, as the model has it."""
    return Answer.model_validate({name.removesuffix("_"): form for name, form in forms.items()})


FACTS: dict[str, tuple[Any, Fact]] = {
    "state": ("plain", fact(is_={"plain": 1.0})),
    "measure": ("4.8 +- 0.3 mm", fact(is_={"4.8 +- 0.3 mm": 1.0})),
    "choices": ({"plain": "usual", "ribbed": "0.2"}, fact(is_={"plain": "usual", "ribbed": 0.2})),
    "list": (["plain", "ribbed"], fact(is_={"plain": 1.0, "ribbed": 1.0})),
    "long-state": ({"is": "plain", "sources": ["notes"]}, fact(is_={"plain": 1.0}, sources={"notes": "supports"})),
    "long-choices": (
        {"is": {"plain": "usual"}, "sources": {"notes": "doubts"}, "verified": "2021-05-02", "note": "One seen."},
        fact(is_={"plain": "usual"}, sources={"notes": "doubts"}, verified="2021-05-02", note="One seen."),
    ),
}


@pytest.mark.parametrize(("written", "means"), FACTS.values(), ids=FACTS)
def test_fact(written: Any, means: Fact) -> None:
    assert FACT.validate_python(written) == means


@pytest.mark.parametrize(("written", "unknown"), [("unknown", True), ({"is": "unknown"}, True), ("plain", False)])
def test_unknown_fact(written: Any, unknown: bool) -> None:
    assert FACT.validate_python(written).unknown is unknown


@pytest.mark.parametrize("written", [None, {}, []])
def test_fact_that_says_nothing(written: Any) -> None:
    assert refused(FACT, written) == "expected a state, a measured value, a part, or choices with how often each"


ANSWERS: dict[str, tuple[Any, Answer, Any, str]] = {
    "state": ("plain", answer(is_="plain"), "plain", "plain"),
    "missing": ("missing", answer(is_="missing"), "missing", "missing"),
    "long": ({"is": "plain"}, answer(is_="plain"), "plain", "plain"),
    "not-one": ({"not": "decal"}, answer(not_=["decal"]), {"not": ["decal"]}, "not decal"),
    "not-several": ({"not": ["decal", "bare"]}, answer(not_=["decal", "bare"]), {"not": ["decal", "bare"]}, "not decal, bare"),
    "one-of": ({"one_of": ["a", "b"]}, answer(one_of=["a", "b"]), {"one_of": ["a", "b"]}, "one of a, b"),
    "more": ({"more_than": "3 mm"}, answer(more_than="3 mm"), {"more_than": "3 mm"}, "more than 3 mm"),
    "between": (
        {"more_than": "3", "less_than": "4"},
        answer(more_than="3", less_than="4"),
        {"more_than": "3", "less_than": "4"},
        "more than 3 and less than 4",
    ),
}


@pytest.mark.parametrize(("written", "means", "short", "said"), ANSWERS.values(), ids=ANSWERS)
def test_answer(written: Any, means: Answer, short: Any, said: str) -> None:
    found = ANSWER.validate_python(written)
    assert (found, found.written(), str(found)) == (means, short, said)
    assert ANSWER.validate_python(found.written()) == found


@pytest.mark.parametrize(
    "written", ["", "  ", None, [], {}, ["plain"], {"not": "a", "one_of": ["b"]}, {"is": "a", "more_than": "3"}]
)
def test_no_answer(written: Any) -> None:
    assert refused(ANSWER, written).endswith("{more_than: value} or {less_than: value}")


@pytest.mark.parametrize(
    ("written", "good_to"),
    [("190.6 mm", 0.05), ("190 mm", 0.5), ("13/16 in", 1 / 32), ("9 5/8 in", 1 / 16), ("0.25", 0.005), ("-3.5 mm", 0.05)],
)
def test_a_reading_is_good_to_half_its_last_place(written: str, good_to: float) -> None:
    assert half_place(written) == pytest.approx(good_to)

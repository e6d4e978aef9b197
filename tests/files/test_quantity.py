"""Quantities: every form that the manual names, and every trap with a message of its own."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.files import units
from schedgen.files.numerals import count, refuse_sexagesimal, yes_or_no
from schedgen.files.quantity import Quantity, parse, parse_duration, write_duration
from schedgen.files.trouble import Misread, Trouble
from schedgen.files.units import DIMENSIONS, Dimension


def interval(text: str, dimension: Dimension) -> tuple[float, float, float]:
    value = parse(text, dimension)
    return value.low, value.nominal, value.high


def trouble(text: str, dimension: Dimension) -> Trouble:
    with pytest.raises(Misread) as caught:
        parse(text, dimension)
    found = caught.value.troubles
    assert len(found) == 1
    assert found[0].message
    assert found[0].expected
    assert found[0].example
    assert found[0].next
    return found[0]


# The examples of the manual's table of forms, worked by hand.
@pytest.mark.parametrize(
    ("text", "dimension", "low", "nominal", "high", "form"),
    [
        ("7.4 W", units.POWER, 7.4, 7.4, 7.4, "exact"),
        ("7.4 W ± 5 %", units.POWER, 7.03, 7.4, 7.77, "tolerance"),
        ("7.4 W +/- 0.3 W", units.POWER, 7.1, 7.4, 7.7, "tolerance"),
        ("7.4 W +/- 300 mW", units.POWER, 7.1, 7.4, 7.7, "tolerance"),
        ("94 % ± 3 %", units.SHARE, 0.91, 0.94, 0.97, "tolerance"),
        ("20 min .. 2 h 30 min", units.DURATION, 1200, 5100, 9000, "range"),
        ("about 7 W", units.POWER, 4.9, 7, 9.1, "guess"),
        ("about 1", units.NUMBER, 0.7, 1, 1.3, "guess"),
        ("0.6 .. 1.5", units.NUMBER, 0.6, 1.05, 1.5, "range"),
        ("0.6..1.5", units.NUMBER, 0.6, 1.05, 1.5, "range"),
        ("1.0 ± 20 %", units.NUMBER, 0.8, 1, 1.2, "tolerance"),
        ("90 min", units.DURATION, 5400, 5400, 5400, "exact"),
        ("1 h 20 min", units.DURATION, 4800, 4800, 4800, "exact"),
        ("1h20min", units.DURATION, 4800, 4800, 4800, "exact"),
        ("2 d 3 h", units.DURATION, 183600, 183600, 183600, "exact"),
        ("100 ms", units.DURATION, 0.1, 0.1, 0.1, "exact"),
        ("-5.5 kg ± 0.3 kg", units.MASS, -5.8, -5.5, -5.2, "tolerance"),
        ("-5.5 kg ± 10 %", units.MASS, -6.05, -5.5, -4.95, "tolerance"),
        ("-6 kg .. -5 kg", units.MASS, -6, -5.5, -5, "range"),
        ("4 degC ± 1 K", units.TEMPERATURE, 3, 4, 5, "tolerance"),
        ("50 degF ± 9 degF", units.TEMPERATURE, 5, 10, 15, "tolerance"),
        ("51.5 L ± 0.2 L", units.VOLUME, 0.0513, 0.0515, 0.0517, "tolerance"),
        ("256 GB", units.DATA, 256e9, 256e9, 256e9, "exact"),
        ("60 Mbit/s", units.RATE, 60e6, 60e6, 60e6, "exact"),
        ("5 µA", units.CURRENT, 5e-6, 5e-6, 5e-6, "exact"),
        ("5 μA", units.CURRENT, 5e-6, 5e-6, 5e-6, "exact"),
        ("20 ppm", units.TINY_SHARE, 2e-5, 2e-5, 2e-5, "exact"),
    ],
)
def test_the_forms(text: str, dimension: Dimension, low: float, nominal: float, high: float, form: str) -> None:
    value = parse(text, dimension)
    assert (value.low, value.nominal, value.high) == pytest.approx((low, nominal, high), rel=1e-12)
    assert value.form == form
    assert value.text == text
    assert value.guessed == (form == "guess")


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("12:30", ["12 h 30 min", "12 min 30 s"]),
        ("1:30:00", ["1 h 30 min 0 s", "1 d 30 h 0 min"]),
        ("00:05", ["0 h 5 min", "0 min 5 s"]),
    ],
)
def test_colons_show_both_readings(text: str, readings: list[str]) -> None:
    message = trouble(text, units.DURATION).message
    assert all(reading in message for reading in readings)


def test_a_bare_number_is_refused_with_the_likely_spellings() -> None:
    found = trouble("7.4", units.POWER)
    assert "no unit" in found.message
    assert found.next == "Write 7.4 W or 7.4 mW."
    assert trouble("90", units.DURATION).next == "Write 90 min, 90 h or 90 s."


@pytest.mark.parametrize(
    ("text", "dimension", "step"),
    [
        ("7.4 w", units.POWER, "Write 7.4 W."),
        ("20 minutes", units.DURATION, "Write 20 min."),
        ("20 mins", units.DURATION, "Write 20 min."),
        ("5 kgs", units.MASS, "Write 5 kg."),
        ("5 l", units.VOLUME, "Write 5 L."),
        ("60 mbit/s", units.RATE, "Write 60 Mbit/s."),
        ("60 Mbps", units.RATE, "Write 60 Mbit/s."),
        ("4 C", units.TEMPERATURE, "Write 4 degC."),
        ("4 F", units.TEMPERATURE, "Write 4 degF."),
        ("256 gb", units.DATA, "Write 256 GB."),
        ("12 amps", units.CURRENT, "Write 12 A."),
    ],
)
def test_an_unknown_unit_gets_the_one_that_was_meant(text: str, dimension: Dimension, step: str) -> None:
    assert trouble(text, dimension).next == step


def test_a_unit_of_another_dimension_is_named() -> None:
    assert "V is the unit of a voltage; a power is wanted" in trouble("7.4 V", units.POWER).message
    assert "m/s is the unit of a speed" in trouble("5 m/s", units.LENGTH).message


def test_m_is_metre_only() -> None:
    found = trouble("5 m", units.DURATION)
    assert "m is the metre" in found.message
    assert found.next == "Write 5 min."


def test_binary_prefixes_are_refused_with_the_decimal_value() -> None:
    # 256 x 2^30 = 274 877 906 944
    assert trouble("256 GiB", units.DATA).next == "Write 274.878 GB."


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1e3 W", ["exponent", "1000"]),
        ("1.5e-3 W", ["exponent", "0.0015"]),
        ("010 W", ["base 8", "Write 10 W."]),
        ("7,4 W", ["decimal sign is the point", "Write 7.4 W."]),
        ("1,000 W", ["Write 1.000 W, or 1000 W"]),
        ("1_000 W", ["separators", "1000"]),
        ("1 000 W", ["blank stands inside the number", "Write 1000 W."]),
        ("on", ["is a word"]),
        ("yes", ["is a word"]),
        ("true", ["is a word"]),
        ("null", ["is a word"]),
        ("−5 W", ["typographic dash", "Write -5 W."]),
        ("5–7 W", ["typographic dash", "two dots"]),
        ("“5 W”", ["curly quote"]),
        ("5 W ... 7 W", ["three dots"]),
        ("5 W … 7 W", ["three dots"]),
        ("5 W ± -1 W", ["negative"]),
        ("9 W .. 3 W", ["backwards", "Write 3 W .. 9 W."]),
        ("nan", ["not a number that can be used"]),
        (".inf W", ["not a number that can be used"]),
        ("-inf", ["not a number that can be used"]),
        ("5 .. 7 W", ["first value has no unit", "Write 5 W .. 7 W."]),
        ("4 W 2 W", ["not one value"]),
        ("about 5 W .. 7 W", ["mixes two forms"]),
        ("about 5 W ± 1 W", ["mixes two forms"]),
        ("5 W ± 1 W ± 1 W", ["mixes two forms"]),
        ("5 W .. 6 W .. 7 W", ["mixes two forms"]),
        ("5 W ±", ["part of the value is missing"]),
        ("..", ["part of the value is missing"]),
        ("about", ["part of the value is missing"]),
        ("", ["no value"]),
        ("?", ["filled in"]),
        ("??", ["filled in"]),
        ("12:30", ["time of day or a duration"]),
        ("--5 W", ["is not a power"]),
        ("about 0 W", ["nothing"]),
        ("5 W ± 0.3", ["no unit"]),
        ("123456789012345678901 W", ["digits"]),
        ("W", ["is not a power"]),
        (". W", ["is not a power"]),
        ("1. W", ["both sides of the point"]),
        ("½ W", ["is not a power"]),
        ("7.4 W +- 5 %", ["is not a power", "tolerance as 5 W +/- 3 %"]),
        ("7.4 W - 8 W", ["is not a power", "range with two dots"]),
        ("7.4 W to 8 W", ["is not a power", "range with two dots"]),
        ("~7 W", ["is not a power", "guess as about 5 W"]),
        ("ca. 7 W", ["is not a power", "guess as about 5 W"]),
    ],
)
def test_each_trap_has_its_own_message(text: str, words: list[str]) -> None:
    found = trouble(text, units.POWER)
    said = f"{found.message} {found.next}"
    assert all(word in said for word in words), said


def test_about_is_refused_for_temperatures_and_above_100_percent() -> None:
    found = trouble("about 4 degC", units.TEMPERATURE)
    assert "makes no sense for a temperature" in found.message
    assert "1 degC .. 7 degC" in found.next
    found = trouble("about 90 %", units.SHARE)
    assert "above 100 %" in found.message
    assert "63 % .. 100 %" in found.next
    assert interval("about 70 %", units.SHARE) == pytest.approx((0.49, 0.70, 0.91))


def test_a_percent_tolerance_of_a_temperature_is_refused() -> None:
    assert "makes no sense for a temperature" in trouble("4 degC ± 5 %", units.TEMPERATURE).message


def test_a_number_with_a_unit_says_what_to_write() -> None:
    assert trouble("35 PSU", units.NUMBER).next == "Write 35."


def test_parts_of_a_duration_come_largest_first_and_once() -> None:
    assert "not one value" in trouble("20 min 1 h", units.DURATION).message
    assert "not one value" in trouble("1 h 1 h", units.DURATION).message
    assert "20 has no unit" in trouble("1 h 20", units.DURATION).message


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("60 12.0 N", "60.2"),
        ("57°18.6'N", "57.31"),
        ("N57 18.6", "57.31"),
        ("57 18 36 S", "-57.31"),
        ("57.31 N", "57.31"),
        ("57°", "57"),
        ("-57 18.6", "-57.31"),
    ],
)
def test_degrees_and_minutes_get_their_decimal_form(text: str, decimal: str) -> None:
    with pytest.raises(Misread) as caught:
        refuse_sexagesimal(text, "latitude")
    assert caught.value.troubles[0].next == f"Write {decimal}."


def test_a_longitude_in_the_place_of_a_latitude_is_noticed() -> None:
    with pytest.raises(Misread, match="not a latitude"):
        refuse_sexagesimal("9 50.4 W", "latitude")
    refuse_sexagesimal("57.31", "latitude")


def test_counts() -> None:
    assert count("3") == 3
    assert count("-2") == -2
    for text, word in [
        ("03", "base 8"),
        ("3.0", "whole"),
        ("1e1", "exponent"),
        ("on", "whole"),
        ("", "no value"),
        ("?", "filled in"),
    ]:
        with pytest.raises(Misread, match=word):
            count(text)


def test_yes_and_no_are_the_only_two() -> None:
    assert yes_or_no("yes") is True
    assert yes_or_no("no") is False
    for text, meant in [("on", "yes"), ("True", "yes"), ("off", "no"), ("YES", "yes"), ("0", "no")]:
        with pytest.raises(Misread) as caught:
            yes_or_no(text)
        assert caught.value.troubles[0].next == f"Write {meant}."
    with pytest.raises(Misread):
        yes_or_no("maybe")


def test_every_example_and_likely_unit_of_a_dimension_reads() -> None:
    for dimension in (*DIMENSIONS, units.NUMBER):
        parse(dimension.example, dimension)
        for unit in dimension.likely:
            parse(f"1 {unit}", dimension)
        for meant in dimension.other_names.values():
            assert meant in dimension.units


def test_exact_decimals_stay_exact() -> None:
    assert parse("0.1 h", units.DURATION).nominal == 360
    assert parse("7.2 g/cm3", units.DENSITY).nominal == 7200
    assert parse("1.1 d", units.DURATION).nominal == 95040


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(DIMENSIONS),
    st.decimals(min_value="0.001", max_value="100000", places=3),
    st.decimals(min_value="0", max_value="1000", places=3),
)
def test_what_is_written_reads_back_as_the_same_interval(dimension: Dimension, low: object, width: object) -> None:
    unit = dimension.likely[0]
    value = parse(f"{low} {unit} .. {float(str(low)) + float(str(width)):.3f} {unit}", dimension)
    again = parse(value.written(), dimension)
    scale = max(abs(value.low), abs(value.high))
    assert again.low == pytest.approx(value.low, rel=1e-5, abs=1e-5 * scale)
    assert again.high == pytest.approx(value.high, rel=1e-5, abs=1e-5 * scale)


@settings(max_examples=300, deadline=None)
@given(st.integers(min_value=0, max_value=10**9))
def test_durations_are_written_as_they_are_read(milliseconds: int) -> None:
    seconds = milliseconds / 1000
    assert parse_duration(write_duration(seconds)) == pytest.approx(seconds, abs=1e-3)


@settings(max_examples=500, deadline=None)
@given(
    st.text(alphabet="0123456789 .,±+-/%eEWhmindsbog_:'\"°−½\n", max_size=20),
    st.sampled_from([*DIMENSIONS, units.NUMBER]),
)
def test_no_text_breaks_the_parser(text: str, dimension: Dimension) -> None:
    try:
        value = parse(text, dimension)
    except Misread as error:
        assert error.troubles[0].next  # noqa: PT017  # any other exception fails the test
    else:
        assert value.low <= value.nominal <= value.high
        assert all(math.isfinite(end) for end in (value.low, value.high))


def test_quantities_made_in_code_need_no_text() -> None:
    assert str(Quantity(4800, 4800, 4800, unit="s")) == "1 h 20 min"
    assert Quantity(0.91, 0.94, 0.97, unit="%").written() == "91 % .. 97 %"
    assert Quantity(0.0513, 0.0515, 0.0517, unit="m3").written() == "51.3 L .. 51.7 L"


@pytest.mark.parametrize(
    ("text", "step"), [("0.94", "Write 94 %, or 0.94 %"), ("1", "Write 100 %"), ("94", "Write 94 %.")]
)
def test_a_fraction_is_offered_as_the_percentage_that_it_is(text: str, step: str) -> None:
    assert step in trouble(text, units.SHARE).next


def test_minutes_of_a_position_stay_below_sixty() -> None:
    with pytest.raises(Misread, match="60 minutes or more"):
        refuse_sexagesimal("57 60.5 N", "latitude")
    with pytest.raises(Misread, match="60 seconds or more"):
        refuse_sexagesimal("57 10 61 N", "latitude")

"""Connected, not connected or cannot tell: against three standard errors, with noise and without."""

from __future__ import annotations

import math
from collections import Counter
from importlib import resources
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.files.quantity import Quantity
from schedgen.load import LoadedDive, load_text
from schedgen.measured.connection import (
    ERRORS,
    Expected,
    Mean,
    Sag,
    Setup,
    draw_of,
    expected_sag,
    power_on,
    sag_of,
    standard_error,
    step_of,
    verdict,
)

ROOM = Quantity(20.0, 20.0, 20.0)
STEP_V = 0.019
EXPECTED = Expected((0.020, 0.030, 0.040), (0.5, 0.7, 0.9))


@pytest.fixture(scope="module")
def demo() -> LoadedDive:
    text = resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")
    return load_text(text, Path("demo.yaml"))


def mean_of(random: Random, volts: float, noise: float, count: int = 1024) -> Mean:
    values = [math.floor(random.gauss(volts, noise) / STEP_V) * STEP_V for _ in range(count)]
    average = sum(values) / count
    spread = math.sqrt(sum((value - average) ** 2 for value in values) / (count - 1))
    return Mean(average, spread, count)


def tried(seed: int, sag: float, noise: float = 0.012) -> str:
    random = Random(seed)
    volts = 12.0 + random.random() * STEP_V
    means = [mean_of(random, volts - fall, noise) for fall in (0.0, sag, 0.0)]
    return verdict(sag_of(*means, STEP_V), EXPECTED)[0]


def test_the_step_of_the_board_is_that_of_its_converter_at_the_pack(demo: LoadedDive) -> None:
    # 2.5 V over 1024 steps behind a divider of 680 and 100 kohm: 2.5 / 1024 x 7.8, by hand.
    assert step_of(demo.board) == pytest.approx(0.019043, abs=1e-6)


def test_a_mean_of_steady_readings_is_uncertain_by_the_step() -> None:
    assert standard_error(Mean(12.0, 0.0, 100_000), 0.019) == pytest.approx(0.019 / math.sqrt(12))
    assert standard_error(Mean(12.0, 0.019, 1024), 0.019) == pytest.approx(0.019 / 32)
    # two neighbouring codes in turn scatter by half a step without noise, and tell nothing; means of four by a quarter
    assert standard_error(Mean(12.0, 0.5 * 0.019, 1024), 0.019) == pytest.approx(0.019 / math.sqrt(12))
    assert standard_error(Mean(12.0, 0.25 * 0.019, 1024), 0.019, 4) == pytest.approx(0.019 / math.sqrt(12))
    assert standard_error(Mean(12.0, 0.3 * 0.019, 1024), 0.019, 4) == pytest.approx(0.3 * 0.019 / 32)


def test_a_connected_load_is_found_and_an_empty_output_too() -> None:
    # The model expects 20 mV at least, about one step of the converter; three standard errors are 1.4 mV.
    connected = Counter(tried(seed, 0.030) for seed in range(60))
    empty = Counter(tried(seed, 0.0) for seed in range(60))
    assert connected["connected"] == 60
    assert empty["not connected"] >= 59
    assert empty["connected"] == 0


def test_without_noise_a_sag_below_one_step_is_never_called() -> None:
    for seed in range(60):
        assert tried(seed, 0.010, noise=0.0) != "connected"


def test_what_cannot_be_seen_cannot_be_told() -> None:
    light = Expected((0.001, 0.002, 0.003), (0.05, 0.1, 0.15))
    for volts in (0.0, 0.002):
        assert verdict(Sag(volts, 0.001), light)[0] == "cannot tell"


def test_less_than_the_load_should_draw_cannot_be_told_and_says_so() -> None:
    found, why = verdict(Sag(0.008, 0.001), EXPECTED)
    assert found == "cannot tell"
    assert "less than the load should" in why


def test_more_than_expected_is_connected_with_a_remark() -> None:
    found, why = verdict(Sag(0.080, 0.001), EXPECTED)
    assert found == "connected"
    assert "more" in why


@settings(deadline=None, max_examples=200)
@given(st.floats(-0.05, 0.2), st.floats(1e-5, 0.02), st.floats(0.0, 0.1), st.floats(1.0, 3.0), st.floats(1.0, 3.0))
def test_no_verdict_goes_against_three_standard_errors(
    volts: float, error: float, least: float, more: float, most: float
) -> None:
    expected = Expected((least, least * more, least * more * most), (0.0, 0.0, 0.0))
    found, _ = verdict(Sag(volts, error), expected)
    if found == "connected":
        assert volts > ERRORS * error
        assert volts >= least - ERRORS * error
    if found == "not connected":
        assert volts <= ERRORS * error
        assert volts < least - ERRORS * error


def test_the_expected_sag_is_current_times_resistance_by_hand(demo: LoadedDive) -> None:
    # OUT1 is behind a converter of 90 %: 7.4 W / 0.9 = 8.22 W. Current x resistance of the same cell at 20 degC, from
    # the cell's own table; the quadratic is solved the other way round here, by iteration.
    setup = Setup(demo.dive, demo.board, demo.cell, ROOM)
    volts, seconds = 11.4, 10.0
    found = expected_sag(setup, "OUT1", Quantity(7.4, 7.4, 7.4), volts, seconds)
    tables = demo.cell.tables
    charge = tables.charge_at(volts / 3)
    health = demo.dive.pack.health
    assert health is not None
    aged = found.sag_v[1] / found.current_a[1] / (
        (tables.resistance(charge, 20.0)
         + tables.relaxation_resistance(charge, 20.0) * (1 - math.exp(-seconds / tables.time_constant_s))) * 3 / 5
    )  # fmt: skip
    assert 1.0 <= aged < 1.3  # what age adds at 94 % of health
    current = 0.0
    for _ in range(50):
        current = 8.2222222 / (volts - current * found.sag_v[1] / found.current_a[1])
    assert found.current_a[1] == pytest.approx(current, rel=1e-6)
    assert found.sag_v[0] < found.sag_v[1] < found.sag_v[2]


def test_a_wire_draws_by_its_resistance(demo: LoadedDive) -> None:
    setup = Setup(demo.dive, demo.board, demo.cell, ROOM)
    wired = power_on(demo.dive, "REL1", 100, 2.0)
    assert wired is not None
    assert wired[0] == "release"
    found = expected_sag(setup, "REL1", wired[1], 12.0, 1.0)
    # 4 W at 11.1 V is 30.8 ohm; 12 V over it, and a hundredth of an ohm of pack: 0.389 A, by hand.
    assert found.current_a[1] == pytest.approx(0.389, abs=0.001)


def test_a_load_that_is_starting_may_take_its_surge(demo: LoadedDive) -> None:
    short, later = power_on(demo.dive, "OUT1", 100, 2.0), power_on(demo.dive, "OUT1", 100, 10.0)
    assert short is not None
    assert later is not None
    assert short[1].high == pytest.approx(12.0)
    assert later[1].high == pytest.approx(7.77)


def test_nothing_is_expected_of_a_control_line(demo: LoadedDive) -> None:
    assert power_on(demo.dive, "OUT3", 100, 2.0) is None


def test_a_current_off_a_meter_gives_resistance_and_draw() -> None:
    ohm, watt = draw_of(Quantity(0.7, 0.7, 0.7), Sag(0.035, 0.001), 11.9)
    assert ohm.nominal == pytest.approx(0.05)
    assert (ohm.low, ohm.high) == pytest.approx((0.032 / 0.7, 0.038 / 0.7))
    assert watt.nominal == pytest.approx(8.33)
    with pytest.raises(OutOfRange):
        draw_of(Quantity(0.0, 0.0, 0.0), Sag(0.035, 0.001), 11.9)

"""Clocks against published values: crystal parabola, tolerances, RC oscillators, compensated clocks."""

import pytest
from published import Entry, chosen, entry, ids

from schedgen.errors import OutOfRange
from schedgen.physics import clock

CRYSTALS = chosen("clk.xtal_")
COMPENSATED = chosen("clk.tcxo_")
RC = chosen("clk.rc_avr_user", "clk.rc_pic_hfintosc")
COVERS = [
    *ids(CRYSTALS + COMPENSATED + RC),
    "clk.ppm_per_second_day",
    "clk.tolerance_20ppm_day",
    "clk.worst_2C",
    "clk.rc_watchdog",
]


@pytest.mark.parametrize("published", CRYSTALS, ids=ids(CRYSTALS))
def test_parabola_of_a_crystal(published: Entry) -> None:
    values = published.inputs
    deviation = float(clock.crystal_deviation(values["T_degC"], values["T0_degC"], values["B_ppm_K2"] * 1e-6))
    published.holds(deviation * 1e6, "ppm")
    published.holds(float(clock.reading_error(deviation, clock.DAY_S)), "s_per_day")


@pytest.mark.parametrize("published", CRYSTALS, ids=ids(CRYSTALS))
def test_error_range_holds_every_published_crystal(published: Entry) -> None:
    """The range with nothing known of the crystal but its tolerance of 0 must hold each of them."""
    temperature = published.inputs["T_degC"]
    bounds = clock.error("crystal", 0.0, temperature, temperature)
    assert bounds.low - 1e-15 <= published.expected["ppm"] * 1e-6 <= bounds.high + 1e-15


def test_one_second_a_day_in_ppm() -> None:
    published = entry("clk.ppm_per_second_day")
    published.holds(1e6 / float(clock.reading_error(1.0, clock.DAY_S)))


def test_usual_tolerance_over_a_day() -> None:
    published = entry("clk.tolerance_20ppm_day")
    bounds = clock.error("temperature-compensated", published.inputs["ppm"] * 1e-6, 20.0, 25.0)
    published.holds(float(clock.reading_error(bounds.high, clock.DAY_S)))


def test_worst_crystal_at_two_degrees() -> None:
    published = entry("clk.worst_2C")
    values = published.inputs
    bounds = clock.error(
        "crystal", abs(values["tol_ppm"]) * 1e-6, values["T"], values["T"], values["T0"], values["B"] * 1e-6
    )
    published.holds(float(clock.reading_error(bounds.low, clock.DAY_S)))


@pytest.mark.parametrize("published", COMPENSATED, ids=ids(COMPENSATED))
def test_compensated_clock(published: Entry) -> None:
    bounds = clock.error("temperature-compensated", published.inputs["ppm"] * 1e-6, 0.0, 40.0)
    published.holds(float(clock.reading_error(bounds.largest, clock.DAY_S)))


@pytest.mark.parametrize("published", RC, ids=ids(RC))
def test_rc_oscillator(published: Entry) -> None:
    bounds = clock.error("rc", published.expected["pct"] / 100, 0.0, 60.0)
    assert float(clock.reading_error(bounds.largest, clock.DAY_S)) == pytest.approx(published.expected["s_per_day"])


def test_low_power_rc_oscillators_are_taken_as_wide_as_they_are_published() -> None:
    published = entry("clk.rc_watchdog")
    for percent in (published.expected["pct"], *published.tolerance["range"]):
        bounds = clock.error("rc", percent / 100, 0.0, 25.0)
        published.holds(bounds.largest * 100)
    with pytest.raises(OutOfRange, match="clock tolerance"):
        clock.error("rc", published.tolerance["range"][1] / 100 + 0.01, 0.0, 25.0)

"""Clock errors as ranges, and time on the clock against true time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.physics import clock


@given(st.floats(-40, 60), st.floats(0, 25), st.floats(0, 1), st.floats(20, 30), st.floats(-0.042e-6, -0.030e-6))
def test_range_of_a_crystal_holds_every_crystal_in_it(
    low: float, width: float, where: float, turnover: float, curvature: float
) -> None:
    bounds = clock.error("crystal", 20e-6, low, low + width)
    deviation = float(clock.crystal_deviation(min(low + where * width, low + width), turnover, curvature))
    assert bounds.low - 1e-15 <= deviation - 20e-6
    assert deviation + 20e-6 <= bounds.high + 1e-15


def test_cold_makes_a_crystal_slow_only() -> None:
    bounds = clock.error("crystal", 0.0, 2.0, 12.0)
    assert bounds.high < 0
    assert bounds.largest == -bounds.low


def test_range_over_the_turnover_reaches_zero() -> None:
    assert clock.error("crystal", 0.0, 2.0, 40.0).high == 0.0


def test_compensated_clock_adds_its_error_over_temperature() -> None:
    bounds = clock.error("temperature-compensated", 2e-6, 0.0, 30.0, over_temperature=3e-6)
    assert bounds.largest == pytest.approx(5e-6)


@given(st.floats(0, 1e7), st.floats(0, 0.4))
def test_true_time_and_clock_time_are_each_others_inverse(elapsed: float, size: float) -> None:
    bounds = clock.ErrorRange(-size, size)
    early, late = clock.true_time(elapsed, bounds)
    assert early <= elapsed <= late
    assert clock.clock_time(early, bounds)[1] == pytest.approx(elapsed)
    assert clock.clock_time(late, bounds)[0] == pytest.approx(elapsed)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("crystal", 20e-6, -60.0, 20.0), r"clock temperature is -60 degC; it must lie in -40 \.\. 85 degC"),
        (("crystal", 20e-6, 20.0, 2.0), "lowest clock temperature 20 degC is above the highest 2 degC"),
        (("crystal", 0.02, 2.0, 20.0), "clock tolerance is 0.02; it must lie in 0 .. 0.001"),
        (("rc", 0.7, 2.0, 20.0), "clock tolerance is 0.7"),
        (("crystal", 20e-6, 2.0, 20.0, 25.0, 0.034e-6), "curvature"),
        (("crystal", 20e-6, 2.0, 20.0, 25.0, -3e-6), "curvature"),
    ],
)
def test_unlikely_clocks_are_refused_with_the_bound(arguments: tuple[object, ...], words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        clock.error(*arguments)  # type: ignore[arg-type]

"""The water column: rows, what lies between, above and below them, and its weight."""

import numpy as np
import pytest

from schedgen.errors import OutOfRange
from schedgen.physics import seawater
from schedgen.physics.column import WaterColumn

ROWS = [(0.0, 11.5, 35.2), (200.0, 9.8, 35.3), (1510.0, 4.1, 34.95)]
SHELF = (57.31, -9.84)


def test_rows_are_linear_between() -> None:
    water = WaterColumn(ROWS, *SHELF)
    assert float(water.temperature(100.0)) == pytest.approx((11.5 + 9.8) / 2)
    assert float(water.salinity(855.0)) == pytest.approx((35.3 + 34.95) / 2)


def test_density_at_a_row_is_that_of_teos_10() -> None:
    water = WaterColumn(ROWS, *SHELF)
    for depth, temperature, salinity in ROWS:
        there = seawater.density(salinity, temperature, seawater.pressure(depth, SHELF[0]), *SHELF)
        assert float(water.density(depth)) == pytest.approx(float(there), abs=0.01)


def test_density_between_grid_points_is_that_of_teos_10() -> None:
    water = WaterColumn(ROWS, *SHELF)
    for depth in (37.0, 512.3, 1400.9):
        there = seawater.density(water.salinity(depth), water.temperature(depth), water.pressure(depth), *SHELF)
        assert float(water.density(depth)) == pytest.approx(float(there), abs=0.003)


def test_held_below_the_last_row_and_said() -> None:
    water = WaterColumn(ROWS, *SHELF)
    assert not water.held_below
    assert float(water.temperature(1600.0)) == 4.1
    assert water.held_below
    assert WaterColumn(ROWS, *SHELF, deepest=1600.0).held_below
    assert not WaterColumn(ROWS, *SHELF, deepest=1400.0).held_below


def test_held_above_the_first_row() -> None:
    assert float(WaterColumn([(20.0, 8.0, 34.0), (50.0, 7.0, 34.0)], *SHELF).temperature(0.0)) == 8.0


def test_one_row_is_a_column() -> None:
    lake = WaterColumn([(0.0, 4.0, 0.0)], 46.0, 9.0, deepest=120.0)
    assert float(lake.density(120.0)) == pytest.approx(
        1000.55, abs=0.05
    )  # 1000 + 120 dbar x 4.9e-4 %/dbar, from memory


def test_pressure_in_the_sea_is_that_of_teos_10_to_its_dynamic_height() -> None:
    water = WaterColumn(ROWS, *SHELF)
    assert float(water.pressure(1500.0)) == pytest.approx(float(seawater.pressure(1500.0, SHELF[0])), rel=1e-3)


def test_pressure_in_a_lake_is_its_own_weight() -> None:
    """Fresh water weighs 2.7 % less than sea water: 100 m are 98.1 dbar, not 100.7 (rho g h by hand)."""
    lake = WaterColumn([(0.0, 4.0, 0.0)], 46.0, 9.0, deepest=100.0)
    assert float(lake.pressure(100.0)) == pytest.approx(1000.2 * 9.8068 * 100 / 1e4, rel=2e-4)


def test_pressure_is_the_integral_of_the_density() -> None:
    water = WaterColumn(ROWS, *SHELF)
    depths = np.linspace(0.0, 1510.0, 4001)
    weight = np.asarray(water.density(depths)) * np.asarray(seawater.gravity(SHELF[0], depths))
    assert float(water.pressure(1510.0)) == pytest.approx(np.trapezoid(weight, depths) / 1e4, rel=1e-5)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "no rows"),
        ([(0.0, 10.0, 350.0)], r"salinity is 350; it must lie in 0 \.\. 42"),
        ([(-5.0, 10.0, 35.0)], r"depth is -5 m; it must lie in 0 \.\. 11000 m"),
        ([(0.0, 10.0, 35.0), (50.0, 9.0, 35.0), (40.0, 9.0, 35.0)], "40 m in row 3 .* deeper than the 50 m"),
        ([(0.0, 10.0, 35.0), (0.0, 9.0, 35.0)], "0 m in row 2"),
        ([(0.0, 20.0, 35.0), (6000.0, 20.0, 35.0)], "range of ocean waters"),
    ],
)
def test_rows_that_are_no_profile_are_refused(rows: list[tuple[float, float, float]], words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        WaterColumn(rows, *SHELF)


def test_depths_outside_the_sea_are_refused() -> None:
    water = WaterColumn(ROWS, *SHELF)
    with pytest.raises(OutOfRange, match="depth is -1 m"):
        water.density(np.array([10.0, -1.0]))
    with pytest.raises(OutOfRange, match=r"depth is 12000 m; it must lie in 0 \.\. 11000 m"):
        water.temperature(12_000.0)
    with pytest.raises(OutOfRange, match="depth is nan"):
        water.density(float("nan"))

"""The way down and up against the full equation of motion, against closed forms, and at the edge of floating."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from schedgen.errors import OutOfRange
from schedgen.physics import motion, seawater
from schedgen.physics.column import WaterColumn

SHELF = WaterColumn([(0.0, 11.5, 35.2), (200.0, 9.8, 35.3), (1510.0, 4.1, 34.95)], 57.31, -9.84)
LAKE = WaterColumn([(0.0, 18.0, 0.0), (12.0, 6.0, 0.0), (60.0, 4.5, 0.0)], 46.0, 9.0)
MASS, VOLUME, IRON = 46.0, 0.0515, 7200.0


def full_motion(column: WaterColumn, depth: float, ballast: float, drag: float, area: float, down: bool) -> float:
    """Seconds from rest, by the equation of motion with added mass, step by step with scipy."""
    moved = MASS + ballast
    volume = VOLUME + ballast / IRON
    sign = 1.0 if down else -1.0

    def rate(_: float, state: np.ndarray) -> list[float]:
        z = min(max(float(state[0]), 0.0), depth)
        density = float(column.density(z))
        weight = moved * float(seawater.gravity(column.latitude, z)) - density * volume * float(
            seawater.gravity(column.latitude, z)
        )
        resistance = 0.5 * density * drag * area * state[1] * abs(state[1])
        return [state[1], (weight - resistance) / (moved + motion.ADDED_MASS * density * volume)]

    def arrived(_: float, state: np.ndarray) -> float:
        return float(state[0] - depth) if down else float(state[0])

    arrived.terminal = True  # type: ignore[attr-defined]
    arrived.direction = sign  # type: ignore[attr-defined]
    start = [0.0, 0.0] if down else [depth, 0.0]
    solved = solve_ivp(rate, (0.0, 1e5), start, events=arrived, rtol=1e-8, atol=1e-8, max_step=50.0)
    return float(solved.t_events[0][0])


@pytest.mark.parametrize(("column", "depth"), [(SHELF, 1500.0), (LAKE, 55.0), (LAKE, 4.0)])
@pytest.mark.parametrize("down", [True, False])
def test_times_agree_with_the_full_equation_of_motion(column: WaterColumn, depth: float, down: bool) -> None:
    ballast = 16.0 if down else 0.0
    way = motion.descend if down else motion.ascend
    ours = way(column, depth, MASS, VOLUME, ballast, IRON, 1.0, 0.16)
    assert float(ours.time_s) == pytest.approx(full_motion(column, depth, ballast, 1.0, 0.16, down), rel=2e-3)


def test_the_start_takes_seconds() -> None:
    way = motion.descend(SHELF, 1500.0, MASS, VOLUME, 16.0, IRON, 1.0, 0.16)
    assert float(way.tau_s) < 3.0
    assert float(way.start_delay_s) == pytest.approx(float(way.tau_s) * np.log(2), rel=1e-9)
    assert float(way.start_delay_s) < 0.002 * float(way.time_s)


def test_speed_at_each_depth_balances_weight_and_drag() -> None:
    way = motion.descend(SHELF, 1500.0, MASS, VOLUME, 16.0, IRON, 1.1, 0.16)
    drag = 0.5 * np.asarray(SHELF.density(way.depth_m)) * 1.1 * 0.16 * way.speed**2
    assert drag == pytest.approx(way.force_n, rel=1e-12)


def test_landing_is_at_the_speed_of_the_last_layer() -> None:
    """Slower than at the top: the water is denser at the bottom and carries more of the weight."""
    way = motion.descend(SHELF, 1500.0, MASS, VOLUME, 16.0, IRON, 1.0, 0.16)
    assert float(way.landing_speed) == pytest.approx(float(way.speed[-1]), rel=1e-9)
    assert float(way.landing_speed) < 0.97 * float(way.speed[0])


def test_by_hand_in_uniform_water() -> None:
    """62 kg less 53.72 kg of water (51.5 L and 2.222 L of iron): 8.278 kgf on 0.16 m2 at Cd 1 is 1.0075 m/s."""
    way = motion.descend(WaterColumn([(0.0, 4.0, 0.0)], 46.0, 9.0), 50.0, MASS, VOLUME, 16.0, IRON, 1.0, 0.16)
    weight = (62.0 - 1000.0 * (0.0515 + 16.0 / 7200.0)) * 9.8069
    assert float(way.force_n[0]) == pytest.approx(weight, abs=0.1)
    assert float(way.landing_speed) == pytest.approx(np.sqrt(2 * weight / (1000 * 0.16)), rel=2e-3)


def test_corners_at_once_equal_one_by_one() -> None:
    depths = np.array([1450.0, 1510.0, 1480.0])
    masses = np.array([45.8, 46.2, 46.0])
    drags = np.array([0.8, 1.2, 1.0])
    together = motion.descend(SHELF, depths, masses, VOLUME, 16.0, IRON, drags, 0.16)
    for k in range(3):
        alone = motion.descend(SHELF, depths[k], masses[k], VOLUME, 16.0, IRON, drags[k], 0.16)
        assert together.time_s[k] == pytest.approx(float(alone.time_s), rel=1e-12)
        assert together.landing_speed[k] == pytest.approx(float(alone.landing_speed), rel=1e-12)
        assert together.depth_m[k, -1] == depths[k]


def test_more_layers_change_nothing() -> None:
    """The trapezoid rule over LAYERS against five times as many."""
    coarse = float(motion.descend(SHELF, 1500.0, MASS, VOLUME, 16.0, IRON, 1.0, 0.16).time_s)
    usual = motion.LAYERS
    try:
        motion.LAYERS = usual * 5
        fine = float(motion.descend(SHELF, 1500.0, MASS, VOLUME, 16.0, IRON, 1.0, 0.16).time_s)
    finally:
        motion.LAYERS = usual
    assert coarse == pytest.approx(fine, rel=1e-4)


def test_what_floats_never_arrives() -> None:
    way = motion.descend(SHELF, 1500.0, MASS, 0.0700, 16.0, IRON, 1.0, 0.16)
    assert not way.arrives
    assert way.time_s == np.inf
    assert float(way.landing_speed) == 0.0
    assert float(way.least_force_n) < 0
    assert float(way.mean_speed) == 0.0


def test_a_package_that_stalls_in_denser_water_is_seen() -> None:
    """Heavier than the surface water of a lake, lighter than its cold bottom water (998.6 and 999.9 kg/m3)."""
    volume = 0.1
    way = motion.descend(LAKE, 55.0, 99.93, volume, 0.0, IRON, 1.0, 0.16)
    assert way.force_n[0] > 0
    assert not way.arrives


def test_speed_above_the_water_counts_up() -> None:
    assert float(motion.terminal_speed(-30.0, 1028.0, 0.85, 0.0314159265)) == pytest.approx(-1.4784, abs=1e-4)


def test_ballast_lighter_than_water_is_refused_with_the_bound() -> None:
    with pytest.raises(
        OutOfRange, match=r"ballast density is 900 kg/m3; it must be above the 10\d\d\.\d kg/m3 of the water"
    ):
        motion.descend(SHELF, 1500.0, MASS, VOLUME, 16.0, 900.0, 1.0, 0.16)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"depth": -5.0}, r"depth is -5 m; it must lie in 0 \.\. 11000 m"),
        ({"mass": 0.0}, "mass is 0 kg; it must be above 0 kg"),
        ({"volume": -0.01}, r"volume is -0\.01 m3"),
        ({"drag": 0.0}, "drag coefficient is 0; it must be above 0"),
        ({"area": -1.0}, "area is -1 m2"),
        ({"ballast_mass": -2.0}, "ballast mass is -2 kg; it must be at least 0 kg"),
        ({"foam_volume": 0.02, "foam_compressibility": 1e-3}, "shrinking of the foam"),
    ],
)
def test_nonsense_is_refused_with_the_bound(change: dict[str, float], words: str) -> None:
    usual = {
        "depth": 1500.0, "mass": MASS, "volume": VOLUME, "ballast_mass": 16.0, "ballast_density": IRON,
        "drag": 1.0, "area": 0.16,
    }  # fmt: skip
    with pytest.raises(OutOfRange, match=words):
        motion.descend(SHELF, **{**usual, **change})


def test_foam_that_shrinks_loses_lift_at_depth() -> None:
    """20 L of foam that lose 2e-6 of their volume a dbar lose 0.06 L at 1530 dbar: 0.6 N (by hand)."""
    stiff = motion.ascend(SHELF, 1500.0, MASS, VOLUME, 0.0, IRON, 1.0, 0.16)
    soft = motion.ascend(SHELF, 1500.0, MASS, VOLUME, 0.0, IRON, 1.0, 0.16, 0.020, 2e-6)
    lost = float(stiff.force_n[0] - soft.force_n[0])
    assert lost == pytest.approx(0.020 * 2e-6 * 1513 * 1034 * 9.82, rel=0.02)
    assert float(soft.time_s) > float(stiff.time_s)
    assert soft.force_n[-1] == pytest.approx(stiff.force_n[-1])


@settings(deadline=None, max_examples=60)
@given(st.floats(40, 2000), st.floats(0.3, 1.5), st.floats(0.05, 0.5), st.floats(12, 40))
def test_more_drag_is_slower_and_more_ballast_is_faster(depth: float, drag: float, area: float, ballast: float) -> None:
    usual = motion.descend(SHELF, depth, MASS, VOLUME, ballast, IRON, drag, area)
    assert float(motion.descend(SHELF, depth, MASS, VOLUME, ballast, IRON, drag * 1.1, area).time_s) > float(
        usual.time_s
    )
    assert float(motion.descend(SHELF, depth, MASS, VOLUME, ballast + 1, IRON, drag, area).time_s) < float(usual.time_s)
    assert np.all(np.diff(usual.elapsed_s) > 0)
    assert usual.elapsed_s[-1] == pytest.approx(float(usual.time_s), rel=1e-9)

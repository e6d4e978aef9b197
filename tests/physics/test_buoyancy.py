"""Lift, floats, what stands out of the water, and which end is up."""

import numpy as np
import pytest

from schedgen.errors import OutOfRange
from schedgen.physics import buoyancy, motion

G = 9.80665


def test_salt_water_lifts_more_than_fresh() -> None:
    """51.5 L weigh 1.3 kg more in water of 1025 than of 1000 kg/m3 (by hand: 51.5 x 0.025 = 1.2875)."""
    fresh = float(buoyancy.lift(46.0, 0.0515, 1000.0, G)) / G
    salt = float(buoyancy.lift(46.0, 0.0515, 1025.0, G)) / G
    assert salt - fresh == pytest.approx(1.2875)


def test_weighing_in_water_gives_the_volume_back() -> None:
    volume = float(buoyancy.volume_from_weighing(46.0, -5.5, 998.6))
    assert float(buoyancy.lift(46.0, volume, 998.6, G)) / G == pytest.approx(5.5)


def test_heavier_in_water_than_in_air_is_refused() -> None:
    with pytest.raises(OutOfRange, match="a floating package is written negative"):
        buoyancy.volume_from_weighing(46.0, 50.0, 1000.0)


def test_the_largest_float_is_the_one_that_counts() -> None:
    floats = [(0.004, 1.5), (0.006, 2.0), (0.005, 1.0)]
    left = float(buoyancy.lift_with_one_float_lost(100.0, floats, 1025.0, G))
    assert left == pytest.approx(100.0 - 0.006 * 1025.0 * G)


def test_no_floats_can_not_be_lost() -> None:
    with pytest.raises(OutOfRange, match="no floats are listed"):
        buoyancy.lift_with_one_float_lost(100.0, [], 1025.0, G)


def test_what_stands_out_displaces_the_lift() -> None:
    out = buoyancy.stands_out(49.0, 1025.0, G, 0.0254, 0.62)
    assert float(out.height) * 0.0254 * 1025.0 * G == pytest.approx(49.0)
    assert not out.whole


def test_a_section_that_is_out_altogether_is_said() -> None:
    out = buoyancy.stands_out(np.array([-5.0, 10.0, 400.0]), 1025.0, G, 0.0254, 0.62)
    assert out.height[0] == 0.0
    assert out.height[2] == 0.62
    assert out.whole.tolist() == [False, False, True]


def test_upright_means_volume_above_mass() -> None:
    assert buoyancy.floats_upright(0.30, 0.35)
    assert not buoyancy.floats_upright(0.35, 0.35)
    assert float(buoyancy.righting_moment(0.30, 0.35, 451.0, 30.0)) > 0
    assert float(buoyancy.righting_moment(0.40, 0.35, 451.0, 30.0)) < 0


def test_ballast_weighs_less_in_water() -> None:
    iron = float(motion.ballast_weight(16.0, 7200.0, 1025.0, G)) / G
    concrete = float(motion.ballast_weight(16.0, 2300.0, 1025.0, G)) / G
    assert iron == pytest.approx(16 - 16 / 7.2 * 1.025)
    assert concrete < iron


@pytest.mark.parametrize("density", [1025.0, 900.0, 0.0])
def test_ballast_no_heavier_than_water_is_refused(density: float) -> None:
    with pytest.raises(OutOfRange, match=r"ballast density is .* kg/m3; it must be above the 1025 kg/m3 of the water"):
        motion.ballast_weight(16.0, density, 1025.0, G)


def test_no_ballast_has_any_density() -> None:
    assert float(motion.ballast_weight(0.0, 900.0, 1025.0, G)) == 0.0

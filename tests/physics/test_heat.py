"""Films, walls and the sun: what must hold beside the published values."""

import numpy as np
import pytest

from schedgen.errors import OutOfRange
from schedgen.physics import fluids_at, heat

AIR = fluids_at.air(20.0)
SEA = fluids_at.water(5.0, 35.0)


def test_water_cools_far_better_than_air() -> None:
    """Common practice: 5 to 25 W/(m2 K) in still air with radiation, 100 to 1000 in still water (textbooks)."""
    in_air = float(heat.film_horizontal_cylinder(AIR, 0.18, 10.0)) + float(heat.film_radiation(30.0, 20.0))
    in_water = float(heat.film_horizontal_cylinder(SEA, 0.18, 2.0))
    assert 5 < in_air < 25
    assert 100 < in_water < 1000


def test_a_larger_difference_and_a_stream_cool_better() -> None:
    assert heat.film_horizontal_cylinder(AIR, 0.18, 20.0) > heat.film_horizontal_cylinder(AIR, 0.18, 5.0)
    assert heat.film_forced_plate(AIR, 0.1, 2.0) > heat.film_forced_plate(AIR, 0.1, 0.5)
    assert float(heat.film_forced_plate(AIR, 0.1, 2.0)) > float(heat.film_vertical_plate(AIR, 0.1, 10.0))


def test_cooler_and_warmer_walls_lose_alike() -> None:
    assert heat.film_vertical_plate(SEA, 0.5, -4.0) == heat.film_vertical_plate(SEA, 0.5, 4.0)


def test_no_difference_is_taken_as_a_hundredth_of_a_kelvin() -> None:
    still = heat.film_horizontal_cylinder(SEA, 0.18, 0.0)
    assert still == heat.film_horizontal_cylinder(SEA, 0.18, heat.LEAST_DIFFERENCE_K)
    assert float(still) > 0


def test_films_take_arrays() -> None:
    both = heat.film_horizontal_cylinder(SEA, np.array([0.1, 0.2]), np.array([1.0, 2.0]))
    assert both[1] == heat.film_horizontal_cylinder(SEA, 0.2, 2.0)


def test_radiation_is_the_difference_of_fourth_powers() -> None:
    flow = float(heat.film_radiation(60.0, 20.0, 0.8)) * 40.0
    assert flow == pytest.approx(0.8 * heat.STEFAN_BOLTZMANN * (333.15**4 - 293.15**4))


def test_materials_are_known_by_their_other_names() -> None:
    assert heat.material("Aluminum") is heat.material("aluminium")


def test_an_unknown_material_is_refused_with_the_known_ones() -> None:
    with pytest.raises(OutOfRange, match="material 'cheese' is not known; known are aluminium, titanium"):
        heat.material("cheese")


def test_fresh_water_at_four_degrees_hardly_convects() -> None:
    still = heat.film_horizontal_cylinder(fluids_at.water(4.0, 0.0), 0.18, 1.0)
    warm = heat.film_horizontal_cylinder(fluids_at.water(12.0, 0.0), 0.18, 1.0)
    assert float(still) < 0.5 * float(warm)


def test_sea_water_expands_more_at_depth() -> None:
    top = float(fluids_at.water(2.0, 35.0).expansion)
    deep = float(fluids_at.water(2.0, 35.0, 4000.0).expansion)
    assert deep > 1.5 * top  # 0.8e-4 and 1.7e-4 (from memory)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: heat.nusselt_horizontal_cylinder(1e13, 7.0), "Rayleigh number is 1e.13"),
        (lambda: heat.nusselt_vertical_cylinder(1e6, 0.7, 0.01, 1.0), "diameter over height is 0.010"),
        (lambda: heat.film_forced_plate(heat.Fluid(1.5e-5, 0.026, 0.7, 0.0), 1.0, 50.0), "Reynolds number"),
        (lambda: heat.film_radiation(20.0, 20.0, 1.4), r"emissivity is 1\.4; it must lie in 0 \.\. 1"),
        (lambda: heat.solar_gain(2000.0, 0.9, 0.2, 0.5), "irradiance is 2000 W/m2"),
        (lambda: heat.wall_cylinder(167.0, 0.15, 0.14, 0.5), "outer must exceed inner diameter"),
        (lambda: heat.fan_power(2.0), "fan speed is 2"),
        (lambda: fluids_at.water(60.0, 35.0), r"film temperature is 60 degC; it must lie in -2\.5 \.\. 40 degC"),
        (lambda: fluids_at.air(300.0), "film temperature is 300 degC"),
    ],
)
def test_outside_the_correlations_is_refused_with_the_bound(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange, match=words):
        call()

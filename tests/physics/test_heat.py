"""Films, walls and housings: what must hold beside the published values."""

import numpy as np
import pytest

from schedgen.errors import OutOfRange
from schedgen.physics import fluids_at, heat
from schedgen.physics.housing import (
    CAMERA_AREA_M2,
    Contents,
    Housing,
    Outside,
    inside_film,
    outside_conductance,
    outside_film,
    package_network,
)

CAN = Housing(0.18, 0.62, 0.012, "aluminium")
LOADS = Contents(cell_mass=1.05, cell_area=0.09)


def camera_rise(
    housing: Housing, outside: Outside, watts: float, fan: float = 0.0, contents: Contents = LOADS
) -> float:
    network = package_network(housing, contents, outside, watts, fan)
    powers = np.zeros(4)
    powers[network.index("camera")] = watts
    return float(network.settled(outside.temperature_c, powers)[network.index("camera")]) - outside.temperature_c


def test_water_cools_fifty_times_better_than_air() -> None:
    """Common practice: 5 to 25 W/(m2 K) in still air, 100 to 1000 in still water (heat transfer textbooks)."""
    air = outside_film(Outside("air", 20.0), 0.18, 10.0)
    water = outside_film(Outside("water", 5.0, 35.0), 0.18, 2.0)
    assert 5 < air < 25
    assert 100 < water < 1000


def test_wind_helps() -> None:
    assert outside_film(Outside("air", 20.0, wind=5.0), 0.18, 10.0) > outside_film(Outside("air", 20.0), 0.18, 10.0)


def test_film_settles_with_the_heat_that_flows() -> None:
    conductance, difference = outside_conductance(CAN, Outside("air", 20.0), 30.0)
    assert conductance * difference == pytest.approx(30.0, rel=0.01)


def test_fan_cools_the_camera() -> None:
    water = Outside("water", 4.0, 35.0)
    assert camera_rise(CAN, water, 7.4, fan=0.6) < camera_rise(CAN, water, 7.4) - 3.0
    assert camera_rise(CAN, water, 7.4, fan=1.0) < camera_rise(CAN, water, 7.4, fan=0.3)


def test_plastic_housings_keep_the_heat() -> None:
    plastic = Housing(0.18, 0.62, 0.012, "acetal")
    water = Outside("water", 4.0, 35.0)
    loose = Contents(cell_mass=1.05, cell_area=0.09, camera_mount=0.0)
    more = camera_rise(plastic, water, 7.4, contents=loose) - camera_rise(CAN, water, 7.4, contents=loose)
    assert more == pytest.approx(7.4 * (plastic.wall_resistance - CAN.wall_resistance), rel=0.1)


def test_heat_of_the_camera_goes_through_the_wall() -> None:
    """In the end every watt leaves through the wall's outside: conductance x difference = power."""
    network = package_network(CAN, LOADS, Outside("water", 4.0, 35.0), 8.0)
    settled = network.settled(4.0, np.array([0.6, 7.4, 0.0, 0.0]))
    assert network.to_outside @ (settled - 4.0) == pytest.approx(8.0)


def test_wall_of_a_housing_weighs_what_a_can_weighs() -> None:
    """Thin shell: surface x thickness x rho c, by hand 0.40 m2 x 12 mm x 2.42e6 J/(m3 K), 8 % less inside."""
    assert CAN.capacity == pytest.approx(CAN.area * 0.012 * 2700 * 896, rel=0.1)


def test_fresh_water_at_four_degrees_hardly_convects() -> None:
    still = heat.film_horizontal_cylinder(fluids_at.water(4.0, 0.0), 0.18, 1.0)
    warm = heat.film_horizontal_cylinder(fluids_at.water(12.0, 0.0), 0.18, 1.0)
    assert float(still) < 0.5 * float(warm)


def test_sea_water_expands_more_at_depth() -> None:
    top = float(fluids_at.water(2.0, 35.0).expansion)
    deep = float(fluids_at.water(2.0, 35.0, 4000.0).expansion)
    assert deep > 1.5 * top  # 0.8e-4 and 1.7e-4 (from memory)


def test_more_area_or_a_stream_cools_better() -> None:
    assert CAMERA_AREA_M2[0] < CAMERA_AREA_M2[1] < CAMERA_AREA_M2[2]
    assert inside_film(20.0, 0.1, 2.0) > inside_film(20.0, 0.1, 0.5)


@pytest.mark.parametrize(
    ("housing", "words"),
    [
        (Housing(0.18, 0.62, 0.09, "aluminium"), "wall is 0.09 m"),
        (Housing(0.18, 0.62, 0.0, "aluminium"), "wall is 0 m"),
        (Housing(18.0, 0.62, 0.01, "aluminium"), r"outer diameter is 18 m; it must lie in 0\.02 \.\. 2 m"),
        (Housing(0.18, 0.62, 0.01, "cheese"), "material 'cheese' is not known; known are aluminium"),
    ],
)
def test_housings_that_can_not_be_are_refused(housing: Housing, words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        package_network(housing, LOADS, Outside("water", 4.0, 35.0), 8.0)


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

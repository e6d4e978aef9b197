"""Drag and fall against published values: spheres (library `fluids`), handbook cylinders, terminal speed, start."""

import math

import fluids
import pytest
from published import Entry, chosen, entry, ids

from schedgen.physics import drag, motion

SPHERES = chosen("drag.sphere_Re", "drag.sphere_crisis")
SPEEDS = chosen("drag.vt_cyl_")
BALLS = chosen("drag.vterm_")
AXIAL = chosen("drag.cyl_axial_")
CROSS = chosen("drag.cyl_cross_")
START = ["drag.tau", "drag.z_at_3tau", "drag.fall_time_1000m"]
FLAT = ["drag.flat_square_plate", "drag.rounded_nose_cyl"]
COVERS = [*ids(SPHERES + SPEEDS + BALLS + AXIAL + CROSS), *START, *FLAT, "drag.sphere_newton_range"]


@pytest.mark.parametrize("published", SPHERES, ids=ids(SPHERES))
def test_sphere(published: Entry) -> None:
    """Ours and the library's own function, each beside the value; above 2e5 ours is another correlation (Morrison)
    than the library's default (Barati)."""
    number = float(published.inputs["Re"])
    published.holds(float(drag.sphere(number)))
    published.holds(fluids.drag_sphere(number))


def test_sphere_is_the_named_correlation_on_either_side_of_the_fading() -> None:
    for number in (1.0, 1e3, 1e5):
        assert float(drag.sphere(number)) == pytest.approx(fluids.drag.Barati(number), rel=1e-9)
    for number in (2e5, 5e5, 1e6):
        assert float(drag.sphere(number)) == pytest.approx(fluids.drag.Morrison(number), rel=1e-9)


def test_sphere_in_the_newton_range() -> None:
    published = entry("drag.sphere_newton_range")
    for number in (1e3, 3e3, 1e4, 3e4, 1e5):
        published.holds(float(drag.sphere(number)))


@pytest.mark.parametrize("published", BALLS, ids=ids(BALLS))
def test_terminal_speed_of_a_sphere(published: Entry) -> None:
    values = published.inputs
    diameter, of_ball = values["D_m"], values.get("rho_p")
    arguments = (diameter, of_ball, values["rho_f"], values["mu_Pa_s"])
    gravity = values.get("g", 9.80665)
    published.holds(drag.sphere_speed(*arguments, gravity))
    published.holds(fluids.v_terminal(D=diameter, rhop=of_ball, rho=arguments[2], mu=arguments[3]))


@pytest.mark.parametrize("published", SPEEDS, ids=ids(SPEEDS))
def test_terminal_speed_of_a_package(published: Entry) -> None:
    values = published.inputs
    area = math.pi / 4 * values["d_m"] ** 2
    published.holds(float(motion.terminal_speed(values["net_weight_in_water_N"], values["rho"], values["Cd"], area)))


def test_time_constant_of_the_start() -> None:
    published = entry("drag.tau")
    values = published.inputs
    published.holds(float(motion.start_time(values["m_incl_added_kg"], values["vt"], values["W_N"])))


def test_way_after_three_time_constants() -> None:
    tau = entry("drag.tau")
    published = entry("drag.z_at_3tau")
    published.holds(float(motion.way_from_rest(3 * tau.expected, tau.inputs["vt"], tau.expected)))


def test_time_of_a_thousand_metres() -> None:
    published = entry("drag.fall_time_1000m")
    values = published.inputs
    way = values["depth_m"]
    published.holds(way / values["vt"] + float(motion.start_delay(way, values["vt"], values["tau"])))


@pytest.mark.parametrize("published", AXIAL, ids=ids(AXIAL))
def test_cylinder_along_its_axis(published: Entry) -> None:
    published.holds(float(drag.cylinder_along(float(published.inputs["l_over_d"]))))


@pytest.mark.parametrize("published", CROSS, ids=ids(CROSS))
def test_cylinder_across_its_axis(published: Entry) -> None:
    published.holds(float(drag.cylinder_across(float(published.inputs["l_over_d"]))))


def test_plate_and_rounded_nose() -> None:
    entry("drag.flat_square_plate").holds(drag.SQUARE_PLATE)
    entry("drag.rounded_nose_cyl").holds(drag.ROUNDED_NOSE)

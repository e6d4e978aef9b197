"""Heat against published values: Churchill and Chu (library `ht`), walls, one node, fans, water and air."""

import math
from collections.abc import Callable

import ht
import numpy as np
import pytest
from published import Entry, chosen, entry, ids

from schedgen.physics import fluids_at, heat, nodes

Nusselt = Callable[[float, float], float]
FILMS = chosen("th.hcyl_", "th.vert_", "th.sphere_")
WALLS = [found for found in chosen("th.wall_") if "Di_m" in found.inputs]
WARM = chosen("th.rc_warm_")
FANS = chosen("th.fan_0.5", "th.fan_1.1")
OTHERS = [
    "th.incropera_9.4",
    "th.ht_doc_plate",
    "th.ht_doc_hcyl",
    "th.seawater_props_6C",
    "th.air_props_27.5C",
    "th.wall_thin_plate_limit_Ti",
    "th.sealed_no_loss_rate",
    "th.fan_density",
]
COVERS = [*ids(FILMS + WALLS + WARM + FANS), *OTHERS]


def by_geometry(published: Entry) -> tuple[Nusselt, Nusselt]:
    """Ours, and the library's function of (Pr, Gr), for the entry's geometry."""
    geometry = published.inputs["geometry"]
    if geometry == "horizontal cylinder":
        return heat.nusselt_horizontal_cylinder, ht.Nu_horizontal_cylinder_Churchill_Chu
    if geometry == "vertical plate":
        return heat.nusselt_vertical_plate, ht.Nu_vertical_plate_Churchill
    assert geometry == "sphere"
    return heat.nusselt_sphere, ht.Nu_sphere_Churchill


@pytest.mark.parametrize("published", FILMS, ids=ids(FILMS))
def test_natural_convection(published: Entry) -> None:
    values = published.inputs
    ours, library = by_geometry(published)
    fluid = heat.Fluid(values["nu"], values["k"], values["Pr"], values["beta"])
    number = float(heat.rayleigh(fluid, values["Lc_m"], values["dT_K"], values["g"]))
    nusselt = float(ours(number, values["Pr"]))
    published.holds(number, "Ra")
    published.holds(nusselt, "Nu")
    published.holds(nusselt * values["k"] / values["Lc_m"], "h")
    assert nusselt == pytest.approx(library(values["Pr"], number / values["Pr"]), rel=1e-9)


@pytest.mark.parametrize("published", [found for found in FILMS if "sphere" not in found.id])
def test_film_coefficients_with_our_own_water_and_air(published: Entry) -> None:
    """The whole chain, properties included, within the 20 % that the entries allow another correlation."""
    values = published.inputs
    fluid = fluids_at.water(6.0, 35.16504) if "sw" in published.id else fluids_at.air(27.5)
    film = heat.film_horizontal_cylinder if "hcyl" in published.id else heat.film_vertical_plate
    ours = float(film(fluid, values["Lc_m"], values["dT_K"]))
    published.holds(ours, "h", kind="rel_other_correlation")
    assert ours == pytest.approx(published.expected["h"], rel=0.02)


def test_incropera_example_9_4() -> None:
    published = entry("th.incropera_9.4")
    values = published.inputs
    fluid = heat.Fluid(values["nu"], values["k"], values["nu"] / values["alpha"], values["beta"])
    warm = values["Ts_degC"] - values["Tinf_degC"]
    # the entry takes Ra with nu x alpha, and Pr as tabled (0.697), not nu/alpha
    number = float(heat.rayleigh(fluid, values["D_m"], warm, values["g"]))
    nusselt = float(heat.nusselt_horizontal_cylinder(number, values["Pr"]))
    film = nusselt * values["k"] / values["D_m"]
    published.holds(number, "Ra")
    published.holds(nusselt, "Nu")
    published.holds(film, "h")
    published.holds(film * math.pi * values["D_m"] * warm, "q_conv_W_per_m")


@pytest.mark.parametrize(
    ("name", "ours"),
    [("th.ht_doc_plate", heat.nusselt_vertical_plate), ("th.ht_doc_hcyl", heat.nusselt_horizontal_cylinder)],
)
def test_examples_in_the_manual_of_the_library(name: str, ours: Nusselt) -> None:
    published = entry(name)
    published.holds(float(ours(published.inputs["Pr"] * published.inputs["Gr"], published.inputs["Pr"])))


def test_sea_water_at_six_degrees() -> None:
    published = entry("th.seawater_props_6C")
    fluid = fluids_at.water(published.inputs["t_film_degC"], published.inputs["SA_g_kg"])
    published.holds(float(fluid.viscosity), "nu")
    published.holds(float(fluid.conductivity), "k")
    published.holds(float(fluid.prandtl), "Pr")
    published.holds(float(fluid.expansion), "beta")


def test_air_at_twenty_seven_degrees() -> None:
    published = entry("th.air_props_27.5C")
    fluid = fluids_at.air(published.inputs["t_film_degC"])
    published.holds(float(fluid.viscosity), "nu")
    published.holds(float(fluid.conductivity), "k")
    published.holds(float(fluid.prandtl), "Pr")
    published.holds(float(fluid.expansion), "beta")


@pytest.mark.parametrize("published", WALLS, ids=ids(WALLS))
def test_wall_of_a_tube(published: Entry) -> None:
    values = published.inputs
    ours = float(heat.wall_cylinder(values["k_W_mK"], values["Di_m"], values["Do_m"], values["L_m"]))
    published.holds(ours)
    library = ht.conduction.R_cylinder(values["Di_m"], values["Do_m"], values["k_W_mK"], values["L_m"])
    assert ours == pytest.approx(library, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "conductivity"),
    [("aluminium", 167), ("titanium", 6.7), ("stainless steel", 16.2), ("acetal", 0.31), ("glass", 1.14)],
)
def test_materials_conduct_as_in_the_published_walls(name: str, conductivity: float) -> None:
    assert any(found.inputs["k_W_mK"] == conductivity for found in WALLS)
    assert heat.material(name).conductivity == conductivity


def test_flat_wall_is_the_limit_of_a_thin_tube() -> None:
    published = entry("th.wall_thin_plate_limit_Ti")
    values = published.inputs
    area = math.pi * values["D_m"] * values["L_m"]
    ours = float(heat.wall_plane(values["k"], values["thickness_m"], area))
    published.holds(ours)
    tube = float(
        heat.wall_cylinder(values["k"], values["D_m"] - 2 * values["thickness_m"], values["D_m"], values["L_m"])
    )
    assert ours == pytest.approx(tube, rel=published.tolerance["rel"] * 2)


@pytest.mark.parametrize("published", WARM, ids=ids(WARM))
def test_one_node_warms_by_the_closed_form(published: Entry) -> None:
    """Closed form, and the same node as a network, both to the entry's tolerance."""
    values = published.inputs
    start, around, power, seconds = values["T_start_degC"], values["T_amb_degC"], values["P_W"], values["t_s"]
    resistance, capacity = values["R_K_W"], values["C_J_K"]
    published.holds(float(nodes.one_node(start, around, power, resistance, capacity, seconds)))
    network = nodes.Network({"camera": capacity}, [], {"camera": 1 / resistance})
    published.holds(float(network.step(np.array([start]), around, np.array([power]), seconds)[0]))


def test_a_sealed_node_warms_steadily() -> None:
    published = entry("th.sealed_no_loss_rate")
    published.holds(float(nodes.sealed_rate(published.inputs["P_W"], published.inputs["C_J_K"])) * 3600)


@pytest.mark.parametrize("published", FANS, ids=ids(FANS))
def test_fan_laws(published: Entry) -> None:
    ratio = published.inputs["speed_ratio"]
    published.holds(float(heat.fan_flow(ratio)), "flow")
    published.holds(float(heat.fan_pressure(ratio)), "pressure")
    published.holds(float(heat.fan_power(ratio)), "power")


def test_fan_laws_in_denser_air() -> None:
    published = entry("th.fan_density")
    denser = published.inputs["rho2"] / published.inputs["rho1"]
    published.holds(float(heat.fan_flow(1.0)), "flow")
    published.holds(float(heat.fan_pressure(1.0, denser)), "pressure")
    published.holds(float(heat.fan_power(1.0, denser)), "power")

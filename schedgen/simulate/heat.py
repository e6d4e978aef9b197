"""Temperatures inside the housing: cells, each camera, the wall, through air and water.

The nodes are the cells, every load that is taken to sit in the housing and has a heat limit, and the wall; the air
inside holds next to no heat and is taken out of the network (star to mesh). Film coefficients are taken once for each
regime (air or water outside, fan level inside) at a typical difference of temperature, so that a regime is a linear
network with an exact step of any length (`physics.nodes.Network`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from schedgen.physics import fluids_at, heat
from schedgen.physics.nodes import Network
from schedgen.plan.model import Plan
from schedgen.simulate.loads import Demand
from schedgen.simulate.results import Floats
from schedgen.simulate.runs import Ints, Runs

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.dive.loads import Load
    from schedgen.dive.model import Dive
    from schedgen.dive.vehicle import Housing, Site

CELL_J_KG_K = 1000.0
"""Specific heat of lithium-ion cells: 900 to 1100 J/(kg K) (from memory)."""
CAMERA_J_K = 300.0
CAMERA_M2 = 0.03
"""A camera of some 0.35 kg and 6 x 8 x 10 cm: a guess of ours, listed among the assumptions."""
EXPOSED = 0.5
"""Share of the cells' mantle that meets the air; the rest lies against its neighbours (a guess of ours)."""
FAN_M_S = 2.0
"""Air speed along the cameras at full fan (a guess of ours)."""
INSIDE_K, WATER_K, AIR_K = 10.0, 1.0, 15.0
"""Typical differences of temperature at which the films are taken."""
INSIDE_ROLES = ("camera", "fan", "other")
ASSUMED = (
    "heat: a camera holds 300 J/K and has 0.03 m2; half of the cells' mantle meets the air; a full fan blows 2 m/s",
    "heat: cameras, fans and other loads sit in the housing with the pack; lights, beacons and locators do not",
)


@dataclass(frozen=True, slots=True, eq=False)
class Interior:
    """What is in the housing: node names, one network for each regime (medium, fan level), how heat put into the air
    divides over the nodes in each, `cells_j_k`, and the sun on the wall at full strength [W] for 1 W/m2."""

    cameras: tuple[str, ...]
    fan_output: str
    levels: tuple[int, ...]
    networks: tuple[Network, ...]
    air_shares: Floats
    sun_w: float


def inside(load: Load) -> bool:
    """Whether a load is taken to be in the housing."""
    return load.resolved_role in INSIDE_ROLES


def _films(housing: Housing, site: Site, level: int) -> tuple[float, float]:
    """Film coefficients inside [W/(m2 K)]: on the wall and cells (still air), on the cameras at a fan level."""
    air = fluids_at.air(20.0)
    still = float(heat.film_vertical_plate(air, 0.1, INSIDE_K)) + float(heat.film_radiation(20.0, 20.0))
    if level <= 0:
        return still, still
    blown = float(heat.film_forced_plate(air, 0.1, FAN_M_S * float(heat.fan_flow(level / 100.0))))
    return still, max(still, blown + float(heat.film_radiation(20.0, 20.0)))


def _outside(housing: Housing, site: Site) -> tuple[float, float]:
    """Conductance from the wall outward [W/K]: in air, in the coldest water; half the wall in series."""
    diameter, length = housing.outer_diameter.nominal, housing.length.nominal
    area = float(heat.tube_area(diameter, length))
    stuff = heat.material(housing.material)
    inner = diameter - 2.0 * housing.wall.nominal
    wall = float(heat.wall_cylinder(stuff.conductivity, inner, diameter, length)) / 2.0
    row = min(site.water, key=lambda each: float(each.temperature.nominal))
    sea = fluids_at.water(float(row.temperature.nominal), float(row.salinity.nominal))
    in_water = float(heat.film_horizontal_cylinder(sea, diameter, WATER_K))
    in_air = float(heat.film_horizontal_cylinder(fluids_at.air(20.0), diameter, AIR_K))
    in_air += float(heat.film_radiation(20.0, 20.0))
    return 1.0 / (wall + 1.0 / (in_air * area)), 1.0 / (wall + 1.0 / (in_water * area))


def _network(names: list[str], capacities: list[float], to_air: Floats, outward: float) -> tuple[Network, Floats]:
    total = float(to_air.sum())
    links = [
        (names[i], names[j], float(to_air[i] * to_air[j]) / total)
        for i in range(len(names))
        for j in range(i + 1, len(names))
    ]
    network = Network(dict(zip(names, capacities, strict=True)), links, {names[-1]: outward})
    return network, to_air / total


def interior_of(dive: Dive, cell: Cell, plan: Plan, demand: Demand) -> Interior | None:
    """The housing of a dive as networks, or None where the file does not describe it."""
    housing = dive.vehicle.housing
    if housing is None:
        return None
    cameras = [name for name, load in dive.loads.items() if load.heat_limit is not None and inside(load)]
    fan = next(
        (
            o.output
            for o in plan.outputs.values()
            if o.load in dive.loads and dive.loads[o.load].resolved_role == "fan" and o.on_times
        ),
        "",
    )
    levels = tuple(sorted({0, *(int(v) for v in np.unique(demand.levels[fan]))})) if fan else (0,)
    stuff = heat.material(housing.material)
    diameter, length, wall = (float(q.nominal) for q in (housing.outer_diameter, housing.length, housing.wall))
    shell = float(heat.tube_area(diameter, length)) * wall * stuff.density * stuff.specific_heat
    cells = dive.pack.series * dive.pack.parallel
    mantle = cells * np.pi * float(cell.diameter.nominal) * float(cell.length.nominal) * EXPOSED
    bore = diameter - 2.0 * wall
    names = ["the pack", *(f"load {name}" for name in cameras), "the wall"]
    counts = [float(getattr(dive.loads[name], "count", 1) or 1) for name in cameras]
    capacities = [cells * float(cell.mass.nominal) * CELL_J_KG_K, *(CAMERA_J_K * n for n in counts), shell]
    networks, divide = [], []
    for outward in _outside(housing, dive.site):
        for level in levels:
            still, blown = _films(housing, dive.site, level)
            to_air = np.array([still * mantle, *(blown * CAMERA_M2 * n for n in counts), still * np.pi * bore * length])
            network, part = _network(names, capacities, to_air, outward)
            networks.append(network)
            divide.append(part)
    sun = float(heat.solar_gain(1.0, stuff.absorbs, diameter, length))
    return Interior(tuple(cameras), fan, levels, tuple(networks), np.array(divide), sun)


@dataclass(frozen=True, slots=True, eq=False)
class Warmth:
    """Temperatures (steps + 1, runs), degC."""

    cell_c: Floats
    wall_c: Floats
    load_c: dict[str, Floats]


def outside_of(runs: Runs, ambient_c: Floats, in_water: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Temperature around at the start and at the end of every step (steps, runs): air until splash, then water."""
    air = runs["site.air.temperature"]
    return np.where(in_water, ambient_c[:-1], air), np.where(in_water, ambient_c[1:], air)


def warm(
    interior: Interior,
    runs: Runs,
    demand: Demand,
    time_s: Floats,
    true_s: Floats,
    segments: Ints,
    ambient_c: Floats,
    cell_w: Floats,
    load_w: dict[str, Floats],
    other_w: Floats,
) -> Warmth:
    """Temperatures of every node. `cell_w`, `load_w` (of the cameras) and `other_w` (put into the air) are heats in W,
    (steps, runs). All begin as they settle on deck, in the sun where there is any. What is around changes evenly within
    a step: the nodes then follow it late, by the temperature that its rate would settle as a heat in each of them."""
    nodes = len(interior.cameras) + 2
    middle = 0.5 * (time_s[1:] + time_s[:-1])
    in_water = middle >= runs.splash
    regime = in_water.astype(np.intp) * len(interior.levels)
    if interior.fan_output:
        levels = np.searchsorted(interior.levels, demand.levels[interior.fan_output])
        regime += levels[segments]
    sunlit = (middle < runs.splash) | (middle >= runs.surface)
    power = interior.air_shares[regime] * other_w[..., None]
    power[..., 0] += cell_w
    for k, name in enumerate(interior.cameras):
        power[..., 1 + k] += load_w[name]
    power[..., -1] += np.where(sunlit, runs["site.air.sun"] * interior.sun_w, 0.0)
    start_c, stop_c = outside_of(runs, ambient_c, in_water)
    rate = (stop_c - start_c) / np.maximum(true_s, 1e-9)
    move = np.empty((*true_s.shape, nodes, nodes))
    push = np.empty((*true_s.shape, nodes))
    still = np.zeros(nodes)
    for number, network in enumerate(interior.networks):
        chosen = regime == number
        if not chosen.any():
            continue
        seconds = true_s[chosen]
        unit = network.step(
            np.eye(nodes), np.zeros((len(seconds), nodes)), still, np.repeat(seconds[:, None], nodes, axis=1)
        )
        matrix = unit.transpose(0, 2, 1)
        settled = network.settled(start_c[chosen], power[chosen])
        moved = rate[chosen][:, None]
        behind = settled - moved * network.settled(0.0, network.capacities)
        move[chosen] = matrix
        push[chosen] = behind + moved * seconds[:, None] - (matrix @ behind[..., None])[..., 0]
    course = np.empty((len(true_s) + 1, len(runs), nodes))
    sun = np.zeros((len(runs), nodes))
    sun[:, -1] = runs["site.air.sun"] * interior.sun_w
    course[0] = interior.networks[0].settled(runs["site.air.temperature"], sun)
    for k in range(len(true_s)):
        course[k + 1] = (move[k] @ course[k][..., None])[..., 0] + push[k]
    return Warmth(
        course[..., 0].copy(),
        course[..., -1].copy(),
        {name: course[..., 1 + k].copy() for k, name in enumerate(interior.cameras)},
    )

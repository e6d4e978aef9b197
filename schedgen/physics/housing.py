"""The heat network of a package: cell, camera, inside air and wall, to the water or the air outside.

Puts the correlations of `heat` together for one state of the surroundings (deck, water, surface; fan on or
off); the result is a `nodes.Network` that steps exactly as long as that state lasts. What a dive file does
not say (areas inside, air speed of a fan) has a default with its range, which the report must list as guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from schedgen.physics import fluids_at, heat
from schedgen.physics.bounds import above, within
from schedgen.physics.nodes import Network

CELL_HEAT = 900.0
"""J/(kg K) of a cell: 830 to 1100 are published (from memory)."""
CAMERA_HEAT = 900.0
"""J/(kg K) of a camera: mostly aluminium (from memory)."""
CAMERA_AREA_M2 = (0.01, 0.03, 0.06)
"""Surface of one camera: least, usual, most (common practice, no source)."""
CAMERA_MASS_KG = (0.15, 0.4, 0.8)
"""Mass of one camera: least, usual, most (common practice, no source)."""
MOUNT_W_K = (0.0, 0.1, 0.5)
"""Conductance [W/K] of one camera's mount to the wall: none, plastic, metal (common practice, no source)."""
FAN_SPEED = (0.5, 1.5, 3.0)
"""Air speed along the camera [m/s] of a small fan at full speed: least, usual, most (common practice, no source)."""
EMISSIVITY = 0.8
CELL_CONTACT = 10.0
"""h [W/(m2 K)] between pack and inside air, still air and radiation in a bundle (common practice, no source)."""
INSIDE_K = 8.0
"""Temperature difference [K] at which the still-air films inside are taken; they go with its fourth root."""


@dataclass(frozen=True, slots=True)
class Housing:
    """A tube: `outer_diameter`, `length`, `wall` thickness [m], `material` name of `heat.MATERIALS`."""

    outer_diameter: float
    length: float
    wall: float
    material: str

    @property
    def area(self) -> float:
        """Outer surface with the two ends [m2]."""
        return float(heat.tube_area(self.outer_diameter, self.length))

    @property
    def inner_area(self) -> float:
        """Inner surface with the two ends [m2]."""
        return float(heat.tube_area(self.outer_diameter - 2 * self.wall, self.length - 2 * self.wall))

    @property
    def capacity(self) -> float:
        """Heat capacity of the wall [J/K]."""
        made_of = heat.material(self.material)
        inner, inside = self.outer_diameter - 2 * self.wall, self.length - 2 * self.wall
        shell = np.pi / 4 * (self.outer_diameter**2 * self.length - inner**2 * inside)
        return float(shell * made_of.density * made_of.specific_heat)

    @property
    def wall_resistance(self) -> float:
        """Resistance [K/W] of the tube's wall beside the two flat ends of the same thickness."""
        conducts = heat.material(self.material).conductivity
        inner = self.outer_diameter - 2 * self.wall
        tube = float(heat.wall_cylinder(conducts, inner, self.outer_diameter, self.length))
        ends = float(heat.wall_plane(conducts, self.wall, np.pi / 2 * inner**2))
        return 1.0 / (1.0 / tube + 1.0 / ends)

    def refuse_nonsense(self) -> None:
        """Raise OutOfRange for sizes no housing has."""
        within("outer diameter", self.outer_diameter, 0.02, 2.0, "m")
        within("length", self.length, 0.02, 5.0, "m")
        above("wall", self.wall, 0.0, "m")
        within("wall", self.wall, 0.0, 0.49 * min(self.outer_diameter, self.length), "m", "less than the radius")
        heat.material(self.material)


@dataclass(frozen=True, slots=True)
class Outside:
    """What is around the housing: `medium` at `temperature_c` [degC], salinity [g/kg] and dbar for water.

    `wind` [m/s] is an air speed, or a current in water, along the housing: 0 is still, the worst for cooling.
    """

    medium: Literal["water", "air"]
    temperature_c: float
    salinity: float = 35.0
    pressure_dbar: float = 0.0
    wind: float = 0.0


def outside_film(outside: Outside, diameter: float, difference_k: float) -> float:
    """Return h [W/(m2 K)] from a lying tube of `diameter` [m] to what is outside; wall warmer by `difference_k` [K].

    Natural convection (Churchill and Chu) or the stream along it, whichever is more; in air radiation is added.
    Raises OutOfRange as the parts do. Source: `heat.film_horizontal_cylinder` and the others named.

    >>> round(outside_film(Outside("water", 4.0, 35.2), 0.15, 4.0))
    254
    """
    film_c = outside.temperature_c + difference_k / 2.0
    if outside.medium == "water":
        fluid = fluids_at.water(film_c, outside.salinity, outside.pressure_dbar)
        radiation = 0.0
    else:
        fluid = fluids_at.air(film_c)
        warm = outside.temperature_c + difference_k
        radiation = float(heat.film_radiation(warm, outside.temperature_c, EMISSIVITY))
    still = float(heat.film_horizontal_cylinder(fluid, diameter, difference_k))
    stream = float(heat.film_forced_plate(fluid, diameter, outside.wind)) if outside.wind > 0 else 0.0
    return max(still, stream) + radiation


def outside_conductance(housing: Housing, outside: Outside, power_w: float) -> tuple[float, float]:
    """Return the conductance [W/K] from the wall's outside to the surroundings and the difference [K] it settles at.

    `power_w` [W] is the mean heat that flows through; the film depends on the difference, found by repetition.
    Source: `outside_film`.

    >>> can = Housing(0.18, 0.62, 0.012, "aluminium")
    >>> conductance, difference = outside_conductance(can, Outside("water", 4.1, 35.1, 1500.0), 8.0)
    >>> conductance > 20, difference < 0.5
    (True, True)
    """
    difference = 1.0
    conductance = 0.0
    for _ in range(5):
        conductance = outside_film(outside, housing.outer_diameter, difference) * housing.area
        difference = max(heat.LEAST_DIFFERENCE_K, abs(power_w) / conductance)
    return conductance, difference


def inside_film(air_c: float, length: float, air_speed: float) -> float:
    """Return h [W/(m2 K)] between a surface of `length` [m] and inside air at `air_speed` [m/s], radiation included.

    Still air by Churchill and Chu (vertical plate) at a difference of 8 K, a stream by Pohlhausen: whichever is more.
    Source: `heat.film_vertical_plate`, `heat.film_forced_plate`, `heat.film_radiation`.

    >>> inside_film(20.0, 0.1, 0.0) < inside_film(20.0, 0.1, 1.5)
    True
    """
    fluid = fluids_at.air(air_c)
    still = float(heat.film_vertical_plate(fluid, length, INSIDE_K))
    stream = float(heat.film_forced_plate(fluid, length, air_speed)) if air_speed > 0 else 0.0
    return max(still, stream) + float(heat.film_radiation(air_c + INSIDE_K, air_c, EMISSIVITY))


@dataclass(frozen=True, slots=True)
class Contents:
    """What is in the housing: mass [kg] and surface [m2] of all cells; of each camera, with its mount [W/K]."""

    cell_mass: float
    cell_area: float
    cameras: int = 1
    camera_area: float = CAMERA_AREA_M2[1]
    camera_mass: float = CAMERA_MASS_KG[1]
    camera_mount: float = MOUNT_W_K[1]


def package_network(
    housing: Housing,
    contents: Contents,
    outside: Outside,
    mean_power_w: float,
    fan_duty: float = 0.0,
    fan_speed: float = FAN_SPEED[1],
) -> Network:
    """Return the network of nodes cell, camera, air, wall for one state of the surroundings.

    `mean_power_w` [W] is what flows out on the mean (it sets the film outside), `fan_duty` 0 .. 1 scales `fan_speed`
    [m/s] by the affinity laws. Sun is power into the node wall (`heat.solar_gain`). Raises OutOfRange for a housing
    of no size and as the correlations do. Source: the correlations of `heat`, in series and side by side.

    >>> net = package_network(Housing(0.18, 0.62, 0.012, "aluminium"), Contents(1.05, 0.09), Outside("water", 4.1), 8.0)
    >>> settled = net.settled(4.1, np.array([0.5, 7.4, 0.0, 0.0]))
    >>> net.names, bool(settled[1] > settled[2] > settled[3] > 4.1)
    (('cell', 'camera', 'air', 'wall'), True)
    """
    housing.refuse_nonsense()
    above("mass of the cells", contents.cell_mass, 0.0, "kg")
    above("surface of the cells", contents.cell_area, 0.0, "m2")
    within("cameras", contents.cameras, 1, 16)
    within("fan duty", fan_duty, 0.0, 1.0)
    speed = fan_speed * float(heat.fan_flow(fan_duty))
    near = outside.temperature_c
    film = inside_film(near + INSIDE_K, 0.1, speed)
    to_outside, _ = outside_conductance(housing, outside, mean_power_w)
    inner_film = inside_film(near, housing.length / 2.0, speed / 2.0) * housing.inner_area
    through = 1.0 / (1.0 / inner_film + housing.wall_resistance / 2.0)
    volume = np.pi / 4 * (housing.outer_diameter - 2 * housing.wall) ** 2 * housing.length
    capacities = {
        "cell": contents.cell_mass * CELL_HEAT,
        "camera": contents.cameras * contents.camera_mass * CAMERA_HEAT,
        "air": max(1.0, 0.5 * volume * 1.2 * 1006.0),
        "wall": housing.capacity,
    }
    links = [
        ("cell", "air", max(CELL_CONTACT, film) * contents.cell_area),
        ("camera", "air", film * contents.camera_area * contents.cameras),
        ("camera", "wall", contents.camera_mount * contents.cameras),
        ("air", "wall", through),
    ]
    return Network(capacities, links, {"wall": 1.0 / (1.0 / to_outside + housing.wall_resistance / 2.0)})

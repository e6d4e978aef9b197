"""The way down and the way up: terminal speed in each layer, times, and what starting and braking add.

The package moves at its terminal speed in each layer of the water, since the time it needs to reach it,
tau = m v / W with the water it carries along (added mass) counted in, is seconds against minutes. The start
from rest is not left out: in uniform water it costs tau ln(1 + sqrt(1 - exp(-2 x))) with x = z / (v tau), which
is exact, and is added to the time (`start_delay_s`).

All inputs may be arrays (one entry a corner); then the results are too, with the grid as the last axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics import seawater
from schedgen.physics.bounds import Array, Flags, Numbers, above, plain, within

LAYERS = 96
"""Layers that the way is cut into; the trapezoid rule on 1/v over them is good to 1e-5 in a usual profile."""
ADDED_MASS = 0.5
"""Mass of water carried along, as a share of the displaced mass: 1/2 is exact for a sphere (Lamb 1932, art. 92);
blunt bodies lie between 0.3 and 1. It changes the start by seconds only."""


class Water(Protocol):
    """What the motion needs to know of the water; `column.WaterColumn` is one."""

    latitude: float

    def density(self, depth: Numbers) -> Array:
        """Return the density [kg/m3] at `depth` [m]."""
        ...

    def pressure(self, depth: Numbers) -> Array:
        """Return the sea pressure [dbar] at `depth` [m]."""
        ...


@dataclass(frozen=True, slots=True)
class Travel:
    """One way through the water. Shapes: `(...)` of the corners, grids `(..., LAYERS + 1)`.

    `time_s` [s] from rest to arrival, infinite where it never gets there (`arrives` false: the net weight or
    lift is not positive somewhere on the way); `depth_m` [m] in the order of travel; `elapsed_s` [s] at each;
    `speed` [m/s] terminal speed at each (0 where it would not move on); `landing_speed` [m/s] on arrival;
    `start_delay_s` [s] what the start from rest adds; `tau_s` [s] time constant of the start;
    `force_n` [N] along the way at each depth, net weight down or net lift up.
    """

    time_s: Array
    depth_m: Array
    elapsed_s: Array
    speed: Array
    landing_speed: Array
    start_delay_s: Array
    tau_s: Array
    force_n: Array
    arrives: Flags

    @property
    def least_force_n(self) -> Array:
        """Smallest force along the way [N]."""
        return np.asarray(self.force_n.min(axis=-1))[()]

    @property
    def mean_speed(self) -> Array:
        """Way over time [m/s], the start included; 0 where it never arrives."""
        way = np.abs(self.depth_m[..., -1] - self.depth_m[..., 0])
        return np.asarray(way / self.time_s)[()]


def terminal_speed(net_weight_n: Numbers, density: Numbers, drag_coefficient: Numbers, area: Numbers) -> Array:
    """Return the terminal speed v = sqrt(2 W / (rho Cd A)) [m/s], positive down; W below 0 gives a rise.

    `net_weight_n` weight in water [N], `density` of the water [kg/m3], `area` [m2] that the coefficient goes
    with. Valid where the coefficient is constant: blunt bodies above a Reynolds number of about 1e4.
    Source: the definition of the drag coefficient; worked number by hand.

    >>> round(float(terminal_speed(50.0, 1028.0, 0.85, 0.0314159265)), 5)
    1.90862
    """
    above("density", density, 0, "kg/m3")
    above("drag coefficient", drag_coefficient, 0)
    above("area", area, 0, "m2")
    weight = np.asarray(net_weight_n, dtype=float)
    squared = 2.0 * np.abs(weight) / (np.asarray(density) * drag_coefficient * area)
    return np.asarray(np.copysign(np.sqrt(squared), weight))[()]


def start_time(mass_with_added: Numbers, speed: Numbers, net_weight_n: Numbers) -> Array:
    """Return tau = m v / W [s], the time constant of the start from rest; mass [kg] with the added mass.

    Speed [m/s] and weight [N] must have the same sign. Source: m dv/dt = W (1 - v^2/vt^2). By hand, 60 kg and 50 N:

    >>> round(float(start_time(60.0, 1.908618123777, 50.0)), 6)
    2.290342
    """
    return np.asarray(np.asarray(mass_with_added) * speed / net_weight_n)[()]


def way_from_rest(time_s: Numbers, speed: Numbers, tau_s: Numbers) -> Array:
    """Return z = v tau ln cosh(t / tau) [m], the way from rest in uniform water with quadratic drag.

    `time_s` [s], terminal `speed` [m/s], `tau_s` [s]. Source: m dv/dt = W (1 - v^2/vt^2), integrated twice.

    >>> round(float(way_from_rest(3 * 2.290341748532, 1.908618123777, 2.290341748532)), 5)
    10.09497
    """
    return np.asarray(np.asarray(speed) * tau_s * np.log(np.cosh(np.asarray(time_s) / tau_s)))[()]


def start_delay(way_m: Numbers, speed: Numbers, tau_s: Numbers) -> Array:
    """Return what a start from rest adds to way / speed [s]: tau ln(1 + sqrt(1 - exp(-2 x))), x = z / (v tau).

    Source: `way_from_rest` solved for t, minus z / v; tau ln 2 for a long way. At 1000 m: 523.94 + 1.59 s.

    >>> v, tau = 1.908618123777, 2.290341748532
    >>> round(float(1000 / v + start_delay(1000.0, v, tau)), 4)
    525.5268
    """
    x = np.asarray(way_m) / (np.asarray(speed) * tau_s)
    return np.asarray(tau_s * np.log1p(np.sqrt(-np.expm1(-2.0 * x))))[()]


def ballast_weight(mass: Numbers, ballast_density: Numbers, water_density: Numbers, gravity: Numbers) -> Array:
    """Return the weight of ballast in water [N]: m g (1 - rho_water / rho_ballast).

    Mass [kg], densities [kg/m3], gravity [m/s2]. Ballast that is not heavier than the water raises OutOfRange.
    Source: Archimedes. 16 kg of iron of 7200 kg/m3 in water of 1000 kg/m3 lose 16 x 1000/7200 = 2.222 kg.

    >>> round(float(ballast_weight(16.0, 7200.0, 1000.0, 9.80665)) / 9.80665, 3)
    13.778
    """
    within("ballast mass", mass, 0, np.inf, "kg")
    heaviest = float(np.max(water_density))
    if np.any(np.asarray(mass) > 0) and not np.all(np.asarray(ballast_density) > heaviest):
        raise OutOfRange(
            f"ballast density is {plain(float(np.min(ballast_density)))} kg/m3; it must be above the "
            f"{plain(round(heaviest, 1))} kg/m3 of the water, or it does not sink",
            "Give the density of the ballast itself: iron about 7200, concrete about 2300, sand bags about 1800 kg/m3.",
        )
    return np.asarray(np.asarray(mass) * gravity * (1.0 - np.asarray(water_density) / ballast_density))[()]


def net_weight(
    water: Water,
    depth: Numbers,
    mass: Numbers,
    volume: Numbers,
    ballast_mass: Numbers = 0.0,
    ballast_density: Numbers = 7200.0,
    foam_volume: Numbers = 0.0,
    foam_compressibility: Numbers = 0.0,
) -> Array:
    """Return the weight in water [N], positive down, at `depth` [m].

    `mass` [kg] and `volume` [m3] without ballast; `ballast_density` [kg/m3]; `foam_volume` [m3] is the part of
    the volume that shrinks by `foam_compressibility` [1/dbar] with pressure (at most 10 % in all).
    W = m g - rho g (V - Vf beta p) + ballast. Shapes broadcast. Source: Archimedes. 46 kg and 51.5 L are 5.5 kgf light:

    >>> from schedgen.physics.column import WaterColumn
    >>> lake = WaterColumn([(0, 4, 0)], 46.0, 9.0)
    >>> round(float(net_weight(lake, 0.0, 46.0, 0.0515)), 1)
    -53.9
    """
    above("mass", mass, 0, "kg")
    above("volume", volume, 0, "m3")
    density, gravity = water.density(depth), seawater.gravity(water.latitude, depth)
    pressure = water.pressure(depth) if np.any(foam_compressibility) else np.zeros(())
    shrunk = np.asarray(foam_compressibility) * pressure
    within("shrinking of the foam", shrunk, 0, 0.1, "", "share of its volume; the linear law ends there")
    displaced = np.asarray(volume) - np.asarray(foam_volume) * shrunk
    package = (np.asarray(mass) - density * displaced) * gravity
    return np.asarray(package + ballast_weight(ballast_mass, ballast_density, density, gravity))[()]


def _column(value: Numbers) -> Array:
    """Return `value` with a last axis for the grid."""
    return np.asarray(value, dtype=float)[..., np.newaxis]


def _travel(
    depths: Array, force: Array, density: Array, moved_mass: Array, volume: Array, drag: Numbers, area: Numbers
) -> Travel:
    """Integrate along `depths` (..., n) with the `force` [N] along the way."""
    moves = force > 0
    speed = np.where(moves, terminal_speed(np.where(moves, force, 0.0), density, _column(drag), _column(area)), 0.0)
    with np.errstate(divide="ignore"):
        slowness = 1.0 / speed
    lengths = np.abs(np.diff(depths, axis=-1))
    steps = lengths * (slowness[..., 1:] + slowness[..., :-1]) / 2
    steps = np.where(lengths > 0, steps, 0.0)
    arrives = moves.all(axis=-1)
    carried = moved_mass + ADDED_MASS * density[..., 0] * volume
    with np.errstate(divide="ignore", invalid="ignore"):
        tau = np.where(arrives, start_time(carried, speed[..., 0], force[..., 0]), np.inf)
        way = lengths.sum(axis=-1)
        delay = np.where(arrives, start_delay(way, speed[..., 0], tau), np.inf)
        built_up = np.sqrt(-np.expm1(-2.0 * way / (speed[..., 0] * tau)))
    elapsed = np.concatenate((np.zeros((*steps.shape[:-1], 1)), np.cumsum(steps, axis=-1)), axis=-1)
    later = np.minimum(elapsed, np.where(np.isfinite(delay), delay, 0.0)[..., np.newaxis])
    return Travel(
        time_s=np.asarray(np.where(arrives, elapsed[..., -1] + delay, np.inf))[()],
        depth_m=depths,
        elapsed_s=elapsed + later,
        speed=speed,
        landing_speed=np.asarray(np.where(arrives, speed[..., -1] * built_up, 0.0))[()],
        start_delay_s=np.asarray(delay)[()],
        tau_s=np.asarray(tau)[()],
        force_n=force,
        arrives=np.asarray(arrives)[()],
    )


def _along(
    downward: bool,
    water: Water,
    depth: Numbers,
    mass: Numbers,
    volume: Numbers,
    ballast_mass: Numbers,
    ballast_density: Numbers,
    drag: Numbers,
    area: Numbers,
    foam_volume: Numbers,
    foam_compressibility: Numbers,
) -> Travel:
    within("depth", depth, 0, seawater.DEEPEST_M, "m", "positive down; the deepest sea floor is about 10 935 m")
    inputs = (depth, mass, volume, ballast_mass, ballast_density, drag, area, foam_volume, foam_compressibility)
    shape = np.broadcast_shapes(*(np.shape(value) for value in inputs))
    share = np.linspace(0.0, 1.0, LAYERS + 1)
    grid = np.broadcast_to(_column(depth), (*shape, 1)) * (share if downward else share[::-1])
    weight = net_weight(
        water,
        grid,
        _column(mass),
        _column(volume),
        _column(ballast_mass),
        _column(ballast_density),
        _column(foam_volume),
        _column(foam_compressibility),
    )
    moved = np.broadcast_to(np.asarray(mass, dtype=float) + np.asarray(ballast_mass), shape)
    displaced = np.broadcast_to(np.asarray(volume, dtype=float) + np.asarray(ballast_mass) / ballast_density, shape)
    force = np.asarray(weight if downward else -weight)
    return _travel(grid, force, np.asarray(water.density(grid)), moved, displaced, drag, area)


def descend(
    column: Water,
    depth: Numbers,
    mass: Numbers,
    volume: Numbers,
    ballast_mass: Numbers,
    ballast_density: Numbers,
    drag: Numbers,
    area: Numbers,
    foam_volume: Numbers = 0.0,
    foam_compressibility: Numbers = 0.0,
) -> Travel:
    """Return the way from the surface down to `depth` [m], from rest.

    `mass` [kg] and `volume` [m3] without ballast, `ballast_mass` [kg], `ballast_density` [kg/m3], `drag`
    coefficient with its `area` [m2]; foam as in `net_weight`. Any of them may be arrays that broadcast.
    Raises OutOfRange for a depth above the surface or below 11 000 m, masses, volumes, coefficients or areas
    not above 0, ballast lighter than the water. Source: terminal speed by layers, see the page of this module.

    >>> from schedgen.physics.column import WaterColumn
    >>> lake = WaterColumn([(0, 4, 0)], 46.0, 9.0)
    >>> way = descend(lake, 100.0, 46.0, 0.0515, 16.0, 7200.0, 1.0, 0.16)
    >>> round(float(way.landing_speed), 2), round(float(way.time_s), 1)
    (1.01, 100.1)
    """
    return _along(
        True, column, depth, mass, volume, ballast_mass, ballast_density, drag, area, foam_volume, foam_compressibility
    )


def ascend(
    column: Water,
    depth: Numbers,
    mass: Numbers,
    volume: Numbers,
    ballast_mass: Numbers,
    ballast_density: Numbers,
    drag: Numbers,
    area: Numbers,
    foam_volume: Numbers = 0.0,
    foam_compressibility: Numbers = 0.0,
) -> Travel:
    """Return the way from `depth` [m] up to the surface, from rest; inputs as `descend`, ballast usually 0 kg.

    `landing_speed` is the speed at the surface, `force_n` the net lift. Raises and source as `descend`.

    >>> from schedgen.physics.column import WaterColumn
    >>> lake = WaterColumn([(0, 4, 0)], 46.0, 9.0)
    >>> way = ascend(lake, 100.0, 46.0, 0.0515, 0.0, 7200.0, 0.9, 0.16)
    >>> round(float(way.least_force_n), 1), round(float(way.landing_speed), 2)
    (53.9, 0.87)
    """
    return _along(
        False, column, depth, mass, volume, ballast_mass, ballast_density, drag, area, foam_volume, foam_compressibility
    )

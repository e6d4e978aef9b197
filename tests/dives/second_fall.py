"""The way down and up a second way: the equation of motion integrated with scipy, density straight from gsw.

m' dv/dt = W(z) - rho Cd A v|v| / 2, m' the mass with half the displaced water (added mass of a sphere, Lamb 1932).
The corners are those that `schedgen.plan.fall` documents: fastest down is heavy, slippery, shallow, in warm and fresh
water; fastest up is light, slippery, shallow, in cold and salty water; slowest the opposite.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import gsw
import numpy as np
from scipy.integrate import solve_ivp
from second_reading import triple

GUESS = (0.6, 1.0, 1.5)


class Water:
    """The water of a site at one side of its rows: -1 warm and fresh, 0 nominal, 1 cold and salty."""

    def __init__(self, site: Any, side: int) -> None:
        rows = [{key: triple(row[key]) for key in ("depth", "temperature", "salinity")} for row in site["water"]]
        self.latitude, self.longitude = float(site["latitude"]), float(site["longitude"])
        self.depth = [row["depth"][1] for row in rows]
        self.temperature = [row["temperature"][1 - side] for row in rows]
        self.salinity = [row["salinity"][1 + side] for row in rows]
        deepest = max(triple(site["depth"])[2], self.depth[-1])
        self.grid = np.linspace(0.0, deepest, 400)
        self.pressures = np.zeros_like(self.grid)
        for _ in range(3):  # dp = rho g dz, rho itself at that pressure
            weight = self._density(self.grid, self.pressures) * gsw.grav(self.latitude, self.pressures) / 1e4
            self.pressures[1:] = np.cumsum(0.5 * (weight[1:] + weight[:-1]) * np.diff(self.grid))
        self.densities = self._density(self.grid, self.pressures)

    def _density(self, depth: Any, pressure: Any) -> Any:
        salinity = np.interp(depth, self.depth, self.salinity)
        absolute = gsw.SA_from_SP(salinity, pressure, self.longitude, self.latitude)
        return gsw.rho_t_exact(absolute, np.interp(depth, self.depth, self.temperature), pressure)

    def density(self, depth: float) -> float:
        return float(np.interp(depth, self.grid, self.densities))

    def pressure(self, depth: float) -> float:
        return float(np.interp(depth, self.grid, self.pressures))

    def gravity(self, depth: float) -> float:
        return float(gsw.grav(self.latitude, self.pressure(depth)))


@dataclass(frozen=True)
class Package:
    mass: float
    volume: float
    ballast: float
    ballast_volume: float


def package(dive: Any, side: int) -> Package:
    """Light (-1), nominal (0) or heavy (1)."""
    vehicle = dive["vehicle"]
    mass, ballast = triple(vehicle["mass"])[1 + side], triple(vehicle["ballast"]["mass"])[1 + side]
    if "volume" in vehicle:
        density = triple(vehicle["ballast"]["density"])[1 + side]
        return Package(mass, triple(vehicle["volume"])[1 - side], ballast, ballast / density)
    weighed = vehicle["weighed_in_water"]
    tank = float(gsw.rho_t_exact(float(weighed["salinity"]), triple(weighed["temperature"])[1], 0.0))
    bare, loaded = triple(weighed["without_ballast"])[1 + side], triple(weighed["with_ballast"])[1 + side]
    ballast = triple(vehicle["ballast"]["mass"])[1]
    return Package(mass, (mass - bare) / tank, ballast, (ballast - (loaded - bare)) / tank)


@dataclass(frozen=True)
class Way:
    seconds: float
    last_speed: float
    force_at_end: float
    least_force: float


def way(water: Water, depth: float, body: Package, down: bool, drag: float, area: float) -> Way:
    """From rest at one end to the other end, depth in m."""
    mass, volume = body.mass, body.volume
    if down:
        mass, volume = mass + body.ballast, volume + body.ballast_volume
    sign = 1.0 if down else -1.0

    def force(z: float) -> float:
        return sign * (mass - water.density(z) * volume) * water.gravity(z)

    def motion(_: float, state: Any) -> Any:
        gone, speed = state
        z = min(max(gone if down else depth - gone, 0.0), depth)
        rho = water.density(z)
        return [speed, (force(z) - 0.5 * rho * drag * area * speed * abs(speed)) / (mass + 0.5 * rho * volume)]

    def arrived(_: float, state: Any) -> Any:
        return state[0] - depth

    arrived.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(
        motion, (0.0, 40.0 * depth), [0.0, 0.0], events=arrived, rtol=1e-7, atol=1e-8, max_step=depth / 20
    )
    least = min(force(z) for z in np.linspace(0.0, depth, 60))
    return Way(float(found.t_events[0][0]), float(found.y[1, -1]), force(depth if down else 0.0), least)


@dataclass(frozen=True)
class Fall:
    """Fastest, nominal, slowest ways; pressure at the shallow, nominal and deep bottom."""

    down: tuple[Way, Way, Way]
    up: tuple[Way, Way, Way]
    pressure: tuple[float, float, float]
    depth: tuple[float, float, float]


def fall_of(dive: Any) -> Fall:
    site, vehicle = dive["site"], dive["vehicle"]
    depth, area = triple(site["depth"]), triple(vehicle["frontal_area"])
    drag = {key: triple(vehicle["drag_coefficient"][key]) for key in ("down", "up")}
    waters = [Water(site, side) for side in (-1, 0, 1)]
    bodies = [package(dive, side) for side in (-1, 0, 1)]
    down = [way(waters[i], depth[i], bodies[2 - i], True, drag["down"][i], area[i]) for i in range(3)]
    up = [way(waters[2 - i], depth[i], bodies[i], False, drag["up"][i], area[i]) for i in range(3)]
    low, middle, high = (waters[1].pressure(z) for z in depth)
    return Fall((down[0], down[1], down[2]), (up[0], up[1], up[2]), (low, middle, high), depth)

"""The way down and up as intervals: which corner of the tolerances is the fastest, which the slowest.

Causes that several inputs share move together: the fastest way down is the heavy, small, slippery package over
the shallow bottom, in the lightest water; the fastest way up is the light, large, slippery one from the shallow
bottom in the densest water. The slowest ways are the opposite.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from schedgen.plan.model import Fall

if TYPE_CHECKING:
    from schedgen.dive.model import Dive, Site, Vehicle
    from schedgen.files.quantity import Quantity
    from schedgen.physics.column import WaterColumn
    from schedgen.physics.motion import Travel

DRAG_GUESS = (0.6, 1.0, 1.5)
"""Drag coefficient of a blunt body where the file has none (dive-file default, listed as guessed); nominal:
common practice for an open frame."""
CRAWL = 0.05
"""m/s: stands in for the speed of a corner that never arrives, so that its times stay numbers."""
Weight = Literal["light", "nominal", "heavy"]
Water = Literal["thin", "nominal", "dense"]
Rows = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class Package:
    """Mass [kg] and displaced volume [m3] without ballast, ballast mass [kg] and density [kg/m3], of one corner.

    `foam_volume` [m3] is the part of the volume that shrinks, by `foam_compressibility` [1/dbar].
    """

    mass: float
    volume: float
    ballast_mass: float
    ballast_density: float
    foam_volume: float = 0.0
    foam_compressibility: float = 0.0


def side(quantity: Quantity, high: bool | None) -> float:
    """The high bound, the low one, or the nominal value for None."""
    if high is None:
        return quantity.nominal
    return quantity.high if high else quantity.low


@lru_cache(maxsize=32)
def _column(rows: Rows, latitude: float, longitude: float, deepest: float) -> WaterColumn:
    from schedgen.physics.column import WaterColumn

    return WaterColumn(rows, latitude, longitude, deepest)


def water_column(site: Site, water: Water = "nominal") -> WaterColumn:
    """The water at the site; "thin" is the warm, fresh bound of its rows and "dense" the cold, salty one.

    Raises OutOfRange for water outside the range of TEOS-10.
    """
    salty = {"thin": False, "nominal": None, "dense": True}[water]
    warm = None if salty is None else not salty
    rows = tuple((r.depth.nominal, side(r.temperature, warm), side(r.salinity, salty)) for r in site.water)
    return _column(rows, site.latitude.nominal, site.longitude.nominal, site.depth.high)


@lru_cache(maxsize=64)
def _fresh_density(salinity: float, temperature: float, latitude: float, longitude: float) -> float:
    from schedgen.physics.seawater import density

    return float(density(salinity, temperature, 0.0, latitude, longitude))


def package(vehicle: Vehicle, site: Site, weight: Weight) -> Package:
    """The package of a corner, from the displaced volume or from its weighing in water."""
    heavy = {"light": False, "nominal": None, "heavy": True}[weight]
    ballast = vehicle.ballast
    ballast_mass, ballast_density = side(ballast.mass, heavy), side(ballast.density, heavy)
    mass = side(vehicle.mass, heavy)
    foam = _foam(vehicle, site, heavy)
    if vehicle.volume is not None:
        volume = side(vehicle.volume, None if heavy is None else not heavy)
        return Package(mass, volume, ballast_mass, ballast_density, *foam)
    weighed = vehicle.weighed_in_water
    if weighed is None:
        raise ValueError("a vehicle needs a volume or a weighing in water")
    tank = _fresh_density(
        weighed.salinity.nominal, weighed.temperature.nominal, site.latitude.nominal, site.longitude.nominal
    )
    here = float(water_column(site).density(0.0))
    # W = m (1 - here/tank) + weighed here/tank: in denser water than the tank's more mass is more lift
    mass = side(vehicle.mass, None if heavy is None else (heavy == (here <= tank)))
    bare, loaded = side(weighed.without_ballast, heavy), side(weighed.with_ballast, heavy)
    volume = (mass - bare) / tank
    ballast_volume = (ballast.mass.nominal - (loaded - bare)) / tank
    if ballast_volume > 0:
        ballast_mass = ballast.mass.nominal
        ballast_density = ballast_mass / ballast_volume
    return Package(mass, volume, ballast_mass, ballast_density, *foam)


def _foam(vehicle: Vehicle, site: Site, heavy: bool | None) -> tuple[float, float]:
    """Volume of the floats that shrink [m3], and their mean compressibility [1/dbar]; the more, the heavier."""
    from schedgen.physics.seawater import pressure

    volume = lost = 0.0
    for one in vehicle.floats:
        if one.shrinks is not None:
            volume += one.volume.nominal
            rated = float(pressure(one.rated_depth.nominal, site.latitude.nominal))
            lost += one.volume.nominal * side(one.shrinks, heavy) / rated
    return (volume, lost / volume) if volume else (0.0, 0.0)


def _drags(vehicle: Vehicle) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    drag = vehicle.drag_coefficient
    if drag is None:
        return DRAG_GUESS, DRAG_GUESS
    return (drag.down.low, drag.down.nominal, drag.down.high), (drag.up.low, drag.up.nominal, drag.up.high)


def _ways(dive: Dive) -> tuple[list[Travel], list[Travel]]:
    """Down and up, each fastest, nominal, slowest."""
    from schedgen.physics import motion

    site, vehicle = dive.site, dive.vehicle
    depth = (site.depth.low, site.depth.nominal, site.depth.high)
    area = (vehicle.frontal_area.low, vehicle.frontal_area.nominal, vehicle.frontal_area.high)
    down_drag, up_drag = _drags(vehicle)
    water: tuple[Water, Water, Water] = ("thin", "nominal", "dense")
    weight: tuple[Weight, Weight, Weight] = ("heavy", "nominal", "light")
    down, up = [], []
    for i in range(3):
        p = package(vehicle, site, weight[i])
        down.append(
            motion.descend(
                water_column(site, water[i]), depth[i], p.mass, p.volume, p.ballast_mass, p.ballast_density,
                down_drag[i], area[i], p.foam_volume, p.foam_compressibility,
            )
        )  # fmt: skip
        p = package(vehicle, site, weight[2 - i])
        column = water_column(site, water[2 - i])
        up.append(
            motion.ascend(
                column, depth[i], p.mass, p.volume, 0.0, p.ballast_density, up_drag[i], area[i],
                p.foam_volume, p.foam_compressibility,
            )
        )  # fmt: skip
    return down, up


def _times(ways: list[Travel], depths: tuple[float, float, float]) -> tuple[tuple[float, float, float], bool]:
    """Fastest, nominal, slowest time in s, and whether all arrive; a corner that does not crawls."""
    arrive = [bool(way.arrives) for way in ways]
    times = [
        float(way.time_s) if there else depth / CRAWL for way, there, depth in zip(ways, arrive, depths, strict=True)
    ]
    return (times[0], times[1], times[2]), all(arrive)


def fall_of(dive: Dive) -> tuple[Fall, bool, bool]:
    """The Fall of a dive; whether every corner reaches the bottom; whether every corner comes up again.

    Raises OutOfRange for water, depth, mass, volume, drag or area outside the range of the physics.
    """
    site = dive.site
    down, up = _ways(dive)
    depths = (site.depth.low, site.depth.nominal, site.depth.high)
    down_s, sinks = _times(down, depths)
    up_s, rises = _times(up, depths)
    fast, middle, slow = (float(way.mean_speed) for way in down)
    fast_up, middle_up, slow_up = (float(way.mean_speed) for way in up)
    pressure = [float(water_column(site).pressure(depth)) for depth in depths]
    weights = [float(way.force_n[-1]) for way in down]
    lifts = [float(way.least_force_n) for way in up]
    landing = [float(way.landing_speed) for way in down]
    fall = Fall(
        sink_speed=(slow, middle, fast),
        rise_speed=(slow_up, middle_up, fast_up),
        down_s=down_s,
        up_s=up_s,
        net_weight_n=(weights[2], weights[1], weights[0]),
        net_lift_n=(lifts[2], lifts[1], lifts[0]),
        pressure_dbar=(pressure[0], pressure[1], pressure[2]),
        landing_speed=(landing[2], landing[1], landing[0]),
    )
    return fall, sinks, rises

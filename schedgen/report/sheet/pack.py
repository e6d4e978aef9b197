"""What can be measured before the lid is on: the pack's voltage at rest, the weight in water."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.errors import OutOfRange
from schedgen.plan.fall import Weight, package, water_column

if TYPE_CHECKING:
    from schedgen.report.check import Subject

TANK_C = 15.0
"""Temperature of the fresh water that the weights are given for as well, degC."""
WEIGHTS: tuple[Weight, Weight, Weight] = ("light", "nominal", "heavy")


@dataclass(frozen=True, slots=True)
class RestVoltage:
    """The voltage at rest that the pack must show at least, the one a full pack shows, and what to know about it."""

    go_v: float
    full_v: float
    charge: float
    """The least charge that the worst case counts with, as a share."""
    flat: bool
    """True where the voltage of this chemistry hardly moves with the charge."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """Expected reading of a scale in water, kg: least, nominal, most; negative pulls up."""

    water: str
    with_ballast: tuple[float, float, float]
    without_ballast: tuple[float, float, float]


def rest_voltage(subject: Subject) -> RestVoltage | None:
    """Go/no-go voltage of the pack at rest, 25 degC; None for a power bank, whose output tells nothing."""
    loaded = subject.loaded
    if loaded.dive.pack.supplies is not None:
        return None
    charges = [case.corner.get("pack.charge") for case in subject.results.cases.values()]
    charge = min((value for value in charges if value is not None), default=1.0)
    tables, series = loaded.cell.tables, loaded.dive.pack.series
    go = math.ceil(float(tables.open_circuit(charge)) * series * 100 - 1e-9) / 100
    full = float(tables.open_circuit(1.0)) * series
    slope = (float(tables.open_circuit(0.9)) - float(tables.open_circuit(0.5))) / 0.4
    return RestVoltage(go, full, charge, slope < 0.3)


def weighings(subject: Subject) -> tuple[Weighing, ...]:
    """Expected weights in the site's surface water and in a tank of fresh water; none that the physics refuses."""
    from schedgen.physics.seawater import density

    dive = subject.loaded.dive
    site = dive.site
    row = site.water[0]
    waters = [
        (f"sea water here (surface, salinity {row.salinity.nominal:g}, {row.temperature.nominal:g} degC)",
         float(water_column(site).density(0.0))),
    ]  # fmt: skip
    try:
        fresh = float(density(0.0, TANK_C, 0.0, site.latitude.nominal, site.longitude.nominal))
        waters.append((f"fresh water ({TANK_C:g} degC)", fresh))
    except OutOfRange:
        pass
    found = []
    for name, rho in waters:
        loaded, bare = [], []
        for weight in WEIGHTS:
            p = package(dive.vehicle, site, weight)
            bare.append(p.mass - rho * p.volume)
            loaded.append(bare[-1] + p.ballast_mass - rho * p.ballast_mass / p.ballast_density)
        found.append(Weighing(name, (loaded[0], loaded[1], loaded[2]), (bare[0], bare[1], bare[2])))
    return tuple(found)

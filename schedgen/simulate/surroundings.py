"""Where the package is and what is around it at every moment of a run: depth, temperature of water or air."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from schedgen.simulate.results import Floats
from schedgen.simulate.runs import Runs

if TYPE_CHECKING:
    from schedgen.dive.vehicle import Site


def depth_at(time_s: Floats, runs: Runs) -> Floats:
    """Depth in m at times (steps, runs): at even speed down from splash to bottom and up from release to surface."""
    down = (time_s - runs.splash) / np.maximum(runs.bottom - runs.splash, 1.0)
    up = (runs.surface - time_s) / np.maximum(runs.surface - runs.release, 1.0)
    share = np.clip(np.minimum(down, up), 0.0, 1.0)
    return np.asarray(share * runs["site.depth"])


def water_at(site: Site, depth_m: Floats, blend: Floats) -> Floats:
    """Temperature of the water in degC at depths (steps, runs), linear between the rows, held outside them.

    `blend` (runs,) is -1 for the low bound of every row, 0 nominal, 1 the high bound.
    """
    rows = sorted(site.water, key=lambda row: float(row.depth.nominal))
    at = [float(row.depth.nominal) for row in rows]
    middle = np.interp(depth_m, at, [float(row.temperature.nominal) for row in rows])
    if all(row.temperature.low == row.temperature.high for row in rows):
        return np.asarray(middle)
    low = np.interp(depth_m, at, [float(row.temperature.low) for row in rows])
    high = np.interp(depth_m, at, [float(row.temperature.high) for row in rows])
    return np.asarray(np.where(blend < 0, middle + (middle - low) * blend, middle + (high - middle) * blend))


def turns_of(site: Site) -> Floats:
    """Depths in m of the rows between the first and the last: there the temperature goes another way."""
    at = sorted(float(row.depth.nominal) for row in site.water)
    return np.array(at[1:-1])


def around(site: Site, time_s: Floats, runs: Runs) -> tuple[Floats, Floats]:
    """Temperature around the package in degC, and depth in m, at times (steps, runs): air until splash, then water."""
    depth = depth_at(time_s, runs)
    water = water_at(site, depth, runs["site.water.temperature"])
    return np.where(time_s < runs.splash, runs["site.air.temperature"], water), depth

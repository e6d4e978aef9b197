"""Many sampled runs of one dive: every uncertain input uniform inside its interval, all solved side by side."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from schedgen.plan.model import Plan
from schedgen.simulate.accounts import energy_of, reserve_of
from schedgen.simulate.corners import arrange
from schedgen.simulate.heat import interior_of
from schedgen.simulate.limits import ends_of, firing_lowest, lowest
from schedgen.simulate.results import Floats
from schedgen.simulate.run import prepare, solve_batch
from schedgen.simulate.solved import Solved

CHUNK = 400
"""Runs solved side by side: so many that numpy's own cost is small, so few that they stay in the cache."""
WORKERS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Sampled:
    """What came out of each run, all (runs,): energies Wh, voltages V, times true or elapsed as in `Account`.

    `values` (runs, inputs) and `names` say what went in. `firing_v` is the lowest voltage at the release outputs,
    `surface_true_s` true seconds from start to surfacing, `empty_s` elapsed, nan where the pack lasts beyond `end`.
    """

    names: tuple[str, ...]
    values: Floats
    usable_wh: Floats
    needed_wh: Floats
    margin_wh: Floats
    lowest_v: Floats
    lowest_at_s: Floats
    firing_v: Floats
    end_charge: Floats
    empty_s: Floats
    surface_true_s: Floats
    load_c: Mapping[str, Floats]

    def __len__(self) -> int:
        """Number of runs."""
        return len(self.margin_wh)


def _figures(solved: Solved, dive: Any, board: Any, plan: Plan) -> dict[str, Any]:
    ends = ends_of(solved)
    energy = energy_of(solved, reserve_of(dive))
    least = lowest(solved, ends, np.ones_like(solved.true_s, dtype=bool))
    firing = firing_lowest(solved, ends, board, plan)
    runs = solved.runs
    fired = np.full(len(runs), np.nan)
    if firing:
        fired = np.min(np.stack([found.volts for found in firing.values()]), axis=0)
    during = solved.time_s <= runs.end
    return {
        "values": runs.values,
        "usable_wh": energy.usable,
        "needed_wh": energy.needed,
        "margin_wh": energy.usable - energy.needed,
        "lowest_v": least.volts,
        "lowest_at_s": least.at_s,
        "firing_v": fired,
        "end_charge": solved.course.charge[-1],
        "empty_s": solved.course.empty_s,
        "surface_true_s": runs.surface * runs.scale,
        "load_c": {name: np.where(during, values, -np.inf).max(axis=0) for name, values in solved.load_c.items()},
    }


def simulate_values(dive: Any, board: Any, cell: Any, plan: Plan, values: Floats) -> Sampled:
    """Runs with given inputs, `values` (runs, inputs) in the order of `prepare(...)[2].items`."""
    tables, demand, inputs = prepare(dive, board, cell, plan)
    interior = interior_of(dive, cell, plan, demand)

    def one(start: int) -> dict[str, Any]:
        runs = arrange(inputs, values[start : start + CHUNK], plan, int(dive.pack.parallel))
        return _figures(solve_batch(dive, cell, tables, demand, runs, interior, tail=False), dive, board, plan)

    with ThreadPoolExecutor(WORKERS) as pool:
        parts = list(pool.map(one, range(0, len(values), CHUNK)))
    joined: dict[str, Any] = {"names": tuple(item.name for item in inputs.items)}
    for field in fields(Sampled):
        if field.name == "load_c":
            joined["load_c"] = {name: np.concatenate([p["load_c"][name] for p in parts]) for name in parts[0]["load_c"]}
        elif field.name != "names":
            joined[field.name] = np.concatenate([part[field.name] for part in parts])
    return Sampled(**joined)


def simulate_many(dive: Any, board: Any, cell: Any, plan: Plan, runs: int, seed: int) -> Sampled:
    """`runs` dives, each with every uncertain input drawn uniformly inside its bounds; the same seed gives the same
    runs. Raises as `simulate` does."""
    inputs = prepare(dive, board, cell, plan)[2]
    return simulate_values(dive, board, cell, plan, inputs.sample(runs, seed))

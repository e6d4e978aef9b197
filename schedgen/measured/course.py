"""The pack voltage that a dive's model expects at the moments of readings, for many inputs at once. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from schedgen.physics.cell import CellTables
from schedgen.plan.model import Plan
from schedgen.simulate.corners import arrange
from schedgen.simulate.heat import Interior, interior_of
from schedgen.simulate.inputs import Inputs
from schedgen.simulate.limits import ends_of
from schedgen.simulate.loads import Demand
from schedgen.simulate.results import Floats
from schedgen.simulate.run import prepare, solve_batch
from schedgen.simulate.solved import Solved

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """A dive ready to be simulated again and again with other inputs."""

    dive: Any
    cell: Any
    plan: Plan
    tables: CellTables
    demand: Demand
    inputs: Inputs
    interior: Interior | None

    @classmethod
    def of(cls, dive: Any, board: Any, cell: Any, plan: Plan) -> Model:
        """The model of a dive; `plan` is the one that was flown. Raises as `simulate` does."""
        tables, demand, inputs = prepare(dive, board, cell, plan)
        return cls(dive, cell, plan, tables, demand, inputs, interior_of(dive, cell, plan, demand))

    def scaled(self, load_factor: float, changed: Mapping[str, float]) -> Floats:
        """Values (inputs,) of the nominal dive with all powers of loads and releases times a factor.

        `changed` gives other inputs by name. Raises KeyError for a name that is none.
        """
        values = self.inputs.corner("nominal")
        for name, index in self.inputs.index.items():
            if is_load(name):
                values[index] *= load_factor
        for name, value in changed.items():
            values[self.inputs.index[name]] = value
        return values

    def volts(self, values: Floats, at_s: Sequence[int]) -> Floats:
        """Volts (readings, runs) of the pack with cameras and lights off at these elapsed seconds.

        `values` is (runs, inputs). A pack that is empty by then has the voltage it would have if it went on.
        """
        solved = self._solved(values)
        ends = ends_of(solved)
        out = np.empty((len(at_s), len(values)))
        wanted = np.asarray(at_s, dtype=np.float64)
        for run in range(len(values)):
            times = solved.time_s[:, run]
            step = np.clip(np.searchsorted(times, wanted, side="right") - 1, 0, len(times) - 2)
            length = np.maximum(times[step + 1] - times[step], 1e-9)
            part = np.clip((wanted - times[step]) / length, 0.0, 1.0)
            start, stop = ends.quiet_start_v[step, run], ends.quiet_stop_v[step, run]
            out[:, run] = start + (stop - start) * part
        return out

    def charges(self, values: Floats, at_s: float) -> Floats:
        """Charge (runs,) left at an elapsed second, as a share of label x health; `values` is (runs, inputs).

        After `end` it goes on falling as in the last hour before, since beacon and locator stay on.
        """
        solved = self._solved(values)
        out = np.empty(len(values))
        for run in range(len(values)):
            times, charge = solved.time_s[:, run], solved.course.charge[:, run]
            end = float(times[-1])
            out[run] = np.interp(min(at_s, end), times, charge)
            if at_s > end:
                hourly = np.interp(end - HOUR_S, times, charge) - charge[-1]
                out[run] -= hourly * (at_s - end) / HOUR_S
        return out

    def _solved(self, values: Floats) -> Solved:
        runs = arrange(self.inputs, values, self.plan, int(self.dive.pack.parallel))
        return solve_batch(self.dive, self.cell, self.tables, self.demand, runs, self.interior, tail=False)


def is_load(name: str) -> bool:
    """Whether an input is a power of a load or of a release, which a load factor multiplies."""
    return name.startswith(("loads.", "release.")) and ".power" in name


def quiet_before(plan: Plan, at_s: int) -> int | None:
    """The latest second, `at_s` at the latest, at which the board takes a reading by the Plan.

    Nothing outside the keep mask is on then and no release fires. None where there was none since the start.
    """
    moment = at_s
    stretches = _busy(plan)
    while True:
        within = [start for start, stop in stretches if start <= moment < stop]
        if not within:
            return moment if moment >= 0 else None
        moment = min(within) - 1


def _busy(plan: Plan) -> list[tuple[int, int]]:
    """Stretches in which something outside the keep mask is on or a release fires, [start, stop)."""
    end = plan.end_s
    found = []
    for name, output in plan.outputs.items():
        if output.kind == "release" or name in plan.interlocks.keep:
            continue
        found += [(on.start_s, end if on.stop_s is None else on.stop_s) for on in output.on_times]
    for firing in (plan.primary, plan.backup):
        if firing is not None:
            found += list(firing.all_tries(end))
    return found

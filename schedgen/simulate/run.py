"""`simulate`: all cases of a dive in one batch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from schedgen.physics.cell import CellTables
from schedgen.plan.model import Plan
from schedgen.simulate.assemble import accounts_of, traces_of
from schedgen.simulate.corners import arrange, cases, gather, pack_of
from schedgen.simulate.heat import ASSUMED, Interior, interior_of
from schedgen.simulate.inputs import Inputs
from schedgen.simulate.limits import ends_of
from schedgen.simulate.loads import Demand, build_demand
from schedgen.simulate.results import Account, Case, Results
from schedgen.simulate.runs import Runs
from schedgen.simulate.solved import Solved, Supply, solve_runs

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive

WORST_CORNERS = ("energy", "voltage", "heat", "nominal")
"""Cases that the worst is taken from; nominal too, for a pack so weak that dying at once spares it its own loss."""


def prepare(dive: Dive, board: Board, cell: Cell, plan: Plan) -> tuple[CellTables, Demand, Inputs]:
    """What every run of a dive shares: the cell's tables, the demand, the uncertain inputs."""
    tables = tables_of(cell)
    demand = build_demand(dive, board, plan, cell)
    return tables, demand, gather(dive, board, cell, tables, plan, demand)


def tables_of(cell: Cell) -> CellTables:
    """The look-up tables of a cell."""
    return cell if isinstance(cell, CellTables) else cell.tables


def solve_batch(
    dive: Dive, cell: Cell, tables: CellTables, demand: Demand, runs: Runs, interior: Interior | None, tail: bool
) -> Solved:
    """Solves a batch of runs of one dive."""
    supply = None
    if dive.pack.supplies is not None:
        supply = Supply(runs["pack.supplies.voltage"], runs["pack.supplies.efficiency"])
    return solve_runs(dive, runs, demand, pack_of(dive, cell, tables, runs), supply, interior, tail)


def simulate(dive: Dive, board: Board, cell: Cell, plan: Plan) -> Results:
    """Simulates every case of a dive: nominal, the worst corners, what goes wrong on top of them.

    Returns `Results`. Raises `OutOfRange` only for inputs that stand for nothing (a rested voltage off the cell's
    table); a pack that cannot feed its loads is a result, not an error.
    """
    tables, demand, inputs = prepare(dive, board, cell, plan)
    specs = cases(dive, plan)
    values = np.stack([inputs.corner(spec.corner) for spec in specs])
    runs = arrange(inputs, values, plan, int(dive.pack.parallel), specs)
    interior = interior_of(dive, cell, plan, demand)
    solved = solve_batch(dive, cell, tables, demand, runs, interior, tail=True)
    ends = ends_of(solved)
    accounts = accounts_of(solved, ends, dive, board, plan)
    traces = traces_of(solved, ends, plan)
    found = {
        spec.name: Case(spec.name, inputs.named(values[i]), accounts[i], traces[i]) for i, spec in enumerate(specs)
    }
    worst, worst_case = worst_of({name: found[name].account for name in WORST_CORNERS})
    assumed, unchecked = remarks(dive)
    return Results(found, worst, worst_case, assumed, unchecked)


def worst_of(accounts: Mapping[str, Account]) -> tuple[Account, str]:
    """An account with each figure from the worst of several, and the name of the one with the least margin."""
    by_margin = min(accounts, key=lambda name: accounts[name].margin_wh)
    base = accounts[by_margin]
    every = list(accounts.values())
    low = min(every, key=lambda a: a.lowest_voltage_v)
    fired = [a for a in every if a.lowest_release_voltage_v is not None]
    release = min(fired, key=lambda a: a.lowest_release_voltage_v or 0.0) if fired else base
    peak = max(every, key=lambda a: a.peak_current_a)
    cell_peak = max(every, key=lambda a: a.peak_cell_current_a)
    idle = max(every, key=lambda a: a.longest_low_current_s)
    loads = {name for a in every for name in a.heat}

    def first(values: list[float | None]) -> float | None:
        return min((v for v in values if v is not None), default=None)

    def extreme(maps: list[Mapping[str, float]], pick: Any) -> dict[str, float]:
        return {name: pick(m[name] for m in maps if name in m) for name in dict.fromkeys(n for m in maps for n in m)}

    account = replace(
        base,
        lowest_voltage_v=low.lowest_voltage_v,
        lowest_voltage_at_s=low.lowest_voltage_at_s,
        lowest_release_voltage_v=release.lowest_release_voltage_v,
        lowest_release_voltage_at_s=release.lowest_release_voltage_at_s,
        lowest_firing_voltage=extreme([a.lowest_firing_voltage for a in every], min),
        lowest_output_v=extreme([a.lowest_output_v for a in every], min),
        shed_at_s=first([a.shed_at_s for a in every]),
        release_below_at_s=first([a.release_below_at_s for a in every]),
        empty_at_s=first([a.empty_at_s for a in every]),
        endurance_after_surface_h=min(a.endurance_after_surface_h for a in every),
        peak_current_a=peak.peak_current_a,
        peak_current_at_s=peak.peak_current_at_s,
        peak_cell_current_a=cell_peak.peak_cell_current_a,
        peak_cell_current_c=cell_peak.peak_cell_current_c,
        peak_output_a=extreme([a.peak_output_a for a in every], max),
        peak_rail_a=extreme([a.peak_rail_a for a in every], max),
        longest_low_current_s=idle.longest_low_current_s,
        longest_low_current_at_s=idle.longest_low_current_at_s,
        cell_temperature_c=(
            min(a.cell_temperature_c[0] for a in every),
            max(a.cell_temperature_c[1] for a in every),
        ),
        heat={name: max((a.heat[name] for a in every if name in a.heat), key=lambda h: h.highest_c) for name in loads},
    )
    return account, by_margin


def remarks(dive: Dive) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the simulation took for granted, and what it could not look at."""
    assumed, unchecked = [], []
    if dive.pack.charge is None:
        assumed.append("pack.charge: 95 %")
    if dive.pack.health is None:
        assumed.append("pack.health: 60 % .. 80 %")
    if dive.pack.reserve is None:
        assumed.append("pack.reserve: 20 %")
    if dive.site.air is None:
        assumed.append("site.air: as warm as the water at the surface")
    deepest = max(float(row.depth.nominal) for row in dive.site.water)
    if deepest < dive.site.depth.high:
        assumed.append(f"site.water: held below its last row, {deepest:g} m")
    assumed.append("controller: awake 2 % of the time, always while a flash or the release runs")
    if dive.vehicle.housing is None:
        assumed.append("vehicle.housing: none, the cells are as warm as the water around")
        unchecked.append("temperatures in the housing: vehicle.housing is not given")
    else:
        assumed += ASSUMED
    return tuple(assumed), tuple(unchecked)

"""The cases of a dive: which run stands for which case, and when its events happen.

`gather` collects every uncertain input; `cases` makes one run a case; `arrange` turns values into runs, for cases and
for samples alike. True time is elapsed time x scale, scale = 1 / (1 + clock error): a slow clock makes the dive longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from schedgen.dive.vehicle import After, RestVoltage
from schedgen.errors import OutOfRange
from schedgen.files.quantity import Quantity
from schedgen.physics.cell import CellTables, aged_resistance_factor, self_discharged
from schedgen.physics.heat import SUNLIGHT
from schedgen.physics.pack import HYSTERESIS_V, charge_from_rest
from schedgen.plan.model import Plan
from schedgen.simulate.engine import Pack
from schedgen.simulate.inputs import CornerName, Input, Inputs, Side, uncertain
from schedgen.simulate.loads import Demand
from schedgen.simulate.results import Floats
from schedgen.simulate.runs import Runs

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive
    from schedgen.dive.vehicle import Site

DEFAULT_CHARGE = Quantity(0.95, 0.95, 0.95)
DEFAULT_HEALTH = Quantity(0.60, 0.70, 0.80)
DEFAULT_RESERVE = 0.20
LATER_S = 86400.0
"""`recovery-late`: recovery so much later than planned."""
MONTH_S = 30.4375 * 86400.0


@dataclass(frozen=True, slots=True)
class CaseSpec:
    """One case: its corner and what goes wrong in it."""

    name: str
    corner: CornerName
    strings_lost: int = 0
    stuck: str = ""
    primary_fails: bool = False
    later_s: float = 0.0


def _interval(name: str, low: float, nominal: float, high: float, cold: Any, hot: Any = None, cause: str = "") -> Input:
    return uncertain(name, Quantity(low, nominal, high), cold, hot, cause)


def start_charge(dive: Dive, cell: Cell, tables: CellTables) -> Quantity:
    """Charge at start as a share of label x health, before self-discharge: as written, from a rested voltage (nothing
    for its temperature: under 1 mV/K), or the default 95 %. Raises OutOfRange for a voltage off the table, or a
    record of an earlier dive that nobody has read yet."""
    charge = dive.pack.charge
    if charge is None:
        return DEFAULT_CHARGE
    if isinstance(charge, RestVoltage):
        volts, series = charge.rest_voltage, dive.pack.series
        stray = HYSTERESIS_V[cell.chemistry]
        between = (volts.low, volts.nominal, volts.high)
        return Quantity(
            *charge_from_rest(tables, between, series, charge.rested.low, cell.capacity.nominal, stray), "tolerance"
        )
    if isinstance(charge, After):
        raise OutOfRange("pack.charge: the charge left after an earlier dive is not known until its record is read")
    return Quantity(charge.low, charge.nominal, charge.high)


def _pack_inputs(dive: Dive, cell: Cell, tables: CellTables, plan: Plan) -> list[Input]:
    pack = dive.pack
    charge = start_charge(dive, cell, tables)
    if pack.charged is not None:
        age = (plan.planned - pack.charged.instant).total_seconds() / MONTH_S
        loss = cell.self_discharge
        months = max(0.0, age)
        charge = Quantity(
            self_discharged(charge.low, months, loss.high),
            self_discharged(charge.nominal, months, loss.nominal),
            self_discharged(charge.high, months, loss.low),
        )
    spread = spread_of(cell)
    inputs = [
        uncertain("pack.charge", charge, "low"),
        uncertain("pack.health", pack.health or DEFAULT_HEALTH, "low"),
        _interval("cell.resistance", 1.0 - spread, 1.0, 1.0 + spread, "high"),
        _interval("cell.cold_capacity", 0.0, 0.0, 1.0, "high", "low"),
    ]
    if pack.supplies is not None:
        inputs += [
            uncertain("pack.supplies.voltage", pack.supplies.voltage, "low"),
            uncertain("pack.supplies.efficiency", pack.supplies.efficiency, "low"),
        ]
    return inputs


def spread_of(cell: Cell) -> float:
    """Half-width of a cell's resistance as a fraction."""
    spread = getattr(cell, "resistance_spread", None)
    if spread is None:
        return 0.0
    return float(getattr(spread, "nominal", spread))


def _depth_sides(site: Site) -> tuple[Side, Side]:
    """Which bound of the bottom's depth is the cold one, and which the warm one."""
    at, temperature = zip(
        *sorted((float(row.depth.nominal), float(row.temperature.nominal)) for row in site.water), strict=True
    )
    shallow, deep = np.interp([site.depth.low, site.depth.high], at, temperature)
    return ("high", "low") if deep <= shallow else ("low", "high")


def gather(dive: Dive, board: Board, cell: Cell, tables: CellTables, plan: Plan, demand: Demand) -> Inputs:
    """Every uncertain input of the dive with its worst sides."""
    true, fall, e = plan.true_events, plan.fall, plan.clock_tolerance
    splash, release, surface = true["splash"], true["release"], true["surface"]
    up, down = fall.up_s, fall.down_s
    parting = [
        max(0.0, s - r - u)
        for s, r, u in zip(
            (surface.early, surface.nominal, surface.late),
            (release.early, release.nominal, release.late),
            up,
            strict=True,
        )
    ]
    nominal_parting = min(max(parting[1], parting[0]), parting[2])
    air = dive.site.air.temperature if dive.site.air is not None else None
    sun = dive.site.air is not None and dive.site.air.sun
    top = min(dive.site.water, key=lambda row: float(row.depth.nominal)).temperature
    tolerance = board.pack_sense.tolerance.high if board.pack_sense is not None else 0.0
    inputs = [
        *demand.inputs,
        *_pack_inputs(dive, cell, tables, plan),
        uncertain("site.depth", dive.site.depth, *_depth_sides(dive.site)),
        _interval("site.water.temperature", -1.0, 0.0, 1.0, "low", "high"),
        uncertain("site.air.temperature", air, "low", "high")
        if air is not None
        else uncertain("site.air.temperature", top, "low", "high", "site.water.temperature"),
        _interval("site.air.sun", *(SUNLIGHT if sun else (0.0, 0.0, 0.0)), "low", "high"),
        _interval("start.deck_time", splash.early, splash.nominal, splash.late, "high"),
        _interval("fall.down", *down, "high"),
        _interval("fall.up", *up, "high"),
        _interval("release.parting", min(parting[0], parting[2]), nominal_parting, parting[2], "high"),
        _interval("clock", -e, 0.0, e, "low"),
        _interval("board.pack_sense.tolerance", -tolerance, 0.0, tolerance, "low"),
        uncertain("recovery.wait", dive.recovery.wait, "high"),
    ]
    if plan.primary is None:
        inputs.append(_interval("release.parts", release.early, release.nominal, release.late, "high"))
    backup = dive.release.backup
    if backup is not None and backup.parts_after is not None:
        inputs.append(uncertain("release.backup.parts_after", backup.parts_after, "high"))
    return Inputs(inputs)


def cases(dive: Dive, plan: Plan) -> list[CaseSpec]:
    """The cases of this dive. What goes wrong is put on top of the worst corner for energy and voltage."""
    corners: tuple[CornerName, ...] = ("nominal", "energy", "voltage", "heat")
    out = [CaseSpec(name, name) for name in corners]
    out.append(CaseSpec("string-lost", "energy", strings_lost=1))
    used = [output.load for output in plan.outputs.values() if output.load in dive.loads and output.on_times]
    out += [CaseSpec(f"stuck:{load}", "energy", stuck=load) for load in dict.fromkeys(used)]
    backup = dive.release.backup
    if backup is not None and (plan.backup is not None or backup.parts_after is not None):
        out.append(CaseSpec("backup-late", "energy", primary_fails=True))
    out.append(CaseSpec("recovery-late", "energy", later_s=LATER_S))
    return out


def arrange(inputs: Inputs, values: Floats, plan: Plan, parallel: int, specs: list[CaseSpec] | None = None) -> Runs:
    """Runs (one a row of `values`) with their events on the elapsed clock; `specs` says what goes wrong in each."""
    count = len(values)

    def pick(name: str) -> Floats:
        return inputs.pick(values, name)

    scale = 1.0 / (1.0 + pick("clock"))
    deck = np.zeros(count) if plan.trigger == "water" else pick("start.deck_time")
    splash = deck / scale
    bottom = (deck + pick("fall.down")) / scale
    fired = plan.primary
    release = np.full(count, float(fired.at_s)) if fired is not None else pick("release.parts") / scale
    surface = release + (pick("release.parting") + pick("fall.up")) / scale
    end = np.full(count, float(plan.events["end"].late))
    stuck = tuple("" for _ in range(count))
    strings = np.full(count, float(parallel))
    if specs is not None:
        stuck = tuple(spec.stuck for spec in specs)
        strings = strings - np.array([float(spec.strings_lost) for spec in specs])
        end = end + np.array([spec.later_s for spec in specs]) / scale
        for i, spec in enumerate(specs):
            if spec.primary_fails:
                parts = plan.backup.last_end_s if plan.backup is not None else 0.0
                if "release.backup.parts_after" in inputs.index:
                    parts = (deck[i] + pick("release.backup.parts_after")[i]) / scale[i]
                release[i] = max(release[i], parts)
                surface[i] = max(surface[i], parts + pick("fall.up")[i] / scale[i])
                end[i] = max(end[i], surface[i] + pick("recovery.wait")[i] / scale[i])
    return Runs(inputs, values, scale, splash, bottom, release, surface, end, strings, stuck)


def pack_of(dive: Dive, cell: Cell, tables: CellTables, runs: Runs) -> Pack:
    """The pack of each run. A pack with no string left keeps a millionth of one, so that it is empty at once."""
    parallel = np.maximum(runs.parallel, 1e-6)
    capacity = cell.capacity.nominal * 3600.0 * runs["pack.health"] * parallel
    cut = float(cell.cut_off.nominal)
    protection = dive.pack.protection
    if protection is not None and protection.low_cut is not None:
        cut = max(cut, float(protection.low_cut.high))
    resistance = runs["cell.resistance"] * aged_resistance_factor(runs["pack.health"])
    return Pack(
        tables,
        int(dive.pack.series),
        parallel,
        capacity,
        resistance,
        runs["cell.cold_capacity"],
        np.full(len(runs), cut),
        runs["pack.charge"],
    )

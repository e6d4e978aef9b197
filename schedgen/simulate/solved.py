"""A batch of runs, solved: grid, demand at every step, temperatures, the course of the pack."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from schedgen.simulate.engine import Course, Draw, Pack, solve
from schedgen.simulate.loads import Demand
from schedgen.simulate.results import Floats
from schedgen.simulate.runs import PowerTable, Runs, coefficients, power_table, segments_at, time_grid
from schedgen.simulate.surroundings import around

Ints = NDArray[np.intp]
LONGEST_TAIL_S = 10 * 365.25 * 86400.0
"""A package that draws next to nothing is followed for ten years after `end`, no further."""


@dataclass(frozen=True, slots=True)
class Supply:
    """A power bank between cells and board: output voltage and efficiency, (runs,)."""

    volts: Floats
    efficiency: Floats


@dataclass(frozen=True, slots=True)
class Quiet:
    """Demand with cameras and lights off and no release firing, at the cells, (steps, runs)."""

    watt: Floats
    ampere: Floats
    siemens: Floats


@dataclass(frozen=True, slots=True)
class Solved:
    """Everything known of a batch after solving; times elapsed, (steps, runs) or (steps + 1, runs)."""

    runs: Runs
    demand: Demand
    pack: Pack
    supply: Supply | None
    time_s: Floats
    true_s: Floats
    segments: Ints
    surging: tuple[NDArray[np.bool_], ...]
    """For each surge of the demand: the steps in which it goes on."""
    draw: Draw
    at_board: Draw
    """As `draw`, before a power bank's converter; the same object without one."""
    quiet: Quiet
    ambient_c: Floats
    cell_c: Floats
    depth_m: Floats
    course: Course


def _shared(table: Floats, segments: Ints) -> Floats:
    return np.asarray(np.take(table.ravel(), segments * table.shape[1] + np.arange(table.shape[1])))


def _behind_bank(draw: Draw, supply: Supply) -> Draw:
    """The demand as the cells of a power bank see it: constant power at its output voltage over its efficiency."""
    v, eta = supply.volts, supply.efficiency
    wires = draw.siemens * v * v
    zero = np.zeros_like(draw.base_w)
    return Draw(
        (draw.base_w + draw.base_a * v + wires) / eta,
        (draw.peak_w + draw.peak_a * v + wires) / eta,
        zero,
        zero,
        draw.duty,
        zero,
        draw.flashing,
    )


def _draws(runs: Runs, demand: Demand, table: PowerTable, time_s: Floats, segments: Ints) -> tuple[Draw, Quiet, Any]:
    middle = 0.5 * (time_s[1:] + time_s[:-1])
    base_w, peak_w = _shared(table.base_w, segments), None
    base_a, peak_a = _shared(table.base_a, segments), None
    if demand.flashing:
        peak_w, peak_a = _shared(table.peak_w, segments), _shared(table.peak_a, segments)
    quiet = Quiet(*(_shared(t, segments) for t in (table.quiet_w, table.quiet_a, table.quiet_siemens)))
    surging = []
    for surge in demand.surges:
        during = middle < surge.begun[segments] + runs[surge.lasts] / runs.scale
        if surge.load in runs.stuck:
            during &= np.array([stuck != surge.load for stuck in runs.stuck])
        for consumer in demand.consumers:
            if consumer.account == surge.load and consumer.output == surge.output:
                on = during & (consumer.peak[segments] > 0)
                surplus = coefficients(runs, consumer) * (runs[surge.power] / runs[consumer.value] - 1.0)
                lit = np.where(on, surplus, 0.0)
                for now in (base_w, peak_w) if consumer.kind == "power" else (base_a, peak_a):
                    if now is not None:
                        now += lit
        surging.append(during)
    draw = Draw(
        base_w,
        base_w if peak_w is None else peak_w,
        base_a,
        base_a if peak_a is None else peak_a,
        _shared(table.duty, segments),
        _shared(table.siemens, segments),
        demand.flashing,
    )
    return draw, quiet, tuple(surging)


def horizon_of(runs: Runs, pack: Pack, table: PowerTable, supply: Supply | None) -> Floats:
    """Latest moment (runs,) at which the pack can still hold out after `end`, elapsed s, by its label energy at 4.2 V."""
    volts = 4.2 * pack.series
    tail = table.base_w[-1] + table.duty[-1] * (table.peak_w[-1] - table.base_w[-1])
    tail = tail + (table.base_a[-1] + table.duty[-1] * (table.peak_a[-1] - table.base_a[-1])) * volts * 0.6
    if supply is not None:
        tail = tail / supply.efficiency
    lasts = pack.capacity_as * pack.charge * volts / np.maximum(tail, 1e-9) * 1.05
    return runs.end + np.minimum(lasts, LONGEST_TAIL_S) / runs.scale


def solve_runs(site: Any, runs: Runs, demand: Demand, pack: Pack, supply: Supply | None, tail: bool) -> Solved:
    """Solves a batch. With `tail` every run goes on after its `end` until the pack is empty."""
    table = power_table(runs, demand)
    nominal_v = pack.series * float(pack.tables.at(0.5, 20.0)[0])
    horizon = horizon_of(runs, pack, table, supply) if tail else runs.end
    rate = (table.base_w + table.duty * (table.peak_w - table.base_w) + table.base_a * nominal_v
            + table.siemens * nominal_v**2) * runs.scale / (nominal_v * pack.capacity_as)
    if supply is not None:
        rate = rate / supply.efficiency
    time_s = time_grid(runs, demand, horizon, lambda segments: _shared(rate, segments), settle=False)
    segments = segments_at(demand, 0.5 * (time_s[1:] + time_s[:-1]))
    board, quiet, surging = _draws(runs, demand, table, time_s, segments)
    draw = board
    if supply is not None:
        draw = _behind_bank(board, supply)
        zero = np.zeros_like(quiet.watt)
        v = supply.volts
        watt = (quiet.watt + quiet.ampere * v + quiet.siemens * v * v) / supply.efficiency
        quiet = Quiet(watt, zero, zero)
    ambient, depth = around(site, time_s, runs)
    true_s = np.diff(time_s, axis=0) * runs.scale
    course = solve(pack, draw, time_s, true_s, ambient)
    return Solved(
        runs, demand, pack, supply, time_s, true_s, segments, surging, draw, board, quiet, ambient, ambient, depth, course
    )

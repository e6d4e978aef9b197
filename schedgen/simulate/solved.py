"""A batch of runs, solved: grid, demand at every step, temperatures, the course of the pack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from schedgen.simulate.engine import Course, Draw, Pack, solve
from schedgen.simulate.heat import Interior, inside, warm
from schedgen.simulate.loads import Consumer, Demand
from schedgen.simulate.results import Floats
from schedgen.simulate.runs import (
    Ints,
    PowerTable,
    Runs,
    coefficients,
    power_table,
    segments_at,
    shares,
    surge_surplus,
    time_grid,
)
from schedgen.simulate.surroundings import around, turns_of

if TYPE_CHECKING:
    from schedgen.dive.model import Dive

LEAST_CELL_V, MOST_CELL_V = 2.0, 4.3
"""Bounds of a cell's voltage for the estimate of how long a pack may last."""
LONGEST_TAIL_S = 10 * 365.25 * 86400.0
"""A package that draws next to nothing is followed for ten years after `end`, no further."""


@dataclass(frozen=True, slots=True, eq=False)
class Supply:
    """A power bank between cells and board: output voltage and efficiency, (runs,)."""

    volts: Floats
    efficiency: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Quiet:
    """Demand with cameras and lights off and no release firing, at the cells, (steps, runs)."""

    watt: Floats
    ampere: Floats
    siemens: Floats


@dataclass(frozen=True, slots=True, eq=False)
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
    wall_c: Floats
    load_c: Mapping[str, Floats]
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
                surplus = during * surge_surplus(runs, consumer, surge)
                base, peak = (base_w, peak_w) if consumer.kind == "power" else (base_a, peak_a)
                base += surplus * (consumer.mean == 1.0)[segments]  # in the dark of a flash nothing surges
                if peak is not None:
                    peak += surplus * consumer.peak[segments]
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
    """Moment (runs,), elapsed s, up to which the pack can last at most: all its charge at the highest voltage."""
    volts = MOST_CELL_V * pack.series
    tail = table.base_w[-1] + table.duty[-1] * (table.peak_w[-1] - table.base_w[-1])
    tail = tail + (table.base_a[-1] + table.duty[-1] * (table.peak_a[-1] - table.base_a[-1])) * (
        LEAST_CELL_V * pack.series if supply is None else supply.volts
    )
    if supply is not None:
        tail = tail / supply.efficiency
    lasts = pack.capacity_as * pack.charge * volts / np.maximum(tail, 1e-9) * 1.05
    return np.asarray(runs.end + np.minimum(lasts, LONGEST_TAIL_S) / runs.scale)


def _heats(
    runs: Runs,
    demand: Demand,
    interior: Interior,
    pack: Pack,
    supply: Supply | None,
    draw: Draw,
    segments: Ints,
    surging: tuple[NDArray[np.bool_], ...],
    roles: Mapping[str, bool],
) -> tuple[Floats, dict[str, Floats], Floats]:
    """Heat [W] in the cells, in each camera, and from everything else in the housing, (steps, runs).

    All electric power of what sits in the housing becomes heat there, the loss of every converter too; that of the
    cells is taken at their nominal voltage and 10 degC, which is near enough for a share of a few percent.
    """
    volts = pack.series * float(pack.tables.at(0.5, 20.0)[0])
    board_v = np.full(len(runs), volts) if supply is None else supply.volts
    shape = (len(segments), len(runs))
    cameras, other = {name: np.zeros(shape) for name in interior.cameras}, np.zeros(shape)
    for consumer in demand.consumers:
        watts = consumer_w(runs, demand, segments, surging, consumer, board_v)
        useful = runs[consumer.divide] if consumer.divide else 1.0
        if consumer.firing or not roles.get(consumer.account, consumer.output == ""):
            other += watts * (1.0 - useful)
        elif consumer.account in cameras:
            cameras[consumer.account] += watts * useful
            other += watts * (1.0 - useful)
        else:
            other += watts
    amps = (draw.base_w + draw.duty * (draw.peak_w - draw.base_w)) / volts + draw.base_a
    _, series_ohm, slow_ohm = pack.tables.at(0.5, 10.0)
    ohms = (series_ohm + slow_ohm) * pack.resistance * pack.series / pack.parallel
    return amps * amps * ohms, cameras, other


def consumer_w(
    runs: Runs,
    demand: Demand,
    segments: Ints,
    surging: tuple[NDArray[np.bool_], ...],
    consumer: Consumer,
    volts: Any,
    flash_peak: bool = False,
) -> Floats:
    """Watts (steps, runs) of a consumer at the pack's voltage `volts`, surges included; its converter's loss too."""
    if not consumer.used and consumer.account not in runs.stuck:
        return np.zeros(segments.shape)
    each = coefficients(runs, consumer)
    on = (consumer.peak if flash_peak else consumer.mean)[segments]
    if consumer.account in runs.stuck:
        chosen = np.array([s == consumer.account for s in runs.stuck])
        mean, _ = shares(consumer, demand, consumer.account)
        on = np.where(chosen, mean[segments], on)
    watts = on * each
    for surge, during in zip(demand.surges, surging, strict=True):
        if surge.load == consumer.account and surge.output == consumer.output:
            watts = watts + during * on * surge_surplus(runs, consumer, surge)
    if consumer.kind == "current":
        watts = watts * volts
    elif consumer.kind == "conductance":
        watts = watts * volts * volts
    return np.asarray(watts)


def watts_of(solved: Solved, consumer: Consumer, volts: Floats, flash_peak: bool = False) -> Floats:
    """As `consumer_w`, of a solved batch."""
    return consumer_w(solved.runs, solved.demand, solved.segments, solved.surging, consumer, volts, flash_peak)


def solve_runs(
    dive: Dive, runs: Runs, demand: Demand, pack: Pack, supply: Supply | None, interior: Interior | None, tail: bool
) -> Solved:
    """Solves a batch. With `tail` every run goes on after its `end` until the pack is empty. Without an `interior` the
    cells are as warm as what is around the housing."""
    table = power_table(runs, demand)
    nominal_v = pack.series * float(pack.tables.at(0.5, 20.0)[0])
    horizon = horizon_of(runs, pack, table, supply) if tail else runs.end
    rate = (
        (
            table.base_w
            + table.duty * (table.peak_w - table.base_w)
            + table.base_a * nominal_v
            + table.siemens * nominal_v**2
        )
        * runs.scale
        / (nominal_v * pack.capacity_as)
    )
    if supply is not None:
        rate = rate / supply.efficiency
    time_s = time_grid(
        runs,
        demand,
        horizon,
        lambda segments: _shared(rate, segments),
        settle=interior is not None,
        turns=turns_of(dive.site) if interior is not None else None,
    )
    segments = segments_at(demand, 0.5 * (time_s[1:] + time_s[:-1]))
    board, quiet, surging = _draws(runs, demand, table, time_s, segments)
    draw = board
    if supply is not None:
        draw = _behind_bank(board, supply)
        zero = np.zeros_like(quiet.watt)
        v = supply.volts
        watt = (quiet.watt + quiet.ampere * v + quiet.siemens * v * v) / supply.efficiency
        quiet = Quiet(watt, zero, zero)
    ambient, depth = around(dive.site, time_s, runs)
    true_s = np.diff(time_s, axis=0) * runs.scale
    cell_c, wall_c, load_c = ambient, ambient, {}
    if interior is not None:
        roles = {name: inside(load) for name, load in dive.loads.items()}
        heats = _heats(runs, demand, interior, pack, supply, draw, segments, surging, roles)
        warmth = warm(interior, runs, demand, time_s, true_s, segments, ambient, *heats)
        cell_c, wall_c, load_c = warmth.cell_c, warmth.wall_c, warmth.load_c
    course = solve(pack, draw, time_s, true_s, cell_c)
    return Solved(
        runs, demand, pack, supply, time_s, true_s, segments, surging, draw, board, quiet, ambient,
        cell_c, wall_c, load_c, depth, course,
    )  # fmt: skip

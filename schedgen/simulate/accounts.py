"""Where the energy of a solved batch goes: by load, by phase, usable, needed, kept. Arrays are (steps, runs)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from schedgen.plan.model import PHASES
from schedgen.simulate.corners import DEFAULT_RESERVE
from schedgen.simulate.engine import COLDEST_C, HOTTEST_C, climate, look_up
from schedgen.simulate.results import IN_CELLS, Floats
from schedgen.simulate.solved import Solved, watts_of

if TYPE_CHECKING:
    from schedgen.dive.model import Dive

Flags = NDArray[np.bool_]
Ints = NDArray[np.intp]
PARTS = 40
"""Points of the integral of open-circuit voltage over charge."""


def stored_wh(solved: Solved, low: Floats, high: Floats, cell_c: Floats) -> Floats:
    """Energy (runs,) in Wh at open circuit between two charges at one temperature; nothing under the reach of the
    cold."""
    part = ((np.arange(PARTS) + 0.5) / PARTS)[:, None]
    charge = low + (high - low) * part
    volts, *_ = look_up(solved.pack, charge, climate(solved.pack, np.broadcast_to(cell_c, charge.shape).copy()))
    return np.asarray(volts.mean(axis=0) * (high - low) * solved.pack.capacity_as / 3600.0)


@dataclass(frozen=True, slots=True, eq=False)
class Energy:
    """Energies of every run, (runs,) Wh, and by load and phase (keys as in `Account`)."""

    usable: Floats
    needed: Floats
    reserve: Floats
    cold: Floats
    by_load: Mapping[str, Floats]
    by_phase: Mapping[str, Floats]
    hours: Mapping[str, Floats]
    coldest: Floats
    hottest: Floats


def reserve_of(dive: Dive) -> float:
    """The reserve as a share of label x health; its high bound where it has one."""
    return float(dive.pack.reserve.high) if dive.pack.reserve is not None else DEFAULT_RESERVE


def phases_at(solved: Solved) -> Ints:
    """Index into PHASES of every step."""
    middle = 0.5 * (solved.time_s[1:] + solved.time_s[:-1])
    runs = solved.runs
    events = (runs.splash, runs.bottom, runs.release, runs.surface)
    return np.asarray(sum((middle >= event).astype(np.intp) for event in events), dtype=np.intp)


def budget(solved: Solved, reserve: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Usable, reserve and cold loss in Wh, lowest and highest cell temperature before `end`, each (runs,).

    The cold loss is what is out of reach at the lowest temperature of the dive; the reserve lies on top of it.
    """
    pack = solved.pack
    during = solved.time_s <= solved.runs.end
    coldest = np.where(during, solved.cell_c, np.inf).min(axis=0)
    hottest = np.where(during, solved.cell_c, -np.inf).max(axis=0)
    at = np.clip(coldest, COLDEST_C, HOTTEST_C)
    lost = 1.0 - pack.tables.cold_share(at, pack.pessimism)
    usable = stored_wh(solved, lost + reserve, pack.charge, at)
    kept = stored_wh(solved, lost, lost + reserve, at)
    away = stored_wh(solved, np.zeros_like(lost), lost, np.full_like(at, 25.0))
    return usable, kept, away, coldest, hottest


def energy_of(solved: Solved, reserve: float) -> Energy:
    """Where the energy goes until each run's `end`; what an empty pack no longer gives is counted at its nominal
    voltage."""
    runs, course, pack = solved.runs, solved.course, solved.pack
    hours = np.where(solved.time_s[:-1] < runs.end, solved.true_s, 0.0) / 3600.0
    fed = np.arange(len(hours))[:, None] < course.dead
    nominal_v = pack.series * float(pack.tables.at(0.5, 20.0)[0])
    volts = np.where(fed, course.mean_v, nominal_v) if solved.supply is None else solved.supply.volts
    lit = np.where(fed, course.lit_v, nominal_v) if solved.supply is None else volts
    by_load: dict[str, Floats] = {}
    total = np.zeros_like(hours)
    for consumer in solved.demand.consumers:
        watts = watts_of(solved, consumer, lit if consumer.blinks else volts)
        total += watts
        energy = (watts * hours).sum(axis=0)
        by_load[consumer.account] = by_load.get(consumer.account, 0.0) + energy
    lost = course.inner_v * course.current_a - course.power_w
    if solved.supply is not None:
        lost = lost + course.power_w * (1.0 - solved.supply.efficiency)
        total = np.where(fed, total, total / solved.supply.efficiency)
    by_load[IN_CELLS] = (lost * hours).sum(axis=0)
    taken = np.where(fed, course.inner_v * course.current_a, total) * hours
    if solved.supply is not None:
        by_load[IN_CELLS] = by_load[IN_CELLS] + (
            np.where(fed, 0.0, total * (1.0 - solved.supply.efficiency)) * hours
        ).sum(axis=0)
    phase = phases_at(solved)
    by_phase: dict[str, Floats] = {name: (taken * (phase == i)).sum(axis=0) for i, name in enumerate(PHASES)}
    spent: dict[str, Floats] = {name: (hours * (phase == i)).sum(axis=0) for i, name in enumerate(PHASES)}
    usable, kept, away, coldest, hottest = budget(solved, reserve)
    return Energy(usable, taken.sum(axis=0), kept, away, by_load, by_phase, spent, coldest, hottest)

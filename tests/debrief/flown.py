"""A flight of our own making: the demo's pack stepped through its dive by a second, plain integrator.

Loads, converters, pack and cells are worked out here from the dive and board files; only the cells' tables and
temperatures come from the program. Readings are rounded down as the board does: first by its converter, then by the
step in which the history is kept.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from schedgen.load import LoadedDive
from schedgen.measured.journal import Reading, readings_of
from schedgen.physics.cell import aged_resistance_factor

KEPT_STEP_V = 0.030
CONVERTER_STEP_V = 2.5 / 1024 * 7.8
"""2.5 V over 1024 steps, behind 680 and 100 kohm."""
STEP_S = 30


def demand(loaded: LoadedDive, factor: float, second: int) -> tuple[float, float, float, bool]:
    """Watts, amperes and siemens that the pack sees in an elapsed second, and whether the board may take a reading."""
    plan, board, dive = loaded.plan(), loaded.board, loaded.dive
    watts, busy = 0.0, False
    for name, output in plan.outputs.items():
        if output.kind == "release" or output.load not in dive.loads:
            continue
        rail = board.rails[board.outputs[name].rail]
        for on in output.on_times:
            if on.start_s <= second and (on.stop_s is None or second < on.stop_s):
                lit = 1.0 if on.flash is None else on.flash.on_64 / on.flash.every_64
                gain = 1.0 if rail.efficiency is None else rail.efficiency.nominal
                watts += dive.loads[output.load].power.nominal * factor * on.level / 100 * lit / gain
                busy |= name not in plan.interlocks.keep
    wire = 0.0
    assert plan.primary is not None
    for start, stop in plan.primary.all_tries(plan.end_s):
        if start <= second < stop:
            wire = 4.0 * factor / 11.1**2
            busy = True
    flashing = second >= plan.release_s
    own = 4.5e-3 if flashing or wire else 0.02 * 4.5e-3 + 0.98 * 26e-6
    idle = 120e-6 + 4e-6
    return watts, own + idle, wire + 1 / 780e3, not busy


def fly(loaded: LoadedDive, factor: float, health: float = 0.94) -> Callable[[int], float]:
    """The quiet voltage of the pack by elapsed second, as the board would last have seen it."""
    quiet, _ = flight(loaded, factor, health)
    seconds = [at for at, _ in quiet]

    def at(second: int) -> float:
        return quiet[max(int(np.searchsorted(seconds, second, side="right")) - 1, 0)][1]

    return at


def flight(
    loaded: LoadedDive, factor: float, health: float = 0.94
) -> tuple[list[tuple[int, float]], list[tuple[int, float]]]:
    """Quiet voltages and charges, each with its elapsed second, of the whole dive."""
    cells, plan = loaded.cell.tables, loaded.plan()
    trace = loaded.simulate().cases["nominal"].trace
    charge, slow_v = 0.98, 0.0
    capacity = 5.0 * 3600 * health * 5
    aged = float(aged_resistance_factor(health)) * 3 / 5
    quiet: list[tuple[int, float]] = []
    charges: list[tuple[int, float]] = []
    kept = math.exp(-STEP_S / cells.time_constant_s)
    for second in range(0, plan.end_s, STEP_S):
        warm = float(np.interp(second, trace.time_s, trace.pack_c))
        share = float(cells.cold_share(warm, 0.0))
        felt = 1 - (1 - charge) / share if share else charge
        open_v, ohm, slow = (float(value) for value in cells.at(max(felt, 0.0), warm))
        watts, amps, siemens, may_read = demand(loaded, factor, second)
        inner = open_v * 3 - slow_v
        volts = inner
        for _ in range(6):
            current = watts / volts + amps + siemens * volts
            volts = inner - current * ohm * aged
        if may_read:
            quiet.append((second, volts))
        slow_v = slow_v * kept + current * slow * aged * (1 - kept)
        charge -= current * STEP_S / capacity
        charges.append((second + STEP_S, charge))
    return quiet, charges


COUNT = 32
"""Readings of a history in the second half of a user row of 64 bytes."""


def readings(loaded: LoadedDive, factor: float, gain: float = 1.0, health: float = 0.94) -> tuple[Reading, ...]:
    """The voltage history of such a flight."""
    end = loaded.plan().end_s
    spacing = end // COUNT + 1
    volts = fly(loaded, factor, health)
    told = []
    for k in range(1, end // spacing + 1):
        seen = math.floor(volts(k * spacing) * gain / CONVERTER_STEP_V) * CONVERTER_STEP_V
        told.append(round(math.floor(seen / KEPT_STEP_V + 1e-9) * KEPT_STEP_V * 1000))
    return readings_of(told, spacing)

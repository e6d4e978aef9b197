"""From a dive on the bench to the pack and the draws that a simulated board is to have. Pure."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from schedgen.files.quantity import Quantity
from schedgen.firmware.rehearse.scenario import Draw, Supply
from schedgen.measured.connection import Setup, demand_of, power_on
from schedgen.physics.cell import aged_resistance_factor
from schedgen.simulate.corners import DEFAULT_HEALTH, start_charge

if TYPE_CHECKING:
    from schedgen.load import LoadedDive

BENCH_C = 20.0
"""Temperature on the bench, degC."""


def supply_of(loaded: LoadedDive, unplugged: Collection[str] = ()) -> Supply:
    """The dive's pack at its nominal charge and 20 degC, and its loads; nothing at the outputs in `unplugged`."""
    dive, board, cell = loaded.dive, loaded.board, loaded.cell
    tables, pack = cell.tables, dive.pack
    charge = start_charge(dive, cell, tables).nominal
    aged = float(aged_resistance_factor((pack.health or DEFAULT_HEALTH).nominal)) * pack.series / pack.parallel
    setup = Setup(dive, board, cell, Quantity(BENCH_C, BENCH_C, BENCH_C))
    wired = {name: draws_of(setup, name) for name in board.outputs if name not in unplugged}
    return Supply(
        pin=board.pack_sense.pin,
        ratio=board.pack_sense.ratio,
        open_v=float(tables.open_circuit(charge)) * pack.series,
        ohm=float(tables.resistance(charge, BENCH_C)) * aged,
        slow_ohm=float(tables.relaxation_resistance(charge, BENCH_C)) * aged,
        tau_s=float(tables.time_constant_s),
        draws={name: draws for name, draws in wired.items() if draws},
    )


def draws_of(setup: Setup, output: str) -> tuple[Draw, ...]:
    """What an output draws: while its load starts, and after that; nothing where no load of the dive is wired to it.

    A level counts as a share of that (a `power_at` table is not followed).
    """
    wired = power_on(setup.dive, output, 100, float("inf"))
    if wired is None:
        return ()
    name, power = wired
    watt, ampere, siemens = demand_of(setup, output, power.nominal, "nominal")
    steady = Draw(watt + ampere * _nominal_v(setup), siemens)
    load = setup.dive.loads.get(name)
    if load is None or load.surge is None:
        return (steady,)
    watt, ampere, siemens = demand_of(setup, output, load.surge.power.nominal, "nominal")
    return Draw(watt + ampere * _nominal_v(setup), siemens, load.surge.for_.nominal), steady


def _nominal_v(setup: Setup) -> float:
    from schedgen.plan.mechanism import nominal_pack_v

    return float(nominal_pack_v(setup.dive, setup.cell))

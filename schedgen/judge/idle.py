"""What the board takes while it is armed and waits, and small questions about the pack at rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from schedgen.judge.subject import Subject


def armed_w(subject: Subject) -> float:
    """The largest power drawn from the pack while armed with every load off [W], at full charge.

    The controller asleep and awake in the mix the simulation takes, every rail's idle draw, the battery divider.
    """
    from schedgen.simulate.loads import AWAKE_TICK

    board, pack = subject.board, subject.dive.pack
    volts = pack.supplies.voltage.high if pack.supplies is not None else subject.cell.full.high * pack.series
    supply = board.supply
    amperes = supply.asleep.high * (1 - AWAKE_TICK) + supply.awake.high * AWAKE_TICK
    rail = board.rails[supply.rail]
    if rail.kind in ("buck", "boost") and rail.voltage is not None and rail.efficiency is not None:
        watts = amperes * rail.voltage.nominal / rail.efficiency.low
    else:
        watts = amperes * volts
    watts += sum(r.idle.high * volts for r in board.rails.values() if r.idle is not None)
    watts += volts * volts / board.pack_sense.drain_ohm
    return watts / pack.supplies.efficiency.low if pack.supplies is not None else watts


def may_stay_armed_s(subject: Subject) -> float:
    """How long it may be armed before the start until that eats the reserve, worst case [s]; 0: at once."""
    return max(0.0, subject.run.worst.margin_wh) / armed_w(subject) * 3600


def rest_v(subject: Subject, charge: float) -> float:
    """Rested voltage of the pack at a charge [V], 25 degC."""
    return subject.cell.tables.open_circuit(charge) * subject.dive.pack.series

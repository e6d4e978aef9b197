"""Where a bench record and the dive file that names it do not agree. Pure.

A guess is no disagreement: what was measured takes its place. A release is tried into a dummy load, so that its
measured power says nothing of the wire, motor or magnet in the file, and is not compared.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.measured.bench_record import measured_of

if TYPE_CHECKING:
    from schedgen.dive.model import Dive
    from schedgen.measured.bench_record import BenchRecord


@dataclass(frozen=True, slots=True)
class Difference:
    """One disagreement: the dotted path in the dive file, what the two say, what to do; `load` where it is of one."""

    path: str
    message: str
    fix: str
    load: str = ""


def differences(dive: Dive, record: BenchRecord, board: str) -> tuple[Difference, ...]:
    """All of them, for the dive as written on the board named `board`: board, wiring, connection, power."""
    return (*_board(record, board), *_wiring(dive, record), *_connection(dive, record), *_powers(dive, record))


def _board(record: BenchRecord, board: str) -> Iterator[Difference]:
    if record.board != board:
        message = f"the bench record is of a board {record.board}, the dive is for {board}"
        yield Difference("bench", message, "try the outputs of this board: schedgen bench")


def _wiring(dive: Dive, record: BenchRecord) -> Iterator[Difference]:
    """A load that was tried at an output that the file does not wire it to."""
    for output, one in record.outputs.items():
        load = dive.loads.get(one.load) if one.load is not None else None
        if one.load is not None and load is not None and load.wired_to != output:
            message = f"{one.load} was tried at {output} ({record.day}); the file wires it to {load.wired_to}"
            fix = f"write wired_to: {output}, or move the plug, and run schedgen bench again"
            yield Difference(f"loads.{one.load}.wired_to", message, fix, one.load)


def _connection(dive: Dive, record: BenchRecord) -> Iterator[Difference]:
    """An output at which the bench found nothing, and to which the file wires something."""
    wired = {load.wired_to: (f"loads.{name}.wired_to", name) for name, load in dive.loads.items()}
    for key, actuator in (("primary", dive.release.primary), ("backup", dive.release.backup)):
        if actuator is not None and actuator.wired_to is not None:
            wired.setdefault(actuator.wired_to, (f"release.{key}.wired_to", ""))
    for output, one in record.outputs.items():
        if one.verdict == "not connected" and output in wired:
            path, load = wired[output]
            what = load or path.split(".")[1] + " release"
            message = f"the file has {what} at {output}; the bench found nothing connected there ({record.day})"
            yield Difference(path, message, "look at the plug and the wire, then run schedgen bench again", load)


def _powers(dive: Dive, record: BenchRecord) -> Iterator[Difference]:
    """A power, not guessed, that does not overlap what was measured."""
    for one in measured_of(dive, record):
        said, power = one.said, one.power
        if said.guessed or (power.low <= said.high and power.high >= said.low):
            continue
        what = "while starting" if one.key == "surge" else "at full level"
        message = f"{one.load}: the file says {said} {what}, the bench measured {power} ({record.day})"
        yield Difference(one.path, message, f"write power: {power}, or find out why and measure again", one.load)


__all__ = ["Difference", "differences"]

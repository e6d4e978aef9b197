"""The release mechanisms: what the controller fires and when, and how long the ballast takes to go."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from schedgen.errors import OutOfRange
from schedgen.plan.fall import Water, water_column
from schedgen.plan.model import Firing

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Actuator, Dive
    from schedgen.files.quantity import Quantity
    from schedgen.physics.release import Drive, SiteWater

Triple = tuple[float, float, float]
DISSOLVING = "dissolving link"
UNKNOWN_CELL_V = 3.6
"""Nominal volts of a cell that is not handed in: common practice for lithium-ion, no source."""


def firing_of(actuator: Actuator | None, at_s: int) -> Firing | None:
    """What the controller does for an actuator at `at_s`, None for one that it does not drive.

    Firing and pause are rounded up to whole seconds.
    """
    if actuator is None or actuator.kind == DISSOLVING or actuator.wired_to is None or actuator.fire is None:
        return None
    pause = 0.0 if actuator.pause is None else actuator.pause.nominal
    fire_s = max(1, math.ceil(actuator.fire.nominal - 1e-6))
    return Firing(actuator.wired_to, at_s, fire_s, actuator.tries, math.ceil(pause - 1e-6))


def powered_to_elapsed(needed_s: float, firing: Firing) -> float:
    """From the first command until `needed_s` of power have been given, pauses included; at most the last try's end."""
    if needed_s <= 0:
        return 0.0
    pauses = math.ceil(needed_s / firing.fire_s) - 1
    return min(needed_s + pauses * firing.pause_s, float(firing.last_end_s - firing.at_s))


def cut_times(firing: Firing, needed: Triple | None) -> Triple:
    """From the command to the ballast gone, true s: shortest, nominal, and the end of the last try.

    `needed` are seconds of power; None: anything from at once, nominal the middle of the first try. The longest is
    always the end of the last try: all tries run, and it may be the last that parts it.
    """
    end = float(firing.last_end_s - firing.at_s)
    if needed is None:
        return 0.0, firing.fire_s / 2, end
    return powered_to_elapsed(needed[0], firing), powered_to_elapsed(needed[1], firing), end


def nominal_pack_v(dive: Dive, cell: Cell | None) -> float:
    """The nominal pack voltage [V], at which a power without `measured_at` is taken: the cell's label times those in
    series, or what a power bank puts out."""
    bank = dive.pack.supplies
    if bank is not None:
        return bank.voltage.nominal
    return dive.pack.series * (UNKNOWN_CELL_V if cell is None else cell.nominal.nominal)


def _drive(actuator: Actuator, dive: Dive, board: Board, cell: Cell | None) -> Drive:
    """Volts that the actuator may get: its rail's, or the pack's from cut-off to full."""
    from schedgen.physics.release import Drive

    series = dive.pack.series
    nominal = nominal_pack_v(dive, cell)
    measured = nominal if actuator.measured_at is None else actuator.measured_at.nominal
    rail = board.rails.get(board.outputs[actuator.wired_to or ""].rail)
    if rail is not None and rail.voltage is not None:
        volts = (rail.voltage.low, rail.voltage.nominal, rail.voltage.high)
    elif cell is not None:
        volts = (series * cell.cut_off.nominal, nominal, series * cell.full.nominal)
    else:
        volts = (measured, measured, measured)
    return Drive(1.0 if actuator.power is None else actuator.power.nominal, measured, volts)


def _bottom_water(dive: Dive, pressure_dbar: float) -> SiteWater:
    """Salinity and temperature at the nominal bottom, each low, nominal, high over the bounds of the profile."""
    from schedgen.physics.release import SiteWater

    depth = dive.site.depth.nominal
    waters: tuple[Water, Water, Water] = ("thin", "nominal", "dense")
    thin, middle, dense = (water_column(dive.site, which) for which in waters)
    salinity = tuple(float(column.salinity(depth)) for column in (thin, middle, dense))
    temperature = tuple(float(column.temperature(depth)) for column in (dense, middle, thin))
    return SiteWater(
        (salinity[0], salinity[1], salinity[2]), (temperature[0], temperature[1], temperature[2]), pressure_dbar
    )


def _triple(quantity: Quantity) -> Triple:
    return quantity.low, quantity.nominal, quantity.high


def power_needed(
    actuator: Actuator, firing: Firing, dive: Dive, board: Board, cell: Cell | None, pressure_dbar: float
) -> tuple[Triple | None, str]:
    """Seconds of power until the ballast goes (low, nominal, high) and how they are known.

    By `schedgen.physics.release.parting_time`: the user's test wins, else Faraday's law for a wire with dimensions.
    None with "assumed" where neither stands, and with "out of range" where the physics refuses (fresh water, say),
    which judging has findings for.
    """
    from schedgen.physics.release import Trial, Wire, parting_time

    wire, tested = actuator.wire, actuator.tested
    try:
        needed, known = parting_time(
            actuator.kind,
            _drive(actuator, dive, board, cell),
            _bottom_water(dive, pressure_dbar),
            float(firing.fire_s),
            None if wire is None else Wire(wire.metal, wire.diameter.nominal, wire.exposed.nominal),
            None
            if tested is None
            else Trial(_triple(tested.parts_in), tested.salinity.nominal, tested.temperature.nominal),
        )
    except OutOfRange:
        return None, "out of range"
    return (needed, known) if known != "assumed" else (None, known)

"""The pydantic model of a board file: what the controller is, what it feeds and how it knows things.

Quantities come as intervals in base units (see `schedgen.files.quantity.Quantity`). What concerns several keys at
once (two functions on a pin, say) is in `schedgen.board.rules`.
"""

from __future__ import annotations

import re
from functools import cached_property
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict

from schedgen.files.fields import (
    Current,
    Curvature,
    Data,
    Frequency,
    Name,
    Number,
    Of,
    Reads,
    Resistance,
    Share,
    Temperature,
    Text,
    TinyShare,
    Voltage,
    Whole,
)
from schedgen.files.quantity import Quantity
from schedgen.files.trouble import Misread, Trouble, shown
from schedgen.files.units import FREQUENCY

Level = Literal["high", "low"]
Pull = Literal["up", "down", "none"]


def read_pin(text: str) -> str:
    """A pin by its port name, PA0 say. Raises `Misread`."""
    if re.fullmatch(r"P[A-G][0-7]", text):
        return text
    fixed = text.strip().upper()
    step = f"Write {fixed}." if re.fullmatch(r"P[A-G][0-7]", fixed) else "Take the name from the data sheet."
    raise Misread(Trouble(f"{shown(text)} is not the name of a pin.", _PIN_EXPECTED, "PA4", step))


_PIN_EXPECTED = "P, the letter of the port, and a number from 0 to 7"
Pin = Annotated[str, Reads(read_pin, str, _PIN_EXPECTED, "PA4", {"type": "string", "pattern": "^P[A-G][0-7]$"})]

PwmFrequency = Annotated[
    Quantity,
    Of(FREQUENCY, least=30, most=25_000, because="where a timer makes 100 steps of it", example="500 Hz"),
]
MOST_OUTPUTS = 8
PACK_RAIL = "pack"
"""The rail that is the pack itself."""


class Part(BaseModel):
    """Base of all parts of a board file: unknown keys are refused, values never change."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Supply(Part):
    """What feeds the board. `asleep` and `awake` are the controller's current at `rail`."""

    voltage: Voltage
    rail: str
    asleep: Current
    awake: Current


class Rail(Part):
    """A supply rail. `idle` is drawn from the pack all the time; `limit` holds at the rail's own voltage.

    Kind direct is the pack itself: no voltage, no efficiency. `input` is the pack range in which a boost works.
    """

    kind: Literal["direct", "buck", "boost", "linear"]
    voltage: Voltage | None = None
    efficiency: Share | None = None
    idle: Current | None = None
    dropout: Voltage | None = None
    limit: Current
    input: Voltage | None = None


class Output(Part):
    """One output. `active` is the level of the pin that switches the load on; `pull` is a resistor on the board."""

    pin: Pin
    kind: Literal["switched", "level", "release"]
    active: Level
    pull: Pull = "none"
    rail: str = PACK_RAIL
    limit: Current
    timer: str | None = None
    frequency: PwmFrequency | None = None

    @property
    def safe_pull(self) -> Pull:
        """The pull that keeps the load off while the pin floats: against the active level."""
        return "down" if self.active == "high" else "up"


class PackSense(Part):
    """The divider that measures the pack: pack - top - pin - bottom - ground, against `reference`.

    `tolerance` is of the whole measurement: both resistors, the reference and the converter.
    """

    pin: Pin
    top: Resistance
    bottom: Resistance
    reference: Voltage
    bits: Annotated[int, Whole(8, 16, "10")]
    tolerance: Share

    @property
    def ratio(self) -> float:
        """Volts at the pin for one volt of the pack [1]."""
        return self.bottom.nominal / (self.top.nominal + self.bottom.nominal)

    @property
    def drain_ohm(self) -> float:
        """What the divider is to the pack [ohm]."""
        return self.top.nominal + self.bottom.nominal


class Button(Part):
    """A button to ground (pull up) or to the supply (pull down)."""

    pin: Pin
    pull: Literal["up", "down"] = "up"


class Buttons(Part):
    """The two buttons."""

    a: Button
    b: Button


class StatusLight(Part):
    """A small light for people; `current` while lit, at the controller's rail."""

    pin: Pin
    active: Level = "high"
    current: Current


class WaterContact(Part):
    """Two bare contacts that sea water joins. `closes_above` is the practical salinity from which they surely close."""

    pin: Pin
    active: Level = "low"
    closes_above: Number


class BenchLead(Part):
    """How the board sees that the bench lead is plugged in."""

    pin: Pin
    active: Level = "low"


class Clock(Part):
    """The 32.768 kHz (or other) clock that counts the dive.

    Relative error at temperature T: `tolerance` either way plus `curvature` (T - turnover)^2 for a crystal;
    `over_temperature` either way for the other kinds.
    """

    kind: Literal["crystal", "temperature-compensated", "rc"]
    frequency: Frequency
    tolerance: TinyShare
    turnover: Temperature | None = None
    curvature: Curvature | None = None
    over_temperature: TinyShare | None = None


class Eeprom(Part):
    """Memory that survives without power."""

    size: Data


class Serial(Part):
    """The port of the bench lead: speed in bit/s and its two pins."""

    baud: Annotated[int, Whole(1200, 1_000_000, "115200")]
    transmit: Pin
    receive: Pin


class Board(Part):
    """A board, as a board file describes it."""

    format: Annotated[int, Whole(1, 1)]
    board: Name
    part: Text
    notes: Text | None = None
    supply: Supply
    rails: dict[Name, Rail]
    outputs: dict[Name, Output]
    pack_sense: PackSense
    buttons: Buttons
    status_light: StatusLight
    water_contact: WaterContact | None = None
    bench_lead: BenchLead
    clock: Clock
    eeprom: Eeprom
    serial: Serial

    @property
    def output_names(self) -> tuple[str, ...]:
        """Names of the outputs in the order of the file, which is their number in the settings block."""
        return tuple(self.outputs)

    @cached_property
    def board_type(self) -> int:
        """A number from 0 to 65535 that changes when settings made for one wiring would be wrong for another.

        See `schedgen.board.identity`.
        """
        from schedgen.board.identity import board_type

        return board_type(self)

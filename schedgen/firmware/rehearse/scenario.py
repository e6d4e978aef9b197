"""What happens to a board from outside, and what came of it: plain data that goes over a pipe as JSON. Pure.

Times are true seconds since the beginning of the scenario; the board is powered from 0 on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

Action = tuple[Any, ...]
"""(time, verb, arguments...). The verbs:

- "pin", pin, level: H, L, Z, U, D or volts;
- "say", hex: bytes to the serial line;
- "power", seconds: the power goes and comes back after so long;
- "reset", cause: "brown-out", "software", "external";
- "hang": the program runs astray, and the watchdog has to bite;
- "crystal", ppm or None: it goes so far off, or stops for good;
- "cut", k, how, seconds: the power goes at the k-th write command from now, left as `how` says (`part_memory`);
- "flip", memory, bit: one bit of "eeprom" or "row" changes; "memory", memory, hex: all of it;
- "mark", name: note the count of write commands and both memories.
"""


@dataclass(frozen=True)
class Target:
    """The program and what it runs on. `flash` and `fuses` in hex."""

    model: str
    hertz: int
    flash: str
    fuses: str
    supply_v: float
    outputs: Mapping[str, tuple[str, bool, int | None]]
    """By name: pin, active high, dimmer channel or None. The status light is one of them."""
    receive_pin: str
    pulls: Mapping[str, str]


@dataclass(frozen=True)
class Draw:
    """What an output draws from the pack at full level: watts of a converter or load, siemens of a resistor.

    `until_s`: only so long after it went on (a surge); None for good.
    """

    watt: float
    siemens: float = 0.0
    until_s: float | None = None


@dataclass(frozen=True)
class Supply:
    """A pack behind the battery sense that sags with the outputs that are on.

    `pin` and `ratio` are the sense's; `open_v` V at rest; `ohm` at once, `slow_ohm` with the time constant `tau_s`;
    `draws` by output, the first that still holds counts.
    """

    pin: str
    ratio: float
    open_v: float
    ohm: float
    slow_ohm: float
    tau_s: float
    draws: Mapping[str, tuple[Draw, ...]]


@dataclass(frozen=True)
class Scenario:
    """One run. Memories in hex; `seed` fills the RAM at power-on, tears writes, and is that of the converter's noise.

    Without `noise` the converter is exact; without `supply` the battery sense sees what the actions drive it to.
    """

    eeprom: str
    row: str
    end_s: float
    actions: tuple[Action, ...] = ()
    seed: int = 0
    crystal_ppm: float = 0.0
    crystal_startup_s: float = 0.4
    crystal_stopped: bool = False
    internal_error: float = 0.0
    """How much faster than nominal the internal oscillators run, as a share: of the megaAVR the slow one, which keeps
    time where the crystal fails; of the ATmega328P the only one, on which its processor runs too."""
    noise: bool = False
    supply: Supply | None = None


@dataclass
class Mark:
    """What stood in the memories at a moment. `commands`: write commands since the last power-on."""

    at_s: float
    commands: int
    eeprom: str
    row: str


@dataclass
class Record:
    """What came of a scenario. `edges` are (microseconds, output, level in percent) in the order in which they came."""

    simulated_s: float = 0.0
    wall_s: float = 0.0
    busy_s: float = 0.0
    """Processor time of the simulator, which other work on the computer does not stretch."""
    edges: list[tuple[int, str, int]] = field(default_factory=list)
    said: list[tuple[float, str]] = field(default_factory=list)
    """What the board sent: time of the first byte of each stretch, and the bytes in hex."""
    resets: list[tuple[float, str]] = field(default_factory=list)
    marks: dict[str, Mark] = field(default_factory=dict)
    awake_s: float = 0.0
    asleep_s: dict[str, float] = field(default_factory=dict)
    samples: list[tuple[float, float]] = field(default_factory=list)
    """(time, seconds awake until then), every 5 min or oftener."""
    broken_rules: dict[str, int] = field(default_factory=dict)
    baud: float = 0.0
    eeprom: str = ""
    row: str = ""
    lost_bytes: int = 0
    native: bool = False
    """Whether the models that are called most often ran in C++."""

    def of(self, output: str) -> list[tuple[float, int]]:
        """(seconds, level) of each edge of an output."""
        return [(at / 1e6, level) for at, name, level in self.edges if name == output]


def scenario_from(values: Mapping[str, Any]) -> Scenario:
    """The scenario that came over the pipe."""
    supply = values.get("supply")
    if supply is not None:
        draws = {name: tuple(Draw(**one) for one in many) for name, many in supply["draws"].items()}
        supply = Supply(**{**supply, "draws": draws})
    return Scenario(**{**values, "supply": supply})


def record_from(values: Mapping[str, Any]) -> Record:
    """The record that came over the pipe."""
    record = Record(**values)
    record.edges = [(edge[0], edge[1], edge[2]) for edge in record.edges]
    record.said = [(one[0], one[1]) for one in record.said]
    record.samples = [(one[0], one[1]) for one in record.samples]
    record.resets = [(one[0], one[1]) for one in record.resets]
    record.marks = {name: Mark(**mark) for name, mark in values["marks"].items()}
    return record


def plain(value: Target | Scenario) -> dict[str, Any]:
    """A target or a scenario as JSON takes it."""
    return asdict(value)


def plain_record(record: Record) -> dict[str, Any]:
    """A record as JSON takes it; its many edges are not copied."""
    return vars(record) | {"marks": {name: asdict(mark) for name, mark in record.marks.items()}}

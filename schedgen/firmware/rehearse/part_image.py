"""What a simulated part is given: its program, its memories, its wiring."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import yasimavr.lib.core as core


@dataclass
class Memories:
    """What stays without power."""

    eeprom: bytes
    row: bytes = b""


@dataclass
class Image:
    """A program for a part: library model, processor clock in Hz, flash content from address 0, fuses by number."""

    model: str
    hertz: int
    flash: bytes
    fuses: bytes = b""
    supply_v: float = 3.3


@dataclass
class Wiring:
    """How the board's outputs hang on pins: name to (pin, active high, dimmer channel or None)."""

    outputs: dict[str, tuple[str, bool, int | None]]
    receive_pin: str
    pulls: dict[str, str] = field(default_factory=dict)
    """External state of each pin when the board leaves it alone: U, D or Z."""


def program_of(image: Image) -> Any:
    """The program as the simulator loads it."""
    program = core.Firmware()
    program.frequency = image.hertz
    program.vcc = image.supply_v
    program.aref = image.supply_v
    _add(program, core.Firmware.Area.Flash, image.flash)
    if image.fuses:
        _add(program, core.Firmware.Area.Fuses, _fuses(image))
    return program


def _fuses(image: Image) -> bytes:
    """The fuses, but for the size of a boot section that nothing starts from: the stock model refuses ours."""
    fuses = bytearray(image.fuses)
    if image.model == "atmega328p" and len(fuses) > 1 and fuses[1] & 1:
        fuses[1] &= 0xF9
    return bytes(fuses)


def _add(program: Any, area: Any, data: bytes) -> None:
    block = core.Firmware.block_view_t()
    block.base = 0
    block.bytes = data
    program.add_block(area, block)

"""The main oscillator of the ATmega328P: its calibration register, in steps as in the data sheet (from memory).

Cycles of the processor are the measure of time here. So where the program makes its oscillator slower or faster, the
crystal is made to look the faster or slower for it.
"""

from __future__ import annotations

from typing import Any

from schedgen.firmware.rehearse.part_crystal import Crystal
from schedgen.firmware.rehearse.part_model import Hardware

_CALIBRATION = 0x46
FACTORY = 0x9E
"""What the register holds after a reset: a value in the middle of the upper half of its range."""
STEP = 0.004
"""By so much one step of the register changes the frequency."""


class Oscillator(Hardware):
    """OSCCAL."""

    base = 0

    def __init__(self, crystal: Crystal) -> None:
        super().__init__("OSC")
        self.crystal = crystal

    def init(self, device: Any) -> bool:
        """Add the register."""
        ready = super().init(device)
        self.add(_CALIBRATION)
        return bool(ready)

    def reset(self, flags: int) -> None:
        """As it was calibrated at the factory."""
        self.put(_CALIBRATION, FACTORY)
        self.crystal.change(pull=1.0)

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """A step, or more."""
        self.crystal.change(pull=1.0 + STEP * (data.value - FACTORY))

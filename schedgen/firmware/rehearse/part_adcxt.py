"""Results of the megaAVR 0-series' converter with noise and a sagging pack, in place of those of the stock model.

The stock model keeps doing the timing; the result is exchanged while it is read. Registers as in the data sheet (from
memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_model import READ_WRITE, Hardware

_FULL = 1023
"""The data sheet's result is 1023 x V / reference, that of the ATmega328P 1024 x V / reference."""
_REFERENCE_V = (0.55, 1.1, 2.5, 4.3, 1.5)
_PINS = (*(f"PD{n}" for n in range(8)), *(f"PE{n}" for n in range(4)), *(f"PF{n}" for n in range(2, 6)))


class NoisyResult(Hardware):
    """Stands before the result registers."""

    base = 0x600
    _ACCUMULATE, _CONTROL_C, _INPUT, _REFERENCE, _RESULT = 0x601, 0x602, 0x606, 0xA0, 0x10

    def __init__(
        self,
        code: Callable[[float, float, int], int],
        volts: Callable[[str], float],
        peek: Callable[[int], int],
        supply_v: float,
    ) -> None:
        """`code` makes a number of volts and a reference, `volts` is that of a pin, `peek` reads a register."""
        super().__init__("NOISE")
        self.code, self.volts, self.peek, self.supply_v = code, volts, peek, supply_v
        self._sum = 0

    def watch(self, device: Any) -> None:
        """Stand before the registers; to be called before the loop is made."""
        self.belong_to(device)
        for offset in (self._RESULT, self._RESULT + 1):
            device.add_ioreg_handler(self._address(offset), self, core.bitmask_t(0), READ_WRITE)

    def ioreg_read_handler(self, addr: Any, value: int) -> int:
        """The low byte fetches a new result; the high one belongs to it."""
        if int(addr) == self.base + self._RESULT + 1:
            return self._sum >> 8
        reference = self.supply_v
        if (self.peek(self._CONTROL_C) >> 4) & 3 == 0:
            reference = _REFERENCE_V[min(4, self.peek(self._REFERENCE) >> 4 & 7)]
        volts = self.volts(_PINS[self.peek(self._INPUT) & 15])
        many = 1 << (self.peek(self._ACCUMULATE) & 7)
        self._sum = sum(self.code(volts, reference, _FULL) for _ in range(many))
        return self._sum & 255

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Nothing to do with writing."""

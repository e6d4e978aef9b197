"""The converter of the ATmega328P; the stock model ends the process on the internal reference and on prescaler 7.

Single conversions only, as our firmware makes them; registers as in the data sheet (from memory). Noise where the
scenario asks for it, no offset.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_model import ADC_SLEEP, READ_WRITE, STROBE, Hardware, interrupt_flag

_DATA, _STATUS, _STATUS_B, _MUX, _DISABLE = 0x58, 0x5A, 0x5B, 0x5C, 0x5E
_ENABLE, _START, _FLAG, _INTERRUPT, _LEFT = 0x80, 0x40, 0x10, 0x08, 0x20
_DIVIDERS = (2, 2, 4, 8, 16, 32, 64, 128)
_FIRST_CLOCKS, _CLOCKS = 25, 13
_INTERNAL_V, _BAND_GAP = 1.1, 14
_STEPS = 1024


def _exact(volts: float, reference_v: float, full: int) -> int:
    return max(0, min(_STEPS - 1, int(full * volts / reference_v)))


class Converter(Hardware):
    """The analogue converter. `volts` gives the voltage of a channel, 0 to 7; `code` what a conversion makes of it."""

    base = 0

    def __init__(
        self,
        vector: int,
        volts: Callable[[int], float],
        supply_v: float,
        code: Callable[[float, float, int], int] | None = None,
    ) -> None:
        super().__init__("ADC")
        self.code = code or _exact
        self.vector, self.volts, self.supply_v = vector, volts, supply_v
        self.flags = (interrupt_flag(True),)
        self.timers = (core.CallableCycleTimer(self._done),)

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        self.add_each((_DATA, _DATA + 1, _STATUS_B, _MUX, _DISABLE))
        self.add(_STATUS, 0xEF, READ_WRITE)
        self.add(_STATUS, _FLAG, STROBE)
        return bool(
            ready and self.flags[0].init(device, self.at(_STATUS, _INTERRUPT), self.at(_STATUS, _FLAG), self.vector)
        )

    def reset(self, flags: int) -> None:
        """Off."""
        self.fresh, self.converting = True, False
        self.cycles.cancel(self.timers[0])

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Start a conversion."""
        if int(addr) != _STATUS:
            return
        if not data.value & _ENABLE:
            self.fresh, self.converting = True, False
            self.cycles.cancel(self.timers[0])
            self.put(_STATUS, 0, _START)
        elif data.value & _START and not self.converting:
            self.converting = True
            clocks = _FIRST_CLOCKS if self.fresh else _CLOCKS
            self.fresh = False
            self.cycles.delay(self.timers[0], clocks * _DIVIDERS[data.value & 7])
        elif self.converting:
            self.put(_STATUS, _START, _START)

    def _done(self, when: int) -> int:
        selected = self.get(_MUX)
        channel, source = selected & 15, selected >> 6
        reference = _INTERNAL_V if source == 3 else self.supply_v
        volts = _INTERNAL_V if channel == _BAND_GAP else self.volts(channel) if channel < 8 else 0.0
        code = self.code(volts, reference, _STEPS)
        word = code << 6 if selected & _LEFT else code
        self.put(_DATA, word & 255)
        self.put(_DATA + 1, word >> 8)
        self.converting = False
        self.put(_STATUS, 0, _START)
        self.raise_bit(self.flags[0], _FLAG)
        return 0

    def slept(self, on: bool, mode: int) -> None:
        """Deeper than its own sleep mode the converter stands still."""
        if on and self.converting and mode > ADC_SLEEP:
            self.breaks("slept so deep that the converter stood still")

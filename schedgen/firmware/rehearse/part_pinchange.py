"""Pin-change interrupts of the ATmega328P for what is driven from outside; the stock model misses some pins.

Registers as in the data sheet (from memory). The external interrupts INT0 and INT1 are registers only.
"""

from __future__ import annotations

from typing import Any

from schedgen.firmware.rehearse.part_model import STROBE, Hardware, interrupt_flag

_ENABLE, _FLAGS, _MASKS = 0x48, 0x1B, (0x4B, 0x4C, 0x4D)
_PLAIN = (0x49, 0x1D, 0x1C)
_PORTS = "BCD"


class PinChange(Hardware):
    """PCICR, PCIFR, PCMSK0 to 2."""

    base = 0

    def __init__(self, vectors: tuple[int, int, int]) -> None:
        super().__init__("PINCHANGE")
        self.vectors = vectors
        self.flags = (interrupt_flag(True), interrupt_flag(True), interrupt_flag(True))

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        self.add_each((*_PLAIN, *_MASKS))
        self.add(_ENABLE, 7)
        self.add(_FLAGS, 7, STROBE)
        for number, flag in enumerate(self.flags):
            bit = 1 << number
            ready = flag.init(device, self.at(_ENABLE, bit), self.at(_FLAGS, bit), self.vectors[number]) and ready
        return bool(ready)

    def changed(self, pin: str) -> None:
        """The level of a pin has changed."""
        number = _PORTS.index(pin[1])
        if self.get(_MASKS[number]) & 1 << int(pin[2]):
            self.raise_bit(self.flags[number], 1 << number)

"""The timers that dim: register models that tell the level of each channel without simulating a single period.

A timer that runs at 500 Hz would cost a thousand events a second; nothing but its duty matters here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from schedgen.firmware.rehearse.part_model import NO_MODE, STANDBY, Hardware

Told = Callable[[int, float | None], None]
"""Called with a channel and its duty (0 to 1), or None when the channel lets its pin go."""


class Dimmer(Hardware):
    """A timer with compare channels; `told` hears each change of a channel's duty."""

    channels = 0

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.told: Told = lambda channel, duty: None
        self.duties: list[float | None] = []

    def reset(self, flags: int) -> None:
        """All channels let go."""
        self.duties = [None] * self.channels
        self.mind(NO_MODE)
        for channel in range(self.channels):
            self.told(channel, None)

    def duty(self, channel: int) -> float | None:
        """Duty of a channel as the registers say, None while it does not drive its pin."""
        raise NotImplementedError

    def look(self) -> None:
        """Tell what has changed."""
        for channel in range(self.channels):
            found = self.duty(channel)
            if found != self.duties[channel]:
                self.duties[channel] = found
                self.told(channel, found)
        dims = any(duty is not None and 0 < duty < 1 for duty in self.duties)
        self.mind(STANDBY if dims else NO_MODE)

    def slept(self, on: bool, mode: int) -> None:
        """The processor's clock stops deeper than idle, and a dimmed output would freeze on or off."""
        if on:
            for channel, duty in enumerate(self.duties):
                if duty is not None and 0 < duty < 1:
                    self.breaks(f"slept so deep that the dimming of channel {channel} stood still")


class Tca(Dimmer):
    """TCA0 of the megaAVR 0-series, single mode, single slope."""

    base = 0xA00
    channels = 3
    _PERIOD, _COMPARE, _PERIOD_BUFFER, _COMPARE_BUFFER = 0x26, 0x28, 0x36, 0x38
    _SIZE = 0x40

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        self.add_each(tuple(range(self._SIZE)))
        return bool(ready)

    def reset(self, flags: int) -> None:
        """Period at its greatest, all else 0."""
        super().reset(flags)
        for offset in (self._PERIOD, self._PERIOD_BUFFER):
            self.put(offset, 255)
            self.put(offset + 1, 255)

    def _word(self, offset: int) -> int:
        return self.get(offset) | self.get(offset + 1) << 8

    def duty(self, channel: int) -> float | None:
        """See `Dimmer`."""
        enabled = self.get(1) & (0x10 << channel)
        if not enabled or not self.get(0) & 1:
            return None
        return min(1.0, self._word(self._COMPARE + 2 * channel) / (self._word(self._PERIOD) + 1))

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """A buffer register passes on to its own register, at once rather than at the end of the period."""
        offset = int(addr) - self.base
        if self._PERIOD_BUFFER <= offset < self._SIZE - 2:
            self.put(offset - 0x10, data.value)
        self.look()


class Timer1(Dimmer):
    """Timer 1 of the ATmega328P: the PWM modes with a fixed top, with ICR1 and with OCR1A as top."""

    base = 0
    channels = 2
    _CONTROL_A, _CONTROL_B, _TOP, _COMPARE = 0x60, 0x61, 0x66, (0x68, 0x6A)
    _FIXED: ClassVar[dict[int, int]] = {1: 0xFF, 2: 0x1FF, 3: 0x3FF, 5: 0xFF, 6: 0x1FF, 7: 0x3FF}
    _REGISTERS = (0x60, 0x61, 0x62, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69, 0x6A, 0x6B, 0x4F, 0x16)

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        self.add_each(self._REGISTERS)
        return bool(ready)

    def _word(self, offset: int) -> int:
        return self.get(offset) | self.get(offset + 1) << 8

    def duty(self, channel: int) -> float | None:
        """See `Dimmer`. Non-inverting output; fast modes are on one count longer."""
        control, clocked = self.get(self._CONTROL_A), self.get(self._CONTROL_B)
        mode = control & 3 | (clocked >> 1) & 12
        drives = (control >> (6 - 2 * channel)) & 3
        if drives < 2 or not clocked & 7 or not mode:
            return None
        top = self._FIXED.get(mode, self._word(self._TOP) if mode in (8, 10, 14) else self._word(self._COMPARE[0]))
        value = self._word(self._COMPARE[channel])
        share = (value + 1) / (top + 1) if mode in (5, 6, 7, 14, 15) else value / max(top, 1)
        return min(1.0, share) if drives == 2 else 1.0 - min(1.0, share)

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Look again after every write."""
        self.look()

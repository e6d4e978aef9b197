"""Timer 2 of the ATmega328P with a watch crystal (ASSR.AS2): overflow and two compares, in the modes a clock needs.

Registers as in the data sheet (from memory). Normal mode and CTC with OCR2A count; no pin is driven. From the
processor's clock (AS2 clear) it counts too, and stands still in power-save then, as on the chip. The firmware waits for
the busy bits of ASSR by reading them again and again: they stand in a plain register, from which a cycle timer takes
them, so that no read of it calls us.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_crystal import NEVER, Crystal, Ticks
from schedgen.firmware.rehearse.part_model import NO_MODE, READ_ONLY, STROBE, Hardware, interrupt_flag

_TIMSK, _TIFR, _TCCRA, _TCCRB, _TCNT, _OCRA, _OCRB, _ASSR = 0x50, 0x17, 0x90, 0x91, 0x92, 0x93, 0x94, 0x96
_OVERFLOW, _MATCH_A, _MATCH_B = 1, 2, 4
_AS2, _SYNC_TICKS = 0x20, 2
_DIVIDERS = (0, 1, 8, 32, 64, 128, 256, 1024)
_BUSY_BITS = {_TCNT: 16, _OCRA: 8, _OCRB: 4, _TCCRA: 2, _TCCRB: 1}
_NAMES = {_TCNT: "TCNT2", _OCRA: "OCR2A", _OCRB: "OCR2B", _TCCRA: "TCCR2A", _TCCRB: "TCCR2B"}
_CTC = 2
POWER_SAVE = int(core.SleepMode.ADC) + 1
"""The lightest sleep in which the processor's clock stands still for this counter."""


class _State(Hardware):
    """ASSR: what of it is written goes to the counter."""

    base = 0

    def __init__(self, name: str, written: Callable[[Any], None]) -> None:
        super().__init__(name)
        self.written = written

    def init(self, device: Any) -> bool:
        """Add the register."""
        ready = super().init(device)
        self.add(_ASSR, 0x60)
        self.add(_ASSR, 0x1F, READ_ONLY)
        return bool(ready)

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Where the counter's clock comes from."""
        self.written(data)


class Timer2(Hardware):
    """Timer/counter 2."""

    base = 0

    def __init__(self, vectors: tuple[int, int, int], crystal: Crystal) -> None:
        """`vectors` of compare A, compare B, overflow."""
        super().__init__("TC2")
        self.vectors, self.crystal = vectors, crystal
        self.flags = (interrupt_flag(True), interrupt_flag(True), interrupt_flag(True))
        self.timers = (core.CallableCycleTimer(self._fire), core.CallableCycleTimer(self._taken_over))
        self.parts = (_State("TC2S", self._write_state),)
        """To be attached before this model."""

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        self.add_each((_TCCRA, _TCCRB, _TCNT, _OCRA, _OCRB))
        self.add(_TIMSK, 7)
        self.add(_TIFR, 7, STROBE)
        for flag, bit, vector in zip(self.flags, (_MATCH_A, _MATCH_B, _OVERFLOW), self.vectors, strict=True):
            ready = flag.init(device, self.at(_TIMSK, bit), self.at(_TIFR, bit), vector) and ready
        self.crystal.before_change.append(self._settle)
        self.crystal.after_change.append(self._retime)
        return bool(ready)

    def reset(self, flags: int) -> None:
        """Stopped, all registers 0."""
        self.ticks = Ticks(self.hertz)
        self.offset, self.compares = 0, [0, 0]
        self.busy: dict[int, int] = {}
        self.asleep = False
        self.due = [NEVER, NEVER, NEVER]
        self.crystal.running = False
        self.mind(POWER_SAVE)
        for timer in self.timers:
            self.cycles.cancel(timer)

    @property
    def _span(self) -> int:
        return self.compares[0] + 1 if self.get(_TCCRA) & 3 == _CTC else 256

    def _clock(self) -> float:
        if self.get(_ASSR) & _AS2:
            return self.crystal.hertz
        return 0.0 if self.asleep else float(self.hertz)

    def _tick_hertz(self) -> float:
        divider = _DIVIDERS[self.get(_TCCRB) & 7]
        return self._clock() / divider if divider else 0.0

    def count(self) -> int:
        """The counter's value."""
        return (self.ticks.at(self.now) + self.offset) % self._span

    def _settle(self) -> None:
        self.ticks.set_hertz(self.ticks.hertz, self.now)

    def _retime(self) -> None:
        self.ticks.set_hertz(self._tick_hertz(), self.now)
        self._plan()

    def _plan(self) -> None:
        here, span = self.ticks.at(self.now), self._span
        value = (here + self.offset) % span
        for index, compare in enumerate(self.compares):
            # The match flag is set at the tick that follows the compare value.
            away = (compare - value) % span + 1
            self.due[index] = here + away if compare < span else NEVER
        self.due[2] = here + span - value if span == 256 else NEVER
        self.cycles.cancel(self.timers[0])
        when = self.ticks.when(min(self.due))
        if when < NEVER:
            self.cycles.schedule(self.timers[0], max(when, self.now + 1))

    def _fire(self, when: int) -> int:
        here, span = self.ticks.at(int(when)), self._span
        for index, bit in enumerate((_MATCH_A, _MATCH_B, _OVERFLOW)):
            if here >= self.due[index]:
                self.raise_bit(self.flags[index], bit)
                self.due[index] += span
        following = self.ticks.when(min(self.due))
        return max(following, int(when) + 1) if following < NEVER else 0

    def ioreg_read_handler(self, addr: Any, value: int) -> int:
        """The count is computed."""
        return self.count() if int(addr) == _TCNT else value

    def _taking_over(self, register: int) -> None:
        if not self.get(_ASSR) & _AS2:
            return
        bit, now, hertz = _BUSY_BITS[register], self.now, self._clock()
        if self.busy.get(bit, 0) > now:
            self.breaks(f"{_NAMES[register]} written while it was busy")
        self.busy[bit] = now + int(_SYNC_TICKS * self.hertz / hertz) if hertz else NEVER
        self._show_busy(now)

    def _show_busy(self, now: int) -> int:
        """Set the bits of what is still being taken over; returns the cycle at which the next one is done."""
        self.busy = {bit: until for bit, until in self.busy.items() if until > now}
        self.put(_ASSR, sum(self.busy), 0x1F)
        following = min(self.busy.values(), default=NEVER)
        if following < NEVER:
            self.cycles.schedule(self.timers[1], following)
        self._mind()
        return following

    def _taken_over(self, when: int) -> int:
        following = self._show_busy(int(when))
        return following if following < NEVER else 0

    def _mind(self) -> None:
        """Power-save matters to a counter that hangs on the processor's clock, or is taking something over."""
        self.mind(NO_MODE if self.get(_ASSR) & _AS2 and not self.busy else POWER_SAVE)

    def _write_state(self, data: Any) -> None:
        if data.posedge() & _AS2:
            self.crystal.change(running=True)
        self._retime()
        self._mind()

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Obey a write."""
        register = int(addr)
        if register in _BUSY_BITS:
            self._taking_over(register)
            if register == _TCNT:
                self.offset = data.value - self.ticks.at(self.now)
            elif register in (_OCRA, _OCRB):
                value = self.count()
                self.compares[register - _OCRA] = data.value
                self.offset = value - self.ticks.at(self.now)
            self._retime()

    def slept(self, on: bool, mode: int) -> None:
        """The processor's clock stops in power-save, the crystal does not."""
        self.asleep = on
        if not self.get(_ASSR) & _AS2:
            self._retime()
        elif on and self.busy and self.crystal.hertz:
            self.breaks("slept while timer 2 was taking a register over")

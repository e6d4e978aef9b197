"""The real-time counter of the megaAVR 0-series with its periodic interrupt, in Python; `native/clock.cpp` has it too.
Registers as in the data sheet (from memory).

Most of its registers are plain, so that reading and writing them stays within the simulator: only where a write must be
obeyed, or where the value read is one of time, does it call us.

Unlike the stock model it counts any processor clock exactly, its periodic interrupt and compare work, writes take three
ticks to be taken over, and its crystal can stop (then a write is never taken over, as on the chip).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_crystal import NEVER, NOMINAL_HZ, Crystal, Ticks
from schedgen.firmware.rehearse.part_model import NO_MODE, READ_ONLY, STANDBY, STROBE, Hardware, interrupt_flag

_CTRLA, _STATUS, _INTCTRL, _INTFLAGS, _TEMP, _CLKSEL = 0, 1, 2, 3, 4, 7
_CNT, _PER, _CMP = 8, 10, 12
_PITCTRLA, _PITSTATUS, _PITINTCTRL, _PITINTFLAGS = 16, 17, 18, 19
_OVERFLOW, _COMPARE, _PIT = 1, 2, 1
_RUN_STANDBY = 0x80
_SYNC_TICKS = 3
BUSY_RULE = "RTC register at offset {} written while it was busy"
_BUSY_BITS = {_CTRLA: 1, _CNT: 2, _PER: 4, _CMP: 8, _PITCTRLA: 16}
_EXTERNAL, _CRYSTAL, _ONE_KILOHERTZ = 3, 2, 1


class _Plain(Hardware):
    """The registers of the counter that need no more than their interrupt flags."""

    base = 0x140

    def init(self, device: Any) -> bool:
        """Add them."""
        ready = super().init(device)
        for offset, mask in ((_INTCTRL, 3), (_TEMP, 255), (5, 1), (6, 255), (_PITINTCTRL, 1), (20, 1)):
            self.add(offset, mask)
        self.add(_INTFLAGS, 3, STROBE)
        self.add(_PITINTFLAGS, 1, STROBE)
        return bool(ready)


class _LowByte(Hardware):
    """The lower byte of CNT, which the firmware reads more often than all else."""

    base = 0x140

    def __init__(self, name: str, clock: Rtc) -> None:
        super().__init__(name)
        self.clock = clock
        self.shown = -1
        """What the upper byte's register holds."""

    def init(self, device: Any) -> bool:
        """Add it."""
        ready = super().init(device)
        self.add(_CNT)
        return bool(ready)

    def reset(self, flags: int) -> None:
        """The upper byte is 0."""
        self.shown = -1

    def ioreg_read_handler(self, addr: Any, value: int) -> int:
        """The count as it is now; its upper byte waits."""
        clock = self.clock
        word = (clock.ticks.at(clock.clock_now()) + clock.offset) % (clock.period + 1)
        clock.waiting = high = word >> 8
        if high != self.shown:
            self.shown = high
            self.write_ioreg(_WORDS[_CNT], _WHOLE, high)
        return word & 255

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """The lower byte waits for the upper one."""
        self.clock.waiting = data.value
        self.shown = -1


class _HighBytes(Hardware):
    """The upper bytes of CNT, PER and CMP: `Rtc` leaves in them what a read of the lower byte found."""

    base = 0x140

    def __init__(self, name: str, written: Callable[[int, int], None]) -> None:
        super().__init__(name)
        self.written = written

    def init(self, device: Any) -> bool:
        """Add them."""
        ready = super().init(device)
        self.add_each((_CNT + 1, _PER + 1, _CMP + 1))
        return bool(ready)

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """The word is complete."""
        self.written(int(addr) - self.base - 1, data.value)


_HITS = tuple(core.bitmask_t(hit) for hit in range(4))
_WHOLE, _PIT_BIT = core.bitmask_t(0xFF), core.bitmask_t(_PIT)
_WORDS = {offset: core.reg_addr_t(0x140 + offset + 1) for offset in (_CNT, _PER, _CMP)}
"""Offset of the lower byte of each word, and the address of its upper byte."""


class Rtc(Hardware):
    """RTC.CNT, PER, CMP, overflow and compare interrupts; PIT."""

    base = 0x140

    def __init__(self, vectors: tuple[int, int], crystal: Crystal) -> None:
        super().__init__(core.IOCTL_RTC)
        self.vectors, self.crystal = vectors, crystal
        self.flags = (interrupt_flag(False), interrupt_flag(False))
        self.timers = (core.CallableCycleTimer(self._fire_counter), core.CallableCycleTimer(self._fire_pit))

    @classmethod
    def whole(cls, vectors: tuple[int, int], crystal: Crystal) -> list[Hardware]:
        """The model with its parts, in the order in which they are to be attached."""
        rtc = cls(vectors, crystal)
        return [_Plain("RTC2"), _HighBytes("RTC3", rtc._write_word), _LowByte("RTC4", rtc), rtc]

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        for offset, mask in ((_CTRLA, 0xFD), (_CLKSEL, 3), (_PITCTRLA, 0x79)):
            self.add(offset, mask)
        self.add(_STATUS, 15, READ_ONLY)
        self.add(_PITSTATUS, 1, READ_ONLY)
        self.add_each((_PER, _CMP))
        counter, pit = self.flags
        ready = ready and counter.init(device, self.at(_INTCTRL, 3), self.at(_INTFLAGS, 3), self.vectors[0])
        ready = ready and pit.init(device, self.at(_PITINTCTRL, 1), self.at(_PITINTFLAGS, 1), self.vectors[1])
        self.crystal.before_change.append(self._settle)
        self.crystal.after_change.append(self._retime)
        return bool(ready)

    def reset(self, flags: int) -> None:
        """Everything off, as after any reset."""
        self.ticks, self.pit_ticks = Ticks(self.hertz), Ticks(self.hertz)
        self.period, self.compare, self.offset = 0xFFFF, 0, 0
        self.next_counter, self.next_pit, self.pit_length = NEVER, NEVER, 0
        self.busy: dict[int, int] = {}
        self.on = False
        self.waiting = 0
        """The byte in TEMP: the low one of a write, the high one of a read that came between."""
        self.asleep = False
        self.mind(NO_MODE)
        for timer in self.timers:
            self.cycles.cancel(timer)

    # The counter value is (ticks + offset) modulo (period + 1).

    def _source_hertz(self) -> float:
        selected = self.get(_CLKSEL) & 3
        if selected in (_CRYSTAL, _EXTERNAL):
            return self.crystal.hertz
        internal = NOMINAL_HZ * (1 + self.crystal.internal_error)
        return internal / 32 if selected == _ONE_KILOHERTZ else internal

    def _counter_hertz(self) -> float:
        counts = self.on and not self.asleep
        return self._source_hertz() / (1 << ((self.get(_CTRLA) >> 3) & 15)) if counts else 0.0

    def count(self) -> int:
        """The counter's value."""
        return (self.ticks.at(self.now) + self.offset) % (self.period + 1)

    def _set_count(self, value: int) -> None:
        self.offset = value - self.ticks.at(self.now)

    def _settle(self) -> None:
        now = self.now
        self.ticks.set_hertz(self.ticks.hertz, now)
        self.pit_ticks.set_hertz(self.pit_ticks.hertz, now)

    def _retime(self) -> None:
        now = self.now
        self.ticks.set_hertz(self._counter_hertz(), now)
        self.pit_ticks.set_hertz(self._source_hertz() if self.pit_length else 0.0, now)
        self._plan_counter()
        self._plan_pit()

    def _plan_counter(self) -> None:
        now, span = self.clock_now(), self.period + 1
        here = self.ticks.at(now)
        value = (here + self.offset) % span
        self.tick_overflow = here + span - value
        away = (self.compare - value) % span or span
        self.tick_compare = here + away if self.compare <= self.period else NEVER
        self._schedule(self.timers[0], self.ticks, min(self.tick_overflow, self.tick_compare), now)

    def _schedule(self, timer: Any, ticks: Ticks, count: int, now: int) -> None:
        when = ticks.when(count)
        if when < NEVER:
            self.cycles.schedule(timer, max(when, now + 1))
        else:
            self.cycles.cancel(timer)

    def _fire_counter(self, when: int) -> int:
        here, span, hit = self.ticks.at(int(when)), self.period + 1, 0
        if here >= self.tick_overflow:
            hit |= _OVERFLOW
            self.tick_overflow += span
        if here >= self.tick_compare:
            hit |= _COMPARE
            self.tick_compare += span
        if hit:
            self.flags[0].set_flag(_HITS[hit])
        following = self.ticks.when(min(self.tick_overflow, self.tick_compare))
        return max(following, int(when) + 1) if following < NEVER else 0

    def _plan_pit(self) -> None:
        self.cycles.cancel(self.timers[1])
        if self.pit_length:
            here = self.pit_ticks.at(self.now)
            self.next_pit = (here // self.pit_length + 1) * self.pit_length
            self._schedule(self.timers[1], self.pit_ticks, self.next_pit, self.now)

    def _fire_pit(self, when: int) -> int:
        self.flags[1].set_flag(_PIT_BIT)
        self.next_pit += self.pit_length
        following = self.pit_ticks.when(self.next_pit)
        return following if following < NEVER else 0

    def _start_pit(self) -> None:
        control = self.get(_PITCTRLA)
        period = (control >> 3) & 15
        self.pit_length = 1 << (period + 1) if control & 1 and period else 0
        self.pit_ticks = Ticks(self.hertz)
        self.pit_ticks.set_hertz(self._source_hertz() if self.pit_length else 0.0, self.now)
        self._plan_pit()

    def ioreg_read_handler(self, addr: Any, value: int) -> int:
        """16-bit registers go through TEMP; the busy flags clear by themselves."""
        offset = int(addr) - self.base
        if offset in _WORDS:
            word = self.period if offset == _PER else self.compare
            self.waiting = high = word >> 8
            self.write_ioreg(_WORDS[offset], _WHOLE, high)
            return word & 255
        if offset in (_STATUS, _PITSTATUS):
            return self._busy_bits(offset)
        return value

    def _busy_bits(self, offset: int) -> int:
        now = self.now
        bits = 0
        for bit, until in list(self.busy.items()):
            if until <= now:
                del self.busy[bit]
            else:
                bits |= bit
        return bits & 15 if offset == _STATUS else bits >> 4

    def _taking_over(self, offset: int) -> None:
        """A write that the counter's own clock has to take over; again before it did breaks a rule."""
        bit, now, hertz = _BUSY_BITS[offset], self.now, self._source_hertz()
        if self.busy.get(bit, 0) > now:
            self.breaks(BUSY_RULE.format(offset))
        self.busy[bit] = now + int(_SYNC_TICKS * self.hertz / hertz) if hertz else NEVER

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Obey a write."""
        offset = int(addr) - self.base
        if offset in _WORDS:
            self.waiting = data.value
        elif offset == _CTRLA:
            self._taking_over(offset)
            self.on = bool(data.value & 1)
            self.mind(NO_MODE if not self.on else STANDBY + 1 if data.value & _RUN_STANDBY else STANDBY)
            self._retime()
        elif offset == _CLKSEL:
            self._retime()
        elif offset == _PITCTRLA:
            self._taking_over(offset)
            self._start_pit()

    def _write_word(self, offset: int, high: int) -> None:
        self._taking_over(offset)
        word = self.waiting | high << 8
        if offset == _CMP:
            self.compare = word
        else:
            value = self.count()
            if offset == _PER:
                self.period = word
            self._set_count(word if offset == _CNT else value)
        self._plan_counter()

    def slept(self, on: bool, mode: int) -> None:
        """Without RUNSTDBY the counter stands still in standby; in power-down always; told only of what stops it."""
        if on != self.asleep:
            self.asleep = on
            self._retime()

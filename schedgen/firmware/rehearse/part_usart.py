"""The serial line: USART0 of both families, byte by byte, with a line on which the other side is this computer.

The receiver has two bytes of buffer and a shift register and loses what comes on top of them; in standby only a USART
with start-of-frame detection receives, and the start of a frame moves the receive pin, so that its pin interrupt wakes.
"""

from __future__ import annotations

import collections
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_model import NO_MODE, READ_ONLY, STANDBY, STROBE, Hardware, interrupt_flag

_DEPTH = 2
_RECEIVED, _EMPTY, _SENT, _START = 0x80, 0x20, 0x40, 0x10


@dataclass(frozen=True)
class Shape:
    """Register offsets of a USART: data in, data out, status, and where the bits that matter stand."""

    base: int
    data_in: int
    data_out: int
    status: int
    control: int
    interrupts: int
    receive_on: int
    transmit_on: int
    clear_on_service: bool


MEGAAVR = Shape(0x800, 0, 2, 4, 6, 5, 0x80, 0x40, False)
ATMEGA328 = Shape(0, 0xA6, 0xA6, 0xA0, 0xA1, 0xA1, 0x10, 0x08, True)


class Usart(Hardware):
    """USART0. `send` queues bytes for the firmware; `said` collects what it sends, as (cycle, byte)."""

    def __init__(self, shape: Shape, vectors: tuple[int, int, int], receive_pin: str) -> None:
        """`vectors` of received, empty, sent."""
        super().__init__(core.IOCTL_UART("0"))
        self.base, self.shape, self.vectors, self.pin_name = shape.base, shape, vectors, receive_pin
        self.flags = tuple(interrupt_flag(shape.clear_on_service and bit == _SENT) for bit in (1, 2, _SENT))
        self.timers = (core.CallableCycleTimer(self._receive), core.CallableCycleTimer(self._transmitted))
        self.line: collections.deque[int] = collections.deque()
        self.said: list[tuple[int, int]] = []
        self.lost = 0
        self.move_pin: Callable[[str], None] = lambda level: None

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        if self.shape is MEGAAVR:
            self._add_megaavr()
        else:
            self._add_328()
        received, empty, sent = self.flags
        at, status, enable = self.at, self.shape.status, self.shape.interrupts
        starts = _START if self.shape is MEGAAVR else 0
        ready = ready and received.init(
            device, at(enable, _RECEIVED | starts), at(status, _RECEIVED | starts), self.vectors[0]
        )
        ready = ready and empty.init(device, at(enable, _EMPTY), at(status, _EMPTY), self.vectors[1])
        return bool(ready and sent.init(device, at(enable, _SENT), at(status, _SENT), self.vectors[2]))

    def _add_megaavr(self) -> None:
        self.add(0, 255, READ_ONLY)
        self.add(1, 0xC7, READ_ONLY)
        self.add(4, 0x5A, STROBE)
        self.add(4, 0xA0, READ_ONLY)
        for offset, mask in ((2, 255), (3, 1), (5, 255), (6, 0xDF), (7, 255), (8, 255), (9, 255)):
            self.add(offset, mask)
        self.add_each((10, 11, 12, 13, 14))

    def _add_328(self) -> None:
        self.add(0xA0, 0x03)
        self.add(0xA0, _SENT, STROBE)
        self.add(0xA0, 0xBC, READ_ONLY)
        self.add(0xA1, 0xFD)
        self.add(0xA1, 0x02, READ_ONLY)
        self.add_each((0xA2, 0xA4, 0xA5, 0xA6))

    def reset(self, flags: int) -> None:
        """Off, empty; what is on the line goes on."""
        self.held: collections.deque[int] = collections.deque()
        self.waiting: int | None = None
        self.overrun = False
        self.sending: int | None = None
        self.next_out: int | None = None
        self.coming: tuple[int, bool] | None = None
        self.paused = False
        for timer in self.timers:
            self.cycles.cancel(timer)
        self.mind(NO_MODE)
        self.put(self.shape.status, _EMPTY, _EMPTY)
        if self.shape is MEGAAVR:
            self.put(7, 3)
        else:
            self.put(0xA2, 6)
        self.move_pin("H")
        self._begin()

    @property
    def baud(self) -> float:
        """The speed that the registers say, bit/s; 0 while they say none."""
        if self.shape is MEGAAVR:
            divider = self.get(8) | self.get(9) << 8
            samples = 8 if self.get(6) & 6 == 2 else 16
            return 64 * self.hertz / (samples * divider) if divider >= 64 else 0.0
        divider = self.get(0xA4) | (self.get(0xA5) & 15) << 8
        return self.hertz / ((8 if self.get(0xA0) & 2 else 16) * (divider + 1))

    def _frame(self) -> int:
        """Cycles of a frame: start, eight bits, stop."""
        return round(10 * self.hertz / (self.baud or 115200))

    def send(self, data: bytes) -> None:
        """Put bytes on the line, one after the other from now on."""
        self.line.extend(data)
        self._begin()

    def _begin(self) -> None:
        if self.coming is None and self.line and not self.timers[0].scheduled():
            self.cycles.schedule(self.timers[0], self.now + 1)

    @property
    def _receives(self) -> bool:
        return bool(self.get(self.shape.control) & self.shape.receive_on)

    def _receive(self, when: int) -> int:
        if self.coming is None:
            byte = self.line.popleft()
            deep = self.minding.now() >= STANDBY
            hears = self._receives and (not deep or (self.shape is MEGAAVR and bool(self.get(6) & 0x10)))
            self.coming = byte, hears
            if hears and deep:
                self.raise_bit(self.flags[0], _START)
            self.move_pin("L")
            if hears and self.waiting is not None:
                self.waiting, self.overrun = None, True
                self.lost += 1
            return int(when) + self._frame()
        byte, heard = self.coming
        self.coming = None
        self.move_pin("H")
        if heard and self._receives:
            if len(self.held) < _DEPTH:
                self.held.append(byte)
            else:
                self.waiting = byte
            self._show()
        else:
            self.lost += 1
        return int(when) + 1 if self.line else 0

    def _show(self) -> None:
        if self.shape is MEGAAVR:
            self.put(1, (_RECEIVED if self.held else 0) | (0x40 if self.held and self.overrun else 0))
            self.put(0, self.held[0] if self.held else 0)
        if self.held:
            self.raise_bit(self.flags[0], _RECEIVED)
        else:
            self.flags[0].clear_flag(core.bitmask_t(_RECEIVED))

    def _transmitted(self, when: int) -> int:
        assert self.sending is not None
        self.said.append((int(when), self.sending))
        self.sending, self.next_out = self.next_out, None
        if self.sending is None:
            self.mind(NO_MODE)
            self.raise_bit(self.flags[2], _SENT)
            return 0
        self.raise_bit(self.flags[1], _EMPTY)
        return int(when) + self._frame()

    def ioreg_read_handler(self, addr: Any, value: int) -> int:
        """Reading the data register takes a byte out of the buffer."""
        if int(addr) - self.base != self.shape.data_in or not self.held:
            return value
        byte = self.held.popleft()
        self.overrun = False
        if self.waiting is not None:
            self.held.append(self.waiting)
            self.waiting = None
        self._show()
        return byte

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Obey a write."""
        offset, shape = int(addr) - self.base, self.shape
        if offset == shape.data_out and self.get(shape.control) & shape.transmit_on:
            self._write_out(data.value)
        elif offset == shape.control and data.negedge() & shape.receive_on:
            self.held.clear()
            self.waiting = None
            self._show()

    def _write_out(self, byte: int) -> None:
        if self.sending is None:
            self.sending = byte
            self.mind(STANDBY)
            self.cycles.schedule(self.timers[1], self.now + self._frame())
        elif self.next_out is None:
            self.next_out = byte
            self.flags[1].clear_flag(core.bitmask_t(_EMPTY))
        else:
            self.breaks("a byte given to the USART while its buffer was full")

    def slept(self, on: bool, mode: int) -> None:
        """Deeper than idle the transmitter stands still; told of it only while it sends."""
        if on:
            self.breaks("slept while the USART was sending")
            self.cycles.pause(self.timers[1])
            self.paused = True
        elif self.paused:
            self.cycles.resume(self.timers[1])
            self.paused = False

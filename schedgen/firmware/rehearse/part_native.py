"""The models in C++ in `native/`, as the simulated part uses them.

A call from the simulator into Python takes longer than fifty of the firmware's instructions. What is called in every
simulated second stands in C++ therefore: the loop, the count of sleep, the edges of the outputs, the user row, the
real-time counter.
"""

from __future__ import annotations

import ctypes
import struct
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

from yasimavr.lib import _sip

from schedgen.firmware.rehearse.part_crystal import NOMINAL_HZ, Crystal
from schedgen.firmware.rehearse.part_library import library
from schedgen.firmware.rehearse.part_model import Minding
from schedgen.firmware.rehearse.part_rtc import BUSY_RULE

MODES = 16
_Tell = ctypes.CFUNCTYPE(None, ctypes.c_int, ctypes.c_int)
_Refill = ctypes.CFUNCTYPE(None)
_REGISTERS = (0, 8, 10, 12, 16)


_EDGE = struct.Struct("=qii")
"""As `edge_t` of the C++: cycle, number, level."""


@cache
def models() -> ctypes.CDLL | None:
    """The models, their functions declared; None where they cannot be built."""
    found = library()
    return None if found is None else _declared(found)


def _declared(found: ctypes.CDLL) -> ctypes.CDLL:
    pointer, whole, real, text = ctypes.c_void_p, ctypes.c_int, ctypes.c_double, ctypes.c_char_p
    calls: dict[str, tuple[Any, tuple[Any, ...]]] = {
        "run": (None, (pointer, ctypes.c_int64)),
        "sleep_new": (pointer, (pointer, _Tell)),
        "sleep_mind": (None, (pointer, whole)),
        "sleep_mode": (whole, (pointer,)),
        "sleep_read": (None, (pointer, ctypes.POINTER(ctypes.c_int64))),
        "pins_new": (pointer, (pointer,)),
        "pins_add": (None, (pointer, text, whole)),
        "pins_count": (whole, (pointer,)),
        "pins_edges": (pointer, (pointer,)),
        "pins_forget": (None, (pointer,)),
        "pins_delete": (None, (pointer,)),
        "row_new": (pointer, (pointer, whole, whole, _Refill)),
        "row_bytes": (pointer, (pointer,)),
        "row_forget": (None, (pointer,)),
        "row_delete": (None, (pointer,)),
        "rtc_new": (pointer, (pointer, whole, whole, real)),
        "rtc_clocks": (None, (pointer, real, real)),
        "rtc_busy_writes": (whole, (pointer, whole)),
    }
    for name, (result, given) in calls.items():
        function = getattr(found, f"schedgen_{name}")
        function.restype, function.argtypes = result, given
    return found


def runner(native: ctypes.CDLL, device: Any) -> Callable[[int], None]:
    """A function that runs a device to a cycle, or to where it breaks or ends."""
    run, pointer = native.schedgen_run, _sip.unwrapinstance(device)
    return lambda goal: run(pointer, goal)


class SleepCounter:
    """Cycles by mode of sleep; tells those who mind the mode. It belongs to the device once it is made."""

    def __init__(self, native: ctypes.CDLL, device: Any, minding: Minding) -> None:
        self.native = native
        self._tell = _Tell(lambda on, mode: minding.tell(bool(on), mode))
        self.pointer = native.schedgen_sleep_new(_sip.unwrapinstance(device), self._tell)
        self._cycles = (ctypes.c_int64 * MODES)()
        minding.changed = lambda least: native.schedgen_sleep_mind(self.pointer, least)
        minding.now = lambda: int(native.schedgen_sleep_mode(self.pointer))

    def cycles(self) -> list[int]:
        """Cycles until now by mode; the first number is those awake."""
        self.native.schedgen_sleep_read(self.pointer, self._cycles)
        return list(self._cycles)


class PinRecorder:
    """Edges of pins, kept until somebody takes them."""

    def __init__(self, native: ctypes.CDLL, device: Any) -> None:
        self.native = native
        self.pointer = native.schedgen_pins_new(_sip.unwrapinstance(device))

    def add(self, pin: str, number: int) -> None:
        """Record a pin under a number."""
        self.native.schedgen_pins_add(self.pointer, pin.encode("ascii"), number)

    def take(self) -> Iterator[tuple[int, int, int]]:
        """(cycle, number, 1 for high) of all edges since the last time."""
        count = self.native.schedgen_pins_count(self.pointer)
        raw = ctypes.string_at(self.native.schedgen_pins_edges(self.pointer), count * _EDGE.size)
        self.native.schedgen_pins_forget(self.pointer)
        return _EDGE.iter_unpack(raw)

    def close(self) -> None:
        """Let the pins go; to be called while the device lives."""
        self.native.schedgen_pins_delete(self.pointer)
        self.pointer = None


class RowMirror:
    """Lets the user row be read through the data space; `read` is asked for its content after each `forget`."""

    def __init__(self, native: ctypes.CDLL, device: Any, base: int, size: int, read: Callable[[], bytes]) -> None:
        self.native, self.size, self.read = native, size, read
        self._refill = _Refill(self._fill)
        self.pointer = native.schedgen_row_new(_sip.unwrapinstance(device), base, size, self._refill)

    def _fill(self) -> None:
        ctypes.memmove(
            self.native.schedgen_row_bytes(self.pointer), self.read().ljust(self.size)[: self.size], self.size
        )

    def forget(self) -> None:
        """Read again at the next look."""
        self.native.schedgen_row_forget(self.pointer)

    def close(self) -> None:
        """To be called when the device is gone."""
        self.native.schedgen_row_delete(self.pointer)


class NativeRtc:
    """As `part_rtc.Rtc`. It belongs to the device once it is made."""

    def __init__(
        self, native: ctypes.CDLL, device: Any, vectors: tuple[int, int], hertz: int, crystal: Crystal
    ) -> None:
        self.native, self.crystal = native, crystal
        self.pointer = native.schedgen_rtc_new(_sip.unwrapinstance(device), *vectors, float(hertz))
        crystal.after_change.append(self._retime)
        self._retime()

    def _retime(self) -> None:
        internal = NOMINAL_HZ * (1 + self.crystal.internal_error)
        self.native.schedgen_rtc_clocks(self.pointer, self.crystal.hertz, internal)

    @property
    def broken_rules(self) -> dict[str, int]:
        """See `Hardware`."""
        counts = {offset: self.native.schedgen_rtc_busy_writes(self.pointer, offset) for offset in _REGISTERS}
        return {BUSY_RULE.format(offset): count for offset, count in counts.items() if count}

"""The firmware's core on this computer: the same C, as a shared library, driven second by second.

For tests and for looking at what a board would do. Needs a C compiler (gcc or clang). One library is one board; its
state is the C program's own, so an object of this module is to be the only user of its library at a time.
"""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from schedgen.board.model import Board
from schedgen.errors import UsageError
from schedgen.firmware.sources import STRICT, sources_for, write_sources
from schedgen.link.messages import SILENCE_S

POWER, BROWN_OUT, WATCHDOG, SOFTWARE = range(4)
"""Kinds of reset, as `enum port_reset` counts them."""

_EDGES, _SENT, _MEMORY, _OUTPUTS = 4096, 4096, 1088, 8


class _Edge(ctypes.Structure):
    _fields_ = (
        ("second", ctypes.c_uint32), ("step", ctypes.c_uint8), ("output", ctypes.c_uint8), ("level", ctypes.c_uint8),
    )  # fmt: skip


class _Host(ctypes.Structure):
    """`struct host` of port_host/host.h."""

    _fields_ = (
        *((name, ctypes.c_uint32) for name in ("second", "edge_count", "sent_count", "writes", "cut_at", "wrong")),
        ("blinks", ctypes.c_uint32), ("fine_calls", ctypes.c_uint32),
        ("pack_mv", ctypes.c_uint16), ("stuck", ctypes.c_uint16),
        *((name, ctypes.c_uint8) for name in ("step", "buttons", "wet", "lead", "lit", "cut_torn", "sags")),
        ("level", ctypes.c_uint8 * _OUTPUTS), ("memory", ctypes.c_uint8 * _MEMORY), ("sent", ctypes.c_uint8 * _SENT),
        ("edges", _Edge * _EDGES),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class HostEdge:
    """An output was told another level, percent, at a tick (counted since the library was loaded) and 1/64 s."""

    second: int
    step: int
    output: int
    level: int


def find_compiler() -> str:
    """The C compiler of this computer. Raises UsageError where there is none."""
    for name in ("gcc", "clang", "cc"):
        found = shutil.which(name)
        if found:
            return found
    raise UsageError("there is no C compiler on this computer", "Install gcc or clang.")


def build_library(board: Board, folder: Path, options: Sequence[str] = ("-O1",)) -> Path:
    """Compile the core for `board` into a shared library in `folder` and return its path. Raises UsageError."""
    files = write_sources(sources_for(board, "port_host"), folder)
    library = folder / "core.so"
    command = [find_compiler(), *STRICT, *options, "-fPIC", "-shared", *map(str, files), "-o", str(library)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise UsageError(f"the firmware does not compile for this computer:\n{done.stderr}", "Report this as a defect.")
    return library


class HostBoard:
    """One board on this computer. `host` has what hardware would have: memory, pins, outputs."""

    def __init__(self, library: Path) -> None:
        """Load the library; nothing runs before `boot`."""
        self._lib = ctypes.CDLL(str(library))
        self._lib.host_state.restype = ctypes.POINTER(_Host)
        self.host: _Host = self._lib.host_state().contents
        self._fed_s = 0.0
        self._passed_s = 0.0

    def clear(self, memory: bytes = b"") -> None:
        """A board as it comes from the shop, its memory beginning with `memory` and erased behind it."""
        ctypes.memset(ctypes.addressof(self.host), 0, ctypes.sizeof(self.host))
        ctypes.memset(ctypes.addressof(self.host.memory), 0xFF, _MEMORY)
        ctypes.memmove(self.host.memory, memory, len(memory))
        self.host.pack_mv = 12_000

    @property
    def memory(self) -> bytes:
        """All of the memory: EEPROM, then the user row."""
        return bytes(self.host.memory)

    def poke(self, address: int, data: bytes) -> None:
        """Change memory behind the firmware's back."""
        for index, byte in enumerate(data):
            self.host.memory[address + index] = byte

    def boot(self, cause: int = POWER, resets: int = 0, clock_ok: bool = True) -> None:
        """Reset the board."""
        self._lib.host_boot(ctypes.c_uint8(cause), ctypes.c_uint16(resets), ctypes.c_uint8(clock_ok))

    def seconds(self, count: int = 1) -> None:
        """Let time pass."""
        self._lib.host_seconds(ctypes.c_uint32(count))

    def to_step(self, step: int) -> None:
        """Let time pass up to a 1/64 s of the present second, which lies ahead."""
        self._lib.host_to_step(ctypes.c_uint8(step))

    def receive(self, data: bytes) -> bytes:
        """Give bytes to the serial line, and return what it answers."""
        self.host.sent_count = 0
        self._lib.host_receive(data, ctypes.c_uint32(len(data)))
        return self.sent()

    def silence(self) -> bytes:
        """Let 100 ms without a byte be noticed on the serial line, and return what it answers."""
        self.host.sent_count = 0
        self._lib.host_silence()
        return self.sent()

    def feed(self, data: bytes, now_s: float) -> bytes:
        """As the device behind a `VirtualPort`: let time pass up to `now_s`, give `data`, return the answer."""
        out = b""
        if now_s - self._fed_s >= SILENCE_S:
            out = self.silence()
        whole = int(now_s - self._passed_s)
        self.seconds(whole)
        self._passed_s += whole
        if data:
            self._fed_s = now_s
            out += self.receive(data)
        return out

    def sent(self) -> bytes:
        """What the board has sent since it was last given bytes."""
        return bytes(self.host.sent[: self.host.sent_count])

    def button(self) -> None:
        """Tell the firmware that a button's pin has changed."""
        self._lib.host_button()

    def clock_failed(self) -> None:
        """Tell the firmware that the crystal's ticks have stopped."""
        self._lib.host_clock_failed()

    def edges(self) -> list[HostEdge]:
        """The changes of outputs since this was last asked."""
        found = [HostEdge(e.second, e.step, e.output, e.level) for e in self.host.edges[: self.host.edge_count]]
        self.host.edge_count = 0
        return found

    @property
    def levels(self) -> tuple[int, ...]:
        """Present level of each output, percent."""
        return tuple(self.host.level)

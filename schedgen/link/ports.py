"""Ports: a serial port by pyserial, and the virtual board behind the same three calls.

Every read and write has a deadline, in seconds of the port's own clock (`now`). The virtual board's clock is not the
wall clock: waiting for it costs nothing.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from schedgen.errors import PortLost, UsageError
from schedgen.link import faults

if TYPE_CHECKING:
    from schedgen.link.eeprom import Nameplate

BAUD = 115_200
VIRTUAL = "virtual:"
_SLICE_S = 0.05
"""Longest single wait inside the system, so that Ctrl-C is answered soon everywhere."""
_WRITE_LEAST_S = 0.5
"""pyserial counts a write as late when its time is over although all bytes went; never give it less than this."""


class Port(Protocol):
    """Something that bytes go through. All times are seconds of `now`."""

    name: str

    def now(self) -> float:
        """Return the time of this port's clock, seconds."""
        ...

    def read(self, deadline: float) -> bytes:
        """Return what has come as soon as there is any, or nothing once `deadline` has passed. Raises `LinkError`."""
        ...

    def write(self, data: bytes, deadline: float) -> None:
        """Send all of `data` before `deadline`. Raises `LinkError`."""
        ...

    def close(self) -> None:
        """Give the port back; never raises, and may be called twice."""
        ...


class Device(Protocol):
    """What answers bytes with bytes: the virtual board."""

    def feed(self, data: bytes, now_s: float) -> bytes:
        """Return the answer to `data`, received at `now_s` seconds; without data, what has become due."""
        ...


class VirtualPort:
    """A device in this process. Waiting moves its clock on at once; `after` runs whenever it was given bytes."""

    def __init__(self, device: Device, name: str = "virtual", after: Callable[[], None] = lambda: None) -> None:
        self.name = name
        self._device = device
        self._after = after
        self._now = 0.0
        self._waiting = bytearray()
        self._open = True

    def now(self) -> float:
        """Return the seconds that have passed for the device."""
        return self._now

    def read(self, deadline: float) -> bytes:
        """Return what the device has said; with nothing said, move its clock to `deadline` and ask once more."""
        self._check_open()
        if not self._waiting:
            self._now = max(self._now, deadline)
            self._give(b"")
        data = bytes(self._waiting)
        self._waiting.clear()
        return data

    def write(self, data: bytes, deadline: float) -> None:
        """Give `data` to the device at once."""
        self._check_open()
        self._give(data)

    def close(self) -> None:
        """Forget what is still waiting."""
        self._open = False
        self._waiting.clear()

    def _give(self, data: bytes) -> None:
        self._waiting += self._device.feed(data, self._now)
        self._after()

    def _check_open(self) -> None:
        if not self._open:
            raise PortLost(f"{self.name} is closed.")


class SerialPort:
    """A serial port of this computer, opened for one program alone; pyserial throws away bytes that came before."""

    def __init__(self, name: str, baud: int = BAUD) -> None:
        """Open it. Raises `PortDenied`, `PortBusy`, `PortMissing`, `LinkError`; `UsageError` for a wrong speed."""
        import serial

        self.name = name
        with faults.opening(name, lambda: _is_listed(name)):
            self._serial = serial.Serial(
                name,
                baud,
                timeout=_SLICE_S,
                write_timeout=_WRITE_LEAST_S,
                exclusive=True if os.name == "posix" else None,
            )

    def now(self) -> float:
        """Return the seconds of a clock that never goes back."""
        return time.monotonic()

    def read(self, deadline: float) -> bytes:
        """Return what has come as soon as there is any, or nothing once `deadline` has passed. Raises `PortLost`."""
        while True:
            left = deadline - self.now()
            with faults.using(self.name):
                self._serial.timeout = max(0.0, min(_SLICE_S, left))
                data = self._serial.read(1)
                if data:
                    data += self._serial.read(self._serial.in_waiting)
            if data or left <= 0:
                return bytes(data)

    def write(self, data: bytes, deadline: float) -> None:
        """Send all of `data`. Raises `PortLost`, also where the adapter takes no bytes any more."""
        with faults.using(self.name):
            self._serial.write_timeout = max(_WRITE_LEAST_S, deadline - self.now())
            self._serial.write(data)

    def close(self) -> None:
        """Give the port back; whatever goes wrong now no longer matters."""
        try:
            self._serial.close()
        except faults.port_errors():
            return


def _is_listed(name: str) -> bool:
    from serial.tools import list_ports

    return any(port.device.casefold() == name.casefold() for port in list_ports.comports())


def open_port(name: str, baud: int = BAUD, *, make: Nameplate | None = None) -> Port:
    """Return the open port `name`: `virtual:FILE`, or a port as the system names it (`/dev/...`, `COM3`).

    `make` describes the board that a missing FILE is made for; without it a missing FILE is `PortMissing`. On macOS
    a `tty.*` name is refused with the `cu.*` name beside it, since opening `tty.*` waits for a modem signal. Raises
    `UsageError`, `PortDenied`, `PortBusy`, `PortMissing`, `LinkError`.
    """
    if not name.strip():
        raise UsageError("the port has no name", "Give a port as the system names it, or virtual:FILE.")
    if name.startswith(VIRTUAL):
        return _open_virtual(name, make)
    if name.startswith("/dev/tty.") and Path(name.replace("/dev/tty.", "/dev/cu.", 1)).exists():
        better = name.replace("/dev/tty.", "/dev/cu.", 1)
        raise UsageError(f"{name} would wait for a modem signal for ever.", f"Give {better} instead.")
    return SerialPort(name, baud)


def _open_virtual(name: str, make: Nameplate | None) -> Port:
    from schedgen.link.store import VirtualFile

    path = name.removeprefix(VIRTUAL)
    if not path:
        raise UsageError("virtual: needs the name of a file behind it", "Write virtual:board.bin, for example.")
    file = VirtualFile.open(Path(path), make)
    return VirtualPort(file.board, name, file.save)

"""What the system says about a port, turned into the project's exceptions: the one place that does it.

Decided by `errno` and by exception type, never by the words of a message, which differ by system and language.
pyserial often raises its own exception without a number while handling an `OSError` or a `termios.error` that has
one, so the chain of causes is searched.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache

from schedgen.errors import LinkError, PortBusy, PortDenied, PortLost, PortMissing, UsageError

UNHARMED = "The settings that were on the board are still there; plug it in again and repeat the command."

_DENIED = {errno.EACCES, errno.EPERM, errno.EROFS}
_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK, errno.ETXTBSY}
_MISSING = {errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR}
_NOT_SERIAL = {errno.ENOTTY, errno.EINVAL, errno.EISDIR}


@lru_cache(maxsize=1)
def port_errors() -> tuple[type[Exception], ...]:
    """Return the exception types by which a port fails on this system, `termios.error` among them where it exists."""
    try:
        import termios
    except ImportError:
        return (OSError,)
    return (OSError, termios.error)


def number_of(error: BaseException) -> int | None:
    """Return the errno of `error` or of the nearest error behind it, or None where no number is known."""
    seen: BaseException | None = error
    for _ in range(8):
        if seen is None:
            return None
        number = getattr(seen, "errno", None)
        if number is None and seen.args and isinstance(seen.args[0], int):
            number = seen.args[0]
        if isinstance(number, int):
            return number
        seen = seen.__cause__ or seen.__context__
    return None


@contextmanager
def opening(port: str, listed: Callable[[], bool] = lambda: False) -> Iterator[None]:
    """Within it, what goes wrong while `port` is being opened becomes a `LinkError` (exit code 3).

    `listed` says whether the system lists the port: Windows gives no number, and a port that is listed and cannot be
    opened is in use. Raises `PortDenied`, `PortBusy`, `PortMissing`, `LinkError`, or `UsageError` for a speed that
    the system does not have.
    """
    try:
        yield
    except port_errors() as error:
        raise _opening_error(port, number_of(error), listed) from error
    except (ValueError, OverflowError) as error:
        raise UsageError(
            f"{port}: the system refuses this port name or speed.", "Give the port as the system names it."
        ) from error


@contextmanager
def using(port: str) -> Iterator[None]:
    """Within it, what goes wrong with an open `port` becomes `PortLost` (unplugged, closed, or jammed)."""
    try:
        yield
    except port_errors() as error:
        if _is_timeout(error):
            raise PortLost(f"{port} takes no more bytes: the adapter hangs.", UNHARMED) from error
        raise PortLost(f"{port} went away while in use: the cable or the board was unplugged.", UNHARMED) from error


@contextmanager
def keeping(path: str) -> Iterator[None]:
    """Within it, what goes wrong with the file of a virtual board becomes a `LinkError`."""
    try:
        yield
    except OSError as error:
        number = error.errno
        where = f"The file of the virtual board, {path},"
        if number in _DENIED:
            raise PortDenied(f"{where} may not be read or written.", "Choose a file of your own.") from error
        if number in _BUSY:
            raise PortBusy(f"{where} is in use by another program.", "Wait until it has ended.") from error
        if number in _MISSING:
            raise PortMissing(f"{where} does not exist.", "Upload a dive to it first; that makes the file.") from error
        if number in _NOT_SERIAL:
            raise LinkError(f"{where} is not a file.", "Give the name of a file after virtual:.") from error
        if number == errno.ENOSPC:
            raise LinkError(f"{where} cannot be written: the disk is full.", "Make room, then repeat.") from error
        raise LinkError(f"{where} cannot be used: {error.strerror}.", "Choose another file.") from error


def _opening_error(port: str, number: int | None, listed: Callable[[], bool]) -> LinkError:
    if number in _DENIED:
        return PortDenied(f"You may not open {port}.", _permission_step(port))
    if number in _BUSY or (number is None and listed()):
        return PortBusy(
            f"{port} is in use by another program.",
            "Close the terminal, monitor or service that holds it, then repeat the command.",
        )
    if number in _MISSING or number is None:
        return PortMissing(f"There is no port {port}.", "Plug the board in, look up the port's name, and repeat.")
    if number in _NOT_SERIAL:
        return PortMissing(f"{port} is not a serial port.", "Give the port of the board's adapter.")
    return LinkError(f"{port} cannot be opened: {os.strerror(number)}.", "Unplug the adapter, plug it in, and repeat.")


def _permission_step(port: str) -> str:
    """The command that joins the group of the port, or what to do where there is no such thing."""
    group = _group_of(port)
    if group is None:
        return "Ask whoever runs this computer for access to serial ports."
    command = f'sudo usermod -a -G {group} "$USER"'
    return f'It belongs to the group "{group}". Join it with: {command} ; then log out and in again.'


def _group_of(port: str) -> str | None:
    """Name (or number) of the group that owns the port; None where the system has no groups or does not say."""
    try:
        import grp

        number = os.stat(port).st_gid
    except (ImportError, OSError):
        return None
    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def _is_timeout(error: BaseException) -> bool:
    from serial import SerialTimeoutException

    return isinstance(error, SerialTimeoutException)

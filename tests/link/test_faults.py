"""What the system says about ports, mapped by number and type to our own sentences."""

from __future__ import annotations

import errno
import termios

import pytest
import serial

from schedgen.errors import LinkError, PortBusy, PortDenied, PortLost, PortMissing, UsageError
from schedgen.link import faults


def raised_while(cause: Exception) -> serial.SerialException:
    """What pyserial does: its own exception, without a number, while it handles another."""
    try:
        try:
            raise cause
        except Exception:
            raise serial.SerialException("words that nobody reads")  # noqa: B904
    except serial.SerialException as error:
        return error


OPENING = [
    (serial.SerialException(errno.EACCES, "x"), PortDenied),
    (serial.SerialException(errno.EPERM, "x"), PortDenied),
    (serial.SerialException(errno.EBUSY, "x"), PortBusy),
    (serial.SerialException(errno.EAGAIN, "x"), PortBusy),
    (serial.SerialException(errno.ENOENT, "x"), PortMissing),
    (serial.SerialException(errno.ENODEV, "x"), PortMissing),
    (serial.SerialException(errno.ENXIO, "x"), PortMissing),
    (raised_while(termios.error(errno.ENOTTY, "x")), PortMissing),
    (raised_while(OSError(errno.EBUSY, "x")), PortBusy),
    (termios.error(errno.EIO, "x"), LinkError),
    (OSError(errno.EMFILE, "x"), LinkError),
    (serial.SerialException("no number at all"), PortMissing),
    (ValueError("speed"), UsageError),
]


@pytest.mark.parametrize(("error", "kind"), OPENING, ids=lambda value: getattr(value, "__name__", repr(value)))
def test_opening_errors_are_told_apart_by_number(error: Exception, kind: type[Exception]) -> None:
    with pytest.raises(kind) as caught, faults.opening("/dev/ttyUSB7"):
        raise error
    assert type(caught.value) is kind
    assert "/dev/ttyUSB7" in str(caught.value)
    assert getattr(caught.value, "next_step", "")


def test_a_listed_port_that_gives_no_number_is_busy() -> None:
    # Windows: pyserial keeps no number, and a COM port that exists and does not open is held by another program.
    with pytest.raises(PortBusy), faults.opening("COM3", lambda: True):
        raise serial.SerialException("could not open port")


@pytest.mark.parametrize(
    "error",
    [
        OSError(errno.EIO, "x"),
        OSError(errno.ENXIO, "x"),
        OSError(errno.EBADF, "x"),
        termios.error(errno.EIO, "x"),
        serial.SerialException("device reports readiness"),
        serial.PortNotOpenError(),
    ],
    ids=repr,
)
def test_whatever_happens_to_an_open_port_it_is_lost_and_the_settings_are_not(error: Exception) -> None:
    with pytest.raises(PortLost) as caught, faults.using("/dev/ttyUSB7"):
        raise error
    assert "unplugged" in caught.value.message
    assert "still there" in caught.value.next_step
    assert "repeat" in caught.value.next_step


def test_an_adapter_that_takes_no_bytes_has_its_own_sentence() -> None:
    with pytest.raises(PortLost, match="takes no more bytes"), faults.using("/dev/ttyUSB7"):
        raise serial.SerialTimeoutException("x")


@pytest.mark.parametrize(
    ("number", "kind", "words"),
    [
        (errno.EACCES, PortDenied, "may not be read or written"),
        (errno.EBUSY, PortBusy, "in use"),
        (errno.ENOENT, PortMissing, "does not exist"),
        (errno.EISDIR, LinkError, "is not a file"),
        (errno.ENOSPC, LinkError, "disk is full"),
        (errno.EIO, LinkError, "cannot be used"),
    ],
)
def test_trouble_with_the_file_of_a_virtual_board(number: int, kind: type[LinkError], words: str) -> None:
    with pytest.raises(kind, match=words) as caught, faults.keeping("board.bin"):
        raise OSError(number, "x")
    assert type(caught.value) is kind
    assert caught.value.exit_code == 3


def test_what_is_no_fault_of_the_port_passes_through() -> None:
    for guard in (faults.opening("x"), faults.using("x"), faults.keeping("x")):
        with pytest.raises(ZeroDivisionError), guard:
            raise ZeroDivisionError


def test_every_opening_error_has_its_own_sentence() -> None:
    said = set()
    for number in (errno.EACCES, errno.EBUSY, errno.ENOENT, errno.ENOTTY, errno.EIO):
        with pytest.raises(LinkError) as caught, faults.opening("p"):
            raise OSError(number, "x")
        said.add((caught.value.message, caught.value.next_step))
    assert len(said) == 5

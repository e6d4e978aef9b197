"""Each thing that can go wrong between this computer and a board, made to happen through the real pyserial.

`CASES` are functions that return the error they got. Where the system has no pseudo-terminals they cannot run.
"""

from __future__ import annotations

import os
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

from bench_rig import BOARD_TYPE, LARGE_PLATE, NEW, OLD, blank_board, port_to, settings_of

from schedgen.commands.lines import board_line
from schedgen.errors import LinkError
from schedgen.link import deck
from schedgen.link.client import Client
from schedgen.link.messages import PROTOCOL_VERSION
from schedgen.link.ports import Device, SerialPort
from schedgen.link.search import Asked, Candidate, find_board, who
from schedgen.link.serve import ServedBoard
from schedgen.link.virtual import VirtualBoard

Cause = Callable[[], object]


class Scripted:
    """A device that gives the same answer to everything."""

    def __init__(self, answer: Callable[[bytes], bytes]) -> None:
        self.answer = answer

    def feed(self, data: bytes, now_s: float) -> bytes:
        return self.answer(data)


class AtOneSpeed:
    """A board that makes no sense of another speed than its own: the speed that the program gave to the terminal."""

    def __init__(self, board: VirtualBoard, speed: int) -> None:
        import termios

        self.board, self.speed = board, getattr(termios, f"B{speed}")
        self.served: ServedBoard | None = None

    def feed(self, data: bytes, now_s: float) -> bytes:
        import termios

        assert self.served is not None
        if termios.tcgetattr(self.served._theirs)[5] != self.speed:
            return b"\xf0\x3c\xff" * (len(data) // 8)
        return self.board.feed(data, now_s)


@contextmanager
def as_nobody() -> Iterator[None]:
    """Without the rights of root, which may open everything; another user keeps what rights it has."""
    if os.geteuid() != 0:
        yield
        return
    os.setegid(65534)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)


def error_of(action: Cause) -> LinkError:
    """The error that `action` ends with; there must be one."""
    try:
        action()
    except LinkError as error:
        return error
    raise AssertionError("nothing went wrong")


def served(device: Device, action: Callable[[SerialPort], object]) -> LinkError:
    with ServedBoard(device) as board:
        port = SerialPort(board.port)
        try:
            return error_of(lambda: action(port))
        finally:
            port.close()


def with_dive(trigger: str = "water") -> VirtualBoard:
    board = blank_board()
    settings = settings_of(9, trigger=trigger)  # type: ignore[arg-type]
    deck.upload(port_to(board), settings, BOARD_TYPE)
    deck.arm(port_to(board), settings.code)
    return board


def denied() -> LinkError:
    import grp  # noqa: F401 - what nobody may not import must be there before

    with ServedBoard(blank_board()) as board:
        os.chmod(board.port, 0)
        with as_nobody():
            return error_of(lambda: SerialPort(board.port))


def busy() -> LinkError:
    with ServedBoard(blank_board()) as board:
        first = SerialPort(board.port)
        try:
            return error_of(lambda: SerialPort(board.port))
        finally:
            first.close()


def missing() -> LinkError:
    return error_of(lambda: SerialPort("/dev/ttyUSB77"))


def not_serial() -> LinkError:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "notes.txt"
        file.write_text("not a port")
        return error_of(lambda: SerialPort(str(file)))


def unplugged() -> LinkError:
    board = ServedBoard(blank_board())
    port = SerialPort(board.port)
    stopper = threading.Thread(target=board.stop)

    def unplug(done: int, total: int) -> None:
        if done >= total // 4 and stopper.ident is None:
            stopper.start()
            stopper.join()

    try:
        return error_of(lambda: deck.upload(port, NEW, BOARD_TYPE, unplug))
    finally:
        port.close()
        board.stop()


def jammed() -> LinkError:
    import pty
    import tty

    ours, theirs = pty.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    port = SerialPort(os.ttyname(theirs))
    try:
        return error_of(lambda: port.write(bytes(1_000_000), port.now() + 0.5))
    finally:
        port.close()
        os.close(ours)
        os.close(theirs)


def silent() -> LinkError:
    return served(Scripted(lambda data: b""), deck.readback)


def garbage() -> LinkError:
    return served(Scripted(lambda data: b"U\x00\x12\xff" * 20), deck.readback)


def wrong_speed() -> LinkError:
    device = AtOneSpeed(blank_board(LARGE_PLATE), 38400)
    with ServedBoard(device) as board:
        device.served = board

        def asked_at_another_speed() -> None:
            with board_line(board.port, baud=115_200) as line:
                deck.look(line)

        return error_of(asked_at_another_speed)


def another_type() -> LinkError:
    return served(blank_board(LARGE_PLATE), lambda port: deck.upload(port, NEW, BOARD_TYPE))


def old_protocol() -> LinkError:
    with patch("schedgen.link.messages.PROTOCOL_VERSION", PROTOCOL_VERSION - 1):
        return served(blank_board(), who)


def new_protocol() -> LinkError:
    with patch("schedgen.link.messages.PROTOCOL_VERSION", PROTOCOL_VERSION + 1):
        return served(blank_board(), who)


def old_layout() -> LinkError:
    with patch("schedgen.link.virtual.LAYOUT_VERSION", 0):
        return served(blank_board(), lambda port: deck.upload(port, NEW, BOARD_TYPE))


def new_layout() -> LinkError:
    with patch("schedgen.link.virtual.LAYOUT_VERSION", 6):
        return served(blank_board(), lambda port: deck.upload(port, NEW, BOARD_TYPE))


def armed() -> LinkError:
    return served(with_dive(), lambda port: deck.upload(port, NEW, BOARD_TYPE))


def under_way() -> LinkError:
    board = with_dive("command")
    client = Client(port_to(board))
    client.request("start", code=board.holdings.armed_code or 0)
    return served(board, lambda port: deck.upload(port, NEW, BOARD_TYPE))


def another_code() -> LinkError:
    board = blank_board()
    deck.upload(port_to(board), OLD, BOARD_TYPE)
    return served(board, lambda port: deck.arm(port, NEW.code))


def holds_nothing() -> LinkError:
    return served(blank_board(), lambda port: deck.arm(port, NEW.code))


def forgets() -> LinkError:
    board = blank_board()
    board.memory.on_write = lambda address, value: None
    return served(board, lambda port: deck.upload(port, NEW, BOARD_TYPE))


def no_adapter() -> LinkError:
    return error_of(lambda: find_board([Candidate("/dev/ttyS0", "")]))


def two_boards() -> LinkError:
    with ServedBoard(blank_board()) as one, ServedBoard(blank_board()) as two:
        deck_of = [Candidate(each.port, "", 0x0403, 0x6001) for each in (one, two)]
        return error_of(lambda: find_board(deck_of))


def nobody_answers() -> LinkError:
    quiet = Asked(Candidate("", ""))
    ports = [Candidate(name, "", 0x0403, 0x6001) for name in ("/dev/ttyUSB0", "/dev/ttyUSB1")]
    return error_of(lambda: find_board(ports, asking=lambda each, speeds: quiet))


CASES: dict[str, Callable[[], LinkError]] = {
    "the user may not open the port (EACCES)": denied,
    "another program has the port (EBUSY)": busy,
    "there is no such port (ENOENT)": missing,
    "it is no serial port (ENOTTY)": not_serial,
    "the cable goes while in use": unplugged,
    "the adapter takes no bytes": jammed,
    "nothing answers": silent,
    "something else answers": garbage,
    "the board has another speed": wrong_speed,
    "a board of another type": another_type,
    "firmware of an older protocol": old_protocol,
    "firmware of a newer protocol": new_protocol,
    "firmware of an older layout": old_layout,
    "firmware of a newer layout": new_layout,
    "the board is armed": armed,
    "a dive is under way": under_way,
    "arming another dive than it holds": another_code,
    "arming a board that holds nothing": holds_nothing,
    "memory that keeps nothing": forgets,
    "no adapter plugged in": no_adapter,
    "two boards plugged in": two_boards,
    "adapters, and no board answers": nobody_answers,
}


def told() -> dict[str, LinkError]:
    """Every case with its error; a board has one second to say hello, so that it does not take long."""
    with patch("schedgen.link.client.HELLO_S", 1.0):
        return {what: cause() for what, cause in CASES.items()}

"""Real pyserial on a pseudo-terminal: the virtual board served, unplugged, silent, babbling, and of another type."""

from __future__ import annotations

import os
import pty
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from bench_rig import BOARD_TYPE, LARGE_PLATE, NEW, OLD, blank_board

from schedgen.errors import (
    BoardGarbled,
    BoardSilent,
    PortBusy,
    PortDenied,
    PortLost,
    PortMissing,
    UsageError,
    WrongBoard,
)
from schedgen.link import deck
from schedgen.link.ports import SerialPort, open_port
from schedgen.link.serve import ServedBoard


@contextmanager
def opened(name: str) -> Iterator[SerialPort]:
    port = SerialPort(name)
    try:
        yield port
    finally:
        port.close()


class Scripted:
    """A device that gives the same answer to everything, or says something by itself."""

    def __init__(self, answer: Callable[[bytes], bytes]) -> None:
        self.answer = answer

    def feed(self, data: bytes, now_s: float) -> bytes:
        return self.answer(data)


def test_upload_readback_arm_and_disarm_through_pyserial() -> None:
    board = blank_board()
    steps: list[tuple[int, int]] = []
    with ServedBoard(board) as served:
        with opened(served.port) as port:
            result = deck.upload(port, NEW, BOARD_TYPE, lambda done, total: steps.append((done, total)))
            assert (result.slot, result.code) == ("A", NEW.code)
        with opened(served.port) as port:  # another program, the same board
            held = deck.readback(port)
            assert (held.block, held.code) == (NEW.block, NEW.code)
            assert deck.arm(port, NEW.code).armed
        with opened(served.port) as port:
            assert deck.disarm(port).state == "on bench"
    assert steps == sorted(steps)
    assert steps[0][0] == 0
    assert steps[-1][0] == steps[-1][1]
    assert board.holdings.active_block() == NEW.block


def test_what_lay_on_the_line_before_opening_does_no_harm() -> None:
    board = blank_board()
    with ServedBoard(board) as served:
        with opened(served.port) as port:
            port.write(b"half a frame \x05\x01 and ? and more", port.now() + 1)
        with opened(served.port) as port:
            assert deck.readback(port).code is None


def test_a_port_that_goes_away_is_lost_and_the_old_settings_stay() -> None:
    board = blank_board()
    with ServedBoard(board) as served, opened(served.port) as port:
        deck.upload(port, OLD, BOARD_TYPE)
    served = ServedBoard(board)
    with opened(served.port) as port:
        stopper = threading.Timer(0.0, served.stop)

        def unplug(done: int, total: int) -> None:
            if done >= total // 4 and not stopper.is_alive() and not stopper.finished.is_set():
                stopper.start()
                stopper.join()

        with pytest.raises(PortLost) as caught:
            deck.upload(port, NEW, BOARD_TYPE, unplug)
    assert "still there" in caught.value.next_step
    assert caught.value.exit_code == 3
    assert board.holdings.active_block() == OLD.block


@pytest.fixture
def one_second(monkeypatch: pytest.MonkeyPatch) -> None:
    """A board has one second to say hello instead of five, which is what the next tests wait for."""
    monkeypatch.setattr("schedgen.link.client.HELLO_S", 1.0)


@pytest.mark.usefixtures("one_second")
def test_a_silent_board_is_reported_within_its_time() -> None:
    with ServedBoard(Scripted(lambda data: b"")) as served, opened(served.port) as port:
        begun = time.monotonic()
        with pytest.raises(BoardSilent, match="Nothing answers"):
            deck.readback(port)
        assert 0.9 < time.monotonic() - begun < 2


@pytest.mark.usefixtures("one_second")
def test_a_babbling_device_is_told_from_a_silent_one() -> None:
    with (
        ServedBoard(Scripted(lambda data: b"U\x00\x12\xff" * 20)) as served,
        opened(served.port) as port,
        pytest.raises(BoardGarbled, match="not as one of our boards"),
    ):
        deck.readback(port)


@pytest.mark.usefixtures("one_second")
def test_a_loop_back_is_no_board() -> None:
    with (
        ServedBoard(Scripted(lambda data: data)) as served,
        opened(served.port) as port,
        pytest.raises(BoardGarbled),
    ):
        deck.readback(port)


def test_another_type_of_board_gets_nothing_written() -> None:
    board = blank_board(LARGE_PLATE)
    before = bytes(board.memory.image)
    with (
        ServedBoard(board) as served,
        opened(served.port) as port,
        pytest.raises(WrongBoard, match=r"cleat-328p, type 0x328b; the dive is for type 0x4d2e"),
    ):
        deck.upload(port, NEW, BOARD_TYPE)
    assert bytes(board.memory.image) == before


def test_a_port_in_use_is_busy() -> None:
    with (
        ServedBoard(blank_board()) as served,
        opened(served.port),
        pytest.raises(PortBusy, match="in use by another program"),
    ):
        SerialPort(served.port)


def test_a_port_that_is_not_there_is_missing(tmp_path: Path) -> None:
    with pytest.raises(PortMissing, match="There is no port"):
        open_port(str(tmp_path / "ttyUSB7"))


def test_a_file_is_not_a_serial_port(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("not a port")
    with pytest.raises(PortMissing, match="not a serial port"):
        open_port(str(file))


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


def test_a_port_that_may_not_be_opened_names_its_group_and_the_command() -> None:
    import grp

    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    name = os.ttyname(theirs)
    os.chmod(name, 0)
    try:
        group = grp.getgrgid(os.stat(name).st_gid).gr_name
        with as_nobody(), pytest.raises(PortDenied) as caught:
            SerialPort(name)
    finally:
        os.close(ours)
        os.close(theirs)
    assert f'the group "{group}"' in caught.value.next_step
    assert f"usermod -a -G {group}" in caught.value.next_step


def test_a_speed_that_no_port_has_is_a_wrong_command() -> None:
    with ServedBoard(blank_board()) as served, pytest.raises(UsageError):
        SerialPort(served.port, -5)


def test_a_board_that_takes_no_bytes_does_not_hang_the_program() -> None:
    ours, theirs = pty.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    try:
        with opened(os.ttyname(theirs)) as port:
            begun = time.monotonic()
            with pytest.raises(PortLost, match="takes no more bytes"):
                port.write(bytes(1_000_000), port.now() + 0.5)  # nobody reads: the system's buffer fills up
            assert time.monotonic() - begun < 5
    finally:
        os.close(ours)
        os.close(theirs)


def test_the_plain_question_is_answered_on_the_line() -> None:
    with ServedBoard(blank_board()) as served, opened(served.port) as port:
        port.write(b"?\n", port.now() + 1)
        answer = b""
        while not answer.endswith(b"\n"):
            answer += port.read(port.now() + 2)
        assert answer == b"halyard-4809 holds no dive, state on bench, pack 12.000 V, clock 0 s.\r\n"

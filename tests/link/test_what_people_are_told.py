"""Every trouble between computer and board has its own sentence, a next step and exit code 3."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import messages_table
import pytest
from provoke import CASES, Scripted

from schedgen.errors import (
    BoardGarbled,
    BoardRefused,
    BoardSilent,
    LinkError,
    NotOneBoard,
    PortBusy,
    PortDenied,
    PortLost,
    PortMissing,
    WrongBoard,
)
from schedgen.link.serve import ServedBoard

KINDS: dict[str, type[LinkError]] = {
    "denied": PortDenied, "busy": PortBusy, "missing": PortMissing, "not_serial": PortMissing, "unplugged": PortLost,
    "jammed": PortLost, "silent": BoardSilent, "garbage": BoardGarbled, "wrong_speed": BoardGarbled,
    "another_type": WrongBoard, "old_protocol": WrongBoard, "new_protocol": WrongBoard, "old_layout": WrongBoard,
    "new_layout": WrongBoard, "armed": BoardRefused, "under_way": BoardRefused, "another_code": BoardRefused,
    "holds_nothing": BoardRefused, "forgets": BoardRefused, "no_adapter": NotOneBoard, "two_boards": NotOneBoard,
    "nobody_answers": NotOneBoard,
}  # fmt: skip


@pytest.fixture(scope="module")
def said() -> dict[str, tuple[str, str]]:
    return {}


@pytest.mark.parametrize("cause", CASES.values(), ids=[cause.__name__ for cause in CASES.values()])
def test_each_trouble_has_its_own_sentence_a_next_step_and_exit_code_3(
    cause: Callable[[], LinkError], said: dict[str, tuple[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("schedgen.link.client.HELLO_S", 1.0)
    begun = time.monotonic()
    error = cause()
    assert time.monotonic() - begun < 6
    assert isinstance(error, KINDS[cause.__name__])
    assert error.exit_code == 3
    assert error.next_step
    assert error.message.endswith(".")
    words = messages_table.plain(error.message), messages_table.plain(error.next_step)
    assert words[0] not in [other for other, _ in said.values()], "another trouble says the same"
    said[cause.__name__] = words


def test_a_wrong_speed_is_told_with_both_speeds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("schedgen.link.client.HELLO_S", 1.0)
    error = next(cause for cause in CASES.values() if cause.__name__ == "wrong_speed")()
    assert "38400" in error.message
    assert "115200" in error.message


def test_the_keyboard_stops_a_command_that_waits_for_a_board() -> None:
    with ServedBoard(Scripted(lambda data: b"")) as served:
        words = [sys.executable, "-m", "schedgen", "readback", "--port", served.port]
        process = subprocess.Popen(words, stderr=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2])
        time.sleep(1.5)  # it waits for the board's hello by now, for 5 s
        begun = time.monotonic()
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=10)
    assert time.monotonic() - begun < 1
    assert process.returncode == 130
    assert "Stopped by the keyboard" in err


def test_nothing_hangs_when_the_cable_goes_while_a_command_waits() -> None:
    served = ServedBoard(Scripted(lambda data: b""))
    words = [sys.executable, "-m", "schedgen", "readback", "--port", served.port]
    process = subprocess.Popen(words, stderr=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2])
    time.sleep(1.0)
    served.stop()
    _, err = process.communicate(timeout=10)
    assert process.returncode == 3
    assert "Next:" in err


def test_rights_are_given_back() -> None:
    uid = os.geteuid()
    next(cause for cause in CASES.values() if cause.__name__ == "denied")()
    assert os.geteuid() == uid

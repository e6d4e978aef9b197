"""Which ports are asked, which board is taken, and why none is found."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from bench_rig import BOARD_TYPE, LARGE_PLATE, NEW, blank_board, port_to

from schedgen.errors import BoardSilent, NotOneBoard, PortMissing
from schedgen.link import deck, search
from schedgen.link.search import Asked, Candidate, ask, candidates, find_board, who
from schedgen.link.serve import ServedBoard
from schedgen.link.why import Surroundings, causes, look_around

KNOWN = (0x0403, 0x6001)


def listed(device: str, vid: int | None = None, pid: int | None = None, description: str = "n/a") -> Any:
    return SimpleNamespace(device=device, vid=vid, pid=pid, description=description)


def test_ports_with_a_known_adapter_come_first_and_macos_dial_in_names_are_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ports = [
        listed("/dev/ttyS0"),
        listed("/dev/tty.usbserial-1", *KNOWN),
        listed("/dev/cu.usbserial-1", *KNOWN, "USB serial"),
        listed("COM9", 0xDEAD, 0x0001, "A thermometer"),
    ]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: ports)
    found = candidates()
    assert [each.port for each in found] == ["/dev/cu.usbserial-1", "/dev/ttyS0", "COM9"] or [
        each.port for each in found
    ] == ["/dev/cu.usbserial-1", "COM9", "/dev/ttyS0"]
    assert [each.known for each in found] == [True, False, False]
    assert found[0].usb == "0403:6001"
    assert {each.port: each.usb for each in found}["/dev/ttyS0"] == "not USB"


def test_a_port_whose_adapter_is_not_known_is_never_written_to() -> None:
    asked: list[str] = []

    def asking(each: Candidate, speeds: Any) -> Asked:
        asked.append(each.port)
        return Asked(each, trouble=BoardSilent("silent"))

    ports = [Candidate("/dev/ttyS0", ""), Candidate("/dev/ttyUSB0", "", *KNOWN), Candidate("COM9", "", 0xDEAD, 1)]
    with pytest.raises(BoardSilent):
        find_board(ports, asking=asking)
    assert asked == ["/dev/ttyUSB0"]


def test_asking_stops_as_soon_as_two_boards_answer() -> None:
    identity = who(port_to(blank_board()))
    asked: list[str] = []

    def asking(each: Candidate, speeds: Any) -> Asked:
        asked.append(each.port)
        return Asked(each, identity, 115_200)

    ports = [Candidate(f"/dev/ttyUSB{n}", "", *KNOWN) for n in range(5)]
    with pytest.raises(NotOneBoard, match="/dev/ttyUSB0 has halyard-4809; /dev/ttyUSB1 has"):
        find_board(ports, asking=asking)
    assert asked == ["/dev/ttyUSB0", "/dev/ttyUSB1"]


def test_one_of_several_boards_is_found_by_its_name() -> None:
    boards = [blank_board(), blank_board()]
    for board, name in zip(boards, ("WHELK", "LIMPET"), strict=True):
        deck.rename(port_to(board), name)
    with ServedBoard(boards[0]) as one, ServedBoard(boards[1]) as two:
        ports = [Candidate(each.port, "", *KNOWN) for each in (one, two)]
        found = find_board(ports, "limpet")
        assert found.candidate.port == two.port
        assert found.identity is not None
        assert found.identity.given_name == "LIMPET"
        with pytest.raises(NotOneBoard, match="No board called CONCH answers"):
            find_board(ports, "CONCH")


def test_asking_a_port_tells_who_is_there_and_at_what_speed() -> None:
    board = blank_board()
    deck.upload(port_to(board), NEW, BOARD_TYPE)
    with ServedBoard(board) as served:
        asked = ask(Candidate(served.port, ""))
    assert asked.identity is not None
    assert (asked.identity.code, asked.baud) == (NEW.code, 115_200)
    assert isinstance(ask(Candidate("/dev/ttyUSB99", "")).trouble, PortMissing)


def test_another_kind_of_board_is_told_from_what_it_says() -> None:
    assert who(port_to(blank_board(LARGE_PLATE))).board == "cleat-328p"


def test_the_usual_causes_are_all_there_on_every_system() -> None:
    for system in ("linux", "darwin", "win32"):
        said = " ".join(f"{c.title} {c.text} {c.step}" for c in causes(Surroundings(system, ())))
        for word in ("permission", "service", "charge-only", "driver", "power saving", "pack"):
            assert word in said, (system, word)


def test_what_is_the_case_here_comes_first() -> None:
    port = Candidate("/dev/ttyUSB0", "", *KNOWN)
    around = Surroundings("linux", (port,), ("users",), ("dialout",), ("/dev/ttyUSB0",))
    first = causes(around)[0]
    assert (first.title, first.seen) == ("permission", True)
    assert "usermod -a -G dialout" in first.step
    inside = causes(Surroundings("linux", (port,), ("dialout",), ("dialout",)))
    assert not any(cause.seen for cause in inside)
    assert causes(Surroundings("linux", ()))[0].title == "no adapter"


def test_looking_around_opens_no_port(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object, **kwargs: object) -> None:
        raise AssertionError("a port was opened")

    monkeypatch.setattr("serial.Serial", refuse)
    monkeypatch.setattr(search, "open_port", refuse)
    assert causes(look_around(candidates()))

"""The compiled firmware on the simulated microcontroller behind a pseudo-terminal, for the tests of the link.

`python tests/link/simulated_part.py RUNS` uploads so often over a line that spoils bytes, records what the pins of the
board do meanwhile, and says how the runs ended.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

for folder in ("link", "settings"):
    if str(Path(__file__).parents[1] / folder) not in sys.path:
        sys.path.insert(0, str(Path(__file__).parents[1] / folder))

from bench_rig import BadLine  # noqa: E402 - the folders above first
from settings_dives import HOUR, make_plan, window  # noqa: E402

from schedgen.board.load import load_board  # noqa: E402
from schedgen.board.model import Board  # noqa: E402
from schedgen.errors import Differs, LinkError  # noqa: E402
from schedgen.firmware.build import build  # noqa: E402
from schedgen.firmware.rehearse.rehearsal import Build, target_for  # noqa: E402
from schedgen.firmware.rehearse.scenario import Scenario  # noqa: E402
from schedgen.firmware.rehearse.serving import Served, served_board  # noqa: E402
from schedgen.firmware.rehearse.supervisor import Simulator  # noqa: E402
from schedgen.firmware.rehearse.target import LIGHT, Hands  # noqa: E402
from schedgen.link import deck  # noqa: E402
from schedgen.link.bench import pulse, wait  # noqa: E402
from schedgen.link.client import LIMIT_S, Client  # noqa: E402
from schedgen.link.eeprom import Memory, Nameplate, blank_image  # noqa: E402
from schedgen.link.ports import Port, SerialPort, VirtualPort  # noqa: E402
from schedgen.link.virtual import VirtualBoard  # noqa: E402
from schedgen.plan.model import Burst  # noqa: E402
from schedgen.settings.encode import Settings, encode  # noqa: E402
from schedgen.settings.meaning import burst_stop  # noqa: E402

CONTROL, CONTROL_S = "OUT1", 0.3


def image_of(board: Board) -> Build:
    """The firmware for a board, without settings."""
    made = build(board)
    return Build(made.flash, made.hertz, b"", "", made.fuse_bytes)


def full_settings(board: Board, at_h: int = 9, count: int = 8) -> Settings:
    """Settings for a board: with 8 windows they nearly fill a slot of 112 bytes."""
    windows = []
    for hour in range(1, count + 1):
        burst = Burst(600 + hour, 60 + at_h, 5)
        windows.append(window("camera", "OUT1", hour * HOUR, burst_stop(hour * HOUR, burst), burst=burst))
    plan = make_plan(windows, at_s=at_h * HOUR, board_type=board.board_type)
    limits = replace(plan.interlocks, keep=("OUT2",))
    plan = replace(plan, interlocks=limits, backup=plan.backup if "REL2" in board.outputs else None)
    return encode(plan, board.output_names, round(board.eeprom.size.nominal))


class Counting:
    """Passes bytes and counts them."""

    def __init__(self, port: Port) -> None:
        self._port, self.name, self.sent, self.received = port, port.name, 0, 0

    def now(self) -> float:
        return self._port.now()

    def read(self, deadline: float) -> bytes:
        data = self._port.read(deadline)
        self.received += len(data)
        return data

    def write(self, data: bytes, deadline: float) -> None:
        self.sent += len(data)
        self._port.write(data, deadline)

    def close(self) -> None:
        self._port.close()


class _Passed:
    """A device that takes bytes and answers nothing: `BadLine` spoils what goes through it."""

    def feed(self, data: bytes, now_s: float) -> bytes:
        return data


class BadPort(Counting):
    """A line to a real port that drops, doubles, flips, cuts and delays bytes both ways; `seed` replays it."""

    def __init__(self, port: Port, seed: int) -> None:
        super().__init__(port)
        self._line = BadLine(_Passed(), seed)  # type: ignore[arg-type]
        self._late: list[tuple[float, bytes]] = []

    def read(self, deadline: float) -> bytes:
        due = b"".join(data for at, data in self._late if at <= self.now())
        self._late = [(at, data) for at, data in self._late if at > self.now()]
        if due:
            return due
        until = min([deadline, *(at for at, _ in self._late)])
        data = self._line._spoil(super().read(until))
        if data and self._line._random.random() < self._line.rate * 10:
            self._late.append((self.now() + self._line._random.choice((0.05, 0.2, 0.7)), data))
            return b""
        return data

    def write(self, data: bytes, deadline: float) -> None:
        super().write(self._line._spoil(data), deadline)


@contextmanager
def opened(name: str, baud: int) -> Iterator[SerialPort]:
    port = SerialPort(name, baud)
    try:
        yield port
    finally:
        port.close()


def bad_upload(name: str, board: Board, old: Settings, new: Settings, seed: int) -> str:
    """One upload over a bad line to a board that holds `old`; how it ended. Raises AssertionError for a lie."""
    baud = board.serial.baud
    with opened(name, baud) as port:
        deck.upload(port, old, board.board_type)
        begun = time.monotonic()
        try:
            result = deck.upload(BadPort(port, seed), new, board.board_type)
            ended = "verified"
            assert result.code == new.code
        except (LinkError, Differs) as error:
            ended = type(error).__name__
        assert time.monotonic() - begun <= LIMIT_S + 1, "over its deadline"
    with opened(name, baud) as port:
        held = deck.readback(port)
        assert held.block in (old.block, new.block), "mixed settings"
        if ended == "verified":
            assert held.block == new.block, "a wrong verified"
        assert not held.identity.armed, "it armed"
        assert held.identity.state == "on bench"
    return ended


def upload_time(board: Board, old: Settings, new: Settings) -> tuple[float, float]:
    """Seconds of simulated time that an upload of `new` over `old` takes on the part, and those of its bytes alone.

    The requests are those that the program sends, one as soon as the answer to the last is there; time that this
    computer itself takes is not in it.
    """
    virtual = VirtualBoard(Memory(blank_image(Nameplate.of(board))))
    deck.upload(VirtualPort(virtual), old, board.board_type)
    image = bytes(virtual.memory.image)
    asked: list[bytes] = []

    class Noting(VirtualPort):
        def write(self, data: bytes, deadline: float) -> None:
            asked.append(data)
            super().write(data, deadline)

    deck.upload(Noting(virtual), new, board.board_type)
    hands, size, apart = Hands(board), round(board.eeprom.size.nominal), 0.6
    actions: list[tuple[object, ...]] = [(0.0, "pin", *hands.lead(True)), (0.0, "pin", *hands.pack(12.0))]
    actions += [(2.0 + apart * k, "say", data.hex()) for k, data in enumerate(asked)]
    scenario = Scenario(image[:size].hex(), ("ff" * 64), 2.0 + apart * (len(asked) + 1), tuple(actions))
    with Simulator(target_for(board, image_of(board))) as simulator:
        record = simulator.play(scenario)
    total = wire = 0.0
    for k, data in enumerate(asked):
        begun = 2.0 + apart * k
        answers = [(at, bytes.fromhex(text)) for at, text in record.said if begun <= at < begun + apart]
        assert answers, f"request {k} was not answered"
        answer = b"".join(text for _, text in answers)
        assert answer.endswith(b"\0")
        total += answers[0][0] - begun + 10 * len(answer) / board.serial.baud
        wire += 10 * (len(data) + len(answer)) / board.serial.baud
    return total, wire


def bad_uploads(board: Board, seeds: range) -> tuple[Counter[str], Served]:
    """How uploads over bad lines to one board ended, and what its pins did: nothing, and at last a pulse of OUT1.

    OUT1 shows that what a pin does is seen. Raises AssertionError for a lie, naming the run.
    """
    old, new = full_settings(board, 9), full_settings(board, 10)
    ended: Counter[str] = Counter()
    with served_board(board, image_of(board)) as waiting:
        for seed in seeds:
            try:
                ended[bad_upload(waiting.port, board, old, new, seed)] += 1
            except AssertionError as error:
                raise AssertionError(f"run {seed}: {error}") from error
        with opened(waiting.port, board.serial.baud) as port:
            client = Client(port)
            client.identify()
            pulse(client, board.output_names.index(CONTROL), CONTROL_S)
            wait(port, 2 * CONTROL_S)
    return ended, waiting


def pins_were_still(board: Board, waiting: Served) -> None:
    """Holds that no release pin, no other output and not the status light ever moved, and that OUT1 was seen to."""
    releases = [name for name, output in board.outputs.items() if output.kind == "release"]
    assert releases
    assert not waiting.of(*releases), "a release output moved"
    assert [level for _, _, level in waiting.of(CONTROL)] == [100, 0], "its pulse was not seen"
    assert not [edge for edge in waiting.edges if edge[1] not in (CONTROL, LIGHT)], "an output moved"
    assert not waiting.of(LIGHT), "the status light was lit, which says armed"


def main(runs: int) -> None:
    board = load_board("halyard-4809")
    begun = time.monotonic()
    ended, waiting = bad_uploads(board, range(runs))
    pins_were_still(board, waiting)
    print(f"{runs} runs in {time.monotonic() - begun:.0f} s: {dict(ended)}; no release pin moved, never armed")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)

"""What the link's tests share: boards, settings, and ports that go wrong on purpose and repeatably."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from settings_dives import HOUR, OUTPUTS, make_plan, window

from schedgen.errors import PortLost
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.ports import Port, VirtualPort
from schedgen.link.virtual import VirtualBoard
from schedgen.plan.model import Burst, Trigger
from schedgen.settings.encode import Settings, encode
from schedgen.settings.meaning import burst_stop

BOARD_TYPE = 0x4D2E
KINDS = ("switched",) * 4 + ("level",) * 2 + ("release",) * 2
PLATE = Nameplate(BOARD_TYPE, "halyard-4809", "ATmega4809", 256, KINDS)
LARGE_PLATE = Nameplate(0x328B, "cleat-328p", "ATmega328P", 1024, ("switched", "switched", "level", "release"))


def settings_of(
    at_h: int = 9, count: int = 8, board_type: int = BOARD_TYPE, eeprom: int = 256, trigger: Trigger = "water"
) -> Settings:
    """Settings with the release after `at_h` hours and `count` windows; 8 of them nearly fill a small slot."""
    windows = []
    for hour in range(1, count + 1):
        burst = Burst(600 + hour, 60 + at_h, 5)
        windows.append(window("camera", "OUT1", hour * HOUR, burst_stop(hour * HOUR, burst), burst=burst))
    plan = make_plan(windows, at_s=at_h * HOUR, board_type=board_type, trigger=trigger)
    return encode(plan, OUTPUTS, eeprom)


OLD = settings_of(9)
NEW = settings_of(10)


def blank_board(plate: Nameplate = PLATE) -> VirtualBoard:
    """A board that never held anything."""
    return VirtualBoard(Memory(blank_image(plate)))


def again(board: VirtualBoard) -> VirtualBoard:
    """The same board after the power came back."""
    return VirtualBoard(Memory(bytes(board.memory.image)))


class PowerCut(Exception):
    """The power went."""


def cut_power(board: VirtualBoard, at: int, how: str, seed: int = 0) -> None:
    """Let the power go at the `at`-th byte write from now (from 1): "before" it, "after" it, or "torn" within it."""
    memory, left = board.memory, [at]
    random = Random(f"{at} {how} {seed}")

    def write(address: int, value: int) -> None:
        left[0] -= 1
        if left[0] > 0:
            memory.store(address, value)
            return
        if how == "after":
            memory.store(address, value)
        elif how == "torn":
            memory.store(address, random.randrange(256))
        raise PowerCut

    memory.on_write = write


def count_writes(board: VirtualBoard, action: Callable[[], object]) -> int:
    """How many byte writes `action` makes on the board."""
    counted = [0]

    def write(address: int, value: int) -> None:
        counted[0] += 1
        board.memory.store(address, value)

    board.memory.on_write = write
    action()
    board.memory.on_write = board.memory.store
    return counted[0]


class CutPort:
    """Passes bytes until the cable is pulled after `sent` bytes to the board or `received` bytes from it."""

    def __init__(self, port: Port, sent: int | None = None, received: int | None = None) -> None:
        self.name = port.name
        self.count_sent = self.count_received = 0
        self._port, self._sent, self._received = port, sent, received

    def now(self) -> float:
        return self._port.now()

    def read(self, deadline: float) -> bytes:
        data = self._port.read(deadline)
        if self._received is not None and self.count_received + len(data) > self._received:
            raise PortLost("the cable was pulled while receiving")
        self.count_received += len(data)
        return data

    def write(self, data: bytes, deadline: float) -> None:
        if self._sent is not None and self.count_sent + len(data) > self._sent:
            self._port.write(data[: self._sent - self.count_sent], deadline)
            raise PortLost("the cable was pulled while sending")
        self.count_sent += len(data)
        self._port.write(data, deadline)

    def close(self) -> None:
        self._port.close()


class BadLine:
    """A line to a device that drops, doubles, delays, flips and cuts bytes, both ways; `seed` replays it exactly.

    It stands between `VirtualPort` and the board. `rate` is the share of bytes that something happens to; a cut line
    carries nothing any more.
    """

    def __init__(self, board: VirtualBoard, seed: int) -> None:
        self._board = board
        self._random = Random(seed)
        self.rate = self._random.choice((0.0, 0.001, 0.003, 0.01, 0.03, 0.1))
        self.cut_after = self._random.choice((None, None, None, self._random.randrange(1500)))
        self._late: list[tuple[float, bytes]] = []
        self._carried = 0

    def feed(self, data: bytes, now_s: float) -> bytes:
        answer = b"".join(late for due, late in self._late if due <= now_s)
        self._late = [(due, late) for due, late in self._late if due > now_s]
        answer += self._spoil(self._board.feed(self._spoil(data), now_s))
        if answer and self._random.random() < self.rate * 10:
            self._late.append((now_s + self._random.choice((0.05, 0.2, 0.7, 2.5)), answer))
            return b""
        return answer

    def _spoil(self, data: bytes) -> bytes:
        out = bytearray()
        for byte in data:
            self._carried += 1
            if self.cut_after is not None and self._carried > self.cut_after:
                return bytes(out)
            if self._random.random() >= self.rate:
                out.append(byte)
                continue
            what = self._random.choice(("drop", "double", "flip", "noise", "again"))
            if what == "double":
                out += bytes((byte, byte))
            elif what == "flip":
                out.append(byte ^ 1 << self._random.randrange(8))
            elif what == "noise":
                out += self._random.randbytes(self._random.randrange(1, 90)) + bytes((byte,))
            elif what == "again":
                out.append(byte)
                out += bytes(out)  # all of this piece once more
        return bytes(out)


def port_to(board: VirtualBoard) -> VirtualPort:
    """A good line to a board."""
    return VirtualPort(board)

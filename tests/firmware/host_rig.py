"""A host build of the core with a board around it: upload, arm, start, fly, and compare with a Plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from schedgen.board.load import load_board
from schedgen.board.model import Board
from schedgen.firmware.host import HostBoard, build_library
from schedgen.link.essentials import pack_essentials
from schedgen.link.frames import Frame, decode_frame, encode_frame
from schedgen.link.messages import REASONS, REFUSED, REPLIES, REQUESTS, Value, Values, decode, encode
from schedgen.plan.model import Plan
from schedgen.settings.code import code_number
from schedgen.settings.eeprom import EepromLayout, layout_of
from schedgen.settings.encode import pack
from schedgen.settings.meaning import meaning_of
from schedgen.settings.slot import pack_slot

HOUR = 3600


def rig_for(name: str, folder: Path) -> Rig:
    board = load_board(name, Path.cwd())
    return Rig(board, HostBoard(build_library(board, folder)))


@dataclass
class Rig:
    """A board of the library on this computer."""

    board: Board
    host: HostBoard
    session: int = 0

    @property
    def names(self) -> tuple[str, ...]:
        return self.board.output_names

    @property
    def layout(self) -> EepromLayout:
        return layout_of(round(self.board.eeprom.size.nominal))

    @property
    def row(self) -> int:
        return self.layout.size if self.layout.row is None else self.layout.row

    def block(self, plan: Plan) -> bytes:
        return pack(meaning_of(replace(plan, board_type=self.board.board_type), self.names))

    def load(self, block: bytes) -> None:
        """A new board whose slots hold `block`, switched on."""
        self.host.clear(pack_slot(1, block))
        self.host.poke(self.layout.slot_b, pack_slot(1, block))
        self.session = 0
        self.host.boot()
        self.host.edges()

    def ask(self, name: str, **values: Value) -> Values | str:
        """The answer to a request, or the reason of its refusal."""
        sequence = 0 if name == "identify" else self.session % 255 + 1
        self.session = sequence
        out = self.host.receive(
            b"\0" + encode_frame(Frame(sequence, REQUESTS[name].number, encode(REQUESTS[name], values)))
        )
        frame = decode_frame(out[:-1])
        assert frame is not None, out
        assert frame.sequence == sequence
        if frame.kind == REFUSED:
            return REASONS[frame.payload[1]]
        answer = decode(REPLIES[name], frame.payload)
        assert answer is not None
        return answer

    def identify(self) -> Values:
        answer = self.ask("identify", token=7)
        assert isinstance(answer, Values)
        return answer

    def arm(self, block: bytes) -> None:
        self.identify()
        answer = self.ask("arm", code=code_number(block))
        assert isinstance(answer, Values), answer

    def begin(self, plan: Plan, block: bytes) -> int:
        """Load, arm and start the dive as its trigger wants; the tick at which elapsed was 0."""
        self.load(block)
        self.arm(block)
        host = self.host.host
        if plan.trigger == "water":
            host.wet = 1
            self.host.seconds(60)
            return host.second - 60
        if plan.trigger == "command":
            answer = self.ask("start", code=code_number(block))
            assert isinstance(answer, Values), answer
        else:
            self.press(2, 3.2)
        host.wet = 1
        return host.second - self.elapsed

    @property
    def elapsed(self) -> int:
        return self.identify().number("elapsed")

    def begin_changed(self, block: bytes) -> int:
        """As `begin` for a start by water, with the first field change taken one on and confirmed on deck."""
        self.load(block)
        self.arm(block)
        self.press(1, 0.5)
        self.press(3, 0.5)
        self.host.host.wet = 1
        self.host.seconds(60)
        return self.host.host.second - 60

    def press(self, which: int, seconds: float) -> None:
        """Press buttons (1: a, 2: b, 3: both) for so long, from the beginning of a second on."""
        host = self.host.host
        host.buttons = which
        self.host.button()
        whole = int(seconds)
        self.host.seconds(whole)
        self.host.to_step(max(1, int((seconds - whole) * 64)))
        host.buttons = 0
        self.host.button()
        self.host.seconds(1)

    def levels(self) -> dict[str, int]:
        return dict(zip(self.names, self.host.levels, strict=False))

    def essentials(self, block: bytes, armed: bool = True) -> bytes:
        return pack_essentials(block, armed)

"""The virtual board: the device side of the protocol, byte by byte, over a memory whose every write can be watched.

It obeys what `messages.py` says, as the firmware does, and holds its settings with the same rules (`holdings.py`); it
flies nothing: time passes only for silence, pulses, playing and the clock after `start`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from schedgen.errors import BlockError
from schedgen.link import messages
from schedgen.link.eeprom import Memory, Nameplate
from schedgen.link.frames import Frame, FrameDecoder, encode_frame
from schedgen.link.holdings import Holdings, Refusal
from schedgen.link.message import Message
from schedgen.link.messages import NO_CODE, NO_SLOT, REASON_NUMBERS, REPLIES, REQUESTS, Value, Values
from schedgen.link.plain import PlainText
from schedgen.link.virtual_bench import Player, VirtualPack
from schedgen.settings.decode import decode
from schedgen.settings.fields import LAYOUT_VERSION

_ON_BENCH, _ARMED, _ON_DECK = (messages.STATES.index(name) for name in ("on bench", "armed", "on deck"))
_LOCKED = ("write", "commit", "pulse", "name", "measure", "play")
"""Refused while armed, and all but `play` while seconds are played."""
_FAULT_NO_SLOT = 1 << list(messages.FAULTS).index("settings")


@dataclass(frozen=True, slots=True)
class Pulse:
    """One pulse that the board was told: output from `at_s` for `steps` of 1/64 s at `level` percent (0: off)."""

    at_s: float
    output: int
    steps: int
    level: int


class VirtualBoard:
    """A board in memory. `pulses` records what its outputs were told.

    A test may set `pack`, `resets` and the memory. While `lead` is False the bench lead is not detected, and what is
    played ends.
    """

    def __init__(self, memory: Memory) -> None:
        """Switch it on. Raises `LinkError` where `memory` is not that of a virtual board."""
        self.memory = memory
        self.plate = Nameplate.unpack(bytes(memory.image))
        self.holdings = Holdings(memory, self.plate)
        self.pulses: list[Pulse] = []
        self.pack = VirtualPack()
        self.lead = True
        self.resets = 0
        self._player: Player | None = None
        self._ended_pulses = 0
        self._decoder = FrameDecoder()
        self._plain = PlainText()
        self._last_sequence = 0
        self._last_reply = b""
        self._last_byte_s = 0.0
        self._started_s: float | None = None
        self._now_s = 0.0

    def feed(self, data: bytes, now_s: float) -> bytes:
        """Return the answer to `data`, received at `now_s` seconds; without data, what has become due by silence.

        Never raises, whatever the bytes are, unless the memory's `on_write` does.
        """
        out = bytearray()
        self._now_s = now_s
        if self._player is not None and not (self.lead and self._player.goes_on(now_s)):
            self._player = None
        if now_s - self._last_byte_s >= messages.SILENCE_S:
            self._decoder.reset()
            if self._plain.silence():
                out += self._sentence()
        if data:
            self._last_byte_s = now_s
        for byte in data:
            out += self._take(byte)
        return bytes(out)

    def level_of(self, output: int) -> int:
        """Return the level at which a pulse holds `output` now, in percent, 0 where none does."""
        for pulse in reversed(self.pulses[self._ended_pulses :]):
            if pulse.output == output:
                return pulse.level if self._now_s < pulse.at_s + pulse.steps / messages.PULSE_STEPS_A_S else 0
        return 0

    @property
    def levels(self) -> list[int]:
        """The level of every output now, in percent, by a pulse or by what is played; releases stay off in that."""
        levels = [self.level_of(output) for output in range(len(self.plate.kinds))]
        if self._player is not None:
            for output, level in enumerate(self._player.levels[: len(levels)]):
                if self.plate.kinds[output] != "release":
                    levels[output] = max(levels[output], level)
        return levels

    @property
    def pack_mv(self) -> int:
        """One reading of the pack voltage, mV."""
        return self.pack.reading_mv(self.levels)

    def _take(self, byte: int) -> bytes:
        self._plain.take(byte)
        frame = self._decoder.feed_byte(byte)
        return b"" if frame is None else self._answer(frame)

    def _answer(self, frame: Frame) -> bytes:
        if frame.kind >= messages.REPLY:
            return b""  # somebody else's answer, or our own come back
        if frame.sequence and frame.sequence == self._last_sequence:
            return self._last_reply
        request = messages.BY_NUMBER.get(frame.kind)
        if request is not None and not messages.is_whole(request, frame.payload):
            return b""
        reply = self._obey(frame, request)
        self._last_sequence, self._last_reply = frame.sequence, encode_frame(reply)
        return self._last_reply

    def _obey(self, frame: Frame, request: Message | None) -> Frame:
        try:
            if request is None or (frame.sequence == 0) != (request.name == "identify"):
                raise Refusal("bad request")
            self._check_free(request.name)
            asked = messages.decode(request, frame.payload)
            if asked is None:
                raise Refusal("out of range")
            answer, values = REPLIES[request.name], self._handlers()[request.name](asked)
        except Refusal as refusal:
            answer = REPLIES["refused"]
            values = {"request": frame.kind, "reason": REASON_NUMBERS[refusal.reason]}
        return Frame(frame.sequence, answer.number, messages.encode(answer, values))

    def _check_free(self, name: str) -> None:
        """Refuse what is not obeyed now, armed or playing."""
        if name in _LOCKED and self.holdings.armed_code is not None:
            raise Refusal("armed")
        if name in _LOCKED and name != "play" and self._player is not None:
            raise Refusal("busy")

    def _handlers(self) -> dict[str, Callable[[Values], dict[str, Value]]]:
        handlers: dict[str, Callable[[Values], dict[str, Value]]] = {
            "identify": self._identify,
            "read": self._read,
            "write": self._write,
            "commit": self._commit,
            "arm": self._arm,
            "disarm": self._disarm,
            "start": self._start,
            "pulse": self._pulse,
            "name": self._name,
            "measure": self._measure,
            "play": self._play,
        }
        assert handlers.keys() == REQUESTS.keys()
        return handlers

    @property
    def _state(self) -> int:
        if self.holdings.armed_code is None:
            return _ON_BENCH
        return _ARMED if self._started_s is None else _ON_DECK

    @property
    def _elapsed(self) -> int:
        return 0 if self._started_s is None else int(self._now_s - self._started_s)

    def _identify(self, asked: Values) -> dict[str, Value]:
        holdings = self.holdings
        slots, active = holdings.slots(), holdings.active()
        codes = [NO_CODE if slot is None else slot.code for slot in slots]
        armed = holdings.armed_code is not None
        return {
            "token": asked["token"],
            "protocol": messages.PROTOCOL_VERSION,
            "layout": LAYOUT_VERSION,
            "board_type": self.plate.board_type,
            "part": messages.PARTS.index(self.plate.part),
            "eeprom_size": holdings.layout.size,
            "slot_size": holdings.layout.slot_size,
            "state": self._state,
            "active": NO_SLOT if active is None else active,
            "sequence_a": holdings.sequence(0),
            "code_a": codes[0],
            "sequence_b": holdings.sequence(1),
            "code_b": codes[1],
            "armed": int(armed),
            "elapsed": self._elapsed,
            "pack_mv": self.pack_mv,
            "resets": self.resets,
            "faults": _FAULT_NO_SLOT if armed and active is None else 0,
            "board": self.plate.board,
        }

    def _read(self, asked: Values) -> dict[str, Value]:
        address, length = asked.number("address"), asked.number("length")
        if address + length > self.plate.memory_size:
            raise Refusal("out of range")
        return {"address": address, "length": length, "data": self.memory.read(address, length)}

    def _write(self, asked: Values) -> dict[str, Value]:
        data = asked.data()
        self.holdings.write(asked.number("slot"), asked.number("offset"), data)
        return {"slot": asked["slot"], "offset": asked["offset"], "length": len(data)}

    def _commit(self, asked: Values) -> dict[str, Value]:
        slot = asked.number("slot")
        return {"slot": slot, "code": self.holdings.commit(slot, asked.number("crc"))}

    def _arm(self, asked: Values) -> dict[str, Value]:
        self._player = None
        self.holdings.arm(asked.number("code"))
        self._ended_pulses = len(self.pulses)
        return {"code": asked["code"]}

    def _disarm(self, asked: Values) -> dict[str, Value]:
        self._player = None
        self.holdings.disarm()
        self._started_s = None
        return {}

    def _start(self, asked: Values) -> dict[str, Value]:
        code = self.holdings.armed_code
        if code is None:
            raise Refusal("not armed")
        if code != asked.number("code"):
            raise Refusal("wrong code")
        block = self.holdings.active_block()
        try:
            trigger = decode(block).trigger if block else None
        except BlockError:
            trigger = None
        if trigger != "command":
            raise Refusal("out of range")
        if self._started_s is None:
            self._started_s = self._now_s
        return {"code": code}

    def _pulse(self, asked: Values) -> dict[str, Value]:
        output, level, steps = (asked.number(name) for name in ("output", "level", "steps"))
        if output >= len(self.plate.kinds) or (level and not steps):
            raise Refusal("out of range")
        kind = self.plate.kinds[output]
        if kind != "level" and level not in (0, 100):
            raise Refusal("out of range")
        if level and kind == "release":
            self.holdings.check_code(asked.number("code"))
            if steps > messages.PULSE_RELEASE_S * messages.PULSE_STEPS_A_S:
                raise Refusal("out of range")
        if level and any(self.level_of(other) for other in range(len(self.plate.kinds))):
            raise Refusal("busy")
        self.pulses.append(Pulse(self._now_s, output, steps, level))
        return {"output": output, "level": level}

    def _measure(self, asked: Values) -> dict[str, Value]:
        readings = [self.pack_mv for _ in range(messages.READINGS)]
        return {"readings": b"".join(one.to_bytes(2, "little") for one in readings)}

    def _play(self, asked: Values) -> dict[str, Value]:
        second, pack_mv = asked.number("elapsed"), self.pack_mv
        if second >= messages.PLAY_STOP_S >> 1:
            self._player = None
        else:
            player = self._player or self._begin()
            self.holdings.check_code(asked.number("code"))
            self._player = None if second >= player.end_s else player
            if self._player is not None:
                self._player.show(second, self._now_s)
        levels = [] if self._player is None else self._player.levels[: messages.OUTPUTS]
        return {"elapsed": second, "pack_mv": pack_mv, "levels": bytes(levels).ljust(messages.OUTPUTS, b"\0")}

    def _begin(self) -> Player:
        if any(self.levels):
            raise Refusal("busy")
        if not self.lead:
            raise Refusal("no bench lead")
        block = self.holdings.active_block()
        if block is None:
            raise Refusal("no settings")
        return Player(decode(block))

    def _name(self, asked: Values) -> dict[str, Value]:
        self.holdings.rename(asked.text("given_name"))
        return {"given_name": asked["given_name"]}

    def _sentence(self) -> bytes:
        """The one sentence for a bare terminal: dive code, state, voltage, clock."""
        from schedgen.settings.code import to_crockford

        code = self.holdings.active_code()
        dive = "no dive" if code is None else f"dive {to_crockford(code)}"
        state = messages.STATES[self._state]
        pack_mv = self.pack_mv
        volts = f"{pack_mv / 1000:.3f} V"
        said = f"{self.plate.board} holds {dive}, state {state}, pack {volts}, clock {self._elapsed} s.\r\n"
        return said.encode("ascii")

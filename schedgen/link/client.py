"""The computer's side of the protocol: requests with repetitions and deadlines, and areas read in pieces."""

from __future__ import annotations

import secrets
from collections.abc import Callable

from schedgen.errors import BoardGarbled, BoardRefused, BoardSilent, WrongBoard
from schedgen.link.areas import Area, areas_of
from schedgen.link.frames import DELIMITER, Frame, FrameDecoder, encode_frame
from schedgen.link.identity import Identity, identity_from
from schedgen.link.messages import (
    CHUNK,
    PROTOCOL_VERSION,
    REASONS,
    REFUSED,
    REPLIES,
    REQUESTS,
    Value,
    Values,
    decode,
    encode,
)
from schedgen.link.ports import Port

LIMIT_S = 30.0
"""Nothing that a client does takes longer than this, in seconds of the port's clock."""
HELLO_S = 5.0
"""How long a board may take to answer first: opening the port may have reset it."""
TRIES = 6
_REPLY_S = 0.3
"""Patience for one reply beyond the time that the board works: two frames at 9600 baud, and a slow adapter."""

_REFUSALS = {
    "armed": ("The board is armed and changes nothing while it is.", "Disarm it first: schedgen disarm."),
    "wrong code": (
        "The board holds settings with another dive code.",
        "Look with: schedgen readback, then use the code it shows, or upload again.",
    ),
    "bad checksum": ("What arrived on the board is not what was sent.", "Repeat the command."),
    "no bench lead": (
        "The board does not see its bench lead.",
        "Plug the lead in fully, with its detect wire, then repeat the command.",
    ),
    "bad request": (
        "The board does not know this request.",
        "Its firmware may be of another version: make it again with schedgen compile.",
    ),
    "out of range": ("The board says that a value is out of its range.", "Look at what it holds: schedgen readback."),
    "busy": ("The board is busy.", "Wait until the running pulse has ended, then repeat the command."),
    "no settings": ("The board holds no valid settings.", "Upload a dive first: schedgen upload."),
    "memory failed": (
        "The board's EEPROM does not keep what is written to it.",
        "Do not fly this board; repeat the command once to be sure.",
    ),
    "not armed": ("The board is not armed.", "Arm it first: schedgen arm."),
    "unreadable settings": (
        "The board's firmware cannot obey these settings.",
        "Its firmware may be of another version: make it again with schedgen compile.",
    ),
}


def new_token() -> int:
    """Return a number that tells this session from others, 0 to 65535."""
    return secrets.randbelow(1 << 16)


class Refused(BoardRefused):
    """The board refused a request; `reason` is one of `messages.REASONS`."""

    def __init__(self, reason: str) -> None:
        super().__init__(*_REFUSALS.get(reason, (f"The board refused: {reason}.", "Look with: schedgen readback.")))
        self.reason = reason


class Client:
    """One session with one board. Every method raises `LinkError` and its kinds, and none takes longer than the limit.

    `limit_s` is for the whole session, seconds of the port's clock from now on; `hello_s` for the board's first answer
    (`HELLO_S` where it is None).
    """

    def __init__(self, port: Port, limit_s: float = LIMIT_S, hello_s: float | None = None) -> None:
        self.port = port
        self._hello_s = hello_s
        self._limit = port.now() + limit_s
        self._decoder = FrameDecoder()
        self._heard = 0
        self._sequence = 0
        self._said_hello = False
        self._known: Identity | None = None

    def identify(self) -> Identity:
        """Return who the board is, beginning the session where that was not done.

        Raises `WrongBoard` where its firmware speaks another version of the protocol.
        """
        token = new_token()
        hello_s = HELLO_S if self._hello_s is None else self._hello_s
        until = self._limit if self._said_hello else min(self._limit, self.port.now() + hello_s)
        tries = TRIES if self._said_hello else max(1, int(hello_s / _REPLY_S))
        values = self._exchange("identify", 0, {"token": token}, tries, until)
        if not self._said_hello:
            self._said_hello = True
            self._sequence = token % 255  # somewhere else each session, so that late answers of an earlier one differ
        identity = identity_from(values)
        if identity.protocol != PROTOCOL_VERSION:
            raise _other_protocol(identity.protocol)
        self._known = identity
        return identity

    def request(self, name: str, **values: Value) -> Values:
        """Send request `name` and return the answer's fields; repeated with the same sequence number until it comes.

        Raises `Refused` (a `BoardRefused`), `BoardSilent`, `BoardGarbled`, `PortLost`.
        """
        if not self._said_hello:
            self.identify()
        self._sequence = self._sequence % 255 + 1
        return self._exchange(name, self._sequence, values, TRIES, self._limit)

    def area(self, name: str) -> Area:
        """Return where an area of the board's memory stands, by its name in `areas.py`. Raises `WrongBoard`."""
        known = self._known or self.identify()
        return areas_of(known.eeprom_size, known.part)[name]

    def read_area(self, name: str, length: int | None = None, offset: int = 0) -> bytes:
        """Return `length` bytes (left out: all) of an area of the board's memory from `offset` on."""
        area = self.area(name)
        whole = area.size - offset if length is None else length
        out = bytearray()
        while len(out) < whole:
            piece = min(CHUNK, whole - len(out))
            out += self.request("read", address=area.address + offset + len(out), length=piece).data()
        return bytes(out)

    def _exchange(self, name: str, sequence: int, values: dict[str, Value], tries: int, until: float) -> Values:
        request = REQUESTS[name]
        line = encode_frame(Frame(sequence, request.number, encode(request, values)))
        patience = request.works_s + _REPLY_S
        self._heard = 0
        for attempt in range(tries):
            now = self.port.now()
            if now >= until:
                break
            # An empty frame first ends whatever noise the board has received.
            lead = DELIMITER if attempt or sequence == 0 else b""
            self.port.write(lead + line, min(until, now + patience))
            answer = self._await(name, sequence, values, min(until, now + patience))
            if answer is not None:
                return answer
        raise _garbled(self.port.name) if self._heard else _silent(self.port.name)

    def _await(self, name: str, sequence: int, asked: dict[str, Value], deadline: float) -> Values | None:
        """The answer to the request just sent, None where it does not come in time. Everything else is passed over."""
        while True:
            data = self.port.read(deadline)
            self._heard += len(data)
            for frame in self._decoder.feed(data):
                answer = _answer_in(frame, name) if frame.sequence == sequence else None
                if answer is not None and all(answer[field] == asked[field] for field in asked if field in answer):
                    return answer
            if not data or self.port.now() >= deadline:
                return None


def _answer_in(frame: Frame, name: str) -> Values | None:
    """The fields of the reply to request `name` in a frame, None where it is something else. Raises `Refused`."""
    if frame.kind == REPLIES[name].number:
        return decode(REPLIES[name], frame.payload)
    if frame.kind == REFUSED:
        refused = decode(REPLIES["refused"], frame.payload)
        if refused is not None and refused.number("request") == REQUESTS[name].number:
            number = refused.number("reason")
            raise Refused(REASONS.get(number, f"reason {number}"))
    return None


def _other_protocol(spoken: int) -> WrongBoard:
    says = f"protocol version {spoken}, this program {PROTOCOL_VERSION}"
    if spoken < PROTOCOL_VERSION:
        return WrongBoard(
            f"The board's firmware is older than this program: it speaks {says}.",
            "Make new firmware for it with schedgen compile. Its settings were not touched.",
        )
    return WrongBoard(
        f"The board's firmware is newer than this program: it speaks {says}.",
        "Use the schedgen that the firmware was made with. Its settings were not touched.",
    )


def _silent(port: str) -> BoardSilent:
    return BoardSilent(
        f"Nothing answers on {port}.",
        "Is the pack connected, the bench lead plugged in, this the right port? A charge-only cable is silent too.",
    )


def _garbled(port: str) -> BoardGarbled:
    return BoardGarbled(
        f"Something on {port} answers, but not as one of our boards.",
        "Check that the port is the board's, that its speed is the one in the board file, and that the lead is short.",
    )


Progress = Callable[[int, int], None]
"""Called with how many bytes are behind us and how many there are in all."""


def no_progress(done: int, total: int) -> None:
    """Show nothing."""

"""What this computer says to the board in a scenario, byte for byte, and what the board answered. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from schedgen.link.frames import Frame, FrameDecoder, encode_frame
from schedgen.link.messages import BY_NUMBER, REQUESTS, Value, Values, decode, encode
from schedgen.settings.code import from_crockford

_TOKEN = 0x5C3A


def ask(name: str, sequence: int, values: Mapping[str, Value]) -> bytes:
    """One request, with the zero before it that ends whatever noise the board has received."""
    request = REQUESTS[name]
    return b"\0" + encode_frame(Frame(sequence, request.number, encode(request, values)))


def identify() -> bytes:
    """The request that begins a session."""
    return ask("identify", 0, {"token": _TOKEN})


def arm(code: str, sequence: int = 1) -> bytes:
    """The request to arm the dive with this code."""
    return ask("arm", sequence, {"code": from_crockford(code)})


def start(code: str, sequence: int = 2) -> bytes:
    """The request to start the clock."""
    return ask("start", sequence, {"code": from_crockford(code)})


def answers(said: Iterable[tuple[float, str]]) -> Iterator[tuple[float, str, Values]]:
    """The readable answers in what a board said: time, name of the message, its values."""
    decoder = FrameDecoder()
    for at, text in said:
        for frame in decoder.feed(bytes.fromhex(text)):
            message = BY_NUMBER.get(frame.kind)
            values = None if message is None else decode(message, frame.payload)
            if message is not None and values is not None:
                yield at, message.name, values

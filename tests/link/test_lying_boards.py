"""Whatever a device says, the client ends with an answer or one of our errors, in time, and never calls it verified."""

from __future__ import annotations

from bench_rig import BOARD_TYPE, NEW
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import Differs, LinkError
from schedgen.link import deck
from schedgen.link.client import LIMIT_S
from schedgen.link.frames import Frame, FrameDecoder, encode_frame
from schedgen.link.messages import BY_NUMBER, CHUNK, REPLIES, Field, Message, Value, decode, encode
from schedgen.link.ports import VirtualPort


class Babbler:
    """Says arbitrary bytes, whatever it is told."""

    def __init__(self, said: list[bytes]) -> None:
        self.said = said

    def feed(self, data: bytes, now_s: float) -> bytes:
        return self.said.pop() if self.said else b""


class Liar:
    """Answers every request in good form, with values of its own choice where the request does not fix them."""

    def __init__(self, draw: st.DataObject, likely: bool) -> None:
        self._draw, self._likely = draw, likely
        self._decoder = FrameDecoder()

    def feed(self, data: bytes, now_s: float) -> bytes:
        return b"".join(self._answer(frame) for frame in self._decoder.feed(data))

    def _answer(self, frame: Frame) -> bytes:
        request = BY_NUMBER[frame.kind]
        asked = decode(request, frame.payload)
        assert asked is not None  # our own client says nothing else
        answer: Message = REPLIES[request.name]
        length = asked.get("length", 0)
        assert isinstance(length, int)
        values = {field.name: asked.get(field.name, self._invent(field, length)) for field in answer.fields}
        if self._likely and request.name == "identify":
            values |= {"protocol": 1, "layout": 1, "board_type": BOARD_TYPE, "armed": 0, "slot_size": 112}
        return encode_frame(Frame(frame.sequence, answer.number, encode(answer, values)))

    def _invent(self, field: Field, length: int) -> Value:
        if field.kind == "number":
            return self._draw.draw(st.integers(0, field.top))
        if field.kind == "text":
            return "liar"
        return self._draw.draw(st.binary(min_size=min(length, CHUNK), max_size=min(length, CHUNK)))


def tried(port: VirtualPort) -> None:
    begun = port.now()
    for action in (lambda: deck.upload(port, NEW, BOARD_TYPE), lambda: deck.arm(port, NEW.code)):
        begun = port.now()
        try:
            action()
        except (LinkError, Differs):
            pass
        else:
            raise AssertionError("believed a device that holds nothing")
        assert port.now() - begun <= LIMIT_S
    begun = port.now()
    try:
        held = deck.readback(port)
        assert held.block is None or held.code == held.identity.code
    except (LinkError, Differs):
        pass
    assert port.now() - begun <= LIMIT_S


@settings(deadline=None, max_examples=60)
@given(st.lists(st.binary(max_size=200), max_size=40))
def test_arbitrary_bytes_are_never_taken_for_a_board(said: list[bytes]) -> None:
    tried(VirtualPort(Babbler(said)))


@settings(deadline=None, max_examples=60)
@given(st.data(), st.booleans())
def test_a_device_that_answers_in_form_and_holds_nothing_is_never_believed(draw: st.DataObject, likely: bool) -> None:
    tried(VirtualPort(Liar(draw, likely)))

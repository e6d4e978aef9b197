"""The table of messages: sizes, both directions, refusals of what does not fit, and the C side made from it."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from cobs import cobs
from crccheck.crc import Crc16Ibm3740
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.link import messages
from schedgen.link.c_side import c_constants
from schedgen.link.frames import FRAME_SIZE, PAYLOAD_SIZE, Frame, encode_frame
from schedgen.link.messages import BY_NUMBER, CHUNK, REPLIES, REQUESTS, Field, Message, Value, decode, encode, is_whole

ALL = tuple(BY_NUMBER.values())
PRINTABLE = st.characters(min_codepoint=0x20, max_codepoint=0x7E)


def value_of(field: Field, length: int) -> st.SearchStrategy[Value]:
    if field.name == "length":
        return st.just(length)
    if field.kind == "number":
        return st.integers(0, field.top)
    if field.kind == "text":
        return st.text(PRINTABLE, max_size=field.width)
    size = field.width or length
    return st.binary(min_size=size, max_size=size)


@st.composite
def said(draw: st.DrawFn) -> tuple[Message, dict[str, Value]]:
    message = draw(st.sampled_from(ALL))
    length = draw(st.integers(0, CHUNK))
    return message, {field.name: draw(value_of(field, length)) for field in message.fields}


def test_every_message_fits_a_frame() -> None:
    for message in ALL:
        size = sum(field.width or CHUNK for field in message.fields)
        assert size <= PAYLOAD_SIZE, message.name


def test_numbers_are_unique_and_never_look_like_a_question_between_newlines() -> None:
    assert len(ALL) == len(REQUESTS) + len(REPLIES)
    for request in REQUESTS.values():
        assert 1 <= request.number <= 62
        assert request.number not in (0x0A, 0x0D, ord("?"))
        assert REPLIES[request.name].number == request.number + 128


def test_the_names_of_the_states_are_those_of_the_language() -> None:
    # dive-file.md, "Commands": the states of the board, in its order.
    assert messages.STATES == (
        "on bench", "armed", "on deck", "descending", "on bottom", "releasing", "rising", "at surface", "over",
        "surface only",
    )  # fmt: skip


@settings(deadline=None, max_examples=300)
@given(said())
def test_what_is_said_is_understood(example: tuple[Message, dict[str, Value]]) -> None:
    message, values = example
    payload = encode(message, values)
    expected = {name: value.rstrip("\0") if isinstance(value, str) else value for name, value in values.items()}
    assert decode(message, payload) == expected
    assert len(encode_frame(Frame(1, message.number, payload))) <= FRAME_SIZE


@settings(deadline=None, max_examples=500)
@given(st.sampled_from(ALL), st.binary(max_size=PAYLOAD_SIZE))
def test_any_payload_is_understood_or_not_and_never_raises(message: Message, payload: bytes) -> None:
    values = decode(message, payload)
    if values is not None:
        assert is_whole(message, payload)
        assert encode(message, values) == payload.ljust(len(payload), b"\0")


@settings(deadline=None, max_examples=200)
@given(said(), st.integers(0, 255))
def test_a_lost_or_added_last_byte_is_always_noticed(example: tuple[Message, dict[str, Value]], more: int) -> None:
    message, values = example
    payload = encode(message, values)
    assert decode(message, payload[:-1]) is None or not payload
    assert decode(message, payload + bytes((more,))) is None


def test_a_frame_is_what_independent_libraries_make_of_it() -> None:
    # cobs 1.2.2 and crccheck 1.3.1, put together as the page of messages.py says.
    payload = encode(REQUESTS["commit"], {"slot": 0, "crc": 0xCBF43926})
    assert payload == bytes.fromhex("00 26 39 f4 cb")
    body = bytes((9, 4)) + payload
    expected = cobs.encode(body + Crc16Ibm3740.calc(body).to_bytes(2, "big")) + b"\0"
    assert encode_frame(Frame(9, 4, payload)) == expected


@pytest.mark.parametrize(
    ("name", "values", "words"),
    [
        ("pulse", {"output": 8, "steps": 1, "level": 1, "code": 0}, "output of pulse is 8, not 0 to 7"),
        ("pulse", {"output": 0, "steps": 65536, "level": 1, "code": 0}, "steps of pulse is 65536"),
        ("pulse", {"output": 0, "steps": 1, "level": 101, "code": 0}, "level of pulse is 101, not 0 to 100"),
        ("name", {"given_name": "Möwe"}, "printable ASCII"),
        ("name", {"given_name": "far too long"}, "at most 8"),
        ("write", {"slot": 0, "offset": 0, "length": 3, "data": bytes(33)}, "at most 32 bytes"),
        ("disarm", {"code": 1}, "disarm takes"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_bound(name: str, values: dict[str, Value], words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        encode(REQUESTS[name], values)


def test_the_c_constants_compile_and_agree_with_the_table(tmp_path: Path) -> None:
    checks = ["#include <stdint.h>", c_constants()]
    for name, request in REQUESTS.items():
        size = sum(field.width for field in request.fields)
        checks.append(f"typedef char ask_{name}[(LINK_ASK_{name.upper()}_SIZE == {size}) ? 1 : -1];")
        checks.append(f"typedef char number_{name}[(LINK_ASK_{name.upper()} == {request.number}) ? 1 : -1];")
    checks.append("typedef char last[(LINK_REPLY_IDENTIFY_BOARD_AT + LINK_NAME_SIZE <= LINK_PAYLOAD_SIZE) ? 1 : -1];")
    source = tmp_path / "link.c"
    source.write_text("\n".join(checks) + "\n", encoding="ascii")
    flags = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-fsyntax-only"]
    subprocess.run(["gcc", *flags, str(source)], check=True)

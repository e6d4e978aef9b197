"""One message of the protocol: its fields, and their bytes. Which messages there are stands in `messages.py`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from schedgen.errors import OutOfRange

CHUNK = 32
"""Most bytes of a `data` field."""
REPLY = 0x80
"""Added to a request's number for its reply."""

Kind = Literal["number", "text", "data"]
Value = int | str | bytes


@dataclass(frozen=True, slots=True)
class Field:
    """One field: `width` in bytes (0 for `data` as long as `length` says), `largest` the greatest number allowed."""

    name: str
    width: int
    meaning: str
    kind: Kind = "number"
    largest: int | None = None

    @property
    def top(self) -> int:
        """Greatest number allowed."""
        return (1 << 8 * self.width) - 1 if self.largest is None else self.largest


@dataclass(frozen=True, slots=True)
class Message:
    """A request or a reply. `works_s` is the longest time the board needs before it answers a request, seconds."""

    name: str
    number: int
    meaning: str
    fields: tuple[Field, ...]
    works_s: float = 0.0

    @property
    def is_reply(self) -> bool:
        """Whether the board says it."""
        return self.number >= REPLY


class Values(dict[str, Value]):
    """Field values of one message, by name, with typed access."""

    def number(self, name: str) -> int:
        """Return the number in field `name`."""
        value = self[name]
        assert isinstance(value, int)
        return value

    def text(self, name: str) -> str:
        """Return the text in field `name`, its padding taken off."""
        value = self[name]
        assert isinstance(value, str)
        return value

    def data(self, name: str = "data") -> bytes:
        """Return the bytes in field `name`."""
        value = self[name]
        assert isinstance(value, bytes)
        return value


def encode(message: Message, values: Mapping[str, Value]) -> bytes:
    """Return the payload of `message` with these field values, at most 54 bytes.

    Raises `OutOfRange`, naming field and bound, where a value is missing, unknown or does not fit.
    """
    names = {field.name for field in message.fields}
    if set(values) != names:
        raise OutOfRange(f"{message.name} takes {sorted(names)}, received {sorted(values)}")
    return b"".join(_encode_field(message.name, field, values[field.name]) for field in message.fields)


def is_whole(message: Message, payload: bytes) -> bool:
    """Return whether a payload is as long as its message says, its `data` too."""
    at = 0
    length = 0
    for field in message.fields:
        if field.name == "length":
            length = payload[at] if at < len(payload) else 0
        at += field.width or length
    return at == len(payload)


def decode(message: Message, payload: bytes) -> Values | None:
    """Return the field values in `payload`, or None where it is not whole or a value cannot be; never raises."""
    if not is_whole(message, payload):
        return None
    values = Values()
    at = 0
    for field in message.fields:
        end = at + field.width if field.width else len(payload)
        value = _decode_field(field, payload[at:end])
        if value is None:
            return None
        values[field.name] = value
        at = end
    return values


def _encode_field(message: str, field: Field, value: Value) -> bytes:
    where = f"{field.name} of {message}"
    if field.kind == "number":
        if not isinstance(value, int) or not 0 <= value <= field.top:
            raise OutOfRange(f"{where} is {value!r}, not 0 to {field.top}")
        return value.to_bytes(field.width, "little")
    if field.kind == "text":
        if not isinstance(value, str) or not _printable(value.encode("utf-8")) or len(value) > field.width:
            raise OutOfRange(f"{where} is {value!r}, not at most {field.width} printable ASCII characters")
        return value.encode("ascii").ljust(field.width, b"\0")
    if not isinstance(value, bytes) or (len(value) != field.width if field.width else len(value) > CHUNK):
        raise OutOfRange(f"{where} is {value!r}, not {field.width or f'at most {CHUNK}'} bytes")
    return value


def _decode_field(field: Field, raw: bytes) -> Value | None:
    if field.kind == "number":
        number = int.from_bytes(raw, "little")
        return number if number <= field.top else None
    if field.kind == "text":
        stripped = raw.rstrip(b"\0")
        return stripped.decode("ascii") if _printable(stripped) else None
    return raw if field.width or len(raw) <= CHUNK else None


def _printable(raw: bytes) -> bool:
    return all(0x20 <= byte < 0x7F for byte in raw)

"""Fields to bits and back, most significant bit first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from schedgen.errors import BlockError
from schedgen.settings.fields import Field, by_name

FULL = by_name("header", "end").bits
"""Width of a narrow field outside a block, and before `end` is known."""


def bits_of(end_s: int) -> int:
    """How many bits a time up to `end_s` seconds takes: the width of the narrow fields of a block with that end."""
    return max(1, end_s.bit_length())


class BitWriter:
    """Collects fields. `end_bits` is the width of narrow fields."""

    def __init__(self, end_bits: int = FULL) -> None:
        self.end_bits = end_bits
        self._number = 0
        self.length = 0
        """Bits written so far."""

    def put(self, one: Field, value: int, where: str = "") -> None:
        """Append one field. Raises CounterRange when the value is out of its range."""
        raw = one.raw(value, where)
        width = one.width(self.end_bits)
        if raw >> width:
            raise BlockError(f"{where + ': ' if where else ''}{one.name} is {value} s, after the end of the dive")
        self._number = self._number << width | raw
        self.length += width

    def record(self, record: Sequence[Field], values: Mapping[str, int], where: str = "") -> None:
        """Append the fields of a record that are present for these values. Raises CounterRange, KeyError."""
        for one in record:
            if one.present(values):
                self.put(one, values[one.name], where)

    def append(self, other: BitWriter) -> None:
        """Append all that another writer has collected."""
        self._number = self._number << other.length | other._number
        self.length += other.length

    def bytes(self) -> bytes:
        """All fields; the last byte filled up with zero bits."""
        count = -(-self.length // 8)
        return (self._number << (count * 8 - self.length)).to_bytes(count, "big")


class BitReader:
    """Takes fields from bytes; asking for more than there is raises BlockError."""

    def __init__(self, data: bytes, end_bits: int = FULL) -> None:
        self.end_bits = end_bits
        self._number = int.from_bytes(data, "big")
        self._size = len(data) * 8
        self.position = 0
        """Bits taken so far."""

    def take(self, one: Field) -> int:
        """The value of the next field. Raises BlockError when it is out of range or the bytes end."""
        width = one.width(self.end_bits)
        left = self._size - self.position - width
        if left < 0:
            raise BlockError(f"not a settings block: it ends within {one.name}")
        self.position += width
        return one.value(self._number >> left & ((1 << width) - 1))

    def record(self, record: Sequence[Field]) -> dict[str, int]:
        """The values of the fields of a record that are present. Raises BlockError."""
        values: dict[str, int] = {}
        for one in record:
            if one.present(values):
                values[one.name] = self.take(one)
        return values

    def finish(self) -> None:
        """Raises BlockError unless less than a byte is left, all zero bits."""
        left = self._size - self.position
        if left >= 8:
            raise BlockError(f"not a settings block: {left // 8} bytes too many")
        if self._number & ((1 << left) - 1):
            raise BlockError("not a settings block: the bits that fill up its last byte are not zero")

"""The dive code: six characters that name a settings block.

It is the low 30 bits of the CRC-32/ISO-HDLC of the block, in Crockford's base 32 (https://www.crockford.com/base32.html):
digits and capital letters without I, L, O and U. Reading it, lower case counts, O is 0, and I and L are 1.
"""

from __future__ import annotations

import zlib

from schedgen.errors import UsageError

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 6
BITS = 30

_VALUES = {letter: value for value, letter in enumerate(ALPHABET)} | {"O": 0, "I": 1, "L": 1}


def to_crockford(number: int, length: int = LENGTH) -> str:
    """`number` in Crockford base 32, filled up with zeros to `length` characters. Raises ValueError if it has more."""
    if not 0 <= number < 1 << 5 * length:
        raise ValueError(f"{number} does not fit {length} base-32 characters")
    return "".join(ALPHABET[number >> 5 * place & 31] for place in reversed(range(length)))


def from_crockford(text: str) -> int:
    """The number that Crockford base-32 text stands for. Raises UsageError naming the character that is none."""
    number = 0
    for letter in text:
        value = _VALUES.get(letter.upper()) if letter.isascii() else None
        if value is None:
            raise UsageError(
                f"{letter!r} is not a character of a dive code",
                f"A dive code is {LENGTH} of the characters {ALPHABET}.",
            )
        number = number << 5 | value
    return number


def code_number(block: bytes) -> int:
    """The dive code of a block as a number of 30 bits."""
    return zlib.crc32(block) & ((1 << BITS) - 1)


def dive_code(block: bytes) -> str:
    """The dive code of a block."""
    return to_crockford(code_number(block))


def same_code(typed: str, code: str) -> bool:
    """Whether what a person typed is this code. Raises UsageError when it is no code at all."""
    text = typed.strip()
    if len(text) != LENGTH:
        raise UsageError(f"a dive code has {LENGTH} characters, not {len(text)}", "Type the code that `check` shows.")
    return from_crockford(text) == from_crockford(code)

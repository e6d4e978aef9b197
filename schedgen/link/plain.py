"""The plain-text question on the serial line: `?` at the beginning of a line, then a newline, then silence.

A small machine that runs beside the frame decoder. The bytes of a frame may contain newline, `?`, newline too; but a
frame is never followed by a silence where it contains them, so the answer waits for one.
"""

from __future__ import annotations

from enum import Enum

_ZERO = 0x00
_NEWLINES = (0x0A, 0x0D)
_QUESTION = 0x3F


class _At(Enum):
    START = "nothing, since a delimiter, a newline or a silence"
    ASKED = "a question mark at such a place"
    ANSWER = "a newline, or several, after that"
    TEXT = "something else"


class PlainText:
    """Says when the question was asked."""

    def __init__(self) -> None:
        self._at = _At.START

    def silence(self) -> bool:
        """Note a silence of 100 ms; return whether the question is to be answered now."""
        answer = self._at is _At.ANSWER
        self._at = _At.ASKED if self._at is _At.ASKED else _At.START
        return answer

    def take(self, byte: int) -> None:
        """Note a byte."""
        if byte == _ZERO:
            self._at = _At.START
        elif byte in _NEWLINES:
            self._at = _At.ANSWER if self._at in (_At.ASKED, _At.ANSWER) else _At.START
        elif byte == _QUESTION and self._at in (_At.START, _At.ANSWER):
            self._at = _At.ASKED
        else:
            self._at = _At.TEXT

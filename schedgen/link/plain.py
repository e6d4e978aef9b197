"""The plain-text question on the serial line: `?` at the beginning of a line, then a newline.

A small machine that runs beside the frame decoder and decides, byte by byte, whether that question was asked. The bytes
of a frame may contain newline, `?`, newline too; while what came before may still be a frame, the answer waits.
"""

from __future__ import annotations

from enum import Enum

_ZERO = 0x00
_NEWLINES = (0x0A, 0x0D)
_QUESTION = 0x3F


class _At(Enum):
    START = "nothing, or newlines only, since a delimiter, a line of text or a silence"
    ASKED = "a question mark at such a place"
    TEXT = "bytes that cannot be a frame"
    FRAME = "bytes that may be a frame"
    FRAME_LINE = "the same, the last of them a newline"
    FRAME_ASKED = "the same, the last two a newline and a question mark"


class PlainText:
    """Says when the question was asked."""

    def __init__(self) -> None:
        self._at = _At.START
        self._waiting = False

    def silence(self) -> bool:
        """Note a silence of 100 ms; return whether a question that had to wait is to be answered now."""
        answer = self._waiting
        self._waiting = False
        self._at = _At.ASKED if self._at in (_At.ASKED, _At.FRAME_ASKED) else _At.START
        return answer

    def take(self, byte: int, was_frame: bool, may_be_frame: bool) -> bool:
        """Note a byte, and return whether the question is to be answered now.

        `was_frame`: it is the zero that closed a readable frame; `may_be_frame`: the bytes since the last zero, this
        one included, can still become a frame.
        """
        if byte == _ZERO:
            return self._settle(not was_frame)
        if self._at in (_At.START, _At.ASKED, _At.TEXT):
            return self._outside(byte, may_be_frame)
        if not may_be_frame:
            answer = self._settle(True)
            self._at = _At.TEXT
            return self._outside(byte, False) or answer
        return self._inside(byte)

    def _settle(self, no_frame: bool) -> bool:
        answer = self._waiting and no_frame
        self._waiting = False
        self._at = _At.START
        return answer

    def _outside(self, byte: int, may_be_frame: bool) -> bool:
        if byte in _NEWLINES:
            asked = self._at is _At.ASKED
            self._at = _At.START
            return asked
        if byte == _QUESTION and self._at is _At.START:
            self._at = _At.ASKED
        else:
            self._at = _At.FRAME if may_be_frame else _At.TEXT
        return False

    def _inside(self, byte: int) -> bool:
        if byte in _NEWLINES:
            self._waiting |= self._at is _At.FRAME_ASKED
            self._at = _At.FRAME_LINE
        elif byte == _QUESTION and self._at is _At.FRAME_LINE:
            self._at = _At.FRAME_ASKED
        else:
            self._at = _At.FRAME
        return False

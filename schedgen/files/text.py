"""Bytes of a file to text: encodings, sizes and the ways in which a file cannot be read at all.

Accepted: UTF-8 with or without a byte-order mark, and UTF-16 of either byte order, which some Windows
editors write, with or without its mark. Everything else is refused with what to do (RFC 3629 for what
valid UTF-8 is, RFC 2781 for UTF-16).
"""

from __future__ import annotations

import codecs
import errno
import os
import re
import stat
from pathlib import Path

from schedgen.errors import FileProblems, Problem

LARGEST = 1_000_000
"""Largest input file in bytes."""

_LINE_END = re.compile(r"\r\n|\r|\n")
_FORBIDDEN = re.compile("[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_SAVE_AS_UTF8 = 'In the editor choose "Save as", encoding UTF-8.'


def read_text(path: str | Path) -> str:
    """The text of the file at `path`.

    Raises `FileProblems` (and nothing else) when it is missing, a folder, not allowed to be read, larger
    than `LARGEST` bytes, or not text.
    """
    return decode(read_bytes(path), str(path))


def read_bytes(path: str | Path) -> bytes:
    """The bytes of the file at `path`, at most `LARGEST`. Raises `FileProblems` as `read_text` does."""
    name = str(path)
    try:
        with open(path, "rb", opener=_open_without_waiting) as stream:
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                raise _unplaced(name, f"{name} is not a plain file.", "Give the name of a file.")
            data = stream.read(LARGEST + 1)
    except OSError as error:
        raise _unopened(name, error) from None
    except ValueError:  # a name with a NUL in it
        raise _unplaced(name, f"{name!r} cannot be the name of a file.", "Give the name of a file.") from None
    if len(data) > LARGEST:
        raise _unplaced(
            name, f"{name} is larger than 1 MB ({LARGEST} bytes).", "Give the dive, board or cell file itself."
        )
    return data


def decode(data: bytes, name: str) -> str:
    """The text that `data` holds, its byte-order mark taken off. `name` is for messages.

    Raises `FileProblems` with the place of the first byte or character that cannot be.
    """
    encoding, skip = _encoding(data, name)
    if encoding != "utf-8" and len(data) % 2:
        raise _unplaced(
            name, f"{name} is UTF-16 text of an odd number of bytes ({len(data)}): its end is missing.", _SAVE_AS_UTF8
        )
    try:
        text = data[skip:].decode(encoding)
    except UnicodeDecodeError as error:
        raise _undecodable(data[skip:], encoding, error, name) from None
    odd = _FORBIDDEN.search(text)
    if odd:
        raise _odd_character(text, odd.start(), name)
    return text


def split_lines(text: str) -> list[str]:
    """The lines of `text` without their ends; CR LF, CR and LF all end a line. Line n is item n - 1."""
    return _LINE_END.split(text)


def locate(text: str, index: int) -> tuple[int, int, str]:
    """Line and column (both from 1) of the character at `index`, and the bare line it stands in."""
    lines = split_lines(text[:index])
    return len(lines), len(lines[-1]) + 1, lines[-1] + _LINE_END.split(text[index:], maxsplit=1)[0]


def _open_without_waiting(path: str, flags: int) -> int:
    # A named pipe with no writer would block for ever at opening.
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _encoding(data: bytes, name: str) -> tuple[str, int]:
    """Name of the encoding, and how many bytes of byte-order mark to skip."""
    head = data[:64]
    thirty_two = data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)) or (
        len(head) >= 4 and (head[:3] == b"\0\0\0" or (head[1:4] == b"\0\0\0" and head[0] != 0))
    )
    if thirty_two:
        raise _unplaced(name, f"{name} is UTF-32 text, which is not read.", _SAVE_AS_UTF8)
    if data.startswith(codecs.BOM_UTF8):
        return "utf-8", 3
    if data.startswith(codecs.BOM_UTF16_LE):
        return "utf-16-le", 2
    if data.startswith(codecs.BOM_UTF16_BE):
        return "utf-16-be", 2
    pairs = len(head) // 2
    if pairs:
        if head[1::2].count(0) * 2 > pairs and not head[0::2].count(0):
            return "utf-16-le", 0
        if head[0::2].count(0) * 2 > pairs and not head[1::2].count(0):
            return "utf-16-be", 0
    return "utf-8", 0


def _undecodable(data: bytes, encoding: str, error: UnicodeDecodeError, name: str) -> FileProblems:
    before = data[: error.start].decode(encoding, "replace")
    lines = split_lines(before)
    end = data[error.start :].decode(encoding, "replace")
    line = lines[-1] + _LINE_END.split(end, maxsplit=1)[0]
    bad = data[error.start : error.start + 1].hex()
    what = f"byte 0x{bad}" if encoding == "utf-8" else "a broken UTF-16 pair"
    return FileProblems(
        [
            Problem(
                name,
                len(lines),
                len(lines[-1]) + 1,
                f"This is not {'UTF-8' if encoding == 'utf-8' else 'UTF-16'} text: {what} stands here.",
                expected="a text file in UTF-8 (or UTF-16)",
                next=f"The file may have been saved in an older Windows encoding. {_SAVE_AS_UTF8}",
                source=line,
            )
        ]
    )


def _odd_character(text: str, index: int, name: str) -> FileProblems:
    line, column, source = locate(text, index)
    code = ord(text[index])
    if code in (0x85, 0x2028, 0x2029):
        message = f"An invisible line separator (U+{code:04X}) stands here."
        step = "Delete it and press Enter instead."
    else:
        message = f"A control character (U+{code:04X}) stands here."
        step = "Delete it. If the file is full of them, it is not a text file."
    return FileProblems([Problem(name, line, column, message, expected="plain text", next=step, source=source)])


def _unopened(name: str, error: OSError) -> FileProblems:
    if error.errno == errno.ENOENT:
        return _unplaced(name, f"There is no file {name}.", "Check the name and the folder you are in.")
    if error.errno in (errno.EACCES, errno.EPERM) and os.path.isdir(name):
        return _unplaced(name, f"{name} is a folder.", "Give the name of a file in it.")  # what Windows says
    if error.errno in (errno.EACCES, errno.EPERM):
        return _unplaced(name, f"You may not read {name}.", "Change its permissions, or copy it to a folder of yours.")
    if error.errno == errno.EISDIR:
        return _unplaced(name, f"{name} is a folder.", "Give the name of a file in it.")
    if error.errno == errno.ENOTDIR:
        return _unplaced(name, f"A part of the path {name} is a file and not a folder.", "Check the path.")
    if error.errno == errno.ENAMETOOLONG:
        return _unplaced(name, "This is too long for the name of a file.", "Check the name.")
    reason = error.strerror or type(error).__name__
    return _unplaced(name, f"{name} cannot be read: {reason}.", "Copy it to another disk and try again.")


def _unplaced(name: str, message: str, step: str) -> FileProblems:
    return FileProblems([Problem(name, 0, 0, message, next=step)])

"""The error page: every problem of the input files as lines of text, the caret under the right cell.

Pure: problems in, lines out. Widths by Unicode's East Asian Width (UAX 11): wide characters take two cells,
combining and format characters none, a tab is shown as four blanks.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable

from schedgen.errors import Problem

_TAB = "    "
_BEFORE_CARET = 60
_ASCII = str.maketrans(
    {"±": "+/-", "°": "deg", "µ": "u", "\u03bc": "u", "²": "2", "³": "3", "Ω": "ohm", "\u2126": "ohm", "\u2212": "-",
     "\u2013": "-", "\u2014": "-", "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "\u2026": "...",
     "\u00a0": " "}
)  # fmt: skip


def error_page(problems: Iterable[Problem], ascii_only: bool = False, width: int = 100) -> list[str]:
    """The lines of the page, sorted by file, line and column; the last line counts the problems.

    `ascii_only` replaces every other character (`±` by `+/-`, what has no substitute by `?`); `width` is where
    long explanations wrap, in cells.
    """
    unique = sorted(dict.fromkeys(problems), key=lambda p: (p.file, p.line, p.column))
    lines: list[str] = []
    for problem in unique:
        lines += [*_problem(problem, ascii_only, width), ""]
    files = list(dict.fromkeys(problem.file for problem in unique if problem.file))
    where = f" in {', '.join(files)}" if files else ""
    count = f"{len(unique)} problem{'' if len(unique) == 1 else 's'}{where}."
    return [*lines, _clean(count, ascii_only)]


def _problem(problem: Problem, ascii_only: bool, width: int) -> list[str]:
    head = problem.message
    if problem.line:
        head = f"{problem.file}:{problem.line}:{problem.column}: {problem.message}"
    elif problem.file:
        head = f"{problem.file}: {problem.message}"
    lines = [_clean(head, ascii_only)]
    margin = " " * 5
    if problem.line and problem.source.strip():
        number = f"{problem.line:>5}"
        margin = " " * len(number)
        text, cell = _window(problem.source, problem.column, ascii_only)
        lines += [f"{number} | {text}".rstrip(), f"{margin} | {' ' * cell}^"]
    for label, body in (("Expected", problem.expected), ("Example", problem.example), ("Next", problem.next)):
        if body:
            lines += textwrap.wrap(
                _clean(body, ascii_only), width, initial_indent=f"{margin} {label + ':':<9} ",
                subsequent_indent=" " * (len(margin) + 11), break_long_words=False, break_on_hyphens=False,
            )  # fmt: skip
    return lines


def _window(source: str, column: int, ascii_only: bool) -> tuple[str, int]:
    """The part of the line around the caret, and the cell (from 0) that the caret stands under."""
    start, lead = 0, ""
    if column - 1 > _BEFORE_CARET:
        start, lead = column - 1 - _BEFORE_CARET // 2, "..."
    before = _clean(source[start : column - 1], ascii_only)
    after = _clean(source[column - 1 :], ascii_only)
    if not ascii_only:
        after = _not_joined(after)
    cut = after if cells(after) <= _BEFORE_CARET else _first_cells(after, _BEFORE_CARET - 3) + "..."
    return lead + before + cut, cells(lead + before)


def _not_joined(text: str) -> str:
    """A combining mark under the caret is shown on a dotted circle, so that it has a cell of its own."""
    return "\u25cc" + text if text and unicodedata.combining(text[0]) else text


def cells(text: str) -> int:
    """How many terminal cells `text` takes."""
    return sum(_width(character) for character in text)


def _width(character: str) -> int:
    if unicodedata.combining(character) or unicodedata.category(character) in ("Cf", "Me", "Mn"):
        return 0
    return 2 if unicodedata.east_asian_width(character) in ("W", "F") else 1


def _first_cells(text: str, most: int) -> str:
    total = 0
    for index, character in enumerate(text):
        total += _width(character)
        if total > most:
            return text[:index]
    return text


def _clean(text: str, ascii_only: bool) -> str:
    """One printable line: tabs as blanks, control characters as `?`, and in ASCII where that is asked for."""
    shown = "".join(
        _TAB if char == "\t" else "?" if unicodedata.category(char) in ("Cc", "Cs") else char for char in text
    )
    if not ascii_only:
        return shown
    return "".join(char if char.isascii() else "?" for char in shown.translate(_ASCII))

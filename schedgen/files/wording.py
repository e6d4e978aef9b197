"""Errors of the YAML parser in our own words, judged by what stands in the line and never by its English text."""

from __future__ import annotations

from typing import Any

from schedgen.errors import Problem

_OPENERS = {"{": "}", "[": "]"}


def syntax_problem(error: Any, file: str, lines: list[str]) -> Problem:
    """The problem that a marked YAML error stands for, at the place where a person would look first."""
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line, mark.column) if mark else (0, 0)
    context = error.context_mark
    opened = _char(lines, context.line, context.column) if context else ""
    here = _char(lines, line, column)
    if opened and opened in "\"'":
        return _problem(
            file, lines, context.line, context.column, f"The quote opened here ({opened}) is never closed properly.",
            "the same quote at both ends of the text", f"{opened}Gannet Hole{opened}",
            "Close the quote; write a quote inside the text twice, or use the other kind.",
        )  # fmt: skip
    if here and here in "@`%|>&*!":
        return _problem(
            file, lines, line, column, f"A value cannot begin with {here} here.", "a word, a number or a quoted text",
            f'"{here} ..."', "Put the whole value in quotes.",
        )  # fmt: skip
    if here == ":":
        return _problem(
            file, lines, line, column, "A colon with a blank after it cannot stand here.",
            "one key and one value a line, or text in quotes", 'notes: "wind: north, 3"',
            "Put the value in quotes, or start a new line with the right indentation.",
        )  # fmt: skip
    if opened in _OPENERS:
        close = _OPENERS[opened]
        return _problem(
            file,
            lines,
            context.line,
            context.column,
            f"The {opened} opened here is not closed, or a comma is missing "
            f"before line {line + 1}, column {column + 1}.",
            f"{opened} ... {close} with commas between the parts",
            "{depth: 0 m, temperature: 11 degC, salinity: 35}",
            f"Look for a missing comma or {close}.",
        )
    while line > 0 and not lines[min(line, len(lines) - 1)].strip():
        line -= 1
        column = len(lines[min(line, len(lines) - 1)])
    return _problem(
        file, lines, line, column, "The line does not fit what stands above it.",
        "key: value, indented like its neighbours; a list item begins with a dash and a blank", "depth: 320 m",
        "Compare the indentation with the lines above; look for a missing colon, quote or bracket there.",
    )  # fmt: skip


def _char(lines: list[str], line: int, column: int) -> str:
    if line < len(lines) and column < len(lines[line]):
        return lines[line][column]
    return ""


def _problem(
    file: str, lines: list[str], line: int, column: int, message: str, expected: str, example: str, next_step: str
) -> Problem:
    line = max(0, min(line, len(lines) - 1))
    return Problem(file, line + 1, column + 1, message, expected, example, next_step, lines[line])

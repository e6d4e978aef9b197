"""Where a value stands in a file."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """`line` and `column` count from 1; both 0 where the value has no place (a default)."""

    file: str
    line: int = 0
    column: int = 0

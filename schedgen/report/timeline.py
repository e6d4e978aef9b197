"""The dive in 80 columns of plain characters: a lane for each output, the events, the charge.

Two stretches of time stand side by side where the wait for recovery is much longer than the dive: each has a scale of
its own, and a bar between them says so.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.report import words

if TYPE_CHECKING:
    from schedgen.report.check import Subject
    from schedgen.report.figure_data import Bar, FigureData, Lane

WIDTH = 80
LABEL = 12
MARKS = {"on": "█", "dim": "▄", "flash": "╎", "brief": "▏", "off": "·", "gap": "┊", "tick": "┴", "base": "─"}
ASCII_MARKS = {"on": "=", "dim": "-", "flash": ":", "brief": "'", "off": ".", "gap": "|", "tick": "+", "base": "_"}
LEVELS = "▁▂▃▄▅▆▇█"
DIM_BELOW = 100
SHORT = 0.34
"""A column that is on for less than this share of it shows a brief mark."""
HOUR = 3600


@dataclass(frozen=True, slots=True)
class Column:
    """One character's stretch of time, elapsed s; a `gap` parts two scales."""

    begin_s: float
    end_s: float
    gap: bool = False


def timeline(subject: Subject, ascii_only: bool = False) -> list[str]:
    """The lines, none longer than 80 columns. `ascii_only`: nothing but ASCII of our own (names stay as they are)."""
    from schedgen.report.figure_data import figure_data

    return drawn(figure_data(subject), ascii_only)


def drawn(data: FigureData, ascii_only: bool = False) -> list[str]:
    """The lines from the pictures' numbers."""
    marks = ASCII_MARKS if ascii_only else MARKS
    columns = _columns(data)
    lines = [_label("") + "".join(row) for row in _event_rows(data, columns)]
    lines += [_label(lane.label) + "".join(_lane(lane, columns, marks)) for lane in data.lanes]
    lines.append(_label("charge") + _charge(data, columns, marks, ascii_only))
    ruler, hours, clock = _ruler(data, columns, marks)
    lines += [_label("") + ruler, _label("hours") + hours, _label(words.offset(data.start)) + clock]
    key = [f"{marks['on']} on", f"{marks['dim']} dimmed", f"{marks['flash']} flashes", f"{marks['brief']} briefly"]
    key.append("charge at worst, in tenths" if ascii_only else "charge at worst, full █")
    lines.append(_label("") + "   ".join(key))
    return [line.rstrip() for line in lines]


def _columns(data: FigureData) -> list[Column]:
    room = WIDTH - LABEL
    if not data.waits:
        return _even(0.0, data.end_s, room)
    dive = round(room * 0.72)
    rest = room - dive - 1
    gap = Column(data.dive_end_s, data.dive_end_s, gap=True)
    return [*_even(0.0, data.dive_end_s, dive), gap, *_even(data.dive_end_s, data.end_s, rest)]


def _even(begin: float, end: float, count: int) -> list[Column]:
    step = (end - begin) / count
    return [Column(begin + k * step, begin + (k + 1) * step) for k in range(count)]


def _place(columns: list[Column], seconds: float) -> int:
    """The column in which an elapsed second lies; the last one from the end on."""
    for index, column in enumerate(columns):
        if not column.gap and column.begin_s <= seconds < column.end_s:
            return index
    return len(columns) - 1


def _event_rows(data: FigureData, columns: list[Column]) -> list[list[str]]:
    """Names of events, begun or ended over the column of their nominal time, each in the first row that has room."""
    rows: list[list[str]] = []
    for event in data.events:
        if event.name == "start":
            continue
        at = _place(columns, event.nominal_s)
        if not any(_written(row, at, event.name) for row in rows):
            rows.append([" "] * len(columns))
            _written(rows[-1], at, event.name)
    return rows


def _written(row: list[str], at: int, text: str) -> bool:
    """Write `text` so that it begins or ends at column `at`, apart from its neighbours; False where it cannot."""
    for left in (at, at - len(text) + 1):
        if left < 0 or left + len(text) > len(row):
            continue
        if all(row[k] == " " for k in range(max(0, left - 1), min(len(row), left + len(text) + 1))):
            row[left : left + len(text)] = text
            return True
    return False


def _lane(lane: Lane, columns: list[Column], marks: dict[str, str]) -> list[str]:
    return [marks["gap"] if column.gap else _cell(lane.bars, column, marks) for column in columns]


def _cell(bars: tuple[Bar, ...], column: Column, marks: dict[str, str]) -> str:
    length = column.end_s - column.begin_s
    on, level, pattern = 0.0, 0, False
    for bar in bars:
        overlap = min(bar.stop_s, column.end_s) - max(bar.start_s, column.begin_s)
        if overlap > 0:
            on += overlap
            level = max(level, bar.level)
            pattern = pattern or bool(bar.pattern)
    if on <= 0:
        return marks["off"]
    if pattern:
        return marks["flash"]
    if on < SHORT * length:
        return marks["brief"]
    return marks["dim"] if level < DIM_BELOW else marks["on"]


def _charge(data: FigureData, columns: list[Column], marks: dict[str, str], ascii_only: bool) -> str:
    """The charge at the end of each column, the least of the cases as planned: tenths or eighths, `0` for none."""
    import numpy as np

    band = data.bands["charge_pct"]
    cells = []
    for column in columns:
        if column.gap:
            cells.append(marks["gap"])
            continue
        share = float(np.interp(column.end_s, band.time_s, band.low)) / 100
        if ascii_only:
            cells.append(str(max(0, min(9, int(share * 10)))))
        else:
            cells.append(LEVELS[max(0, min(7, int(share * 8)))])
    return "".join(cells)


def _ruler(data: FigureData, columns: list[Column], marks: dict[str, str]) -> tuple[str, str, str]:
    """Ticks with hours after start and the clock on deck, each scale with a step of its own."""
    ruler = [marks["gap"] if column.gap else marks["base"] for column in columns]
    hours, clock = [" "] * len(columns), [" "] * len(columns)
    parts = [(0.0, data.dive_end_s), (data.dive_end_s, data.end_s)] if data.waits else [(0.0, data.end_s)]
    for begin, end in parts:
        width = _place(columns, end - 1) - _place(columns, begin) + 1
        step = next(
            (h for h in (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96, 240) if (end - begin) / HOUR / h <= width / 9), 480
        )
        first = int(begin / HOUR / step) + (1 if begin else 0)
        for k in range(first, int(end / HOUR / step) + 1):
            seconds = k * step * HOUR
            at = _place(columns, seconds)
            instant = words.at(data.start, seconds)
            number, local = f"{k * step:g}", instant.strftime("%H:%M")
            if at + len(local) > len(columns):
                continue
            ruler[at] = marks["tick"]
            hours[at : at + len(number)] = number
            clock[at : at + len(local)] = local
    return "".join(ruler), "".join(hours), "".join(clock)


def _label(text: str) -> str:
    """`text` in the columns of the labels, by the width in which a terminal shows it."""
    shown, used = "", 0
    for letter in text:
        wide = 0 if unicodedata.combining(letter) else 2 if unicodedata.east_asian_width(letter) in "WF" else 1
        if used + wide > LABEL - 1:
            break
        shown, used = shown + letter, used + wide
    return shown + " " * (LABEL - used)

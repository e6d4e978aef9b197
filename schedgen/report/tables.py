"""Plain tables, and the table of events that several reports share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC
from typing import TYPE_CHECKING

from schedgen.report import words

if TYPE_CHECKING:
    from schedgen.plan.model import Plan


def table(rows: Sequence[Sequence[str]], right: frozenset[int] = frozenset()) -> list[str]:
    """Rows as lines with columns two spaces apart; columns in `right` are set to the right."""
    if not rows:
        return []
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return lines


def event_rows(plan: Plan) -> list[list[str]]:
    """A row for each bound of each event: event, which, elapsed on the controller's clock, local time, UTC.

    Local is the offset in which the dive file plans the start; it is left out where that is UTC.

    An event whose three bounds are the same second gets one row.
    """
    columns = [words.offset(plan.planned), "UTC"] if plan.planned.utcoffset() else ["UTC"]
    rows = [["event", "", "elapsed", *columns]]
    for name, bounds in plan.events.items():
        true = plan.true_events[name]
        kinds = ("nominal",) if bounds.early == bounds.late else ("early", "nominal", "late")
        for index, kind in enumerate(kinds):
            instant = words.at(plan.planned, getattr(true, kind))
            shown = [words.moment(instant), words.moment(instant.astimezone(UTC))][-len(columns) :]
            label = name if index == 0 else ""
            which = kind if len(kinds) > 1 else ""
            rows.append([label, which, words.duration(getattr(bounds, kind), exact=True), *shown])
    return rows

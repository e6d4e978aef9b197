"""All dives of a season in one table."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from schedgen.report import words
from schedgen.report.check import wrapped
from schedgen.report.tables import table


def season_lines(folder: str, rows: Sequence[Mapping[str, Any]], paint: Callable[..., str]) -> list[str]:
    """A row a dive, then what stops each no-go, and counts."""
    head = ["file", "verdict", "code", "left above the reserve", "surfaces", "stops", "cautions", "dive"]
    cells = [head, *(_cells(folder, row) for row in rows)]
    lines = table(cells, right=frozenset({3, 5, 6}))
    for row in rows:
        if row["first"]:
            kind = "red" if row["verdict"] == "no-go" else "yellow"
            name = os.path.relpath(row["file"], folder)
            also = f" (and {len(row['stops']) - 1} more)" if len(row["stops"]) > 1 else ""
            lines += wrapped(
                f"{paint(name, kind)}: {(row['stops'] or ['unreadable'])[0]}{also}: {row['first']}", "  ", "    "
            )
    counts = {verdict: sum(row["verdict"] == verdict for row in rows) for verdict in ("go", "no-go", "unreadable")}
    kept = sum(bool(row["from_cache"]) for row in rows)
    said = ", ".join(f"{count} {verdict}" for verdict, count in counts.items() if count)
    again = f"; {kept} unchanged since they were last checked" if kept else ""
    return [*lines, f"{words.count(len(rows), 'dive')}: {said}{again}."]


def _cells(folder: str, row: Mapping[str, Any]) -> list[str]:
    name = os.path.relpath(row["file"], folder)
    if row["verdict"] == "unreadable":
        return [name, "unreadable", "-", "-", "-", "-", "-", words.count(row["problems"], "problem")]
    early = row["surface"][0]
    return [
        name, "GO" if row["verdict"] == "go" else "NO-GO", row["code"] or "-", f"{row['margin_wh']:.1f} Wh",
        f"{early[:10]} {early[11:16]}", str(len(row["stops"])), str(row["cautions"]), row["name"],
    ]  # fmt: skip


def season_record(folder: str, rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {"folder": folder, "dives": [dict(row) for row in rows]}

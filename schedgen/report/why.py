"""A finding explained, as lines and as plain values."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from schedgen.report import words
from schedgen.report.check import wrapped
from schedgen.report.record import number
from schedgen.report.tables import table

if TYPE_CHECKING:
    from schedgen.fit.clear import Clearing
    from schedgen.judge.explain import Explanation

LABEL = 10


def why_lines(one: Explanation, clear: Sequence[Clearing], paint: Callable[..., str]) -> list[str]:
    """The numbers, the case, the moment, the equations with their sources, and what would clear it."""
    finding = one.finding
    where = f"@{finding.load}" if finding.load else ""
    state = f"accepted: {finding.reason}" if finding.accepted else finding.severity
    lines = [f"{paint(finding.name + where, 'bold')} ({state}), line {finding.place.line}"]
    rows = [("Found", finding.message), ("Rule", one.rule)]
    if one.case:
        rows.append(("Case", one.case))
    if one.at_s is not None:
        rows.append(("Moment", f"{one.moment}, {words.duration(one.at_s, exact=True)} after start"))
    if one.figures:
        rows.append(("Numbers", "; ".join(f"{name} {text}" for name, text in one.figures)))
    if one.corner:
        rows.append(("Corner", "; ".join(f"{name} {value:.5g}" for name, value in one.corner)))
    for label, text in rows:
        lines += wrapped(text, label.ljust(LABEL), " " * LABEL)
    lines += ["", paint("Equations and sources", "bold")]
    for equation in one.equations:
        lines += wrapped(f"{equation.name}: {equation.says}", "  ", "    ")
    if not one.equations:
        lines += wrapped("None: it compares what the file says with a rule of the dive file.", "  ")
    lines += ["", paint("Any one of these alone clears it", "bold") + "  and brings no other stop"]
    lines += ["  " + row for row in table([[c.path, c.old, "->", c.new] for c in clear])]
    if not clear:
        lines += wrapped(f"No single number of the file does, up to ten times or a day. {finding.fix}", "  ")
    return lines


def why_record(one: Explanation, clear: Sequence[Clearing]) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "name": one.finding.name,
        "load": one.finding.load or None,
        "severity": one.finding.severity,
        "message": one.finding.message,
        "fix": one.finding.fix,
        "rule": one.rule,
        "case": one.case or None,
        "moment": one.moment or None,
        "at_s": number(one.at_s),
        "figures": dict(one.figures),
        "corner": {name: number(value) for name, value in one.corner},
        "equations": [{"name": e.name, "says": e.says} for e in one.equations],
        "clears": [{"path": c.path, "from": c.old, "to": c.new} for c in clear],
    }

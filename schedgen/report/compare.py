"""Two dives side by side: what differs in events, energy, findings and the rest, and what is the same."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from schedgen.report import words
from schedgen.report.record import check_record
from schedgen.report.tables import table

if TYPE_CHECKING:
    from schedgen.judge.finding import Finding
    from schedgen.report.check import Subject

SAME_WH = 0.05
SAME_V = 0.005


def compare_lines(a: Subject, b: Subject, paint: Callable[..., str]) -> list[str]:
    """The comparison as lines: only what differs, each group saying so when nothing does."""
    names = (str(a.loaded.path), str(b.loaded.path))
    lines = [paint("Two dives side by side", "bold")]
    lines += _verdicts(a, b, names)
    for title, rows in (("Events", _events(a, b)), ("Energy, worst case", _energy(a, b)), ("Loads", _loads(a, b))):
        lines += ["", paint(title, "bold")]
        if rows:
            head = ["", "first", "second", "change"]
            lines += ["  " + row for row in table([head, *rows], right=frozenset({1, 2, 3}))]
        else:
            lines.append("  the same")
    lines += ["", paint("Findings", "bold"), *_findings(a, b)]
    return lines


def _verdicts(a: Subject, b: Subject, names: tuple[str, str]) -> list[str]:
    rows = []
    for word, subject, name in (("first", a, names[0]), ("second", b, names[1])):
        rows.append([word, subject.judgement.verdict.upper(), subject.code or "no code", subject.plan.name, name])
    same = "the same settings" if a.code is not None and a.code == b.code else "other settings: upload again"
    return [*table(rows), same]


def _change(difference: float, text: str) -> str:
    return ("+" if difference > 0 else "-" if difference < 0 else "") + text.lstrip("-")


def _events(a: Subject, b: Subject) -> list[list[str]]:
    rows = []
    for name in dict.fromkeys((*a.plan.events, *b.plan.events)):
        one, two = a.plan.events.get(name), b.plan.events.get(name)
        for kind in ("early", "nominal", "late"):
            first = None if one is None else getattr(one, kind)
            second = None if two is None else getattr(two, kind)
            if first == second:
                continue
            fixed = all(bounds is None or bounds.early == bounds.late for bounds in (one, two))
            if fixed and kind != "nominal":
                continue
            shown = [_elapsed(first), _elapsed(second)]
            difference = (second or 0) - (first or 0)
            label = name if fixed else f"{name} {kind}"
            rows.append([label, *shown, _change(difference, words.duration(difference, exact=True))])
    return rows


def _elapsed(seconds: int | None) -> str:
    return "none" if seconds is None else words.duration(seconds, exact=True)


def _energy(a: Subject, b: Subject) -> list[list[str]]:
    one, two = a.results.worst, b.results.worst
    rows = []
    for label, key, unit, same, digits in (
        ("usable", "usable_wh", "Wh", SAME_WH, 1),
        ("needed", "needed_wh", "Wh", SAME_WH, 1),
        ("left above the reserve", "margin_wh", "Wh", SAME_WH, 1),
        ("lowest voltage", "lowest_voltage_v", "V", SAME_V, 2),
        ("beacon after surfacing", "endurance_after_surface_h", "h", SAME_WH, 1),
    ):
        first, second = getattr(one, key), getattr(two, key)
        if abs(second - first) >= same:
            rows.append(_row(label, first, second, unit, digits))
    return rows


def _row(label: str, first: float, second: float, unit: str, digits: int) -> list[str]:
    difference = second - first
    change = _change(difference, f"{abs(difference):.{digits}f} {unit}")
    return [label, f"{first:.{digits}f} {unit}", f"{second:.{digits}f} {unit}", change]


def _loads(a: Subject, b: Subject) -> list[list[str]]:
    one, two = a.results.worst.by_load_wh, b.results.worst.by_load_wh
    rows = []
    for name in dict.fromkeys((*one, *two)):
        first, second = one.get(name, 0.0), two.get(name, 0.0)
        if abs(second - first) >= SAME_WH:
            rows.append(_row(name, first, second, "Wh", 1))
    return rows


def _named(subject: Subject) -> dict[str, Finding]:
    return {(f"{f.name}@{f.load}" if f.load else f.name): f for f in subject.judgement.findings}


def _findings(a: Subject, b: Subject) -> list[str]:
    """Findings that only one has, or that weigh differently; marked by words, not by colour."""
    one, two = _named(a), _named(b)
    lines = []
    for name in dict.fromkeys((*one, *two)):
        first, second = one.get(name), two.get(name)
        if first is None and second is not None:
            lines.append(f"  new in the second: {name} ({_state(second)}){_line(second)}")
            lines.append(f"    {second.message}")
        elif second is None and first is not None:
            lines.append(f"  gone in the second: {name} ({_state(first)})")
        elif first is not None and second is not None and _state(first) != _state(second):
            lines.append(f"  {name}: {_state(first)} in the first, {_state(second)} in the second{_line(second)}")
    both = len(set(one) & set(two))
    return [*(lines or ["  the same"]), f"  {words.count(both, 'finding')} in both"]


def _state(finding: Finding) -> str:
    return "accepted" if finding.accepted else finding.severity


def _line(finding: Finding) -> str:
    return f", line {finding.place.line}" if finding.place.line else ""


def compare_record(a: Subject, b: Subject) -> dict[str, Any]:
    """Both records of `check --json`, and the names of the findings that only one of them has."""
    one, two = _named(a), _named(b)
    return {
        "first": check_record(a),
        "second": check_record(b),
        "new_findings": [name for name in two if name not in one],
        "gone_findings": [name for name in one if name not in two],
    }

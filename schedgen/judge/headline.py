"""The order of findings: what to mend first, and then by place."""

from __future__ import annotations

from collections.abc import Iterable

from schedgen.judge.finding import Finding

MOST = 3
"""Findings in the headline at most."""
_RANK = {"stop": 0, "caution": 1, "note": 2}


def _urgency(finding: Finding) -> tuple[int, int, float, str, int, int, str, str]:
    place = finding.place
    rank = _RANK[finding.severity]
    return (
        rank,
        0 if finding.final else 1,
        -finding.weight,
        place.file,
        place.line,
        place.column,
        finding.name,
        finding.load,
    )


def _position(finding: Finding) -> tuple[str, int, int, int, str, str]:
    place = finding.place
    return (place.file, place.line, place.column, _RANK[finding.severity], finding.name, finding.load)


def headline(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """At most three findings to mend first: stops before cautions, final ones before others, then by weight.

    Accepted ones and notes are never among them, and no name stands twice while others wait.
    """
    waiting = sorted((f for f in findings if not f.accepted and f.severity != "note"), key=_urgency)
    chosen: list[Finding] = []
    for severity in ("stop", "caution"):
        alike = [f for f in waiting if f.severity == severity]
        firsts = [f for i, f in enumerate(alike) if f.name not in {g.name for g in alike[:i]}]
        chosen += firsts + [f for f in alike if f not in firsts]
    return tuple(chosen[:MOST])


def ordered(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """All findings: the headline first, then the rest by place."""
    everything = list(findings)
    first = headline(everything)
    return first + tuple(sorted((f for f in everything if f not in first), key=_position))

"""`accept`: findings that the user takes on, each with a reason; some can't be taken on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from schedgen.judge import weights
from schedgen.judge.finding import Finding
from schedgen.judge.subject import Subject
from schedgen.judge.words import listed

DECIDES = ("accept-unused",)
"""Names decided here, after all rules."""
NEVER = "It cannot be accepted: it could hurt someone or lose the package for certain."


def _keys(finding: Finding) -> set[str]:
    return {finding.name, f"{finding.name}@{finding.load}"} if finding.load else {finding.name}


def _ambiguous(key: str, findings: Sequence[Finding]) -> tuple[str, ...]:
    """The loads a bare name stands at when there are several: then it must say which."""
    if "@" in key:
        return ()
    loads = sorted({f.load for f in findings if f.name == key})
    return tuple(loads) if len(loads) > 1 else ()


def apply(
    subject: Subject, accept: Mapping[str, str], findings: Sequence[Finding], beside: frozenset[str] = frozenset()
) -> list[Finding]:
    """The findings with those accepted that `accept` names, and an accept-unused note for each entry that does nothing.

    NAME takes the findings of that name while they stand at one load; where they stand at several, NAME@load is
    needed. A final finding stays as it is and says why. `beside` are keys that do something for a field change.
    """
    done: list[Finding] = []
    unclear = {key: loads for key in accept if (loads := _ambiguous(key, findings))}
    for finding in findings:
        key = next((k for k in accept if k in _keys(finding) and k not in unclear), None)
        if key is None:
            done.append(finding)
        elif finding.final:
            done.append(replace(finding, message=f"{finding.message}. {NEVER}"))
        else:
            done.append(replace(finding, accepted=True, reason=accept[key]))
    matched = {key for finding in findings for key in _keys(finding)}
    for key in accept:
        if key in unclear:
            names = [f"{key}@{load}" if load else key for load in unclear[key]]
            done.append(
                _unused(subject, key, f"{key} stands at several loads", f"write {listed(names)}, each with a reason")
            )
        elif key not in matched and key not in beside:
            done.append(_unused(subject, key, f"nothing here is {key}", "take the line out"))
    return done


def _unused(subject: Subject, key: str, what: str, fix: str) -> Finding:
    return subject.finding(
        "accept-unused", (f"accept.{key}", "accept"), f"this accept does nothing: {what}", fix, weight=weights.COMFORT
    )

"""What the two buttons may choose on deck: stops that come only with a field change.

The latest release with the highest levels is simulated, since it costs most energy. The earliest is judged by its
windows alone: what is still on is cut there. All choices between them lie between these two.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from schedgen.errors import OutOfRange
from schedgen.judge.finding import Finding
from schedgen.judge.rules import Registered
from schedgen.judge.subject import Subject
from schedgen.judge.words import listed, span
from schedgen.plan.model import ChooseLevel, ShiftRelease

SHIFTED_THEMSELVES = frozenset(
    {
        "release-before-bottom",
        "release-too-late",
        "release-interlock",
        "backup-before-primary",
        "clock-too-coarse",
        "window-outside-dive",
        "window-overlap",
        "window-empty",
        "settings-too-big",
        "counter-range",
    }
)
"""Names whose rules look at every shift already, or at the file as written."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A choice of the buttons: in words, the subject with it, and the index of the field change to blame."""

    words: str
    subject: Subject
    index: int


def choices(subject: Subject) -> Iterator[Choice]:
    """The latest permitted release with the highest levels (simulated where the subject is), and the earliest."""
    from schedgen.plan.changes import apply_changes, unchanged
    from schedgen.simulate import simulate

    plan = subject.plan
    if not plan.field_changes or subject.settings_error is not None:
        return
    seen = {unchanged(plan)}
    for shift_s, run_it in ((max(subject.shifts_s), subject.results is not None), (min(subject.shifts_s), False)):
        choice = tuple(_chosen(change, shift_s) for change in plan.field_changes)
        if choice in seen:
            continue
        seen.add(choice)
        changed = apply_changes(plan, choice)
        results = simulate(subject.dive, subject.board, subject.cell, changed) if run_it else None
        index = next(i for i, pair in enumerate(zip(choice, unchanged(plan), strict=True)) if pair[0] != pair[1])
        yield Choice(_in_words(subject, choice), replace(subject, plan=changed, results=results), index)


def _chosen(change: ShiftRelease | ChooseLevel, shift_s: int) -> int:
    if isinstance(change, ShiftRelease):
        return shift_s // change.step_s if change.step_s else 0
    return max(change.values)


def _in_words(subject: Subject, choice: Sequence[int]) -> str:
    words = []
    for change, value in zip(subject.plan.field_changes, choice, strict=True):
        if isinstance(change, ShiftRelease) and value:
            words.append(f"the release {span(change.step_s * value)} {'later' if value > 0 else 'earlier'}")
        elif isinstance(change, ChooseLevel) and value != change.values[0]:
            words.append(f"{subject.plan.outputs[change.output].load} at {value} %")
    return listed(words)


def with_field_changes(subject: Subject, rules: Sequence[Registered], found: Sequence[Finding]) -> Iterator[Finding]:
    """Stops that a choice of the buttons brings and the dive as written has not.

    A rule that cannot be applied (OutOfRange) has said so for the dive as written. Raises OutOfRange where the changed
    dive cannot be simulated.
    """
    known = {(finding.name, finding.load) for finding in found if finding.severity == "stop"}
    for chosen in choices(subject):
        place = subject.place(f"field_changes.{chosen.index}")
        for stop in _stops(chosen, rules):
            if (stop.name, stop.load) not in known:
                known.add((stop.name, stop.load))
                yield replace(
                    stop,
                    place=place,
                    message=f"with the field change to {chosen.words}: {stop.message}",
                    fix=f"take that choice out of field_changes, or {stop.fix}",
                )


def _stops(chosen: Choice, rules: Sequence[Registered]) -> Iterator[Finding]:
    """The stops of a changed dive, of rules that its results allow."""
    for rule in rules:
        if SHIFTED_THEMSELVES & set(rule.names) or (rule.simulated and chosen.subject.results is None):
            continue
        with suppress(OutOfRange):
            for outcome in rule.decide(chosen.subject):
                if isinstance(outcome, Finding) and outcome.severity == "stop":
                    yield outcome

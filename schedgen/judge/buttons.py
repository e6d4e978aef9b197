"""What the two buttons may choose on deck: every combination of field changes judged as the dive it would make.

A combination that brings a stop which the dive as written has not is not offered: its flag in
`plan.allowed_changes` is false, the settings block carries the flags, and the report says which stops are to blame.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

from schedgen.errors import OutOfRange
from schedgen.judge.finding import Finding
from schedgen.judge.names import FINDINGS
from schedgen.judge.rules import Registered, all_rules
from schedgen.judge.subject import Subject
from schedgen.judge.words import elapsed, listed, span
from schedgen.plan.changes import apply_changes, combinations, shift_of, unchanged
from schedgen.plan.model import Plan, ShiftRelease
from schedgen.settings.fields import COMBINATIONS_MOST

UNALTERED = frozenset({"sinks-after-release", "floats-with-ballast", "depth-rating", "release-output-floats"})
"""Stops on which neither a time nor a level has any bearing: they are not looked for again."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One combination: its values as `plan.combinations` has them, in words, and what keeps it from being offered."""

    values: tuple[int, ...]
    words: str
    reasons: tuple[str, ...] = ()
    """Empty when it is offered. Each `NAME: message`, or a bare sentence where a time of the release forbids it."""
    accepted: frozenset[str] = frozenset()
    """Keys of `accept` without which it would not be offered."""

    @property
    def allowed(self) -> bool:
        """Whether the buttons can choose it."""
        return not self.reasons


def judged_choices(subject: Subject) -> tuple[Choice, ...]:
    """Every combination of the plan's field changes, in the order of `plan.allowed_changes`; none without changes,
    or with more than the settings hold.

    `subject` is the dive as written; without results, only what needs no simulation is judged.
    """
    plan = subject.plan
    if not 0 < len(combinations(plan)) <= COMBINATIONS_MOST:
        return ()
    rules = tuple(rule for rule in all_rules() if any(_may_stop(name) for name in rule.names))
    housings: dict[Any, Any] = {}
    bare = replace(subject, plan=replace(plan, field_changes=(), allowed_changes=()))
    known = {(finding.name, finding.load) for finding in _stops(bare, rules)}
    as_written = unchanged(plan)
    return tuple(
        Choice(values, "as written", tuple(_impossible(plan, values)))
        if values == as_written
        else _judged(subject, values, rules, known, housings)
        for values in combinations(plan)
    )


def _may_stop(name: str) -> bool:
    return FINDINGS[name].severity == "stop" and name not in UNALTERED


def _judged(
    subject: Subject,
    values: tuple[int, ...],
    rules: Sequence[Registered],
    known: set[tuple[str, str]],
    housings: dict[Any, Any],
) -> Choice:
    """One combination: stops that it brings, but for those that the user accepts."""
    words = in_words(subject.plan, values)
    impossible = tuple(_impossible(subject.plan, values))
    if impossible:
        return Choice(values, words, impossible)
    try:
        stops = list(_stops(_changed(subject, values, housings), rules))
    except OutOfRange as trouble:
        return Choice(values, words, (f"it could not be judged: {trouble.message}",))
    reasons: dict[str, None] = {}
    accepted: set[str] = set()
    for stop in stops:
        if (stop.name, stop.load) in known:
            continue
        key = next((k for k in (f"{stop.name}@{stop.load}", stop.name) if k in subject.dive.accept), None)
        if key is not None and not stop.final:
            accepted.add(key)
        else:
            reasons[f"{stop.name}{'@' + stop.load if stop.load else ''}: {stop.message}"] = None
    return Choice(values, words, tuple(reasons), frozenset(accepted))


def _changed(subject: Subject, values: tuple[int, ...], housings: dict[Any, Any]) -> Subject:
    """The dive as the buttons would leave it, simulated where the subject is. Raises OutOfRange."""
    from schedgen.simulate.choices import simulate_deciding

    changed = apply_changes(subject.plan, values)
    results = None
    if subject.results is not None:
        results = simulate_deciding(subject.dive, subject.board, subject.cell, changed, housings)
    return replace(subject, plan=changed, results=results)


def _impossible(plan: Plan, values: tuple[int, ...]) -> Iterator[str]:
    """Why the times of the release forbid a combination; nothing where they do not (see `plan.changes.is_possible`)."""
    shift, limits = shift_of(plan, values), plan.interlocks
    if plan.primary is None:
        if shift:
            yield "the controller does not fire this release, so nothing can move it"
        return
    at, last = plan.primary.at_s + shift, plan.primary.last_end_s + shift
    if at < limits.not_before_s:
        yield f"the release would fire {elapsed(at)}, before not_before ({elapsed(limits.not_before_s)})"
    if last > limits.latest_s:
        yield f"its last try would end {elapsed(last)}, after latest ({elapsed(limits.latest_s)})"


def in_words(plan: Plan, values: Sequence[int]) -> str:
    """A combination as a person says it: `release 1 h later and lights at 45 %`."""
    words = []
    for change, value in zip(plan.field_changes, values, strict=True):
        if isinstance(change, ShiftRelease):
            if value:
                words.append(f"release {span(change.step_s * value)} {'later' if value > 0 else 'earlier'}")
        elif value != change.values[0]:
            output = plan.outputs.get(change.output)
            words.append(f"{output.load if output else change.output} at {value} %")
    return listed(words) or "as written"


def _stops(subject: Subject, rules: Sequence[Registered]) -> Iterator[Finding]:
    """The stops of a dive, of rules that its results allow. A rule that cannot be applied has said so for the dive as
    written."""
    for rule in rules:
        if rule.simulated and subject.results is None:
            continue
        with suppress(OutOfRange):
            for outcome in rule.decide(subject):
                if isinstance(outcome, Finding) and outcome.severity == "stop":
                    yield outcome

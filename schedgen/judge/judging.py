"""All rules over one dive: findings, verdict, and what could not be decided."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from schedgen.errors import BlockError, OutOfRange
from schedgen.judge.accept import apply
from schedgen.judge.finding import Finding, Judgement
from schedgen.judge.headline import headline, ordered
from schedgen.judge.rules import Registered, all_rules
from schedgen.judge.subject import Missing, Outcome, Parts, Subject

if TYPE_CHECKING:
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Results


def judge(
    dive: Parts, plan: Plan, results: Results | None = None, settings: BlockError | bytes | int | None = None
) -> Judgement:
    """See `schedgen.judge.judge`."""
    error = settings if isinstance(settings, BlockError) else None
    size = len(settings) if isinstance(settings, bytes) else settings if isinstance(settings, int) else None
    return judge_subject(Subject(dive, plan, results, error, size))


def judge_subject(subject: Subject) -> Judgement:
    """All rules over a subject."""
    rules = all_rules()
    outcomes = [outcome for rule in rules for outcome in _decide(rule, subject)]
    found = _once([outcome for outcome in outcomes if isinstance(outcome, Finding)])
    beside = subject.parts.accepted_by_choices
    findings = ordered(apply(subject, subject.dive.accept, found, beside))
    extra = subject.results.not_checked if subject.results is not None else ()
    return Judgement(
        findings=findings,
        verdict="no-go" if any(finding.blocks for finding in findings) else "go",
        not_checked=tuple(dict.fromkeys([*_missing(outcomes), *_information(subject), *extra])),
        headline=headline(findings),
    )


def _decide(rule: Registered, subject: Subject) -> Iterator[Outcome]:
    """What a rule yields; a rule that cannot be applied says so instead of taking the others with it."""
    if rule.simulated and subject.results is None:
        yield from (Missing(name, "the simulation was not run") for name in rule.names)
        return
    try:
        yield from rule.decide(subject)
    except OutOfRange as trouble:
        yield from (Missing(name, trouble.message) for name in rule.names)


def _once(findings: Sequence[Finding]) -> list[Finding]:
    """Without the same finding twice."""
    return list(dict.fromkeys(findings))


def _missing(outcomes: Sequence[Outcome]) -> Iterator[str]:
    for outcome in outcomes:
        if isinstance(outcome, Missing):
            where = f"@{outcome.load}" if outcome.load else ""
            yield f"{outcome.name}{where}: {outcome.what}"


def _information(subject: Subject) -> Iterator[str]:
    """What the report could say besides findings, and lacks an input for."""
    if subject.dive.site.current is None:
        yield "drift: site.current is not given"

"""The rule about the controller's clock: is it good enough for the margins that it has to hold?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from schedgen.judge import weights
from schedgen.judge.release import CLEAR_OF_PEOPLE_S
from schedgen.judge.rules import decides
from schedgen.judge.subject import Outcome, Subject
from schedgen.judge.words import number, span


@dataclass(frozen=True, slots=True)
class Margin:
    """A margin in seconds with a perfect clock, and what this clock may be wrong by until then."""

    between: str
    perfect_s: float
    error_s: float
    where: tuple[str, ...]


def margins(subject: Subject) -> Iterator[Margin]:
    """What the clock has to hold: the release after the late bottom, `not_before`, the last try before the backup."""
    plan, true = subject.plan, subject.plan.true_events
    error = plan.clock_tolerance
    clear = true["splash"].late + CLEAR_OF_PEOPLE_S
    yield Margin(
        "the late splash plus 30 min and not_before",
        plan.interlocks.not_before_s - clear,
        error * clear,
        ("release.not_before",),
    )
    if plan.primary is None:
        return
    at = plan.primary.at_s + min(subject.shifts_s)
    yield Margin(
        "the late bottom and the release",
        at - true["bottom"].late,
        error * true["bottom"].late,
        ("release.primary.at", "release.primary"),
    )
    backup = subject.dive.release.backup
    if backup is not None and backup.parts_after is not None:
        end = plan.primary.last_end_s + max(subject.shifts_s)
        yield Margin(
            "the last try and the backup",
            true["splash"].early + backup.parts_after.low - end,
            end / (1 - error) - end,
            ("release.backup.parts_after", "release.backup"),
        )


@decides("clock-too-coarse")
def clock_too_coarse(subject: Subject) -> Iterator[Outcome]:
    """A margin that a perfect clock would hold, and this one may not."""
    error, kind = subject.plan.clock_tolerance, subject.board.clock.kind
    for margin in margins(subject):
        if 0 <= margin.perfect_s < margin.error_s:
            yield subject.finding(
                "clock-too-coarse",
                margin.where,
                f"the board's {kind} clock may be wrong by {span(margin.error_s)} ({number(error * 1e6, 'ppm')}) until"
                f" then; between {margin.between} there are only {span(margin.perfect_s)}",
                f"widen that margin by {span(margin.error_s - margin.perfect_s + 60)}, or take a board with a better"
                f" clock",
                weight=weights.weigh(weights.RETURN, 1 - margin.perfect_s / margin.error_s),
            )

"""After the splash: the times of a dive redone from what really happened.

The board keeps the edges it was given; only the instant at which its clock began is now known. So the plan stays as
it is, edge for edge, and its start is moved to the real one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from schedgen.errors import UsageError
from schedgen.report import words

if TYPE_CHECKING:
    from schedgen.report.check import Subject

FARTHEST = timedelta(days=366)
"""Farther from the planned start an instant is taken for a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Happened:
    """What really happened: the instant of the splash, or that at which the clock began, or both."""

    splashed: datetime | None = None
    started: datetime | None = None

    @property
    def known(self) -> bool:
        """True when anything is."""
        return self.splashed is not None or self.started is not None


def happened(splashed: str | None, started: str | None) -> Happened:
    """From the instants as typed. Raises UsageError for what is no instant with an offset."""
    return Happened(_instant("--splashed", splashed), _instant("--started", started))


def _instant(option: str, text: str | None) -> datetime | None:
    from schedgen.dive.times import parse_instant
    from schedgen.files.trouble import Misread

    if text is None:
        return None
    try:
        return parse_instant(text)
    except Misread as error:
        raise UsageError(f"{option}: {error.message}", error.next_step) from error


def redone(subject: Subject, real: Happened) -> Subject:
    """`subject` with its start where it really was; findings and facts judged anew, settings and code as they were.

    With a water trigger the splash is the start. With button or command the start is known exactly from `started`,
    and from `splashed` alone to within the deck time. Raises UsageError where the instants contradict the file.
    """
    from schedgen.judge import judge
    from schedgen.judge.facts import facts

    start, slack = start_of(subject, real)
    zone = subject.plan.planned.tzinfo
    plan = replace(subject.plan, planned=start.astimezone(zone), planned_plus_minus_s=slack)
    loaded = subject.loaded
    judgement = judge(loaded, plan, subject.results, subject.settings.block if subject.settings else subject.trouble)
    return replace(subject, plan=plan, judgement=judgement, facts=facts(loaded, plan, subject.results, judgement))


def start_of(subject: Subject, real: Happened) -> tuple[datetime, float]:
    """The real start, and by how many seconds either way it is not known."""
    planned = subject.plan.planned
    deck = subject.loaded.dive.start.deck_time
    for name, instant in (("--splashed", real.splashed), ("--started", real.started)):
        if instant is not None and abs(instant - planned) > FARTHEST:
            raise UsageError(f"{name}: {instant.isoformat()} is more than a year from the planned start.", "check it")
    if subject.plan.trigger == "water" or deck is None:
        if real.splashed is not None and real.started is not None and real.splashed != real.started:
            raise UsageError(
                "With trigger water the clock begins at the splash: one instant is enough.", "leave --started out"
            )
        known = real.splashed or real.started
        assert known is not None
        return known, 0.0
    if real.started is not None:
        if real.splashed is not None and real.splashed < real.started:
            raise UsageError("The splash cannot come before the start.", "check the two instants")
        return real.started, 0.0
    assert real.splashed is not None
    return real.splashed - timedelta(seconds=deck.nominal), (deck.high - deck.low) / 2


def one_line(subject: Subject, real: Happened, planned: datetime) -> str:
    """Surfacing window, light, beacon hours and drift in one line, from a subject that was `redone`.

    `planned` is the start as the dive file has it.
    """
    from schedgen.judge.facts import surfacing
    from schedgen.judge.subject import Subject as Judged

    first, last = surfacing(Judged(subject.loaded, subject.plan, subject.results))
    what, instant = ("Splashed", real.splashed) if real.splashed is not None else ("Started", real.started)
    assert instant is not None
    shown = instant.astimezone(planned.tzinfo)
    wait = words.hours(subject.loaded.dive.recovery.wait.high / 3600)
    worst = subject.results.worst.endurance_after_surface_h
    until = words.local(last + timedelta(hours=worst), last) if worst < 24 * 3650 else "years from now"
    drift = subject.facts.drift_m
    drifted = "drift unknown, no site.current" if drift is None else f"drift up to {drift / 1000:.1f} km in {wait}"
    return (
        f"{what} {words.local(shown, planned)}{_against(shown, subject, real, planned)}: at the surface "
        f"{words.local(first, shown)} to {words.local(last, first)} {words.offset(planned)}, {subject.facts.daylight}; "
        f"beacon to {until} at worst ({words.hours(worst)}, {wait} asked); {drifted}."
    )


def _against(shown: datetime, subject: Subject, real: Happened, planned: datetime) -> str:
    """How far from the plan, in brackets; for a deck time outside the file's bounds a warning."""
    deck = subject.loaded.dive.start.deck_time
    if subject.plan.trigger != "water" and deck is not None:
        if real.splashed is None or real.started is None:
            return ""
        took = (real.splashed - real.started).total_seconds()
        outside = (
            "" if deck.low <= took <= deck.high else ", OUTSIDE the deck_time of the file: depth times do not hold"
        )
        return f" ({words.duration(took)} after the start{outside})"
    late = (shown - planned).total_seconds()
    if abs(late) < 60:
        return " (as planned)"
    return f" ({words.duration(abs(late))} {'late' if late > 0 else 'early'})"

"""Rules about windows that make no sense: what compiling the plan noticed, as findings."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject

NOTED = ("window-outside-dive", "window-overlap", "window-empty", "counter-range")
"""Names that the plan's notes carry."""
_FIXES = {
    "window-outside-dive": "move the window between start and end",
    "window-overlap": "let one of the two windows end before the other begins, or drop one",
    "window-empty": "make until later than from, or drop the line",
    "counter-range": "shorten the dive: the controller counts 24 bits of seconds, 194 days",
}


@decides(*NOTED)
def noticed_in_compiling(subject: Subject) -> Iterator[Outcome]:
    """The notes of the plan that carry a finding's name."""
    for note in subject.plan.notes:
        if note.name in NOTED:
            yield subject.finding(
                note.name,
                note.place,
                note.message,
                note.fix or _FIXES[note.name],
                load=note.load,
                weight=weights.weigh(weights.WORK, 1.0),
            )


@decides("settings-too-big")
def settings_too_big(subject: Subject) -> Iterator[Outcome]:
    """All of it fits one slot of the board's memory."""
    error = subject.settings_error
    if error is not None:
        yield subject.finding(
            "settings-too-big",
            ("schedule", "board"),
            error.message,
            error.next_step or "write fewer or simpler schedule lines, or take a board with more EEPROM",
            weight=weights.weigh(weights.WORK, 2.0),
        )
    elif subject.settings_bytes is None:
        yield Missing("settings-too-big", "the settings block was not made")

"""Rules about windows that make no sense and settings that can't be written: what plan and encoder noticed."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.errors import SettingsTooBig
from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject

NOTED = ("window-outside-dive", "window-overlap", "window-empty", "counter-range")
"""Names that the plan's notes carry."""
_FIXES = {
    "window-outside-dive": "move the window between start and end",
    "window-overlap": "let one of the two windows end before the other begins, or drop one",
    "window-empty": "make until later than from, or drop the line",
    "counter-range": "shorten the dive: the controller counts 8 000 000 seconds, 92 days",
}


@decides(*NOTED, "settings-too-big")
def no_valid_settings(subject: Subject) -> Iterator[Outcome]:
    """The notes of the plan that carry a finding's name, and what the encoder of the settings refused."""
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
    error = subject.settings_error
    if error is None:
        if subject.settings_bytes is None:
            yield Missing("settings-too-big", "the settings block was not made")
        return
    name = "settings-too-big" if isinstance(error, SettingsTooBig) else "counter-range"
    if name == "settings-too-big" or all(note.name != name for note in subject.plan.notes):
        yield subject.finding(
            name,
            error.place or ("schedule", "board"),
            error.message,
            error.next_step or "mend what else is found, then check again",
            weight=weights.weigh(weights.WORK, 2.0),
        )

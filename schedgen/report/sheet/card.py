"""The field-change card: what the two buttons may choose on deck, and what each choice does to the dive."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from schedgen.plan.model import ChooseLevel, ShiftRelease
from schedgen.report import words

if TYPE_CHECKING:
    from schedgen.plan.model import FieldChange, Plan
    from schedgen.report.check import Subject


@dataclass(frozen=True, slots=True)
class Choice:
    """One combination: a word for each field change, what follows from it, whether the block lets it be chosen."""

    words: tuple[str, ...]
    release: datetime
    first: datetime
    last: datetime
    allowed: bool
    as_written: bool
    presses: str
    """Short presses that lead to it from the dive as written, before both buttons confirm."""
    number: int
    """What the light answers to the confirmation: two long blinks, then so many short ones."""
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """All combinations, in the order in which the settings hold them; `titles` names the field changes."""

    titles: tuple[str, ...]
    choices: tuple[Choice, ...]

    @property
    def allowed(self) -> int:
        """How many the board lets be chosen."""
        return sum(1 for choice in self.choices if choice.allowed)


def card(subject: Subject) -> Card | None:
    """The card of a dive; None where the file allows no field change."""
    from schedgen.plan.changes import apply_changes, combinations, unchanged

    plan = subject.plan
    if not plan.field_changes:
        return None
    flags = plan.allowed_changes or (True,) * len(combinations(plan))
    reasons = {choice.values: choice.reasons for choice in subject.loaded.choices()}
    written = unchanged(plan)
    choices: list[Choice] = []
    for choice, allowed in zip(combinations(plan), flags, strict=True):
        changed = apply_changes(plan, choice)
        surface, slack = changed.true_events["surface"], timedelta(seconds=plan.planned_plus_minus_s)
        pairs = zip(plan.field_changes, choice, strict=True)
        choices.append(
            Choice(
                tuple(_word(change, value) for change, value in pairs),
                words.at(plan.planned, changed.release_s),
                words.at(plan.planned, surface.early) - slack,
                words.at(plan.planned, surface.late) + slack,
                allowed,
                choice == written,
                _presses(plan, written, choice),
                len(choices) + 1,
                "" if allowed else _why_not(plan, changed, reasons.get(choice, ())),
            )
        )
    return Card(tuple(_title(plan, change) for change in plan.field_changes), tuple(choices))


def _presses(plan: Plan, written: tuple[int, ...], choice: tuple[int, ...]) -> str:
    """`A 3 times, B once`. A steps the first change on; B the second, or the only one back. Both go round."""
    from schedgen.plan.changes import choices_of

    steps = []
    for change, before, after in zip(plan.field_changes, written, choice, strict=True):
        values = choices_of(change)
        steps.append(((values.index(after) - values.index(before)) % len(values), len(values)))
    if len(steps) == 1:
        on, count = steps[0]
        named = [("A", on)] if 2 * on <= count else [("B", count - on)]
    else:
        named = [("A", steps[0][0]), ("B", steps[1][0])]
    return ", ".join(f"{button} {_times(count)}" for button, count in named if count) or "none"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _title(plan: Plan, change: FieldChange) -> str:
    if isinstance(change, ShiftRelease):
        return "release"
    output = plan.outputs.get(change.output)
    return f"level of {output.load if output else change.output}"


def _word(change: FieldChange, value: int) -> str:
    if isinstance(change, ChooseLevel):
        return f"{value} %"
    if not value:
        return "as written"
    return f"{words.duration(change.step_s * abs(value))} {'later' if value > 0 else 'earlier'}"


def _why_not(plan: Plan, changed: Plan, reasons: tuple[str, ...]) -> str:
    """Why the settings leave a combination out; `reasons` are those of `schedgen.judge.buttons`, stops by name."""
    limits = plan.interlocks
    if changed.primary is not None and changed.primary.at_s < limits.not_before_s:
        return "would fire before not_before"
    if changed.primary is not None and changed.primary.last_end_s > limits.latest_s:
        return "its last try would end after latest"
    names = dict.fromkeys(reason.partition(":")[0] for reason in reasons)
    return f"would be a no-go: {', '.join(names)}" if names else "would be a no-go"

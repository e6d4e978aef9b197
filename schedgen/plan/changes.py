"""Field changes: every combination that the two buttons may choose, and the Plan that each of them gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

from schedgen.plan.assemble import with_edges
from schedgen.plan.model import (
    Bounds,
    ChooseLevel,
    Clip,
    FieldChange,
    OutputPlan,
    Plan,
    ShiftRelease,
    TrueBounds,
    Window,
)
from schedgen.plan.times import MOVING

Choice = tuple[int, ...]


def choices_of(change: FieldChange) -> tuple[int, ...]:
    """What can be chosen for one change: steps of a shift from the earliest on (signed), or the percents of a level."""
    if isinstance(change, ShiftRelease):
        return tuple(range(change.first, change.last + 1))
    return change.values


def all_choices(changes: Sequence[FieldChange]) -> tuple[Choice, ...]:
    """Every combination, the first change slowest; none at all without changes."""
    return tuple(product(*(choices_of(change) for change in changes))) if changes else ()


def combinations(plan: Plan) -> tuple[Choice, ...]:
    """Every combination of the plan's field changes, in the order of `plan.allowed_changes`."""
    return all_choices(plan.field_changes)


def unchanged(plan: Plan) -> Choice:
    """The combination that leaves the plan as it is: no step, and each level's first value."""
    return tuple(0 if isinstance(change, ShiftRelease) else change.values[0] for change in plan.field_changes)


def shift_of(plan: Plan, choice: Choice) -> int:
    """Seconds by which `choice` moves the release."""
    pairs = zip(plan.field_changes, choice, strict=True)
    return sum(change.step_s * value for change, value in pairs if isinstance(change, ShiftRelease))


def is_possible(plan: Plan, choice: Choice) -> bool:
    """False where the shifted release comes before `not_before`, or its last try ends after `latest`."""
    shift, limits = shift_of(plan, choice), plan.interlocks
    if plan.primary is None:
        return shift == 0
    return plan.primary.at_s + shift >= limits.not_before_s and plan.primary.last_end_s + shift <= limits.latest_s


def apply_changes(plan: Plan, choice: Choice) -> Plan:
    """The plan as the buttons leave it with `choice`: one value for each field change, as `choices_of` gives them.

    A shift moves the primary's firing, release, surface and end, and every edge that hangs on them; not `latest`, nor
    a backup. A level takes the place of the first value in every window of that output that has it. The plan that comes
    back offers no changes any more. Raises ValueError for a choice that the plan does not offer.
    """
    if len(choice) != len(plan.field_changes):
        raise ValueError(f"{len(choice)} values for {len(plan.field_changes)} field changes")
    for change, value in zip(plan.field_changes, choice, strict=True):
        if value not in choices_of(change):
            raise ValueError(f"{value} is not one of {choices_of(change)}")
    outputs = dict(plan.outputs)
    for change, value in zip(plan.field_changes, choice, strict=True):
        if isinstance(change, ChooseLevel) and change.output in outputs:
            outputs[change.output] = _with_level(outputs[change.output], change.values[0], value)
    shift = shift_of(plan, choice)
    if shift:
        outputs = {name: _shifted(one, shift) for name, one in outputs.items()}
        plan = _later(plan, shift)
    return with_edges(replace(plan, outputs=outputs, field_changes=(), allowed_changes=()))


def _with_level(output: OutputPlan, old: int, new: int) -> OutputPlan:
    windows = tuple(replace(w, level=new) if w.level == old else w for w in output.windows)
    return replace(output, windows=windows)


def _shifted(output: OutputPlan, shift: int) -> OutputPlan:
    return replace(output, windows=tuple(_moved(window, shift) for window in output.windows))


def _moved(window: Window, shift: int) -> Window:
    start, stop, clip = window.start_s, window.stop_s, window.clip
    if start is not None and window.start_moves:
        start += shift
    if stop is not None and window.stop_moves:
        stop += shift
    if clip is not None:
        clip = Clip(
            clip.start_s + (shift if clip.start_moves else 0),
            clip.stop_s + (shift if clip.stop_moves else 0),
            clip.start_moves,
            clip.stop_moves,
        )
    return replace(window, start_s=start, stop_s=stop, clip=clip)


def _later(plan: Plan, shift: int) -> Plan:
    """The plan with its release, and the events that hang on it, `shift` seconds of the controller's clock later."""
    error = plan.clock_tolerance
    events, true_events = dict(plan.events), dict(plan.true_events)
    for name in MOVING:
        if name in events:
            one = events[name]
            events[name] = Bounds(one.early + shift, one.nominal + shift, one.late + shift)
        if name in true_events:
            true = true_events[name]
            early, late = sorted((shift / (1 + error), shift / (1 - error)))
            true_events[name] = TrueBounds(true.early + early, true.nominal + shift, true.late + late)
    primary = None if plan.primary is None else replace(plan.primary, at_s=plan.primary.at_s + shift)
    return replace(plan, primary=primary, events=events, true_events=true_events)

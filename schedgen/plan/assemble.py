"""From windows to the outputs of a Plan, unchanged or with an early or late first firing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from schedgen.plan.edges import edges_of, firing_on_times, overlay, pieces_of, splice
from schedgen.plan.model import OnTime, OutputPlan, Plan, Window
from schedgen.plan.moment import NEVER, State


def states(plan: Plan, first_firing: int | None = None) -> list[tuple[int, State]]:
    """How the windows stand from which second on, when the first firing command comes at `first_firing` (None: as
    planned).

    Until the command comes, it is expected as planned; once that time has passed, nothing is expected to be cut. With
    the command, moving edges run from it or from the planned release, whichever is earlier.
    """
    planned = plan.first_firing_s
    fired = planned if first_firing is None else first_firing
    before = State(plan.first_edge_s, plan.release_s, 0, NEVER if planned is None else planned, plan.end_s)
    if planned is None or fired is None:
        return [(0, before)]
    shift = min(plan.release_s, fired) - plan.release_s
    after = replace(before, shift=shift, cut=fired, end=plan.end_s + shift)
    if after == before:
        return [(0, before)]
    waiting = [(planned, replace(before, cut=NEVER))] if fired > planned else []
    return [(0, before), *waiting, (fired, after)]


def on_times(plan: Plan, output: str, first_firing: int | None = None) -> tuple[OnTime, ...]:
    """On-times of one output when the first firing command comes at `first_firing` (None: as planned)."""
    if plan.outputs[output].kind == "release":
        return _tries(plan, output, first_firing)
    windows = {name: one.windows for name, one in plan.outputs.items()}
    parts = [
        (start, overlay(pieces_of(windows[output], windows, state))) for start, state in states(plan, first_firing)
    ]
    return splice(parts)


def _tries(plan: Plan, output: str, first_firing: int | None) -> tuple[OnTime, ...]:
    """On-times of a release output: every try of what is wired to it."""
    for firing in (plan.primary, plan.backup):
        if firing is not None and firing.output == output:
            if firing is (plan.primary or plan.backup) and first_firing is not None:
                firing = replace(firing, at_s=first_firing)
            return firing_on_times(firing, states(plan, first_firing)[-1][1].end)
    return ()


def with_edges(plan: Plan) -> Plan:
    """The plan with on-times and edges of every output made anew from its windows and firings."""
    outputs: dict[str, OutputPlan] = {}
    for name, one in plan.outputs.items():
        times = on_times(plan, name)
        outputs[name] = replace(one, on_times=times, edges=edges_of(name, times))
    return replace(plan, outputs=outputs)


def by_output(windows: Sequence[Window]) -> Mapping[str, tuple[Window, ...]]:
    """Windows grouped by output, in order."""
    groups: dict[str, list[Window]] = {}
    for window in windows:
        groups.setdefault(window.output, []).append(window)
    return {name: tuple(group) for name, group in groups.items()}

"""A dive made short for the many runs with faults: the same windows, patterns and interlocks in less time. Pure.

Every elapsed second before the release is scaled so that the release comes after `AT_S`; flash patterns, leads and the
number of tries stay, tries and pauses shrink, and so do the steps by which buttons shift the release. The result is a
Plan of its own with a settings block of its own.
"""

from __future__ import annotations

from dataclasses import replace

from schedgen.plan.assemble import with_edges
from schedgen.plan.changes import all_choices, is_possible
from schedgen.plan.model import Bounds, Burst, Clip, FieldChange, Firing, Plan, ShiftRelease, TrueBounds, Window
from schedgen.settings.meaning import burst_stop, bursts_without_end

AT_S = 1500
LATEST_AFTER_S = 2100
"""From the release to `latest`: longer than a hold of 15 min and the lag of several resets together."""
END_AFTER_S = 4200
RISE_S = 60
_FIRE_MOST_S, _PAUSE_MOST_S, _TRAIL_MOST_S = 40, 20, 30
_STEP_MOST_S = 60


class _Scale:
    """Maps seconds of the long dive to seconds of the short one."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.from_s = plan.release_s
        self.rate = min(1.0, AT_S / max(1, plan.release_s))
        after = max(1, plan.end_s - plan.release_s)
        self.after = min(1.0, END_AFTER_S / after)

    def __call__(self, second: int) -> int:
        if second <= self.from_s:
            return round(second * self.rate) if second >= self.plan.first_edge_s else second
        return round(self.from_s * self.rate) + max(1, round((second - self.from_s) * self.after))

    def length(self, seconds: int) -> int:
        return max(1, round(seconds * self.rate))


def shortened(plan: Plan) -> Plan:
    """The short dive. It offers the combinations of field changes that the long one offers, where they fit."""
    scale = _Scale(plan)
    at = scale(plan.release_s)
    primary = _short(plan.primary, at)
    latest = at + LATEST_AFTER_S
    backup = None if plan.backup is None else _short(plan.backup, latest)
    last = primary.last_end_s if primary else at
    end = at + END_AFTER_S
    times = {
        "start": 0,
        "splash": scale(plan.events["splash"].late),
        "bottom": scale(plan.events["bottom"].late),
        "release": at,
        "surface": last + RISE_S,
        "end": end,
    }
    not_before = min(at, max(scale(plan.interlocks.not_before_s), at // 2))
    outputs = {
        name: replace(one, windows=tuple(_window(window, scale, end) for window in one.windows))
        for name, one in plan.outputs.items()
    }
    short = with_edges(
        replace(
            plan,
            events={name: Bounds(at_s, at_s, at_s) for name, at_s in times.items()},
            true_events={name: TrueBounds(at_s, at_s, at_s) for name, at_s in times.items()},
            primary=primary,
            backup=backup,
            outputs=outputs,
            interlocks=replace(plan.interlocks, not_before_s=not_before, latest_s=latest),
            field_changes=tuple(_change(one) for one in plan.field_changes),
            allowed_changes=(),
        )
    )
    offered = zip(all_choices(short.field_changes), plan.allowed_changes, strict=True)
    return replace(short, allowed_changes=tuple(allowed and is_possible(short, choice) for choice, allowed in offered))


def _change(change: FieldChange) -> FieldChange:
    if isinstance(change, ShiftRelease):
        return replace(change, step_s=min(change.step_s, _STEP_MOST_S))
    return change


def _short(firing: Firing | None, at: int) -> Firing | None:
    if firing is None:
        return None
    return replace(firing, at_s=at, fire_s=min(firing.fire_s, _FIRE_MOST_S), pause_s=min(firing.pause_s, _PAUSE_MOST_S))


def _window(window: Window, scale: _Scale, end: int) -> Window:
    clip = window.clip
    if clip is not None:
        clip = Clip(scale(clip.start_s), scale(clip.stop_s), clip.start_moves, clip.stop_moves)
    if window.follow is not None:
        follow = replace(window.follow, trail_s=min(window.follow.trail_s, _TRAIL_MOST_S))
        return replace(window, clip=clip, follow=follow)
    start = scale(window.start_s or 0)
    stop = None if window.stop_s is None else max(start + 1, min(scale(window.stop_s), end))
    if window.burst is None:
        return replace(window, start_s=start, stop_s=stop)
    every = max(2, scale.length(window.burst.every_s))
    burst = Burst(every, min(every - 1, scale.length(window.burst.on_s)), window.burst.count)
    if stop is None:
        return replace(window, start_s=start, burst=replace(burst, count=bursts_without_end(start, every)))
    fits = max(1, (end - 1 - start - burst.on_s) // every + 1)
    burst = replace(burst, count=min(burst.count, fits))
    return replace(window, start_s=start, stop_s=burst_stop(start, burst), burst=burst)

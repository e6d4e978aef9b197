"""From windows to what each output does: merged on-times, and edges. Interval by interval, not second by second.

Where windows of one output overlap, the highest level of those that are on counts; where a steady window is among
them, the output is steady; of two flash patterns the first window's counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from schedgen.plan.model import FLASH_STEPS, Clip, Edge, Firing, Flash, OnTime, Window
from schedgen.plan.moment import NEVER, State, cut_there, moved

Span = tuple[int, int]
"""[start, stop) in elapsed seconds; stop NEVER where there is none."""
ByOutput = Mapping[str, Sequence[Window]]


def merge(spans: Iterable[Span]) -> list[Span]:
    """The spans in order, those that overlap or touch made one, empty ones left out."""
    merged: list[Span] = []
    for start, stop in sorted(spans):
        if stop <= start:
            continue
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], stop))
        else:
            merged.append((start, stop))
    return merged


def clip(spans: Iterable[Span], start: int, stop: int) -> list[Span]:
    """What of the spans lies within [start, stop)."""
    return [(max(a, start), min(b, stop)) for a, b in spans if max(a, start) < min(b, stop)]


def _only(spans: list[Span], cut: Clip | None, state: State) -> list[Span]:
    if cut is None:
        return spans
    start = cut.start_s + (state.shift if cut.start_moves else 0)
    stop = cut.stop_s + (state.shift if cut.stop_moves else 0)
    return clip(spans, start, stop)


def occurrences(window: Window, state: State) -> list[Span]:
    """Each time that a window which is no follower is on: its span, or its bursts.

    Bursts without end are given as far as `state.end`.
    """
    start, stop = moved(window, state)
    limit = state.cut if cut_there(window, state) else NEVER
    if window.burst is None:
        spans = [(start, stop)]
    else:
        every, on = window.burst.every_s, window.burst.on_s
        latest = (state.end - 1 if stop == NEVER else stop - on) - start
        count = latest // every + 1
        if stop != NEVER:
            count = min(count, window.burst.count)
        spans = [(start + k * every, start + k * every + on) for k in range(count)]
    return [(a, min(b, limit)) for a, b in spans if a < min(b, limit)]


def _cover(window: Window, leaders: Sequence[Window], state: State) -> list[Span]:
    """On-times of a follower: lead and trail around every time that its leader is on, gaps closed, then clipped.

    What begins at `state.end` or later comes no more, and is not followed.
    """
    assert window.follow is not None
    spans: list[Span] = []
    for leader in leaders:
        if leader.follow is not None:
            continue
        limit = state.cut if cut_there(leader, state) else NEVER
        spans += [
            (a - window.follow.lead_s, min(b + window.follow.trail_s, limit))
            for a, b in occurrences(leader, state)
            if a < state.end
        ]
    return clip(_only(merge(spans), window.clip, state), state.first_edge, state.end)


def spans_of(window: Window, outputs: ByOutput, state: State) -> list[Span]:
    """When `window` is on, merged, between the first edge and `end` (without end: as far as it goes)."""
    if window.follow is None:
        end = NEVER if window.stop_s is None else state.end
        return clip(merge(occurrences(window, state)), state.first_edge, end)
    leaders = outputs.get(window.follow.leader, ())
    if window.follow.mode == "cover":
        return _cover(window, leaders, state)
    recording = merge(span for leader in leaders for span in spans_of(leader, outputs, state))
    recording = clip(recording, state.first_edge, state.end)
    pulses = [(b - window.follow.lead_s - 1, b - window.follow.lead_s, a) for a, b in recording]
    return [(start, stop) for start, stop, begin in pulses if start >= begin]


Piece = tuple[int, int, int, "Flash | None", int]
"""start, stop, level, pattern, line."""


def pieces_of(windows: Sequence[Window], outputs: ByOutput, state: State) -> list[Piece]:
    """On-times of all windows of one output, not yet merged with each other, in the order of the windows."""
    pieces: list[Piece] = []
    for window in windows:
        level = 100 if window.level is None else window.level
        spans = spans_of(window, outputs, state)
        pieces += [(a, b, level, window.flash, window.line) for a, b in spans]
        if window.burst is not None and window.stop_s is None:
            pattern = Flash(window.burst.every_s * FLASH_STEPS, window.burst.on_s * FLASH_STEPS)
            start, _ = moved(window, state)
            done = max(0, -(-(state.end - start) // window.burst.every_s))
            pieces.append((start + done * window.burst.every_s, NEVER, level, pattern, window.line))
    return pieces


def overlay(pieces: Sequence[Piece]) -> list[OnTime]:
    """The on-times of one output, all pieces laid over each other, in order."""
    begin: dict[int, list[int]] = {}
    finish: dict[int, list[int]] = {}
    for index, (start, stop, *_) in enumerate(pieces):
        begin.setdefault(start, []).append(index)
        finish.setdefault(stop, []).append(index)
    on: set[int] = set()
    result: list[OnTime] = []
    for at, until in pairwise(sorted({*begin, *finish})):
        on.difference_update(finish.get(at, ()))
        on.update(begin.get(at, ()))
        if not on:
            continue
        level = max(pieces[i][2] for i in on)
        steady = any(pieces[i][3] is None for i in on)
        flash = None if steady else pieces[min(on)][3]
        line = min(pieces[i][4] for i in on)
        last = result[-1] if result else None
        end = None if until == NEVER else until
        if last is not None and last.stop_s == at and (last.level, last.flash) == (level, flash):
            result[-1] = replace(last, stop_s=end)
        else:
            result.append(OnTime(at, end, level, flash, line))
    return result


def splice(parts: Sequence[tuple[int, Sequence[OnTime]]]) -> tuple[OnTime, ...]:
    """On-times that hold from one second to the next part's: (from second, on-times) in order, joined at the seams."""
    if len(parts) == 1:
        return tuple(parts[0][1])
    result: list[OnTime] = []
    for index, (start, on_times) in enumerate(parts):
        stop = parts[index + 1][0] if index + 1 < len(parts) else NEVER
        for one in on_times:
            a, b = max(one.start_s, start), min(NEVER if one.stop_s is None else one.stop_s, stop)
            if a >= b:
                continue
            last = result[-1] if result else None
            until = None if b == NEVER else b
            if last is not None and last.stop_s == a and (last.level, last.flash) == (one.level, one.flash):
                result[-1] = replace(last, stop_s=until)
            else:
                result.append(replace(one, start_s=a, stop_s=until))
    return tuple(result)


def edges_of(output: str, on_times: Sequence[OnTime]) -> tuple[Edge, ...]:
    """The changes of an output: on at each start, off at each stop where the next does not follow at once."""
    edges: list[Edge] = []
    for index, one in enumerate(on_times):
        edges.append(Edge(one.start_s, output, one.level, one.flash))
        following = on_times[index + 1].start_s if index + 1 < len(on_times) else None
        if one.stop_s is not None and one.stop_s != following:
            edges.append(Edge(one.stop_s, output, 0))
    return tuple(edges)


def firing_on_times(firing: Firing, end_s: int) -> tuple[OnTime, ...]:
    """The tries of a release output, those every 6 h until `end` included."""
    spans = merge(firing.all_tries(end_s))
    return tuple(OnTime(start, stop) for start, stop in spans)

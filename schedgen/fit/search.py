"""The search itself: the best whole number of a knob, or of two together, for which a candidate passes.

A knob is taken to get harder one way: what passes at a value passes at every worse one between it and the next
sample. `scipy.optimize.bisect` finds the edge to one step; samples over the whole range guard against a gap.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from schedgen.errors import UsageError
from schedgen.fit.edits import Edit
from schedgen.fit.trial import Trial

SAMPLES = 25
"""Values over the range of a knob that are tried before the edge is sought."""
GRID_MOST = 120
"""Most values of the second knob of two."""

Judge = Callable[[Sequence[Edit]], Trial]


@dataclass(frozen=True, slots=True)
class Knob:
    """Something that a wish may turn, in whole steps from `low` to `high`; `better` is the way it wants, +1 or -1.

    `edits` gives the edits of a value, `grid` a coarse step that a person would use.
    """

    label: str
    low: int
    high: int
    now: int
    better: int
    edits: Callable[[int], tuple[Edit, ...]]
    grid: int = 1


@dataclass(frozen=True, slots=True)
class Found:
    """The best values of the knobs, one each."""

    values: tuple[int, ...]
    score: float


def best(knobs: Sequence[Knob], judge: Judge) -> Found | None:
    """The best values of one or two knobs that pass; None where no sample passes."""
    if len(knobs) == 1:
        value = best_of_one(knobs[0], judge)
        return None if value is None else _found(knobs, (value,), judge)
    return best_of_two(knobs[0], knobs[1], judge)


def joined(knobs: Sequence[Knob], values: Sequence[int]) -> tuple[Edit, ...]:
    """The edits of all knobs at these values."""
    return tuple(edit for knob, value in zip(knobs, values, strict=True) for edit in knob.edits(value))


def _found(knobs: Sequence[Knob], values: tuple[int, ...], judge: Judge) -> Found:
    return Found(values, judge(joined(knobs, values)).scores[-1])


def samples_of(knob: Knob) -> list[int]:
    """Values over the range, the best first; what the file has is among them."""
    spread = {round(knob.low + (knob.high - knob.low) * k / (SAMPLES - 1)) for k in range(SAMPLES)}
    inside = {value for value in (*spread, knob.now) if knob.low <= value <= knob.high}
    return sorted(inside, reverse=knob.better > 0)


def best_of_one(
    knob: Knob, judge: Judge, beside: tuple[Edit, ...] = (), near: int | None = None, per_step: float = 0.0
) -> int | None:
    """The best value of one knob that passes, with `beside` made too; None where no sample passes.

    `near` is a guess: the edge is then sought from there in growing steps, and not over the whole range. `per_step` is
    what a step the better way takes of the trial's room, to sharpen the guess; 0 where that is not known.
    """

    def passes(value: int) -> bool:
        return judge((*beside, *knob.edits(value))).passes

    if near is not None:
        start = min(max(near, knob.low), knob.high)
        ahead = min(max(start + knob.better, knob.low), knob.high)
        if passes(start) and ahead != start and not passes(ahead):
            return start
        room = judge((*beside, *knob.edits(start))).room
        if per_step > 0 and math.isfinite(room):
            start = min(max(start + knob.better * math.floor(room / per_step), knob.low), knob.high)
        found = _gallop(knob, start, passes)
        if found is not None:
            return found
    fails: int | None = None
    for value in samples_of(knob):
        if passes(value):
            return value if fails is None else edge(value, fails, passes)
        fails = value
    return None


def _gallop(knob: Knob, start: int, passes: Callable[[int], bool]) -> int | None:
    """The edge next to `start`: ahead of it where it passes, behind it where it does not; None where there is none."""
    ahead = passes(start)
    way = knob.better if ahead else -knob.better
    last, step = start, 1
    while True:
        value = min(max(last + way * step, knob.low), knob.high)
        if value == last:
            return last if ahead else None
        if passes(value) != ahead:
            return edge(last, value, passes) if ahead else edge(value, last, passes)
        last, step = value, 4 * step


def edge(good: int, bad: int, passes: Callable[[int], bool]) -> int:
    """The last value from `good` toward `bad` that passes, given that `good` does and `bad` does not."""
    way = 1 if bad > good else -1
    steps = abs(bad - good)
    if steps > 1:
        root = bisection()(lambda t: 0.5 if passes(good + way * math.floor(t)) else -0.5, 0.0, float(steps), xtol=0.25)
        reach = min(max(math.floor(root), 0), steps - 1)
    else:
        reach = 0
    while reach > 0 and not passes(good + way * reach):
        reach -= 1
    while reach + 1 < steps and passes(good + way * (reach + 1)):
        reach += 1
    return good + way * reach


def bisection() -> Callable[..., float]:
    """scipy's bisection. Raises UsageError where scipy is not installed."""
    try:
        from scipy.optimize import bisect
    except ImportError:
        raise UsageError("fit needs the library scipy.", "Install it with: pip install 'schedgen[fit]'") from None
    found: Callable[..., float] = bisect
    return found


def best_of_two(first: Knob, second: Knob, judge: Judge) -> Found | None:
    """The best pair: for each value of the knob with fewer coarse steps the best of the other, then ever finer steps
    about the best pair. Ties keep the pair that changes the first-listed knob less."""
    order = (first, second)
    inner, outer = sorted(order, key=lambda knob: (knob.high - knob.low) / knob.grid, reverse=True)
    step = max(outer.grid, math.ceil((outer.high - outer.low) / GRID_MOST))
    tried: dict[int, tuple[float, int]] = {}
    per_step = 0.0

    def line(values: Sequence[int]) -> None:
        nonlocal per_step
        lost = 0
        for value in sorted(set(values) - set(tried), reverse=outer.better < 0):
            if not outer.low <= value <= outer.high:
                continue
            beside = outer.edits(value)
            found = best_of_one(inner, judge, beside, _guess(tried, value), per_step)
            if found is None:
                lost += bool(tried)
                if lost > 1:
                    return  # it only gets harder from here
                continue
            tried[value] = (judge((*beside, *inner.edits(found))).scores[-1], found)
            per_step = per_step or _per_step(inner, judge, beside, found)

    line([outer.now % step + step * k for k in range((outer.high // step) + 1)] + [outer.now, outer.low])
    while tried and step > 1:
        middle = max(tried, key=lambda value: tried[value])
        before, step = step, max(1, step // 8)
        line(range(middle - before + step, middle + before, step))
    if not tried:
        return None
    value = max(tried, key=lambda v: (tried[v][0], -abs(v - outer.now)))
    score, found = tried[value]
    values = (found, value) if inner is first else (value, found)
    return Found(values, score)


def _guess(tried: Mapping[int, tuple[float, int]], value: int) -> int | None:
    """The inner knob's value for an outer one, on the line through the two nearest answers; None without answers."""
    near = sorted(tried, key=lambda known: abs(known - value))[:2]
    if len(near) < 2:
        return tried[near[0]][1] if near else None
    (one, a), (other, b) = ((known, tried[known][1]) for known in near)
    return round(a + (value - one) * (a - b) / (one - other))


def _per_step(knob: Knob, judge: Judge, beside: tuple[Edit, ...], value: int) -> float:
    """What one step the better way takes of a trial's room, from the answer and one coarse step before it."""
    back = value - knob.better * knob.grid
    if not knob.low <= back <= knob.high:
        return 0.0
    rooms = [judge((*beside, *knob.edits(at))).room for at in (back, value)]
    return (rooms[0] - rooms[1]) / knob.grid if all(map(math.isfinite, rooms)) else 0.0

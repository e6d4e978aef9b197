"""The edges that happened against the edges of the Plan. Pure.

Both sides are lists of (elapsed second, level). A steady edge may be off by one tick of the controller's second and by
its clock's tolerance. A flash pattern is counted: its first edge is held to the same, and then each length, lit and
dark, to 20 ms.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from schedgen.plan.model import FLASH_STEPS, OnTime, Plan

TICK_S = 1.0
"""The controller looks once a second."""
LENGTH_S = 0.020
"""How far a length within a flash pattern may be off."""
TAIL_S = 8.0
"""What comes so near the end of the record is not compared: it may be cut in two by it."""
_LOOK_S = 30.0
"""An edge that is not found within this time of its planned second is missed, and what was seen instead is extra."""

Seen = Sequence[tuple[float, int]]


@dataclass(frozen=True, slots=True)
class Expected:
    """One edge that must come. `follows`: its distance from the edge before is a length of a flash pattern."""

    at_s: float
    level: int
    follows: bool = False


@dataclass
class Comparison:
    """What comparing found. Seconds; `worst_error_s` of steady edges and first edges of a pattern."""

    expected: int = 0
    seen: int = 0
    missed: int = 0
    extra: int = 0
    late: int = 0
    """Edges that came, further off than allowed."""
    worst_error_s: float = 0.0
    worst_length_s: float = 0.0
    """Largest error of a length in a flash pattern."""
    remarks: list[str] = field(default_factory=list)

    @property
    def agrees(self) -> bool:
        """Whether every edge came, none came on top, and each was in time."""
        return not (self.missed or self.extra or self.late)

    def add(self, other: Comparison) -> None:
        """Add another output's."""
        self.expected += other.expected
        self.seen += other.seen
        self.missed += other.missed
        self.extra += other.extra
        self.late += other.late
        self.worst_error_s = max(self.worst_error_s, other.worst_error_s)
        self.worst_length_s = max(self.worst_length_s, other.worst_length_s)
        self.remarks += other.remarks


def expected_edges(on_times: Sequence[OnTime], until_s: float) -> list[Expected]:
    """Every single edge of an output up to `until_s`, those of flash patterns one by one."""
    edges: list[Expected] = []
    level = 0
    last_stop: float | None = None
    for on in on_times:
        if on.start_s >= until_s:
            break
        if last_stop is not None and last_stop < on.start_s and level:
            edges.append(Expected(last_stop, 0))
            level = 0
        for edge in _edges_of(on, until_s):
            if edge.level != level:
                edges.append(edge)
                level = edge.level
        last_stop = float(on.stop_s) if on.stop_s is not None else None
    if last_stop is not None and level and last_stop < until_s:
        edges.append(Expected(last_stop, 0))
    return edges


def _edges_of(on: OnTime, until_s: float) -> Iterator[Expected]:
    if on.flash is None:
        yield Expected(float(on.start_s), on.level)
        return
    every, lit = on.flash.every_64 / FLASH_STEPS, on.flash.on_64 / FLASH_STEPS
    stop = min(until_s, float(on.stop_s)) if on.stop_s is not None else until_s
    k = 0
    while (start := on.start_s + k * every) < stop:
        yield Expected(start, on.level, follows=k > 0)
        if start + lit < stop:
            yield Expected(start + lit, 0, follows=True)
        k += 1


def compare_output(
    output: str, expected: Sequence[Expected], seen: Seen, tolerance: float, until_s: float = 1e12
) -> Comparison:
    """Go through both lists together; what does not match is missed or extra. The expected edges go to `until_s`."""
    found = Comparison(expected=len(expected), seen=len(seen))
    here = 0
    offset = 0.0
    for index, edge in enumerate(expected):
        due = edge.at_s + (offset if edge.follows else 0.0)
        reach = LENGTH_S * 5 if edge.follows else min(_LOOK_S, _room(expected, index))
        while here < len(seen) and (
            seen[here][0] < due - reach or (seen[here][1] != edge.level and seen[here][0] <= due + reach)
        ):
            _extra(found, output, seen[here])
            here += 1
        if here >= len(seen) or seen[here][0] > due + reach:
            _missed(found, output, edge)
            continue
        at = seen[here][0]
        here += 1
        _judge(found, output, edge, at - edge.at_s, offset, tolerance)
        offset = at - edge.at_s
    for one in seen[here:]:
        if one[0] < until_s - TICK_S * 2:
            _extra(found, output, one)
        else:
            found.seen -= 1
    return found


def _room(expected: Sequence[Expected], index: int) -> float:
    """How far an edge may be looked for without taking its neighbour's place, s."""
    gaps = [abs(expected[other].at_s - expected[index].at_s) for other in (index - 2, index + 2)
            if 0 <= other < len(expected)]  # fmt: skip
    return max(2 * TICK_S, min(gaps, default=_LOOK_S) / 2)


def _judge(found: Comparison, output: str, edge: Expected, error: float, offset: float, tolerance: float) -> None:
    if edge.follows:
        length = abs(error - offset)
        found.worst_length_s = max(found.worst_length_s, length)
        if length > LENGTH_S:
            found.late += 1
            _remark(found, f"{output}: a length in its flash pattern at {edge.at_s:.2f} s is off by {length:.3f} s")
        return
    found.worst_error_s = max(found.worst_error_s, abs(error))
    if abs(error) > TICK_S + tolerance * edge.at_s:
        found.late += 1
        _remark(
            found, f"{output}: the edge planned for {edge.at_s:.0f} s to level {edge.level} % is off by {error:+.2f} s"
        )


def _missed(found: Comparison, output: str, edge: Expected) -> None:
    found.missed += 1
    _remark(found, f"{output}: the edge planned for {edge.at_s:.2f} s to level {edge.level} % did not come")


def _extra(found: Comparison, output: str, seen: tuple[float, int]) -> None:
    found.extra += 1
    _remark(found, f"{output}: an edge to level {seen[1]} % at {seen[0]:.2f} s that the plan does not have")


def _remark(found: Comparison, text: str) -> None:
    if len(found.remarks) < 20:
        found.remarks.append(text)


def compare(plan: Plan, seen: dict[str, Seen], until_s: float) -> Comparison:
    """All outputs of the board: those of the plan, and those that it never uses (every edge of them is extra)."""
    whole = Comparison()
    until_s -= TAIL_S
    for output in dict.fromkeys([*plan.outputs, *seen]):
        planned = plan.outputs.get(output)
        expected = expected_edges(planned.on_times, until_s) if planned else []
        edges = [edge for edge in seen.get(output, ()) if edge[0] < until_s + 2 * TICK_S]
        whole.add(compare_output(output, expected, edges, plan.clock_tolerance, until_s))
    return whole

"""What a rehearsal found, for a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from schedgen.report import words

if TYPE_CHECKING:
    from schedgen.firmware.rehearse.faults import Faults
    from schedgen.firmware.rehearse.rehearsal import Rehearsal

Paint = Callable[..., str]
_MOST_REMARKS = 8


def rehearsal_lines(found: Rehearsal, code: str, paint: Paint) -> Iterator[str]:
    """The page of a rehearsal: verdict, edges, release, energy, the controller's own draw, speed."""
    comparison, record = found.comparison, found.record
    verdict = paint("as planned", "green", "bold") if found.passed else paint("NOT as planned", "red", "bold")
    yield f"Rehearsal of {code}: {verdict}"
    yield (
        f"  edges      {comparison.expected} expected, {comparison.seen} seen, {comparison.missed} missed, "
        f"{comparison.extra} extra, {comparison.late} out of time"
    )
    yield (
        f"             furthest off {comparison.worst_error_s:.2f} s; lengths in flash patterns "
        f"{comparison.worst_length_s * 1000:.0f} ms"
    )
    if found.planned_s is not None:
        seen = "never" if found.seen_s is None else f"{found.seen_s:.1f} s"
        yield f"  release    planned {found.planned_s} s, seen {seen}, bounds {found.lower_s} to {found.upper_s} s"
    planned_wh, happened_wh = found.energy_plan_wh, found.energy_edges_wh
    yield f"  energy     {planned_wh:.2f} Wh planned, {happened_wh:.2f} Wh by the edges that happened"
    draw = found.draw
    quiet = "" if found.quiet_awake is None else f", {100 * found.quiet_awake:.3f} % where nothing flashes"
    yield (
        f"  controller awake {100 * draw.awake:.3f} % of the time{quiet}; idle {100 * draw.idle:.2f} %; "
        f"{draw.low_a * 1e6:.0f} to {draw.high_a * 1e6:.0f} uA"
    )
    slow = "" if record.native else " (faster with a C++ compiler installed)"
    yield (
        f"  simulated  {words.duration(record.simulated_s)} in {record.wall_s:.1f} s: "
        f"{found.speed:.0f} times real time{slow}"
    )
    remarks = [*found.troubles, *comparison.remarks]
    for remark in remarks[:_MOST_REMARKS]:
        yield f"  ! {remark}"
    if len(remarks) > _MOST_REMARKS:
        yield f"  ! ... and {len(remarks) - _MOST_REMARKS} more (--json has them)"


def fault_lines(found: Faults, paint: Paint) -> Iterator[str]:
    """The page of the runs with faults: how many survived, and each that did not with its line to run it again."""
    style = "red" if found.failures else "green"
    yield f"Faults: {found.tried} tried, {paint(f'{found.survived} survived', style)}."
    yield "  " + ", ".join(f"{kind} {count}" for kind, count in found.by_kind.items())
    for one in found.failures:
        yield f"  ! {one.number}, {one.kind}: {one.about}"
        for wrong in one.wrong:
            yield f"      {wrong}"
        yield f"      again: {one.replay}"

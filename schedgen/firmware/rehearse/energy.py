"""The energy of what really happened: the Plan with its on-times taken from the edges that were seen. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from typing import TYPE_CHECKING

from schedgen.firmware.rehearse.compare import Seen
from schedgen.plan.model import FLASH_STEPS, Firing, Flash, OnTime, Plan

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.firmware.rehearse.scenario import Record

_PATTERN_PERIOD_S = 10.5
"""Pulses that come at least this often are one flash pattern (patterns reach 10 s)."""
IDLE_SHARE = 1 / 3
"""Current of a processor that idles with its clock running, as a share of the one awake: usual for these parts, from
memory."""


@dataclass(frozen=True, slots=True)
class Pulse:
    """One stretch on."""

    start_s: float
    stop_s: float
    level: int


def pulses_of(seen: Seen, until_s: float) -> list[Pulse]:
    """Stretches on, one after the other; the last one cut at `until_s`."""
    pulses: list[Pulse] = []
    since, level = 0.0, 0
    for at, now in [*seen, (until_s, 0)]:
        if at > until_s:
            break
        if level and at > since:
            pulses.append(Pulse(since, at, level))
        since, level = at, now
    return pulses


def on_times_of(seen: Seen, until_s: float) -> tuple[OnTime, ...]:
    """What an output did, patterns put together again, on whole seconds where it was steady."""
    on_times: list[OnTime] = []
    group: list[Pulse] = []
    for pulse in pulses_of(seen, until_s):
        if group and not _continues(group, pulse):
            on_times += _written(group)
            group = []
        group.append(pulse)
    return tuple(on_times + _written(group))


def _continues(group: Sequence[Pulse], pulse: Pulse) -> bool:
    last = group[-1]
    same = abs((pulse.stop_s - pulse.start_s) - (group[0].stop_s - group[0].start_s)) < 2 / FLASH_STEPS
    return same and pulse.level == last.level and pulse.start_s - last.start_s < _PATTERN_PERIOD_S


def _written(group: Sequence[Pulse]) -> list[OnTime]:
    if len(group) < 3:
        spans = [(round(one.start_s), max(round(one.stop_s), round(one.start_s) + 1), one.level) for one in group]
        return [OnTime(start, stop, level) for start, stop, level in spans]
    period = (group[-1].start_s - group[0].start_s) / (len(group) - 1)
    lit = fmean(one.stop_s - one.start_s for one in group)
    pattern = Flash(round(period * FLASH_STEPS), max(1, round(lit * FLASH_STEPS)))
    return [OnTime(round(group[0].start_s), round(group[-1].start_s + period), group[0].level, pattern)]


def flown(plan: Plan, seen: Mapping[str, Seen], until_s: float) -> Plan:
    """The plan with the on-times that happened; what is on at `until_s` stays on."""
    outputs = {}
    for name, planned in plan.outputs.items():
        edges = seen.get(name, ())
        times = on_times_of(edges, until_s)
        endless = bool(planned.on_times) and planned.on_times[-1].stop_s is None
        last = times[-1].stop_s if times else None
        if endless and last is not None and until_s - last < _PATTERN_PERIOD_S:
            times = (*times[:-1], replace(times[-1], stop_s=None))
        outputs[name] = replace(planned, on_times=times)
    return replace(plan, outputs=outputs, primary=_fired(plan.primary, seen), backup=_fired(plan.backup, seen))


def _fired(firing: Firing | None, seen: Mapping[str, Seen]) -> Firing | None:
    """The firing from when it really began; None where it never came."""
    if firing is None:
        return None
    first = next((at for at, level in seen.get(firing.output, ()) if level), None)
    return None if first is None else replace(firing, at_s=round(first))


@dataclass(frozen=True, slots=True)
class Draw:
    """The controller's own current, A, least and most that the board file gives."""

    awake: float
    """Share of the time that the processor works."""
    idle: float
    """Share of the time that it idles with its clock running (dimming, flash steps, the serial line)."""
    low_a: float
    high_a: float


def draw_of(record: Record, board: Board) -> Draw:
    """The controller's own draw over a record: awake, idle (a third of awake) and asleep."""
    whole = record.simulated_s or 1.0
    awake = record.awake_s / whole
    idle = record.asleep_s.get("idle", 0.0) / whole
    supply = board.supply
    currents = [
        asleep + (waking - asleep) * (awake + IDLE_SHARE * idle)
        for asleep, waking in ((supply.asleep.low, supply.awake.low), (supply.asleep.high, supply.awake.high))
    ]
    return Draw(awake, idle, currents[0], currents[1])

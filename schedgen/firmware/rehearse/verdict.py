"""Whether a run with a fault ended well: release inside its limits, beacon on, nothing where it must not be. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from schedgen.firmware.rehearse.compare import Seen, compare
from schedgen.firmware.rehearse.energy import pulses_of
from schedgen.plan.model import Plan

if TYPE_CHECKING:
    from schedgen.firmware.rehearse.scenario import Record

TICK_S = 3.0
"""Start by a contact, one look a second, the boot: what times may be off without any fault."""
PATTERN_S = 11.0
"""A flash pattern is lit at least once in this time."""


@dataclass(frozen=True, slots=True)
class Allowed:
    """What a run must show. Elapsed true seconds since the start; None for what has no bound here.

    `fires`: False where nothing may fire at all. `lag_s`: how far the controller may be behind, by its resets.
    """

    fires: bool = True
    not_before_s: float = 0.0
    no_later_s: float = 0.0
    lag_s: float = 0.0
    beacon_at_s: tuple[float, ...] = ()
    """When each kept output that the plan has on then must be seen on."""
    exact: bool = False
    """Every edge must be the plan's."""
    tolerance: float = 0.0
    """How far off the clock may be, as a share: so far off may a try's length be."""
    over_at_s: float | None = None
    """From here on nothing but what is kept may be on."""
    whole_try: bool = True
    """At least one try must run its whole length."""
    overrun_s: float = 0.0
    """How much longer a try may last: what hangs leaves its outputs as they are until the watchdog bites."""
    dark_until_s: float | None = None
    """No output at all may go on before."""
    dark_after_s: float | None = None
    """No output at all may be on after it."""
    forbidden: tuple[tuple[float, float], ...] = ()
    """Stretches in which no release output may be on (dry, in the workshop)."""


@dataclass
class Findings:
    """What was wrong; empty when the run ended well."""

    wrong: list[str] = field(default_factory=list)

    def must(self, holds: bool, text: str) -> None:
        """Note `text` unless it holds."""
        if not holds:
            self.wrong.append(text)


def release_outputs(plan: Plan) -> list[str]:
    """Outputs that fire a release."""
    return [firing.output for firing in (plan.primary, plan.backup) if firing is not None]


def judge(plan: Plan, seen: Mapping[str, Seen], until_s: float, allowed: Allowed, record: Record) -> list[str]:
    """What was wrong with a run; `seen` in true seconds since the start."""
    found = Findings()
    tries = sorted(
        (pulse.start_s, pulse.stop_s) for name in release_outputs(plan) for pulse in pulses_of(seen[name], until_s)
    )
    _judge_release(found, plan, tries, allowed)
    _judge_beacon(found, plan, seen, until_s, allowed)
    _judge_quiet(found, plan, seen, until_s, allowed)
    for rule, count in record.broken_rules.items():
        found.must(False, f"{rule} ({count} times)")
    if allowed.exact:
        comparison = compare(plan, dict(seen), until_s)
        found.must(comparison.agrees, "; ".join(comparison.remarks[:3]) or "edges differ from the plan")
    return found.wrong


def _judge_release(found: Findings, plan: Plan, tries: Sequence[tuple[float, float]], allowed: Allowed) -> None:
    for begin, end in tries:
        for first, last in allowed.forbidden:
            found.must(not (begin < last and end > first), f"the release was on at {begin:.1f} s, where it must not be")
    if not allowed.fires:
        found.must(not tries, f"the release fired at {tries[0][0]:.1f} s" if tries else "")
        return
    if not tries:
        found.must(False, f"the release never fired; it had to by {allowed.no_later_s:.0f} s")
        return
    first = tries[0][0]
    found.must(
        first >= allowed.not_before_s, f"the release fired at {first:.1f} s, before {allowed.not_before_s:.1f} s"
    )
    found.must(
        first <= allowed.no_later_s, f"the release fired at {first:.1f} s, later than {allowed.no_later_s:.1f} s"
    )
    firing = plan.primary or plan.backup
    if firing is not None and allowed.whole_try:
        longest = max(end - begin for begin, end in tries)
        off = firing.fire_s * allowed.tolerance + 2
        most = firing.fire_s + off + allowed.overrun_s
        found.must(longest >= firing.fire_s - off, f"no try ran its {firing.fire_s} s; the longest {longest:.1f} s")
        found.must(longest <= most, f"a try of {firing.fire_s} s ran {longest:.1f} s")


def kept_at(plan: Plan, second: float) -> list[str]:
    """The kept outputs that the plan has on (or flashing) at an elapsed second."""
    names = []
    for name in plan.interlocks.keep:
        for on in plan.outputs[name].on_times if name in plan.outputs else ():
            if on.start_s <= second and (on.stop_s is None or second < on.stop_s):
                names.append(name)
                break
    return names


def _judge_beacon(found: Findings, plan: Plan, seen: Mapping[str, Seen], until_s: float, allowed: Allowed) -> None:
    for at in allowed.beacon_at_s:
        for name in kept_at(plan, plan.events["surface"].late + 1):
            lit = any(pulse.start_s < at + PATTERN_S and pulse.stop_s > at for pulse in pulses_of(seen[name], until_s))
            found.must(lit, f"{name} ({plan.outputs[name].role}) was not on at {at:.0f} s")


def _judge_quiet(found: Findings, plan: Plan, seen: Mapping[str, Seen], until_s: float, allowed: Allowed) -> None:
    for name, edges in seen.items():
        for pulse in pulses_of(edges, until_s):
            if allowed.dark_until_s is not None:
                found.must(pulse.start_s >= allowed.dark_until_s, f"{name} went on at {pulse.start_s:.1f} s")
            if allowed.dark_after_s is not None:
                found.must(pulse.stop_s <= allowed.dark_after_s, f"{name} was on at {pulse.stop_s:.1f} s")
            if allowed.over_at_s is not None and name not in plan.interlocks.keep:
                found.must(pulse.stop_s <= allowed.over_at_s, f"{name} was on at {pulse.stop_s:.1f} s, after the end")

"""Rules about whether the pack lasts: the reserve, the beacon, shedding too early, and the dive with one fault."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject
from schedgen.judge.words import elapsed, listed, number, span, span_down, span_up

if TYPE_CHECKING:
    from schedgen.simulate.results import Account


MOST_TIMES_PARALLEL = 4
"""More parallel strings than this many times what is there are no advice: another cell, or less to feed, is."""


def least_parallel(subject: Subject, account: Account) -> int | None:
    """The least count of parallel strings that carries what this account needs; None where none would.

    Usable energy and reserve grow with the count, what is needed does not (the cells' own loss falls, which is
    left out). The reserve may be spent, unless the worst case is short of it: then all advice is the count that
    leaves it, so that two findings never advise two counts for one cause.
    """
    worst, parallel = subject.run.worst, subject.dive.pack.parallel
    counts = [parallel + 1]
    cases = [(account, account.usable_wh + account.reserve_wh)]
    if worst.margin_wh < 0:
        cases.append((worst, worst.usable_wh))
    for case, held in cases:
        if held <= 0:
            return None
        counts.append(math.ceil(parallel * case.needed_wh / held - 1e-9))
    return max(counts)


def _parallel_fix(subject: Subject, account: Account) -> str:
    """What to write for `parallel`, and the load that takes most."""
    from schedgen.simulate.results import CONTROLLER, IN_CELLS

    least = least_parallel(subject, account)
    loads = {name: wh for name, wh in account.by_load_wh.items() if name not in (CONTROLLER, IN_CELLS)}
    most = max(loads, key=lambda name: loads[name], default="")
    saving = f"use less of {most}, which takes most ({number(loads[most], 'Wh')})" if most else "ask for less"
    if least is None or least > MOST_TIMES_PARALLEL * subject.dive.pack.parallel:
        return saving
    return f"raise parallel from {subject.dive.pack.parallel} to {least}, or {saving}"


@decides("reserve-short", simulated=True)
def reserve_short(subject: Subject) -> Iterator[Outcome]:
    """The worst case must leave the reserve."""
    worst = subject.run.worst
    if worst.margin_wh < 0:
        yield subject.finding(
            "reserve-short",
            ("pack.parallel", "pack"),
            f"the worst case ({subject.run.worst_case}) takes {number(worst.needed_wh, 'Wh')} of"
            f" {number(worst.usable_wh, 'Wh')} that are there above the reserve of {number(worst.reserve_wh, 'Wh')}:"
            f" {number(-worst.margin_wh, 'Wh')} short",
            _parallel_fix(subject, worst),
            weight=weights.weigh(weights.POWER, -worst.margin_wh / max(worst.usable_wh, 1.0)),
        )


@decides("beacon-too-short", simulated=True)
def beacon_too_short(subject: Subject) -> Iterator[Outcome]:
    """The beacon lasts for `recovery.wait` after the primary's latest surfacing."""
    worst, wait = subject.run.worst, subject.dive.recovery.wait.high
    if worst.endurance_after_surface_h * 3600 < wait:
        yield subject.finding(
            "beacon-too-short",
            ("recovery.wait", "recovery"),
            f"after the latest surfacing the pack lasts {_hours(worst)}; recovery.wait asks for {span(wait)}",
            _parallel_fix(subject, worst),
            weight=weights.weigh(weights.FINDING, 1 - worst.endurance_after_surface_h * 3600 / wait),
        )
    needed = subject.plan.events["surface"].late + wait
    for name, _ in subject.loads_of("beacon", "locator"):
        last = _scheduled_until(subject, name)
        if last is not None and last < needed:
            yield subject.finding(
                "beacon-too-short",
                subject.line_place(subject.on_times(name)[-1].line, name, "until"),
                f"the schedule ends {name} {elapsed(last)}; recovery.wait asks for {span(wait)} after the latest"
                f" surfacing, {elapsed(needed)}",
                f"write {{load: {name}, from: release, until: end}}: it then goes on until the pack is empty",
                load=name,
                weight=weights.weigh(weights.FINDING, (needed - last) / wait),
            )


def _scheduled_until(subject: Subject, name: str) -> float | None:
    """When the last window of a load ends [s]; None where it goes on until the pack is empty, or never runs."""
    output = subject.plan.outputs.get(subject.dive.loads[name].wired_to)
    if output is None or not subject.on_times(name) or any(w.follow is not None for w in output.windows):
        return None
    ends = []
    for window in output.windows:
        if window.stop_s is None:
            return None
        burst = window.burst
        cycle = (window.start_s or 0) + burst.every_s * burst.count if burst is not None else 0
        ends.append(max(window.stop_s, cycle))
    return max(ends, default=None)


def _hours(account: Account) -> str:
    hours = account.endurance_after_surface_h
    return span(hours * 3600) if hours < 2 else number(hours, "h", 2 if hours < 100 else 3)


@decides("backup-surfacing", simulated=True)
def backup_surfacing(subject: Subject) -> Iterator[Outcome]:
    """The beacon lasts as long when the primary fails and the backup acts late."""
    case = subject.run.cases.get("backup-late")
    if subject.dive.release.backup is None:
        return
    if case is None:
        yield Missing("backup-surfacing", "the simulation has no case of a late backup")
        return
    wait = subject.dive.recovery.wait.high
    if case.account.endurance_after_surface_h * 3600 < wait:
        yield subject.finding(
            "backup-surfacing",
            ("release.backup.parts_after", "release.backup"),
            f"if the primary fails, the backup brings it up as late as {elapsed(case.account.surface_s)}; the pack then"
            f" lasts {_hours(case.account)} more, recovery.wait asks for {span(wait)}",
            f"{_parallel_fix(subject, case.account)}, or take a backup that acts sooner",
            weight=weights.weigh(weights.FINDING, 1 - case.account.endurance_after_surface_h * 3600 / wait),
        )


@decides("early-release", simulated=True)
def early_release(subject: Subject) -> Iterator[Outcome]:
    """No low-voltage limit may act before the planned release."""
    worst, plan = subject.run.worst, subject.plan
    at = plan.primary.at_s if plan.primary is not None else plan.events["release"].early
    limits = (
        ("release_below", worst.release_below_at_s, plan.interlocks.release_below_v, weights.RETURN),
        ("shed", worst.shed_at_s, plan.interlocks.shed_v, weights.POWER),
    )
    for key, when, volts, kind in limits:
        if when is None or when >= at:
            continue
        does = "asks for the release" if key == "release_below" else "switches off all but beacon, locator and release"
        yield subject.finding(
            "early-release",
            (f"pack.{key}", "pack.parallel"),
            f"the worst case falls below {key} ({number(volts, 'V')} a cell) {elapsed(when)} and {does},"
            f" {span(at - when)} before the release ({elapsed(at)})",
            f"{_parallel_fix(subject, worst)}, or release {span_up(at - when)} earlier",
            weight=weights.weigh(kind, (at - when) / max(at, 1)),
        )


def uncovered(subject: Subject, account: Account) -> list[str]:
    """What a case leaves without power: `release`, `beacon`; empty when both are covered."""
    from schedgen.judge.volts import release_shortfall

    lost = []
    last = subject.plan.primary.last_end_s if subject.plan.primary is not None else None
    starved = last is not None and account.empty_at_s is not None and account.empty_at_s < last
    if starved or release_shortfall(subject, account):
        lost.append("release")
    if account.endurance_after_surface_h * 3600 < subject.dive.recovery.wait.high:
        lost.append("beacon")
    return lost


@decides("string-loss", simulated=True)
def string_loss(subject: Subject) -> Iterator[Outcome]:
    """With one parallel string lost, release and beacon should still be covered."""
    parallel = subject.dive.pack.parallel
    if parallel == 1:
        yield subject.finding(
            "string-loss",
            ("pack.parallel", "pack"),
            "the pack is one single string: a bad cell or weld takes everything, release and beacon included",
            "raise parallel to 2 or more, or count on an independent backup and another beacon",
            weight=weights.weigh(weights.POWER, 1.0),
        )
        return
    case = subject.run.cases.get("string-lost")
    if case is None:
        yield Missing("string-loss", "the simulation has no case of a lost string")
        return
    lost = uncovered(subject, case.account)
    if lost:
        yield subject.finding(
            "string-loss",
            ("pack.parallel", "pack"),
            f"with one of {parallel} strings lost, not covered: {listed(lost)} (the pack lasts {_hours(case.account)}"
            f" after surfacing)",
            _with_one_lost(subject, case.account),
            weight=weights.weigh(weights.POWER, 1 / parallel),
        )


def _with_one_lost(subject: Subject, account: Account) -> str:
    """What to write so that the dive is carried with one string lost, and with none: the least count, if one does."""
    parallel = subject.dive.pack.parallel
    counts = [parallel + 1]
    if subject.run.worst.margin_wh < 0:
        counts.append(least_parallel(subject, subject.run.worst) or 0)
    held = account.usable_wh + account.reserve_wh
    if held > 0:
        counts.append(math.ceil((parallel - 1) * account.needed_wh / held - 1e-9) + 1)
    if held <= 0 or counts[1:2] == [0] or max(counts) > MOST_TIMES_PARALLEL * parallel:
        return "charge fuller, take larger cells, or ask for less"
    return f"raise parallel from {parallel} to {max(counts)}"


@decides("load-stuck-on", simulated=True)
def load_stuck_on(subject: Subject) -> Iterator[Outcome]:
    """With any one load stuck on, release and beacon should still be covered."""
    for name, load in subject.dive.loads.items():
        case = subject.run.cases.get(f"stuck:{name}")
        if case is None:
            continue
        lost = uncovered(subject, case.account)
        if lost:
            yield subject.finding(
                "load-stuck-on",
                f"loads.{name}",
                f"with {name} stuck on, not covered: {listed(lost)} (the pack lasts {_hours(case.account)} after"
                f" surfacing)",
                f"put a second switch before {name} ({load.wired_to}), take a larger pack, or accept it with a reason",
                load=name,
                weight=weights.weigh(weights.POWER, 0.5),
            )


@decides("armed-idle", simulated=True)
def armed_idle(subject: Subject) -> Iterator[Outcome]:
    """How long it may stay armed before that eats the reserve; with nothing above it, reserve-short has said so."""
    from schedgen.judge.idle import armed_w, may_stay_armed_s

    armed = subject.dive.start.armed_for
    if armed is None:
        yield Missing(
            "armed-idle", f"start.armed_for is not given; armed it takes {number(armed_w(subject) * 24, 'Wh')} a day"
        )
        return
    allowed = may_stay_armed_s(subject)
    if 0 < allowed < armed.high:
        yield subject.finding(
            "armed-idle",
            "start.armed_for",
            f"armed for {span(armed.high)} it takes {number(armed_w(subject) * armed.high / 3600, 'Wh')}"
            f" ({number(armed_w(subject) * 24, 'Wh')} a day) and eats the reserve after {span(allowed)}",
            f"arm at most {span_down(allowed)} before the start, or charge again before",
            weight=weights.weigh(weights.POWER, 1 - allowed / armed.high),
        )

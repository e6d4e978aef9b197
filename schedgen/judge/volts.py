"""Rules about volts: what board, rails, cells and release need, and what the pack gives."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Outcome, Subject
from schedgen.judge.words import apart, elapsed, number, span

if TYPE_CHECKING:
    from schedgen.board.model import Rail
    from schedgen.dive.model import Actuator
    from schedgen.simulate.results import Account

WORKS_DOWN_TO = 0.8
"""A motor, magnet or hot wire is taken to work down to this share of the voltage it was measured at.
Common practice, no source."""
SAME = 1e-9
"""Volts that differ by less than this share are the same: 3 x 4.2 V is 12.6 V, whatever binary fractions say."""


@dataclass(frozen=True, slots=True)
class Need:
    """A least pack voltage: who needs it, the lowest it gets and when; `releases`: the release hangs on it."""

    who: str
    volts: float
    lowest_v: float
    at_s: float | None
    where: tuple[str, ...]
    releases: bool
    load: str = ""


def rail_need_v(rail: Rail) -> float:
    """The least pack voltage a rail runs from [V]; 0 for one that asks nothing."""
    need = rail.input.low if rail.input is not None else 0.0
    if rail.kind in ("buck", "linear") and rail.voltage is not None:
        need = max(need, rail.voltage.nominal + (rail.dropout.high if rail.dropout is not None else 0.0))
    return need


def cut_v(subject: Subject) -> tuple[float, str]:
    """The pack voltage at which protection or cell ends the discharge [V], and what sets it."""
    pack, cut_off = subject.dive.pack, subject.cell.cut_off.nominal
    low_cut = pack.protection.low_cut if pack.protection is not None else None
    if low_cut is not None and low_cut.high > cut_off:
        return low_cut.high * pack.series, "the protection's low_cut"
    return cut_off * pack.series, "the cells' cut-off"


def actuators(subject: Subject) -> Iterator[tuple[str, str, Actuator]]:
    """Dotted path, the account's name and the actuator, of each that the controller fires."""
    from schedgen.simulate.results import BACKUP, PRIMARY

    release = subject.dive.release
    yield from (
        (path, key, actuator)
        for path, key, actuator in (
            ("release.primary", PRIMARY, release.primary),
            ("release.backup", BACKUP, release.backup),
        )
        if actuator is not None and actuator.wired_to is not None
    )


def release_shortfall(subject: Subject, account: Account) -> list[Need]:
    """What the actuators do not get while they fire, in this account."""
    short = []
    for path, key, actuator in actuators(subject):
        volts = account.lowest_firing_voltage.get(key)
        if volts is None or actuator.kind == "burn wire":
            continue
        measured = actuator.measured_at.nominal if actuator.measured_at is not None else nominal_pack_v(subject)
        if volts < WORKS_DOWN_TO * measured:
            short.append(
                Need(
                    f"the {actuator.kind} (80 % of the {number(measured, 'V')} it was measured at)",
                    WORKS_DOWN_TO * measured,
                    volts,
                    account.lowest_release_voltage_at_s,
                    (f"{path}.measured_at", path),
                    True,
                )
            )
    return short


def nominal_pack_v(subject: Subject) -> float:
    """The nominal pack voltage [V], what `measured_at` is when left out: as plan and simulation take it."""
    from schedgen.plan import mechanism

    return mechanism.nominal_pack_v(subject.dive, subject.cell)


def _board_needs(subject: Subject, account: Account) -> Iterator[Need]:
    """Board, cut and the controller's rail: needed all the time. With a power bank only the cut is the pack's."""
    lowest, when = account.lowest_voltage_v, account.lowest_voltage_at_s
    early = lowestbefore_release_over(subject, account)
    volts, who = cut_v(subject)
    if subject.dive.pack.supplies is None:
        supply, where = subject.board.supply, ("pack.series", "pack")
        yield Need(
            f"the board {subject.board.board}", supply.voltage.low, lowest, when, where, early < supply.voltage.low
        )
        rail = subject.board.rails.get(supply.rail)
        if rail is not None:
            yield Need(
                f"the controller's rail {supply.rail}",
                rail_need_v(rail),
                lowest,
                when,
                where,
                early < rail_need_v(rail),
            )
        yield Need(who, volts, lowest, when, ("pack.parallel", "pack"), early < volts)


def lowestbefore_release_over(subject: Subject, account: Account) -> float:
    """The lowest voltage until the last try is over [V], in this account and the traces of the worst corners."""
    last = subject.plan.primary.last_end_s if subject.plan.primary is not None else 0
    found = [account.lowest_voltage_v] if account.lowest_voltage_at_s <= last else []
    for name in ("energy", "voltage"):
        case = subject.run.cases.get(name)
        if case is not None:
            found.append(float(case.trace.voltage_v[case.trace.time_s <= last].min(initial=math.inf)))
    return min(found, default=math.inf)


def _output_needs(subject: Subject, account: Account) -> Iterator[Need]:
    """The rail of each load, while the load is on."""
    if subject.dive.pack.supplies is not None:
        return
    users = [(name, load.wired_to, f"loads.{name}", False) for name, load in subject.dive.loads.items()]
    users += [("release", a.wired_to or "", path, True) for path, _, a in actuators(subject)]
    for name, wired_to, path, releases in users:
        output = subject.board.outputs.get(wired_to)
        lowest = account.lowest_output_v.get(wired_to)
        if output is None or lowest is None:
            continue
        rail = subject.board.rails.get(output.rail)
        if rail is not None:
            need = rail_need_v(rail)
            load = "" if releases else name
            yield Need(f"{name} on rail {output.rail}", need, lowest, None, (f"{path}.wired_to", path), releases, load)


def before_release_over(subject: Subject, when: float | None) -> bool:
    """True when the moment (elapsed s) is not after the primary's last try."""
    last = subject.plan.primary.last_end_s if subject.plan.primary is not None else 0
    return when is not None and when <= last


@decides("voltage-too-low", simulated=True)
def voltage_too_low(subject: Subject) -> Iterator[Outcome]:
    """The worst sag stays above what board, converters and release need."""
    worst = subject.run.worst
    needs = [*_board_needs(subject, worst), *_output_needs(subject, worst), *release_shortfall(subject, worst)]
    short = [need for need in needs if need.lowest_v < need.volts - 1e-9]
    for need in _worst_of_each(short):
        when = f" {elapsed(need.at_s)}" if need.at_s is not None else ""
        lowest, least = apart(need.lowest_v, need.volts, "V")
        stops = "; this stops the release" if need.releases else ""
        yield subject.finding(
            "voltage-too-low",
            need.where,
            f"the worst case sags to {lowest}{when}; {need.who} needs {least}{stops}",
            _more_volts(subject, need),
            load=need.load,
            final=need.releases and not subject.backup_is_independent,
            weight=weights.weigh(weights.LIFE if need.releases else weights.POWER, 1 - need.lowest_v / need.volts),
        )
    if not short and worst.empty_at_s is not None and worst.empty_at_s < worst.end_s:
        releases = before_release_over(subject, worst.empty_at_s)
        yield subject.finding(
            "voltage-too-low",
            ("pack.parallel", "pack"),
            f"the worst case is empty {elapsed(worst.empty_at_s)}, {span(worst.end_s - worst.empty_at_s)} before the"
            f" end of the dive",
            _larger(subject),
            final=releases and not subject.backup_is_independent,
            weight=weights.weigh(weights.LIFE if releases else weights.POWER, 1 - worst.empty_at_s / worst.end_s),
        )


def _larger(subject: Subject) -> str:
    from schedgen.judge.energy import MOST_TIMES_PARALLEL, least_parallel

    parallel = subject.dive.pack.parallel
    least = least_parallel(subject, subject.run.worst)
    if least is None or least > MOST_TIMES_PARALLEL * parallel:
        return "charge fuller, take a pack with more life left, or ask for less"
    return f"raise parallel from {parallel} to {least}, release earlier, or charge fuller"


def _more_volts(subject: Subject, need: Need) -> str:
    """More strings where the cells run out, more cells in series where board or rail ask for more than these give."""
    series = subject.dive.pack.series
    cut, _ = cut_v(subject)
    if need.volts <= cut + 1e-9 or need.lowest_v <= 0:
        return _larger(subject)
    most = subject.board.supply.voltage.high / subject.cell.full.high
    wanted = math.ceil(series * need.volts / need.lowest_v - 1e-9)
    if wanted <= most:
        return f"raise series from {series} to {wanted}, or take a board that works with less"
    return f"{_larger(subject)}, or take a board that works with less"


def _worst_of_each(needs: list[Need]) -> list[Need]:
    """The worst of the whole board, and of each load that asks for more than mending that would give."""
    worst: dict[str, Need] = {}
    for need in needs:
        held = worst.get(need.load)
        if held is None or (need.releases, need.volts - need.lowest_v) > (held.releases, held.volts - held.lowest_v):
            worst[need.load] = need
    board = worst.get("")
    return [need for need in worst.values() if board is None or need is board or need.volts > board.volts]


@decides("supply-mismatch")
def supply_mismatch(subject: Subject) -> Iterator[Outcome]:
    """The pack, from full to nearly empty, or the power bank, fits board and rails."""
    from schedgen.judge.idle import rest_v

    bank, pack = subject.dive.pack.supplies, subject.dive.pack
    if bank is not None:
        low, high, what = bank.voltage.low, bank.voltage.high, "the power bank's outputs"
        where: tuple[str, ...] = ("pack.supplies.voltage", "pack.supplies")
    else:
        low, high = rest_v(subject, 0.5), subject.cell.full.high * pack.series
        what, where = f"{pack.series} in series", ("pack.series", "pack")
    takes = [(f"the board {subject.board.board}", subject.board.supply.voltage.low, subject.board.supply.voltage.high)]
    used = {subject.board.outputs[out].rail for out in subject.plan.outputs if out in subject.board.outputs}
    for name in sorted(used | {subject.board.supply.rail}):
        rail = subject.board.rails.get(name)
        if rail is not None:
            top = rail.input.high if rail.input is not None else float("inf")
            takes.append((f"rail {name}", rail_need_v(rail), top))
    who, _, most = min(takes, key=lambda take: take[2])
    if high > most * (1 + SAME):
        fix = (
            f"take at most {math.floor(most / subject.cell.full.high + SAME)} in series"
            if bank is None
            else "take another bank"
        )
        says = f"{what} give up to {number(high, 'V')}; {who} takes at most {number(most, 'V')}"
        weight = weights.weigh(weights.POWER, high / most - 1)
        yield subject.finding("supply-mismatch", where, says, f"{fix}, or another board", weight=weight)
    who, least, _ = max(takes, key=lambda take: take[1])
    if low < least * (1 - SAME):
        need = math.ceil(least / (low / pack.series) - 1e-9)
        fix = f"take at least {need} in series" if bank is None else "take another bank"
        half = " at half charge" if bank is None else ""
        says = f"{what} give {number(low, 'V')}{half}; {who} needs at least {number(least, 'V')}"
        weight = weights.weigh(weights.POWER, 1 - low / least)
        yield subject.finding("supply-mismatch", where, says, f"{fix}, or another board", weight=weight)

"""Rules about volts and amperes: what boards, rails, outputs, cells and protection can take."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject
from schedgen.judge.words import elapsed, listed, number, share, span

if TYPE_CHECKING:
    from schedgen.board.model import Rail
    from schedgen.dive.model import Actuator
    from schedgen.simulate.results import Account

WORKS_DOWN_TO = 0.8
"""A motor, magnet or hot wire is taken to work down to this share of the voltage it was measured at.
Common practice, no source."""
CAUTION_FROM = 0.7
"""Share of the trip current from which a surge is a caution (the table of findings)."""


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
    """The nominal pack voltage [V], what `measured_at` is when left out: as the simulation takes it."""
    from schedgen.simulate.loads import NOMINAL_CELL_V

    return NOMINAL_CELL_V[subject.cell.chemistry] * subject.dive.pack.series


def _board_needs(subject: Subject, account: Account) -> Iterator[Need]:
    """Board, cut and the controller's rail: needed all the time. With a power bank only the cut is the pack's."""
    lowest, when = account.lowest_voltage_v, account.lowest_voltage_at_s
    before = _before_release_over(subject, when)
    volts, who = cut_v(subject)
    if subject.dive.pack.supplies is None:
        supply = subject.board.supply
        yield Need(f"the board {subject.board.board}", supply.voltage.low, lowest, when, ("board",), before)
        rail = subject.board.rails.get(supply.rail)
        if rail is not None:
            yield Need(f"the controller's rail {supply.rail}", rail_need_v(rail), lowest, when, ("board",), before)
        yield Need(who, volts, lowest, when, ("pack.protection.low_cut", "pack.series"), before)


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
            yield Need(f"{name} on rail {output.rail}", need, lowest, None, (f"{path}.wired_to", path), releases, name)


def _before_release_over(subject: Subject, when: float | None) -> bool:
    last = subject.plan.primary.last_end_s if subject.plan.primary is not None else 0
    return when is not None and when <= last


@decides("voltage-too-low", simulated=True)
def voltage_too_low(subject: Subject) -> Iterator[Outcome]:
    """The worst sag stays above what board, converters and release need."""
    from schedgen.judge.energy import least_parallel

    worst = subject.run.worst
    needs = [*_board_needs(subject, worst), *_output_needs(subject, worst), *release_shortfall(subject, worst)]
    short = [need for need in needs if need.lowest_v < need.volts - 1e-9]
    least = least_parallel(subject, worst, reserve_too=True) or subject.dive.pack.parallel + 1
    fix = f"raise parallel to {least} or series by 1, release earlier, or charge fuller"
    for need in _worst_of_each(short):
        final = need.releases and not subject.backup_is_independent
        when = f" {elapsed(need.at_s)}" if need.at_s is not None else ""
        stops = "; this stops the release" if need.releases else ""
        yield subject.finding(
            "voltage-too-low",
            need.where,
            f"the worst case sags to {number(need.lowest_v, 'V')}{when}; {need.who} needs"
            f" {number(need.volts, 'V')}{stops}",
            fix,
            load=need.load if need.load != "release" else "",
            final=final,
            weight=weights.weigh(weights.LIFE if need.releases else weights.POWER, 1 - need.lowest_v / need.volts),
        )
    if not short and worst.empty_at_s is not None and worst.empty_at_s < worst.end_s:
        releases = _before_release_over(subject, worst.empty_at_s)
        yield subject.finding(
            "voltage-too-low",
            ("pack.parallel", "pack"),
            f"the worst case is empty {elapsed(worst.empty_at_s)}, {span(worst.end_s - worst.empty_at_s)} before the"
            f" end of the dive",
            fix,
            final=releases and not subject.backup_is_independent,
            weight=weights.weigh(weights.LIFE if releases else weights.POWER, 1 - worst.empty_at_s / worst.end_s),
        )


def _worst_of_each(needs: list[Need]) -> list[Need]:
    """Of all that are short: the worst of the whole board, and the worst of each load."""
    worst: dict[str, Need] = {}
    for need in needs:
        held = worst.get(need.load)
        if held is None or (need.releases, need.volts - need.lowest_v) > (held.releases, held.volts - held.lowest_v):
            worst[need.load] = need
    return list(worst.values())


@decides("protection-trip", simulated=True)
def protection_trip(subject: Subject) -> Iterator[Outcome]:
    """The worst surge stays below what opens the protection or blows the fuse."""
    pack, worst = subject.dive.pack, subject.run.worst
    trip = pack.protection.trip_current if pack.protection is not None else None
    limits = [("protection.trip_current", trip, "the protection trips at"), ("fuse", pack.fuse, "the fuse is rated")]
    if trip is None and pack.fuse is None:
        yield Missing("protection-trip", "pack.protection.trip_current is not given")
    for key, limit, says in limits:
        if limit is None or worst.peak_current_a < CAUTION_FROM * limit.low:
            continue
        above = worst.peak_current_a > limit.low
        releases = above and _before_release_over(subject, worst.peak_current_at_s)
        yield subject.finding(
            "protection-trip",
            f"pack.{key}",
            f"the worst surge is {number(worst.peak_current_a, 'A')} {elapsed(worst.peak_current_at_s)};"
            f" {says} {number(limit.low, 'A')} ({share(worst.peak_current_a / limit.low)} of it)"
            + ("; then nothing runs, the release included" if releases else ""),
            "start the loads one after another (lead, or other times), or take a protection that trips at"
            f" {number(worst.peak_current_a / CAUTION_FROM, 'A', 2)} or more if cells and wires carry it",
            severity="stop" if above else "caution",
            final=releases and not subject.backup_is_independent,
            weight=weights.weigh(weights.LIFE if releases else weights.POWER, worst.peak_current_a / limit.low - 1),
        )


@decides("cell-overcurrent", simulated=True)
def cell_overcurrent(subject: Subject) -> Iterator[Outcome]:
    """No cell above its rated current at its temperature."""
    worst = subject.run.worst
    rated = subject.cell.rated_current_at(worst.peak_cell_current_c)
    if worst.peak_cell_current_a > rated:
        parallel = math.ceil(subject.dive.pack.parallel * worst.peak_cell_current_a / max(rated, 1e-9) - 1e-9)
        yield subject.finding(
            "cell-overcurrent",
            ("pack.parallel", "pack.cell"),
            f"a cell gives {number(worst.peak_cell_current_a, 'A')} at {number(worst.peak_cell_current_c, 'degC', 2)};"
            f" it is rated {number(rated, 'A')} there",
            f"raise parallel from {subject.dive.pack.parallel} to {parallel}, or run fewer loads at once",
            weight=weights.weigh(weights.LIFE, worst.peak_cell_current_a / max(rated, 1e-9) - 1),
        )


@decides("cell-too-cold", simulated=True)
def cell_too_cold(subject: Subject) -> Iterator[Outcome]:
    """The cells stay within their rated discharge temperatures."""
    low, high = subject.run.worst.cell_temperature_c
    rated = subject.cell.rated_temperature
    for over, got, bound, word in (
        (rated.low - low, low, rated.low, "coldest"),
        (high - rated.high, high, rated.high, "warmest"),
    ):
        if over > 0:
            yield subject.finding(
                "cell-too-cold",
                "pack.cell",
                f"the cells are {got:.1f} degC at their {word}; they are rated for {rated.low:g} to {rated.high:g} degC"
                f" when discharging (bound {bound:g} degC)",
                "take a cell rated for it (schedgen library lists them), or keep the pack "
                + ("warmer" if word == "coldest" else "out of the sun and away from the lamps"),
                weight=weights.weigh(weights.POWER, over / 10),
            )


@decides("output-overloaded", simulated=True)
def output_overloaded(subject: Subject) -> Iterator[Outcome]:
    """No output, rail or power bank above its limit, surge included."""
    worst, board = subject.run.worst, subject.board
    paths = {load.wired_to: (name, f"loads.{name}") for name, load in subject.dive.loads.items()}
    paths |= {actuator.wired_to: ("the release", path) for path, _, actuator in actuators(subject) if actuator.wired_to}
    for output, amperes in worst.peak_output_a.items():
        if output not in board.outputs or output not in paths:
            continue
        name, path = paths[output]
        yield from _overload(
            subject,
            amperes,
            board.outputs[output].limit.low,
            f"{name} takes up to {number(amperes, 'A')} on {output}, surge included; {output} carries",
            f"wire it to an output that carries {number(amperes, 'A', 2)} or more, or split it over two",
            (f"{path}.wired_to", path),
            name if name in subject.dive.loads else "",
        )
    for rail, amperes in worst.peak_rail_a.items():
        if rail not in board.rails:
            continue
        users = [name for name, load in subject.dive.loads.items() if board.outputs[load.wired_to].rail == rail]
        yield from _overload(
            subject,
            amperes,
            board.rails[rail].limit.low,
            f"rail {rail} gives up to {number(amperes, 'A')} ({listed(users) or 'the board'}); its limit is",
            f"move a load to another rail, or run {listed(users) or 'them'} at other times",
            (f"loads.{users[0]}.wired_to", "loads") if users else ("loads",),
        )
    bank, drawn = subject.dive.pack.supplies, worst.peak_current_a
    if bank is not None:
        yield from _overload(
            subject,
            drawn,
            bank.limit.low,
            f"the power bank gives up to {number(drawn, 'A')}; its limit is",
            "run fewer loads at once, or take a bank that gives more",
            ("pack.supplies.limit", "pack.supplies"),
        )


def _overload(
    subject: Subject, amperes: float, limit: float, says: str, fix: str, where: tuple[str, ...], load: str = ""
) -> Iterator[Outcome]:
    """The finding, where `amperes` are above `limit`; `says` ends before the limit."""
    if amperes > limit:
        yield subject.finding(
            "output-overloaded",
            where,
            f"{says} {number(limit, 'A')}",
            fix,
            load=load,
            weight=weights.weigh(weights.POWER, amperes / limit - 1),
        )


@decides("supply-mismatch")
def supply_mismatch(subject: Subject) -> Iterator[Outcome]:
    """The pack, from full to nearly empty, or the power bank, fits board and rails."""
    from schedgen.judge.idle import rest_v

    bank, pack = subject.dive.pack.supplies, subject.dive.pack
    if bank is not None:
        low, high, what = bank.voltage.low, bank.voltage.high, "the power bank"
        where: tuple[str, ...] = ("pack.supplies.voltage", "pack.supplies")
    else:
        low, high = rest_v(subject, 0.5), subject.cell.full.high * pack.series
        what, where = f"{pack.series} cells in series", ("pack.series", "pack")
    takes = [(f"the board {subject.board.board}", subject.board.supply.voltage.low, subject.board.supply.voltage.high)]
    used = {subject.board.outputs[out].rail for out in subject.plan.outputs if out in subject.board.outputs}
    for name in sorted(used | {subject.board.supply.rail}):
        rail = subject.board.rails.get(name)
        if rail is not None:
            top = rail.input.high if rail.input is not None else float("inf")
            takes.append((f"rail {name}", rail_need_v(rail), top))
    for who, least, most in takes:
        if high > most:
            fix = (
                f"take at most {int(most // subject.cell.full.high)} in series" if bank is None else "take another bank"
            )
            says = f"{what} give up to {number(high, 'V')}; {who} takes at most {number(most, 'V')}"
            excess = high / most - 1
        elif low < least:
            need = math.ceil(least / (low / pack.series) - 1e-9)
            fix = f"take at least {need} in series" if bank is None else "take another bank"
            half = " at half charge" if bank is None else ""
            says = f"{what} give {number(low, 'V')}{half}; {who} needs at least {number(least, 'V')}"
            excess = 1 - low / least
        else:
            continue
        weight = weights.weigh(weights.POWER, excess)
        yield subject.finding("supply-mismatch", where, says, f"{fix}, or another board", weight=weight)


@decides("pack-turns-itself-off", simulated=True)
def pack_turns_itself_off(subject: Subject) -> Iterator[Outcome]:
    """A power bank must see its keep-alive current often enough."""
    bank, worst = subject.dive.pack.supplies, subject.run.worst
    if bank is None:
        return
    if bank.off_below is None or bank.off_after is None:
        missing = "off_below" if bank.off_below is None else "off_after"
        yield Missing(
            "pack-turns-itself-off", f"pack.supplies.{missing} is not given; most banks turn themselves off: measure it"
        )
        return
    if worst.longest_low_current_s > bank.off_after.low:
        when = worst.longest_low_current_at_s
        yield subject.finding(
            "pack-turns-itself-off",
            ("pack.supplies.off_below", "pack.supplies"),
            f"the bank sees less than {number(bank.off_below.high * 1000, 'mA')}"
            f" for {span(worst.longest_low_current_s)}"
            + (f" from {elapsed(when)}" if when is not None else "")
            + f"; it turns itself off after {span(bank.off_after.low)}, and then nothing runs, the release included",
            "take a pack of bare cells with protection, or a bank with an always-on output",
            weight=weights.LIFE,
        )

"""Rules about amperes and cells: what outputs, rails, protection, cells and a power bank can take."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject
from schedgen.judge.volts import actuators, before_release_over
from schedgen.judge.words import apart, elapsed, listed, number, number_up, share, span

CAUTION_FROM = 0.7
"""Share of the trip current from which a surge is a caution (the table of findings)."""


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
        peak, trips = apart(worst.peak_current_a, limit.low, "A")
        releases = above and before_release_over(subject, worst.peak_current_at_s)
        yield subject.finding(
            "protection-trip",
            f"pack.{key}",
            f"the worst surge is {peak} {elapsed(worst.peak_current_at_s)}; {says} {trips}"
            f" ({share(worst.peak_current_a / limit.low)} of it{_for_hours(key, worst.peak_current_a, limit.low)})"
            + ("; then nothing runs, the release included" if releases else ""),
            f"start the loads one after another (lead, or other times), or take a {_larger_one(key)}"
            f" {number_up(worst.peak_current_a / CAUTION_FROM, 'A')} or more if cells and wires carry it",
            severity="stop" if above else "caution",
            final=releases and not subject.backup_is_independent,
            weight=weights.weigh(weights.LIFE if releases else weights.POWER, worst.peak_current_a / limit.low - 1),
        )


def _larger_one(key: str) -> str:
    return "fuse of" if key == "fuse" else "protection that trips at"


def _for_hours(key: str, amperes: float, rating_a: float) -> str:
    """What the current is of that which a fuse carries for hours; nothing for a protection."""
    from schedgen.physics.pack import fuse_use

    return f", {share(fuse_use(amperes, rating_a))} of what it carries for hours" if key == "fuse" else ""


@decides("cell-overcurrent", simulated=True)
def cell_overcurrent(subject: Subject) -> Iterator[Outcome]:
    """No cell above its rated current at its temperature; cells differ, and the best one takes most."""
    from schedgen.judge.sizing import strongest_cell_a

    worst = subject.run.worst
    rated = subject.cell.rated_current_at(worst.peak_cell_current_c)
    strongest = strongest_cell_a(subject, worst)
    if strongest > rated:
        given, allowed = apart(strongest, rated, "A")
        yield subject.finding(
            "cell-overcurrent",
            ("pack.parallel", "pack.cell"),
            f"the strongest cell gives {given} at {number(worst.peak_cell_current_c, 'degC', 2)}; it is rated {allowed}"
            " there",
            _more_strings(subject, worst.peak_cell_current_a * subject.dive.pack.parallel, rated),
            weight=weights.weigh(weights.LIFE, strongest / max(rated, 1e-9) - 1),
        )


def _more_strings(subject: Subject, amperes: float, rated_a: float) -> str:
    """The least count of strings among which the strongest cell takes no more than it is rated for."""
    from schedgen.physics.pack import largest_current_share
    from schedgen.simulate.corners import spread_of

    parallel, spread = subject.dive.pack.parallel, spread_of(subject.cell)
    counts = range(parallel + 1, 10 * parallel + 1)
    least = next((n for n in counts if amperes * largest_current_share(n, spread) <= rated_a), None)
    return f"raise parallel from {parallel} to {least}, or run fewer loads at once" if least else "run fewer loads"


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
        amperes = max(amperes, dimmed_a(subject, output, name))
        yield from _overload(
            subject,
            amperes,
            board.outputs[output].limit.low,
            (f"{name} takes up to", f"on {output}, surge included; {output} carries"),
            f"wire it to an output that carries {number_up(amperes, 'A')} or more, or split it over two",
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
            (f"rail {rail} gives up to", f"({listed(users) or 'the board'}); its limit is"),
            f"move a load to another rail, or run {listed(users) or 'them'} at other times",
            (f"loads.{users[0]}.wired_to", "loads") if users else ("loads",),
        )
    bank = subject.dive.pack.supplies
    if bank is not None:
        drawn = from_bank_a(subject, bank.voltage.low)
        yield from _overload(
            subject,
            drawn,
            bank.limit.low,
            ("the power bank gives up to", "; its limit is"),
            "run fewer loads at once, or take a bank that gives more",
            ("pack.supplies.limit", "pack.supplies"),
        )


def from_bank_a(subject: Subject, volts: float) -> float:
    """What a power bank of `volts` gives at most [A]: every rail at its own peak at once, which is the worse side."""
    total = 0.0
    for name, amperes in subject.run.worst.peak_rail_a.items():
        rail = subject.board.rails[name]
        if rail.voltage is None or rail.efficiency is None:
            total += amperes
        else:
            total += amperes * rail.voltage.nominal / rail.efficiency.low / volts
    return total


def dimmed_a(subject: Subject, output: str, name: str) -> float:
    """The current of a level output while it is on [A], 0 for others: a level is a share of on-time, not of current.

    At the rail's voltage, or the lowest that the pack has while it is on. `power_at` says otherwise, then 0.
    """
    load, wiring = subject.dive.loads.get(name), subject.board.outputs[output]
    if load is None or load.power_at or wiring.kind != "level":
        return 0.0
    rail = subject.board.rails[wiring.rail]
    volts = rail.voltage.nominal if rail.voltage is not None else subject.run.worst.lowest_output_v.get(output, 0.0)
    return load.power.high / volts if volts > 0 else 0.0


def _overload(
    subject: Subject,
    amperes: float,
    limit: float,
    says: tuple[str, str],
    fix: str,
    where: tuple[str, ...],
    load: str = "",
) -> Iterator[Outcome]:
    """The finding, where `amperes` are above `limit`; `says` goes before each of the two."""
    if amperes > limit:
        drawn, bound = apart(amperes, limit, "A")
        yield subject.finding(
            "output-overloaded",
            where,
            f"{says[0]} {drawn} {says[1]} {bound}".replace(" ;", ";"),
            fix,
            load=load,
            weight=weights.weigh(weights.POWER, amperes / limit - 1),
        )


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

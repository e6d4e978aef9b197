"""What a report says for information: worked-out figures of the dive that no finding hangs on, or that lie behind one.

Each is a line of text and its figures by name; a figure is None where it was not worked out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from schedgen.errors import OutOfRange
from schedgen.judge.subject import Subject
from schedgen.judge.words import many, number, share, span

Figure = float | int | bool | None
STEADY_S = 1e6
"""A light that does not flash: so long that the eye sees all of it."""
SEA = 35.0
"""Practical salinity of ocean water, to compare fresh water with."""


@dataclass(frozen=True, slots=True)
class Said:
    """One piece of information: its topic, what the report prints, and the numbers in it."""

    topic: str
    text: str
    figures: Mapping[str, Figure] = field(default_factory=dict)


def information(subject: Subject) -> tuple[Said, ...]:
    """All information about a dive, in a fixed order; what a missing or odd input leaves undecided is left out."""
    makers: tuple[Callable[[Subject], Iterator[Said]], ...] = (
        _pressure, _weight, _waters, _float_lost, _floating, _clock, _release, _light, _drift,
        _bench,
    )  # fmt: skip
    simulated = (_charge, _cold, _currents, _strings) if subject.results is not None else ()
    said: list[Said] = []
    for make in (*makers, *simulated):
        try:
            said += make(subject)
        except OutOfRange:
            continue
    return tuple(said)


def _pressure(subject: Subject) -> Iterator[Said]:
    low, _, high = subject.plan.fall.pressure_dbar
    yield Said(
        "Pressure",
        f"{number(low, 'dbar', 4)} to {number(high, 'dbar', 4)} on the bottom",
        {"least_dbar": low, "most_dbar": high},
    )


def _weight(subject: Subject) -> Iterator[Said]:
    fall = subject.plan.fall
    heavy, lift = fall.net_weight_n, fall.net_lift_n
    yield Said(
        "Weight",
        f"in the water {number(heavy[0], 'N')} to {number(heavy[2], 'N')} heavy with ballast on the bottom, "
        f"{number(lift[0], 'N')} to {number(lift[2], 'N')} light without it; lands at up to "
        f"{number(fall.landing_speed[2], 'm/s')}",
        {
            "least_heavy_n": heavy[0], "most_heavy_n": heavy[2], "least_lift_n": lift[0], "most_lift_n": lift[2],
            "landing_speed_m_s": fall.landing_speed[2],
        },
    )  # fmt: skip


def _lift_in(subject: Subject, salinity: float) -> float:
    """The least lift without ballast at the surface in water of a salinity, as warm as that of the site [N]."""
    from schedgen.physics.buoyancy import lift
    from schedgen.physics.seawater import density, gravity
    from schedgen.plan.fall import package

    site = subject.dive.site
    latitude, longitude = site.latitude.nominal, site.longitude.nominal
    warm = site.water[0].temperature.nominal
    heavy = package(subject.dive.vehicle, site, "heavy")
    rho = float(density(salinity, warm, 0.0, latitude, longitude))
    return float(lift(heavy.mass, heavy.volume, rho, float(gravity(latitude))))


def _waters(subject: Subject) -> Iterator[Said]:
    """The same package in other water: a float of the sea sinks in a lake."""
    fresh, salt = _lift_in(subject, 0.0), _lift_in(subject, SEA)
    yield Said(
        "Waters",
        f"least lift at the surface {number(salt, 'N')} in sea water of salinity {SEA:g}, {number(fresh, 'N')} in"
        " fresh water",
        {"in_sea_water_n": salt, "in_fresh_water_n": fresh},
    )


def _float_lost(subject: Subject) -> Iterator[Said]:
    from schedgen.judge.buoyancy import lift_without_a_float

    left = lift_without_a_float(subject)
    if left is not None:
        what = f"{number(left, 'N')} of lift left" if left > 0 else f"{number(-left, 'N')} too heavy to come up"
        yield Said(
            "Float lost",
            f"{what} with the largest of {len(subject.dive.vehicle.floats)} floats flooded",
            {"least_lift_n": left},
        )


def _floating(subject: Subject) -> Iterator[Said]:
    """How far the housing stands out of the water, and which end is up."""
    from schedgen.judge.buoyancy import height_out
    from schedgen.physics.buoyancy import floats_upright

    vehicle, lift = subject.dive.vehicle, subject.plan.fall.net_lift_n
    centres = vehicle.centres
    upright = None if centres is None else floats_upright(centres.of_mass.high, centres.of_volume.low)
    stands = {None: "which end is up is not known (vehicle.centres)", True: "it floats upright", False: "it may tip"}
    heights = [height_out(subject, max(0.0, force)) for force in (lift[0], lift[2])]
    if heights[0] is None or heights[1] is None:
        if upright is not None:
            yield Said("Floating", stands[upright], {"upright": upright})
        return
    yield Said(
        "Floating",
        f"top of the housing {heights[0] * 100:.1f} to {heights[1] * 100:.1f} cm out of the water; {stands[upright]}",
        {"least_out_m": heights[0], "most_out_m": heights[1], "upright": upright},
    )


def _clock(subject: Subject) -> Iterator[Said]:
    """How far the controller's clock may be off when each event is due, late bound."""
    plan = subject.plan
    off = {
        name: plan.clock_tolerance * plan.events[name].late
        for name in ("splash", "bottom", "release", "surface", "end")
    }
    shown = ", ".join(f"{seconds:.1f} s at {name}" for name, seconds in off.items() if seconds >= 0.05)
    yield Said(
        "Clock",
        f"{number(plan.clock_tolerance * 1e6, 'ppm')}; off by up to {shown}",
        {"ppm": plan.clock_tolerance * 1e6, **{f"{name}_s": seconds for name, seconds in off.items()}},
    )


def _release(subject: Subject) -> Iterator[Said]:
    """Powered time that the primary needs at its worst against what its tries give."""
    from schedgen.judge.release_strength import needed_s
    from schedgen.judge.volts import actuators

    if subject.results is None:
        return
    for _, key, actuator in actuators(subject):
        if actuator.fire is None or subject.run.worst.lowest_firing_voltage.get(key, 0.0) <= 0:
            continue
        found = needed_s(subject, key, actuator, actuator.fire.nominal)
        if found is None or found[1] == "assumed":
            continue
        (least, _, most), how, volts = found
        given = actuator.fire.low * actuator.tries
        known = "as tested" if how == "tested" else "by equation"
        yield Said(
            "Release" if key.endswith("primary") else "Backup",
            f"the {actuator.kind} needs {span(least)} to {span(most)} of power ({known}), lowest {number(volts, 'V')};"
            f" its tries give {span(given)}",
            {"least_s": least, "most_s": most, "given_s": given, "lowest_v": volts},
        )


def _light(subject: Subject) -> Iterator[Said]:
    """How far each white beacon is seen in clear air at night, by Allard's law: information, not a promise."""
    from schedgen.physics.light import flasher_range
    from schedgen.plan.model import FLASH_STEPS

    for name, load in subject.loads_of("beacon"):
        if (load.colour or "white").strip().lower() != "white" or not subject.on_times(name):
            continue
        flash = subject.on_times(name)[-1].flash
        lit_s = flash.on_64 / FLASH_STEPS if flash is not None else STEADY_S
        low, middle, high = flasher_range(load.power.nominal, lit_s)
        yield Said(
            "Light",
            f"{name} is seen from about {middle:.1f} nautical miles on a clear dark night ({low:.1f} to {high:.1f}, for"
            f" a usual LED); the horizon may be nearer",
            {"least_nm": low, "nominal_nm": middle, "most_nm": high},
        )


def _drift(subject: Subject) -> Iterator[Said]:
    from schedgen.judge.facts import drift_m

    metres = drift_m(subject)
    if metres is not None:
        text = f"up to {number(metres / 1000, 'km')} from where it surfaced after {span(_wait_s(subject))}"
        yield Said("Drift", text, {"radius_m": metres})


def _wait_s(subject: Subject) -> float:
    return subject.dive.recovery.wait.high


def _bench(subject: Subject) -> Iterator[Said]:
    """What the bench record that the file names found, and which guesses it replaces."""
    record = subject.parts.bench
    if record is None:
        return
    counts = {
        kind: sum(one.verdict == kind for one in record.outputs.values())
        for kind in ("connected", "not connected", "cannot tell", "not tried")
    }
    found = ", ".join(f"{count} {kind}" for kind, count in counts.items() if count)
    replaced = "; ".join(f"{path} {power}" for path, power in subject.parts.bench_replaced)
    text = f"record of {record.day}: {found}; "
    text += f"measured in place of guesses: {replaced}" if replaced else "it replaces no guess"
    yield Said("Bench", text, {kind.replace(" ", "_"): count for kind, count in counts.items()})


def _charge(subject: Subject) -> Iterator[Said]:
    """The charge that another dive left, where the file names its journal."""
    left = subject.parts.left
    if left is None:
        return
    days = max(0.0, (subject.plan.planned - left.ended).total_seconds() / 86400)
    begins = [case.corner["pack.charge"] for case in subject.run.cases.values()]
    yield Said(
        "Charge",
        f"dive {left.code} left {share(left.charge.low)} to {share(left.charge.high)}; {days:.1f} d of self-discharge"
        f" later the worst case begins with {share(min(begins))}. What the board drew after its last entry until it was"
        " disconnected is not in it",
        {"low": left.charge.low, "high": left.charge.high, "days_since": days, "worst_at_start": min(begins)},
    )


def _cold(subject: Subject) -> Iterator[Said]:
    """Both tables of the cold: the reference curves' and the pessimistic bound."""
    tables, run = subject.cell.tables, subject.run
    coldest = run.worst.cell_temperature_c[0]
    kind, poor = (tables.cold_share(coldest, pessimism) for pessimism in (0.0, 1.0))
    yield Said(
        "Cold",
        f"cells at {coldest:.1f} degC at their coldest: {share(poor)} of the charge within reach by the pessimistic"
        f" bound (worst case), {share(kind)} by the reference curves (nominal); {number(run.worst.cold_loss_wh, 'Wh')}"
        " kept back in the worst case",
        {
            "coldest_c": coldest, "pessimistic_share": poor, "nominal_share": kind,
            "worst_kept_back_wh": run.worst.cold_loss_wh, "nominal_kept_back_wh": run.nominal.cold_loss_wh,
        },
    )  # fmt: skip


def _currents(subject: Subject) -> Iterator[Said]:
    """The largest current against protection, fuse and the cell that takes most of it."""
    from schedgen.judge.sizing import strongest_cell_a
    from schedgen.physics.pack import fuse_use, trip_use

    pack, worst = subject.dive.pack, subject.run.worst
    peak = worst.peak_current_a
    rated = subject.cell.rated_current_at(worst.peak_cell_current_c)
    cell = strongest_cell_a(subject, worst)
    figures: dict[str, Figure] = {"peak_a": peak, "cell_a": cell, "cell_rated_a": rated}
    text = f"worst surge {number(peak, 'A')}"
    trip = pack.protection.trip_current if pack.protection is not None else None
    if trip is not None:
        figures["trip_share"] = trip_use(peak, trip.low)
        text += f", {share(trip_use(peak, trip.low))} of the protection's trip"
    if pack.fuse is not None:
        figures["fuse_share"] = fuse_use(peak, pack.fuse.low)
        text += f", {share(fuse_use(peak, pack.fuse.low))} of what the fuse carries for hours"
    text += f"; the strongest cell gives {number(cell, 'A')} of {number(rated, 'A')} rated"
    yield Said("Current", text, figures)


def _strings(subject: Subject) -> Iterator[Said]:
    """The least count of parallel strings that passes, and the room for it."""
    from schedgen.judge.sizing import least_strings, room_for

    parallel, series = subject.dive.pack.parallel, subject.dive.pack.series
    least = least_strings(subject)
    figures: dict[str, Figure] = {"parallel": parallel, "least_parallel": least}
    text = f"{many(parallel, 'string')} of {series}; "
    text += "no count tried would do" if least is None else f"{least} in parallel is the least that would do"
    room = room_for(subject, parallel)
    if room is not None:
        figures |= {"cells": room.cells, "most_in_bore": room.most, "bore_needed_m": room.bore_needed_m}
        text += (
            f"; {room.cells} cells {'stand' if room.fits else 'do not stand'} in one layer of the bore, which holds"
            f" {room.most} (they need {room.bore_needed_m * 1000:.1f} mm)"
        )
        if least is not None and least != parallel:
            smaller = room_for(subject, least)
            assert smaller is not None
            figures["least_fits"] = smaller.fits
            text += f"; {least} x {series} {'would' if smaller.fits else 'would not'} fit"
    yield Said("Pack", text, figures)

"""The recovery page: when to look, where, what to do at which hour, and for how long it can still be seen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from schedgen.plan.model import FURTHER_TRY_S
from schedgen.report import words
from schedgen.report.cases import PLANNED

if TYPE_CHECKING:
    from schedgen.judge.subject import Subject as Judged
    from schedgen.report.check import Subject

DRIFT_HOURS = (1, 2, 3, 6, 12, 24, 48, 72, 96)
MOST_LATER_TRIES = 2


@dataclass(frozen=True, slots=True)
class Rung:
    """One rung of the decision ladder: the hour, what is true by then, what to do."""

    instant: datetime
    what: str
    do: str


@dataclass(frozen=True, slots=True)
class Drift:
    """How far it can have drifted so many hours after it surfaced."""

    hours: int
    earliest: datetime
    """That many hours after the earliest surfacing."""
    radius_m: float


@dataclass(frozen=True, slots=True)
class Finder:
    """A beacon or locator: how long it lasts after surfacing [h], nominal and worst, and until when in the worst."""

    name: str
    role: str
    nominal_h: float
    worst_h: float
    until: datetime | None
    pattern: str


@dataclass(frozen=True, slots=True)
class RecoveryPage:
    """Everything on the recovery page that is worked out."""

    first: datetime
    nominal: datetime
    last: datetime
    daylight: str
    sun: str
    rungs: tuple[Rung, ...]
    drift: tuple[Drift, ...]
    finders: tuple[Finder, ...]
    wait_until: datetime
    backup: tuple[datetime, datetime] | None


def recovery_page(subject: Subject) -> RecoveryPage:
    """The recovery page of a dive."""
    from schedgen.judge.facts import surfacing
    from schedgen.judge.subject import Subject as Judged

    judged = Judged(subject.loaded, subject.plan, subject.results)
    first, last = surfacing(judged)
    plan = subject.plan
    wait_until = last + timedelta(seconds=plan.wait_s)
    backup = None
    if plan.backup_surface is not None:
        slack = plan.planned_plus_minus_s
        backup = (
            words.at(plan.planned, plan.backup_surface.early - slack),
            words.at(plan.planned, plan.backup_surface.late + slack),
        )
    return RecoveryPage(
        first=first,
        nominal=words.at(plan.planned, plan.true_events["surface"].nominal),
        last=last,
        daylight=subject.facts.daylight,
        sun=_sun(judged, first, last),
        rungs=_ladder(subject, first, last, wait_until, backup),
        drift=_drift(subject, first),
        finders=_finders(subject, last),
        wait_until=wait_until,
        backup=backup,
    )


def _sun(judged: Judged, first: datetime, last: datetime) -> str:
    """Civil dawn, sunrise, sunset and civil dusk of the day (or days) of the surfacing, local time."""
    from schedgen.errors import OutOfRange
    from schedgen.physics.daylight import sun_times

    site, zone = judged.dive.site, first.tzinfo
    lines = []
    for date in dict.fromkeys((first.date(), last.date())):
        offset = (first.utcoffset() or timedelta(0)).total_seconds() / 3600
        try:
            sun = sun_times(site.latitude.nominal, site.longitude.nominal, date, offset)
        except OutOfRange as error:
            return f"sun not worked out: {error.message}"
        marks = [
            f"{name} {instant.astimezone(zone):%H:%M}"
            for name, instant in (
                ("first light", sun.civil_dawn),
                ("sunrise", sun.sunrise),
                ("sunset", sun.sunset),
                ("last light", sun.civil_dusk),
            )
            if instant is not None
        ]
        if not marks:
            marks = ["the sun stays up" if sun.sun == "stays above" else "the sun stays down"]
        lines.append(f"{date.day} {date:%b}: {', '.join(marks)}")
    return "; ".join(lines)


def _ladder(
    subject: Subject,
    first: datetime,
    last: datetime,
    wait_until: datetime,
    backup: tuple[datetime, datetime] | None,
) -> tuple[Rung, ...]:
    plan = subject.plan
    rungs = [
        Rung(first, "earliest surfacing", "be on station up-current, well clear of where it comes up; look and listen"),
        Rung(last, "latest surfacing of the primary release", _when_missing(subject)),
    ]
    firing = plan.primary or plan.backup
    if firing is not None:
        tries = firing.all_tries(plan.end_s)[firing.tries :][:MOST_LATER_TRIES]
        for start, _ in tries:
            up = words.at(plan.planned, start + plan.fall.up_s[1])
            rungs.append(
                Rung(
                    words.at(plan.planned, start),
                    f"one more try of the release ({firing.output})",
                    f"look again from {up:%H:%M} on; the next try comes {FURTHER_TRY_S // 3600} h later",
                )
            )
    if backup is not None:
        kind = subject.loaded.dive.release.backup
        name = kind.kind if kind is not None else "backup"
        rungs.append(Rung(backup[0], f"earliest surfacing by the backup ({name})", "be on station again"))
        rungs.append(
            Rung(
                backup[1],
                f"latest surfacing by the backup ({name})",
                "from here on nothing more is expected "
                "to part the ballast by plan: search the drift circle, then the bottom",
            )
        )
    empty = _empty_at(subject, last)
    if empty is not None:
        rungs.append(Rung(empty, "beacon may be dark (worst case)", "search by daylight and radar only"))
    rungs.append(Rung(wait_until, "end of the wait that the dive file asks for", "tell the port; decide on a search"))
    return tuple(sorted(rungs, key=lambda rung: rung.instant))


def _when_missing(subject: Subject) -> str:
    if subject.facts.drift_m is None:
        return "not seen: search down-current from the drop position; ask for the locator's last fix"
    current = subject.loaded.dive.site.current
    assert current is not None
    return (
        f"not seen: search down-current, {current.high * 3.6:.2g} km wider for each hour since the earliest surfacing; "
        "ask for the locator's last fix"
    )


def _drift(subject: Subject, first: datetime) -> tuple[Drift, ...]:
    from schedgen.physics.daylight import drift_radius

    current = subject.loaded.dive.site.current
    if current is None:
        return ()
    wait_h = subject.plan.wait_s / 3600
    hours = [h for h in DRIFT_HOURS if h < wait_h] + [h for h in DRIFT_HOURS if h >= wait_h][:1]
    return tuple(Drift(h, first + timedelta(hours=h), drift_radius(current.high, h * 3600.0)) for h in hours)


def _empty_at(subject: Subject, last: datetime) -> datetime | None:
    worst = subject.results.worst.endurance_after_surface_h
    return None if worst > 24 * 366 else last + timedelta(hours=worst)


def _finders(subject: Subject, last: datetime) -> tuple[Finder, ...]:
    """Beacons and locators. One that the schedule ends goes dark then, the others with the pack."""
    from schedgen.report.figure_data import pattern_words

    surface = subject.plan.events["surface"]
    found = []
    for output in subject.plan.outputs.values():
        if output.role not in ("beacon", "locator") or not output.on_times:
            continue
        final = output.on_times[-1]
        hours = {
            name: subject.results.cases[name].account.endurance_after_surface_h
            for name in PLANNED
            if name in subject.results.cases
        }
        nominal, worst = hours["nominal"], min(hours.values())
        if final.stop_s is not None:
            nominal = min(nominal, max(0.0, (final.stop_s - surface.nominal) / 3600))
            worst = min(worst, max(0.0, (final.stop_s - surface.late) / 3600))
        until = None if worst > 24 * 366 else last + timedelta(hours=worst)
        found.append(Finder(output.load, output.role, nominal, worst, until, pattern_words(final.flash)))
    return tuple(found)

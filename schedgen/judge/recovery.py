"""Rules about being found: beacon and locator on in time, and surfacing at the hours that were asked for."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Outcome, Subject
from schedgen.judge.words import elapsed, share, span


@decides("beacon-late")
def beacon_late(subject: Subject) -> Iterator[Outcome]:
    """Each beacon and locator is on by the earliest surfacing and stays on; there is at least one."""
    surface = subject.plan.events["surface"].early
    finders = list(subject.loads_of("beacon", "locator"))
    if not finders:
        yield subject.finding(
            "beacon-late",
            ("loads",),
            "no load is a beacon or a locator: nothing says where it surfaced",
            "add one (role: beacon or role: locator) with a line {load: beacon, from: release, until: end}",
            weight=weights.weigh(weights.FINDING, 1.0),
        )
    for name, _ in finders:
        spans = subject.spans(name)
        if any(s.start_s <= surface < s.stop_s for s in spans):
            continue
        later = [s for s in spans if s.start_s > surface]
        if later:
            what = f"{name} comes on {elapsed(later[0].start_s)}, {span(later[0].start_s - surface)} after the early"
        elif spans:
            what = f"{name} goes off {elapsed(max(s.stop_s for s in spans))}, before the early"
        else:
            what = f"{name} has no line in the schedule and is not on by the early"
        line = later[0].line if later else spans[-1].line if spans else -1
        yield subject.finding(
            "beacon-late",
            subject.line_place(line, name),
            f"{what} surfacing ({elapsed(surface)})",
            f"write {{load: {name}, from: release, until: end}}",
            load=name,
            weight=weights.weigh(weights.FINDING, 1.0 if subject.roles[name] == "beacon" else 0.8),
        )


@decides("surfacing-in-the-dark")
def surfacing_in_the_dark(subject: Subject) -> Iterator[Outcome]:
    """The surfacing window stays in the light, or the dark, that was asked for."""
    from schedgen.judge.facts import daylight

    prefer = subject.dive.recovery.prefer
    if prefer == "either":
        return
    light = daylight(subject)
    if light.kind == prefer:
        return
    share_there = light.light_share if prefer == "daylight" else 1 - light.light_share
    zone = subject.plan.planned.tzinfo
    changes = [f"civil {'dawn' if up else 'dusk'} is {at.astimezone(zone):%H:%M}" for at, up in light.changes[:2]]
    yield subject.finding(
        "surfacing-in-the-dark",
        ("recovery.prefer", "recovery"),
        f"{share(1 - share_there)} of the surfacing window is not in {prefer}"
        + (f": {' and '.join(changes)}" if changes else ""),
        _better_release(subject),
        weight=weights.weigh(weights.FINDING, 1 - share_there),
    )


def _better_release(subject: Subject) -> str:
    """The first shift of the release, in steps of 30 min either way, that brings the window into what is preferred."""
    from schedgen.judge.facts import surfacing
    from schedgen.physics.daylight import light_between

    site, (first, last) = subject.dive.site, surfacing(subject)
    for step in range(1, 25):
        for sign in (1, -1):
            by = timedelta(minutes=30 * step * sign)
            light = light_between(site.latitude.nominal, site.longitude.nominal, first + by, last + by)
            if light.kind == subject.dive.recovery.prefer:
                word = "later" if sign > 0 else "earlier"
                return f"release {span(abs(by.total_seconds()))} {word}, or accept it with a reason"
    return "no shift of up to 12 h helps: narrow the window, or accept it with a reason"

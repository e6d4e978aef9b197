"""Rules about being found: beacon and locator on in time, and surfacing at the hours that were asked for."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Outcome, Subject
from schedgen.judge.words import elapsed, span


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
    for name, load in finders:
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
            weight=weights.weigh(weights.FINDING, 1.0 if load.resolved_role == "beacon" else 0.8),
        )

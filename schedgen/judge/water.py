"""Rules about the water: what is too fresh for wires, links and contacts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Outcome, Subject

if TYPE_CHECKING:
    from schedgen.dive.model import WaterRow


@dataclass(frozen=True, slots=True)
class Bounds:
    """A water property at some depth: low, nominal, high."""

    low: float
    nominal: float
    high: float


def _at(rows: list[WaterRow], key: str, depth_m: float) -> Bounds:
    """Salinity or temperature at a depth, linear between the rows and held outside them."""
    ordered = sorted(rows, key=lambda row: row.depth.nominal)
    before = ordered[0]
    for row in ordered:
        if row.depth.nominal >= depth_m:
            gap = row.depth.nominal - before.depth.nominal
            part = (depth_m - before.depth.nominal) / gap if gap > 0 and depth_m > before.depth.nominal else 0.0
            a, b = getattr(before, key), getattr(row, key)
            if row is before:
                part = 0.0
            low, mid, high = (x + (y - x) * part for x, y in ((a.low, b.low), (a.nominal, b.nominal), (a.high, b.high)))
            return Bounds(low, mid, high)
        before = row
    last = getattr(before, key)
    return Bounds(last.low, last.nominal, last.high)


def near_bottom(subject: Subject, key: str) -> Bounds:
    """Salinity or temperature where it lies: the widest over the interval of the bottom's depth."""
    rows, depth = list(subject.dive.site.water), subject.dive.site.depth
    inside = [row.depth.nominal for row in rows if depth.low < row.depth.nominal < depth.high]
    found = [_at(rows, key, d) for d in (depth.low, *inside, depth.high)]
    nominal = _at(rows, key, depth.nominal).nominal
    return Bounds(min(b.low for b in found), nominal, max(b.high for b in found))


def at_surface(subject: Subject, key: str) -> Bounds:
    """Salinity or temperature at the surface."""
    return _at(list(subject.dive.site.water), key, 0.0)


@decides("wire-in-fresh-water")
def wire_in_fresh_water(subject: Subject) -> Iterator[Outcome]:
    """A bare wire needs salt water; a dissolving link needs a time measured in water like this."""
    from schedgen.physics.release import LEAST_SALINITY

    salinity = near_bottom(subject, "salinity").low
    if salinity >= LEAST_SALINITY:
        return
    release = subject.dive.release
    for which, actuator in (("primary", release.primary), ("backup", release.backup)):
        if actuator is None or actuator.kind not in ("burn wire", "dissolving link"):
            continue
        tested = actuator.tested.salinity.high if actuator.tested is not None else None
        if actuator.kind == "dissolving link" and tested is not None and tested < LEAST_SALINITY:
            continue
        link = actuator.kind == "dissolving link"
        yield subject.finding(
            "wire-in-fresh-water",
            (f"release.{which}.kind", f"release.{which}"),
            f"the {actuator.kind} is to part in water of salinity {salinity:g}; below {LEAST_SALINITY:g} "
            + ("its time must be measured in that water" if link else "too little current flows to part it"),
            "measure it in water from the site and write tested: {parts_in, salinity, temperature}"
            if link
            else "use a hot wire, a motor, or a link whose time was measured in this water",
            weight=weights.weigh(weights.LIFE if which == "primary" else weights.RETURN, 1 - salinity / LEAST_SALINITY),
        )


@decides("trigger-in-fresh-water")
def trigger_in_fresh_water(subject: Subject) -> Iterator[Outcome]:
    """A water contact that never closes starts no clock, and holds the release for ever."""
    contact = subject.board.water_contact
    uses = subject.plan.trigger == "water" or not subject.dive.release.without_water
    if contact is None or not uses:
        return
    salinity = at_surface(subject, "salinity").low
    if salinity < contact.closes_above.high:
        starts = subject.plan.trigger == "water"
        yield subject.finding(
            "trigger-in-fresh-water",
            "start.trigger" if starts else ("release.without_water", "release"),
            f"the water contact closes for certain above a salinity of {contact.closes_above.high:g}; at the surface it"
            f" may be {salinity:g}: " + ("the clock may never start" if starts else "the release may be held for ever"),
            ("use trigger: button and " if starts else "")
            + "write release.without_water: yes (then it can fire dry: keep clear and disarm on deck)",
            weight=weights.weigh(weights.LIFE, 1.0),
        )

"""What may be wished for: what a wish turns in the dive, what it wants more of, and how it says so."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from schedgen.dive.times import When
from schedgen.errors import UsageError
from schedgen.files.quantity import Quantity, parse, write_duration
from schedgen.files.units import DURATION, MASS, SHARE
from schedgen.fit.edits import Edit
from schedgen.fit.search import Knob
from schedgen.fit.trial import Demand, Score

if TYPE_CHECKING:
    from schedgen.dive.model import Dive, Line
    from schedgen.load import LoadedDive
    from schedgen.plan.model import OutputPlan, Plan

MINUTE = 60
BALLAST_STEP_KG = 0.01
"""Ballast is sought in steps of ten grams."""
MOST_STRINGS = 200


@dataclass(frozen=True, slots=True)
class Wish:
    """One wish: its words, the knobs of a dive, its score (more is better), the score in words, what else it asks."""

    words: str
    knobs: Callable[[LoadedDive], list[Knob]]
    score: Score
    says: Callable[[float], str]
    demand: Demand | None = None
    remark: str = ""


def most(name: str, dive: Dive) -> Wish:
    """`most camera`, `most lights`: the longest recorded of a camera, the brightest of a light, else the longest on.

    `name` is a load, or a role that just one load plays. Raises UsageError for another name.
    """
    load = _load_called(name, dive)
    output = dive.loads[load].wired_to
    if dive.loads[load].resolved_role == "light":
        return Wish(f"most {name}", lambda loaded: _level_knobs(loaded, load), _brightness(load),
                    lambda score: f"{load} at {score:g} %")  # fmt: skip

    if dive.loads[load].resolved_role == "camera":
        return Wish(f"most {name}", lambda loaded: _time_knobs(loaded, load), _recorded(load),
                    lambda score: f"{load} records for {write_duration(score)}")  # fmt: skip

    def on_s(_: Dive, plan: Plan) -> float:
        return sum(stop - start for start, stop in _times(plan.outputs.get(output), plan))

    return Wish(
        f"most {name}", lambda loaded: _time_knobs(loaded, load), on_s,
        lambda score: f"{load} on for {write_duration(score)}",
    )  # fmt: skip


def _load_called(name: str, dive: Dive) -> str:
    if name in dive.loads:
        return name
    alike = [load for load in dive.loads if dive.role(load) in (name, name.removesuffix("s"))]
    if len(alike) == 1:
        return alike[0]
    raise UsageError(f"There is no load {name!r}.", f"choose one of: {', '.join(dive.loads)}")


def _times(output: OutputPlan | None, plan: Plan) -> list[tuple[float, float]]:
    """Start and stop of each time that an output is on, until `end` at most."""
    if output is None:
        return []
    return [(on.start_s, plan.end_s if on.stop_s is None else on.stop_s) for on in output.on_times]


def _recorded(load: str) -> Score:
    """Seconds that a camera surely records: without the time until it is ready, and that until power may go."""
    from schedgen.judge.camera import recorded
    from schedgen.judge.subject import Span

    def score(dive: Dive, plan: Plan) -> float:
        camera = dive.loads[load]
        spans = (recorded(camera, Span(*times)) for times in _times(plan.outputs.get(camera.wired_to), plan))
        return float(sum(max(0.0, span.length_s) for span in spans))

    return score


# -- the times of a load


def _time_knobs(loaded: LoadedDive, load: str) -> list[Knob]:
    """`until` of each plain line of the load, `for` of each line with bursts; at most two, the roomiest first."""
    plan, knobs = loaded.plan(), []
    for index, line in enumerate(loaded.dive.schedule):
        if line.load != load or line.with_ is not None or line.from_ is None or line.until is None:
            continue
        knob = _burst_knob(index, line) if line.every is not None else _until_knob(index, line, plan)
        if knob is not None and knob.high > knob.low:
            knobs.append(knob)
    if not knobs:
        raise UsageError(
            f"No line of {load} has a time that fit may change.",
            "fit moves `until` of a plain line (an event plus or minus a duration), and `for` of a line with bursts",
        )
    return sorted(knobs, key=lambda knob: knob.high - knob.low, reverse=True)[:2]


def _burst_knob(index: int, line: Line) -> Knob | None:
    assert line.every is not None
    assert line.for_ is not None
    if line.every.nominal <= 10 or line.every.nominal != int(line.every.nominal):
        return None  # a flash pattern
    path = f"schedule.{index}.for"
    return Knob(
        path, MINUTE // 2, int(line.every.nominal) - 1, round(line.for_.nominal), 1,
        lambda seconds: (_duration(path, seconds),), MINUTE,
    )  # fmt: skip


def _duration(path: str, seconds: int) -> Edit:
    text = write_duration(seconds)
    return Edit(path, text, parse(text, DURATION))


def _until_knob(index: int, line: Line, plan: Plan) -> Knob | None:
    """Seconds of the offset, from one minute after `from` to the release, or to `end` for an event after it."""
    until = line.until
    assert until is not None
    if until.base not in plan.events:
        return None
    window = next((w for w in plan.windows if w.line == index and w.start_s is not None), None)
    if window is None or window.stop_s is None:
        return None
    after = until.base in ("release", "surface", "end")
    offset = round(until.offset_s)
    event = plan.events[until.base].late
    most_s = plan.end_s if after else plan.release_s
    path = f"schedule.{index}.until"
    return Knob(
        path, min(offset, (window.start_s or 0) + MINUTE - event), max(offset, most_s - event), offset, 1,
        lambda seconds: (_when(path, until, seconds),), MINUTE,
    )  # fmt: skip


def _when(path: str, old: When, offset_s: int) -> Edit:
    """A time of the same event, `offset_s` from it."""
    sign = "+" if offset_s > 0 else "-"
    text = f"{old.base} {sign} {write_duration(abs(offset_s))}" if offset_s else str(old.base)
    return Edit(path, text, replace(old, offset_s=float(offset_s), text=text))


# -- the level of a light


def _lines_with_levels(dive: Dive, load: str) -> dict[int, int]:
    """Index of each line of the load to its level in percent."""
    return {
        index: 100 if line.level is None else round(line.level.nominal * 100)
        for index, line in enumerate(dive.schedule)
        if line.load == load
    }


def _brightness(load: str) -> Score:
    return lambda dive, _: float(max(_lines_with_levels(dive, load).values(), default=0))


def _level_knobs(loaded: LoadedDive, load: str) -> list[Knob]:
    """One knob for the highest level of the load's lines, and for the first value that the buttons offer with it."""
    dive = loaded.dive
    output = loaded.board.outputs.get(dive.loads[load].wired_to)
    levels = _lines_with_levels(dive, load)
    if not levels or output is None or output.kind != "level":
        raise UsageError(f"{load} has no level that fit may change.", "wire it to an output that has levels")
    highest = max(levels.values())
    paths = [f"schedule.{index}.level" for index, level in levels.items() if level == highest]
    for index, change in enumerate(dive.field_changes):
        if change.level == load and change.values and round(change.values[0].nominal * 100) == highest:
            paths.append(f"field_changes.{index}.values.0")

    def edits(percent: int) -> tuple[Edit, ...]:
        text = f"{percent} %"
        return tuple(Edit(path, text, parse(text, SHARE)) for path in paths)

    return [Knob(paths[0], 1, 100, highest, 1, edits)]


# -- the release, the cells, the ballast


def latest_release() -> Wish:
    """`latest release`: the primary's `at`, as late as passes."""

    def fires_at(_: Dive, plan: Plan) -> float:
        return float(plan.primary.at_s if plan.primary is not None else 0)

    return Wish("latest release", _release_knobs, fires_at,
                lambda score: f"release {write_duration(score)} after start")  # fmt: skip


def _release_knobs(loaded: LoadedDive) -> list[Knob]:
    plan, at = loaded.plan(), loaded.dive.release.primary.at
    if plan.primary is None or at is None:
        raise UsageError("The controller does not fire this release.", "there is nothing to move")
    path, now = "release.primary.at", plan.primary.at_s
    low, high = min(now, plan.events["bottom"].late), max(now, plan.interlocks.latest_s)

    def edits(second: int) -> tuple[Edit, ...]:
        if at.instant is not None:
            moved = at.instant + timedelta(seconds=second - now)
            return (Edit(path, moved.isoformat(), replace(at, instant=moved, text=moved.isoformat())),)
        return (_when(path, at, round(at.offset_s) + second - now),)

    return [Knob(path, low, high, now, 1, edits, MINUTE)]


def fewest_cells() -> Wish:
    """`fewest cells`: the count of parallel strings, as few as pass; the count in series stays."""
    return Wish(
        "fewest cells",
        _string_knobs,
        lambda dive, _: -float(dive.pack.series * dive.pack.parallel),
        lambda score: f"{-score:g} cells",
        remark="Mass and volume of the vehicle stay as written: weigh it again with another pack.",
    )


def _string_knobs(loaded: LoadedDive) -> list[Knob]:
    now = loaded.dive.pack.parallel
    high = min(MOST_STRINGS, 4 * now + 8)
    return [Knob("pack.parallel", 1, high, now, -1, lambda n: (Edit("pack.parallel", str(n), n),))]


def least_ballast(sink_speed: str) -> Wish:
    """`least ballast`: as little as still sinks at `sink_speed` in the worst case. Raises UsageError for a text that is
    no speed."""
    from schedgen.files.trouble import Misread
    from schedgen.files.units import SPEED

    try:
        wanted = parse(sink_speed, SPEED)
    except Misread as error:
        raise UsageError(f"{sink_speed!r} is not a speed.", "write it as in 0.8 m/s") from error

    def demand(plan: Plan) -> str:
        slow = plan.fall.sink_speed[0]
        return "" if slow >= wanted.nominal else f"sinks at {slow:.3f} m/s at the slowest; {wanted} is asked"

    return Wish(
        "least ballast",
        _ballast_knobs,
        lambda dive, _: -float(dive.vehicle.ballast.mass.nominal),
        lambda score: f"{-score:.2f} kg of ballast",
        demand,
        "Weigh and trim the vehicle as built: this is arithmetic on the masses in the file.",
    )


def _ballast_knobs(loaded: LoadedDive) -> list[Knob]:
    vehicle = loaded.dive.vehicle
    if vehicle.weighed_in_water is not None and getattr(vehicle.weighed_in_water, "with_ballast", None) is not None:
        raise UsageError("The ballast was weighed in water with the vehicle.", "give vehicle.volume instead")
    mass = vehicle.ballast.mass
    now = round(mass.nominal / BALLAST_STEP_KG)
    path = "vehicle.ballast.mass"

    def edits(steps: int) -> tuple[Edit, ...]:
        text = f"{steps * BALLAST_STEP_KG:.2f} kg{_tolerance(mass)}"
        return (Edit(path, text, parse(text, MASS)),)

    return [Knob(path, 1, 3 * now + 100, now, -1, edits, 10)]


def _tolerance(quantity: Quantity) -> str:
    """` ± ...` as written; nothing for an exact value. A range or a guess becomes a half-width in kg."""
    for sign in ("±", "+/-"):
        if sign in quantity.text:
            return f" {sign} {quantity.text.partition(sign)[2].strip()}"
    half = (quantity.high - quantity.low) / 2
    return f" ± {half:.3f} kg" if half > 0 else ""


WISHES: Mapping[str, tuple[str, ...]] = {
    "most": ("a load of the dive: the longest recording, the brightest light, or the longest time on",),
    "latest": ("release",),
    "fewest": ("cells",),
    "least": ("ballast",),
}
"""What each option of the command may name."""


def wish_of(option: str, name: str, dive: Dive, sink_speed: str | None = None) -> Wish:
    """The wish of one option of the command line. Raises UsageError for what nobody can wish."""
    if option == "most":
        return most(name, dive)
    if name not in WISHES[option]:
        raise UsageError(f"There is no wish --{option} {name}.", f"write --{option} {WISHES[option][0]}")
    if option == "latest":
        return latest_release()
    if option == "fewest":
        return fewest_cells()
    if sink_speed is None:
        raise UsageError("--least ballast needs a speed.", "write --sink-speed '0.8 m/s' with it")
    return least_ballast(sink_speed)

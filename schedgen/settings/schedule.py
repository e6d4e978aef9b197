"""A decoded block as a schedule again: in words, line by line, and as the edges of every output. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import nan

from schedgen.plan.assemble import by_output, with_edges
from schedgen.plan.model import (
    FLASH_STEPS,
    Bounds,
    Clip,
    Edge,
    Fall,
    FieldChange,
    Firing,
    OutputKind,
    OutputPlan,
    Plan,
    ShiftRelease,
    Window,
)
from schedgen.settings.meaning import DecodedDive

WET_MINUTE_S = 60
"""With a water trigger the clock counts from the first second of the wet minute, and nothing switches within it."""

_UNKNOWN = (nan, nan, nan)
_TRIGGERS = {"water": "when in the water for a minute", "button": "at the button", "command": "at the command"}


@dataclass(frozen=True, slots=True)
class Said:
    """One line of a schedule: `what` it is about ("release", "OUT1 camera"), and what it says of it.

    `start_s` and `stop_s` are elapsed seconds where the line is a window, else None.
    """

    what: str
    text: str
    start_s: int | None = None
    stop_s: int | None = None

    def __str__(self) -> str:
        """The line as it is shown."""
        return f"{self.what}: {self.text}"


def schedule(dive: DecodedDive, loads: Mapping[str, str] | None = None) -> tuple[Said, ...]:
    """Everything that a block says, in plain words: interlocks and releases, windows by output, field changes.

    `loads` names the load on each output, where it is known.
    """
    named = loads or {}
    limits = dive.interlocks
    lines = [
        Said("board type", f"{dive.board_type:04X}, layout version {dive.version}"),
        Said("clock", f"starts {_TRIGGERS[dive.trigger]}"),
        *_firings(dive),
        Said("not before", f"{duration(limits.not_before_s)} after start"),
        Said("latest", f"{duration(limits.latest_s)} after start"),
        Said("water", "needed before a release" if not limits.without_water else "not needed before a release"),
        *_way(dive),
        Said("end", f"{duration(dive.end_s)} after start"),
        Said("low voltage", f"{limits.series} cells in series: shed below {limits.shed_v:.2f} V a cell, release below "
             f"{limits.release_below_v:.2f} V"),
        Said("kept when shedding", ", ".join(_title(name, named) for name in limits.keep) or "nothing"),
    ]  # fmt: skip
    for name, windows in by_output(dive.windows).items():
        lines += [_window(window, _title(name, named), named) for window in windows]
    lines += [Said("field change", _change(change, named)) for change in dive.field_changes]
    lines += _forbidden(dive)
    return tuple(lines)


def plan_of(dive: DecodedDive) -> Plan:
    """The Plan that a block says, with on-times and edges of every output.

    What a block does not hold is empty or not a number: names, loads, places, physical events, fall, notes; the events
    are `release` and `end`. Everything that follows from the windows (`apply_changes`, `level_at`) works on it: `end`
    then keeps its distance from the release, as it does on the board. For that, the way up counts as no time at all and
    `wait_s` goes from the last try to the end.
    """
    wait_s = 0.0 if dive.primary is None else float(dive.end_s - dive.primary.last_end_s)
    outputs: dict[str, OutputPlan] = {}
    windows = by_output(dive.windows)
    release = {firing.output for firing in (dive.primary, dive.backup) if firing is not None}
    for name in dive.outputs:
        own = windows.get(name, ())
        if name in release:
            outputs[name] = OutputPlan(name, "release", "", "release", (), (), ())
        elif own:
            kind: OutputKind = "level" if any(window.level is not None for window in own) else "switched"
            outputs[name] = OutputPlan(name, kind, "", "other", own, (), ())
    return with_edges(
        Plan(
            name="",
            board="",
            board_type=dive.board_type,
            trigger=dive.trigger,
            planned=datetime.fromtimestamp(0, UTC),
            planned_plus_minus_s=0.0,
            clock_tolerance=0.0,
            events={
                "release": Bounds(dive.at_s, dive.at_s, dive.at_s),
                "end": Bounds(dive.end_s, dive.end_s, dive.end_s),
            },
            true_events={},
            first_edge_s=WET_MINUTE_S if dive.trigger == "water" else 0,
            outputs=outputs,
            primary=dive.primary,
            backup=dive.backup,
            interlocks=dive.interlocks,
            field_changes=dive.field_changes,
            fall=replace(Fall(*(_UNKNOWN,) * 8), up_s=(0.0, 0.0, 0.0)),
            wait_s=wait_s,
            allowed_changes=dive.allowed_changes,
        )
    )


def edges(dive: DecodedDive) -> tuple[Edge, ...]:
    """Every edge of the unchanged dive, in order of time, then of outputs."""
    found = [edge for output in plan_of(dive).outputs.values() for edge in output.edges]
    return tuple(sorted(found, key=lambda edge: (edge.at_s, dive.outputs.index(edge.output))))


def duration(seconds: int) -> str:
    """Whole seconds in words: `9 h 5 min`, `1 d 0 h 0 min 3 s`; parts are left out only at the ends."""
    parts = []
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min"), (1, "s")):
        count, seconds = divmod(seconds, size)
        parts.append((count, unit))
    while len(parts) > 1 and parts[0][0] == 0:
        del parts[0]
    while len(parts) > 1 and parts[-1][0] == 0:
        del parts[-1]
    return " ".join(f"{count} {unit}" for count, unit in parts)


def _title(output: str, loads: Mapping[str, str]) -> str:
    load = loads.get(output, "")
    return f"{output} {load}" if load else output


def _way(dive: DecodedDive) -> list[Said]:
    lines = []
    if dive.bottom_s is not None:
        lines.append(Said("bottom", f"reached by {duration(dive.bottom_s)} after start"))
    if dive.rise_s is not None:
        lines.append(Said("surface", f"reached {duration(dive.rise_s)} after the last try at the latest"))
    return lines


def _firings(dive: DecodedDive) -> list[Said]:
    lines = []
    for which, firing in (("release", dive.primary), ("backup release", dive.backup)):
        if firing is not None:
            lines.append(Said(which, _firing(firing)))
        elif which == "release":
            lines.append(Said(which, f"not fired by the board; planned {duration(dive.at_s)} after start"))
    return lines


def _firing(firing: Firing) -> str:
    pause = f", {duration(firing.pause_s)} between" if firing.tries > 1 else ""
    tries = f"{firing.tries} tries" if firing.tries > 1 else "one try"
    return f"{firing.output} at {duration(firing.at_s)} after start, {tries} of {duration(firing.fire_s)}{pause}"


def _moment(seconds: int, moves: bool) -> str:
    return f"{duration(seconds)}{' (moves with the release)' if moves else ''}"


def _window(window: Window, what: str, loads: Mapping[str, str]) -> Said:
    level = "" if window.level is None else f" at {window.level} %"
    if window.follow is not None:
        return Said(what, _follower(window, level, loads))
    start_s = window.start_s or 0
    span = f"from {_moment(start_s, window.start_moves)} "
    span += "until the pack is empty" if window.stop_s is None else f"to {_moment(window.stop_s, window.stop_moves)}"
    pattern = ""
    if window.burst is not None:
        count = "" if window.stop_s is None else f", {window.burst.count} times"
        pattern = f", every {duration(window.burst.every_s)} for {duration(window.burst.on_s)}{count}"
    if window.flash is not None:
        every, lit = window.flash.every_64 / FLASH_STEPS, window.flash.on_64 / FLASH_STEPS
        pattern = f", flashes every {every:.6g} s for {lit:.6g} s"
    return Said(what, f"on{level} {span}{pattern}", start_s, window.stop_s)


def _follower(window: Window, level: str, loads: Mapping[str, str]) -> str:
    follow = window.follow
    assert follow is not None
    leader = _title(follow.leader, loads)
    if follow.mode == "stop":
        text = f"1 s pulse{level}, ends {duration(follow.lead_s)} before each end of {leader}"
    else:
        text = f"on{level} with {leader}, {duration(follow.lead_s)} before to {duration(follow.trail_s)} after"
    return text if window.clip is None else f"{text}, {_clip(window.clip)}"


def _clip(clip: Clip) -> str:
    return f"only from {_moment(clip.start_s, clip.start_moves)} to {_moment(clip.stop_s, clip.stop_moves)}"


def _change(change: FieldChange, loads: Mapping[str, str]) -> str:
    if isinstance(change, ShiftRelease):
        return f"release in steps of {duration(change.step_s)}, {-change.first} earlier to {change.last} later"
    return f"level of {_title(change.output, loads)}: {', '.join(f'{value} %' for value in change.values)}"


def _forbidden(dive: DecodedDive) -> list[Said]:
    """The combinations that must not be chosen, in one line."""
    refused = [values for values, allowed in dive.combinations() if not allowed]
    if not refused:
        return []
    texts = [
        " with ".join(_chosen(*pair) for pair in zip(dive.field_changes, values, strict=True)) for values in refused
    ]
    return [Said("not allowed", "; ".join(texts))]


def _chosen(change: FieldChange, value: int) -> str:
    return f"{value:+d} steps" if isinstance(change, ShiftRelease) else f"{value} %"

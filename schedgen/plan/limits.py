"""Numbers that the settings have no room for: `counter-range` notes. The bounds are the settings' own."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.files.quantity import write_duration
from schedgen.plan.model import ChooseLevel, FieldChange, Firing, Interlocks, Note, ShiftRelease, Window
from schedgen.plan.spots import Spots
from schedgen.settings.fields import COMBINATIONS_MOST, by_name

ELAPSED_MOST = by_name("header", "end").high


def _note(what: str, value: float, low: float, high: float, unit: str, spots: Spots, path: str, load: str) -> Note:
    is_, least, most = (_said(one, unit) for one in (value, low, high))
    return Note(
        "counter-range",
        f"{what} is {is_}; the settings hold {least} to {most}",
        spots.at(path),
        load,
        f"write a value that gives {least} to {most}",
    )


def _said(value: float, unit: str) -> str:
    return write_duration(value) if unit == "s" else f"{value} {unit}".rstrip()


def outside(
    record: str, name: str, value: int, what: str, spots: Spots, path: str, load: str = "", unit: str | None = None
) -> Iterator[Note]:
    """A `counter-range` note when `value` does not fit the field `name` of the settings' `record`."""
    found = by_name(record, name)
    shown = found.unit if unit is None else unit
    if not found.low <= value <= found.high:
        yield _note(what, value, found.low, found.high, shown, spots, path, load)
    elif (value - found.offset) % found.scale:
        yield Note(
            "counter-range",
            f"{what} is {_said(value, shown)}; the settings count it in steps of {_said(found.scale, shown)}",
            spots.at(path),
            load,
            f"write a multiple of {_said(found.scale, shown)}",
        )


def window_notes(window: Window, spots: Spots) -> Iterator[Note]:
    """What of a window the settings cannot hold."""
    line, load = f"schedule.{window.line}", window.load
    if window.level is not None:
        yield from outside("window", "level", window.level, "the level", spots, f"{line}.level", load)
    for key, value in (("from", window.start_s), ("until", window.stop_s)):
        if value is not None and not window.burst:
            yield from outside("window", "start", value, f"`{key}`", spots, f"{line}.{key}", load)
    if window.burst is not None:
        burst = window.burst
        yield from outside("window", "start", window.start_s or 0, "`from`", spots, f"{line}.from", load)
        yield from outside("window", "every", burst.every_s, "`every`", spots, f"{line}.every", load)
        yield from outside("window", "on", burst.on_s, "`for`", spots, f"{line}.for", load)
        if window.stop_s is not None:
            yield from outside("window", "count", burst.count, "the number of bursts", spots, f"{line}.every", load)
    if window.flash is not None:
        flash = window.flash
        yield from outside("window", "flash_every", flash.every_64, "`every` of a flash", spots, f"{line}.every", load)
        yield from outside("window", "flash_on", flash.on_64, "`for` of a flash", spots, f"{line}.for", load)
    if window.follow is not None and window.follow.mode == "stop":
        path = f"loads.{load}.close_before_off"
        yield from outside("follower", "lead", window.follow.lead_s, "`close_before_off`", spots, path, load)
    elif window.follow is not None:
        yield from outside("follower", "lead", window.follow.lead_s, "`lead`", spots, f"{line}.lead", load)
        yield from outside("follower", "trail", window.follow.trail_s, "`trail`", spots, f"{line}.trail", load)
    if window.clip is not None:
        for value in (window.clip.start_s, window.clip.stop_s):
            yield from outside("clip", "stop", value, "`only`", spots, f"{line}.only", load)


def firing_notes(firing: Firing | None, which: str, spots: Spots) -> Iterator[Note]:
    """What of an actuator's tries the settings cannot hold; `which` is "primary" or "backup"."""
    if firing is None:
        return
    for key, value in (("fire", firing.fire_s), ("tries", firing.tries), ("pause", firing.pause_s)):
        yield from outside("header", f"{which}_{key}", value, f"`{key}`", spots, f"release.{which}.{key}")
    if which == "primary":
        yield from outside("header", "at", firing.at_s, "`at`", spots, "release.primary.at")


def interlock_notes(interlocks: Interlocks, end_s: int, spots: Spots) -> Iterator[Note]:
    """What of the interlocks, the voltages and the length of the dive the settings cannot hold."""
    for name in ("not_before", "latest"):
        yield from outside("header", name, getattr(interlocks, f"{name}_s"), f"`{name}`", spots, f"release.{name}")
    yield from outside("header", "end", end_s, "`end`", spots, "recovery.wait")
    for name in ("shed", "release_below"):
        field = by_name("header", name)
        millivolts = round(getattr(interlocks, f"{name}_v") * 1000)
        if not field.low <= millivolts <= field.high:
            low, high = field.low / 1000, field.high / 1000
            yield _note(f"`{name}`", millivolts / 1000, low, high, "V", spots, f"pack.{name}", "")
    yield from outside("header", "series", interlocks.series, "`series`", spots, "pack.series")


def change_notes(changes: tuple[FieldChange, ...], combinations: int, spots: Spots) -> Iterator[Note]:
    """What of the field changes the settings cannot hold."""
    most = by_name("header", "change_count").high
    if len(changes) > most:
        yield _note("the number of field changes", len(changes), 0, most, "", spots, "field_changes", "")
    if combinations > COMBINATIONS_MOST:
        yield _note("the number of combinations", combinations, 1, COMBINATIONS_MOST, "", spots, "field_changes", "")
    for index, change in enumerate(changes):
        path = f"field_changes.{index}"
        if isinstance(change, ShiftRelease):
            yield from outside("change", "step", change.step_s, "`step`", spots, f"{path}.step")
            yield from outside("change", "earlier", -change.first, "steps earlier", spots, f"{path}.from")
            yield from outside("change", "later", change.last, "steps later", spots, f"{path}.to")
        elif isinstance(change, ChooseLevel):
            yield from outside("change", "choices", len(change.values), "the number of levels", spots, f"{path}.values")
            for value in change.values:
                yield from outside("change", "level_1", value, "a level", spots, f"{path}.values")

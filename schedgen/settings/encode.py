"""A Plan to a settings block. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from schedgen.errors import BlockError, SettingsTooBig
from schedgen.files.place import Place
from schedgen.plan.model import Clip, FieldChange, Firing, Follow, Plan, ShiftRelease, Window
from schedgen.settings.bits import BitWriter, bits_of
from schedgen.settings.code import dive_code
from schedgen.settings.eeprom import layout_of
from schedgen.settings.fields import (
    ALLOWED,
    CHANGE,
    CLIP,
    FOLLOWER,
    HEADER,
    WINDOW,
    Change,
    Field,
    Kind,
    Mode,
    Start,
    by_name,
    record_bits,
)
from schedgen.settings.meaning import DecodedDive, check, meaning_of

_LONGEST = by_name("header", "length").high


@dataclass(frozen=True, slots=True)
class Settings:
    """A settings block. `capacity` is what the board's slot holds; both lengths in bytes."""

    block: bytes
    code: str
    bytes_used: int
    capacity: int
    dive: DecodedDive
    """What the block says."""


def encode(plan: Plan, outputs: Sequence[str], eeprom_bytes: int = 256) -> Settings:
    """The settings block of a plan, for a board with these outputs (all of them, in its order) and this EEPROM.

    Raises SettingsTooBig, CounterRange, or BlockError where the plan says what no block can say; `place` is then the
    schedule line, where one line is the cause.
    """
    dive = meaning_of(plan, outputs)
    check(dive)
    windows = sorted(plan.windows, key=lambda window: window.follow is not None)
    sources = [Source(f"{window.load} ({window.output})", window.place) for window in windows]
    capacity = min(_LONGEST, layout_of(eeprom_bytes).block_most)
    block = pack(dive, capacity, sources)
    return Settings(block, dive_code(block), len(block), capacity, dive)


@dataclass(frozen=True, slots=True)
class Source:
    """What a window is called in messages and where it stands."""

    label: str
    place: Place | None = None


class _Packer:
    """The records after the header, and what each of them costs."""

    def __init__(self, end_s: int) -> None:
        self.bits = BitWriter(bits_of(end_s))
        self.costs = [("the fixed part", record_bits("header"))]

    def add(self, record: Sequence[Field], values: Mapping[str, int], source: Source) -> None:
        before = self.bits.length
        try:
            self.bits.record(record, values, source.label)
        except BlockError as trouble:
            trouble.place = source.place
            raise
        self.costs.append((source.label, self.bits.length - before))


def pack(dive: DecodedDive, capacity: int = _LONGEST, sources: Sequence[Source] = ()) -> bytes:
    """The block that says `dive`, which has been checked. `sources` name its windows in messages, one each.

    Raises SettingsTooBig, CounterRange, BlockError.
    """
    if not sources:
        sources = [Source(f"a window of {window.output}") for window in dive.windows]
    packer = _Packer(dive.end_s)
    clips = dive.clips
    for clip in clips:
        packer.add(CLIP, _clip(clip), Source("a clip (`only`)"))
    for window, source in zip(dive.windows, sources, strict=True):
        if window.follow is None:
            packer.add(WINDOW, _window(window, dive.outputs), source)
        else:
            packer.add(FOLLOWER, _follower(window, window.follow, dive.outputs, clips), source)
    for change in dive.field_changes:
        packer.add(CHANGE, _change(change, dive.outputs), Source("a field change"))
    for flag in dive.allowed_changes:
        packer.add(ALLOWED, {"allowed": int(flag)}, Source("a combination of field changes"))
    length = -(-(record_bits("header") + packer.bits.length) // 8)
    if length > capacity:
        raise SettingsTooBig(length, capacity, sorted(packer.costs, key=lambda cost: -cost[1]))
    whole = BitWriter()
    whole.record(HEADER, _header(dive, length))
    whole.append(packer.bits)
    return whole.bytes()


def _index(outputs: Sequence[str], name: str) -> int:
    if name not in outputs:
        raise BlockError(f"the board has no output {name}", f"Its outputs: {', '.join(outputs)}.")
    return list(outputs).index(name)


def _header(dive: DecodedDive, length: int) -> dict[str, int]:
    limits = dive.interlocks
    following = sum(window.follow is not None for window in dive.windows)
    return {
        "length": length,
        "layout_version": dive.version,
        "board_type": dive.board_type,
        "trigger": Start[dive.trigger.upper()],
        "without_water": int(limits.without_water),
        "at": dive.at_s,
        "not_before": limits.not_before_s,
        "latest": limits.latest_s,
        "end": dive.end_s,
        **_firing("primary", dive.primary, dive.outputs),
        **_firing("backup", dive.backup, dive.outputs),
        "shed": round(limits.shed_v * 1000),
        "release_below": round(limits.release_below_v * 1000),
        "series": limits.series,
        "keep": sum(1 << _index(dive.outputs, name) for name in limits.keep),
        "clip_count": len(dive.clips),
        "window_count": len(dive.windows) - following,
        "follower_count": following,
        "change_count": len(dive.field_changes),
    }


def _firing(which: str, firing: Firing | None, outputs: Sequence[str]) -> dict[str, int]:
    if firing is None:
        values = {"present": 0, "output": 0, "fire": 0, "tries": 1, "pause": 0}
    else:
        values = {
            "present": 1,
            "output": _index(outputs, firing.output),
            "fire": firing.fire_s,
            "tries": firing.tries,
            "pause": firing.pause_s,
        }
    return {f"{which}_{name}": value for name, value in values.items()}


def _clip(clip: Clip) -> dict[str, int]:
    return {
        "start_moves": int(clip.start_moves),
        "start": clip.start_s,
        "stop_moves": int(clip.stop_moves),
        "stop": clip.stop_s,
    }


def _level(level: int | None) -> dict[str, int]:
    return {"has_level": 0} if level is None else {"has_level": 1, "level": level}


def _window(window: Window, outputs: Sequence[str]) -> dict[str, int]:
    values = {
        "output": _index(outputs, window.output),
        **_level(window.level),
        "start_moves": int(window.start_moves),
        "start": window.start_s or 0,
        "stop_moves": int(window.stop_moves),
        "stop": window.stop_s or 0,
    }
    endless = window.stop_s is None
    if window.burst is not None:
        burst = window.burst
        bursts = {"every": burst.every_s, "on": burst.on_s, "count": burst.count, "endless": int(endless)}
        return values | {"kind": Kind.REPEATING} | bursts
    if window.flash is not None:
        flash = {"flash_every": window.flash.every_64, "flash_on": window.flash.on_64, "endless": int(endless)}
        return values | {"kind": Kind.FLASH} | flash
    return values | {"kind": Kind.ENDLESS if endless else Kind.PLAIN}


def _follower(window: Window, follow: Follow, outputs: Sequence[str], clips: Sequence[Clip]) -> dict[str, int]:
    return {
        "output": _index(outputs, window.output),
        "leader": _index(outputs, follow.leader),
        **_level(window.level),
        "mode": Mode[follow.mode.upper()],
        "lead": follow.lead_s,
        "trail": follow.trail_s,
        "clip": 0 if window.clip is None else 1 + list(clips).index(window.clip),
    }


def _change(change: FieldChange, outputs: Sequence[str]) -> dict[str, int]:
    if isinstance(change, ShiftRelease):
        return {"change": Change.SHIFT, "step": change.step_s, "earlier": -change.first, "later": change.last}
    levels = {f"level_{number}": level for number, level in enumerate(change.values, 1)}
    return {
        "change": Change.LEVEL,
        "output": _index(outputs, change.output),
        "choices": len(change.values),
        **levels,
    }

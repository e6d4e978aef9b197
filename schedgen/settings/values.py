"""What the fields of each record hold for a dive: names as in the table, values in the fields' units. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from schedgen.errors import BlockError
from schedgen.plan.model import Clip, FieldChange, Firing, Follow, ShiftRelease, Window
from schedgen.settings.fields import Change, Kind, Mode, Start, by_name
from schedgen.settings.meaning import DecodedDive


def index_of(outputs: Sequence[str], name: str) -> int:
    """The number of an output, counted from 0. Raises BlockError when the board has none of that name."""
    if name not in outputs:
        raise BlockError(f"the board has no output {name}", f"Its outputs: {', '.join(outputs)}.")
    return list(outputs).index(name)


def header_values(dive: DecodedDive, length: int) -> dict[str, int]:
    """What the header says; `length` is that of the whole block in bytes."""
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
        "bottom": _or_greatest("bottom", dive.bottom_s),
        "rise": _or_greatest("rise", dive.rise_s),
        "shed": round(limits.shed_v * 1000),
        "release_below": round(limits.release_below_v * 1000),
        "series": limits.series,
        "keep": sum(1 << index_of(dive.outputs, name) for name in limits.keep),
        "clip_count": len(dive.clips),
        "window_count": len(dive.windows) - following,
        "follower_count": following,
        "change_count": len(dive.field_changes),
    }


def _or_greatest(name: str, seconds: int | None) -> int:
    return by_name("header", name).high if seconds is None else seconds


def _firing(which: str, firing: Firing | None, outputs: Sequence[str]) -> dict[str, int]:
    if firing is None:
        values = {"present": 0, "output": 0, "fire": 0, "tries": 1, "pause": 0}
    else:
        values = {
            "present": 1,
            "output": index_of(outputs, firing.output),
            "fire": firing.fire_s,
            "tries": firing.tries,
            "pause": firing.pause_s,
        }
    return {f"{which}_{name}": value for name, value in values.items()}


def clip_values(clip: Clip) -> dict[str, int]:
    """What a clip record says."""
    return {
        "start_moves": int(clip.start_moves),
        "start": clip.start_s,
        "stop_moves": int(clip.stop_moves),
        "stop": clip.stop_s,
    }


def _level(level: int | None) -> dict[str, int]:
    return {"has_level": 0} if level is None else {"has_level": 1, "level": level}


def window_values(window: Window, outputs: Sequence[str]) -> dict[str, int]:
    """What a window record says; fields that its kind does not have may stand there too."""
    values = {
        "output": index_of(outputs, window.output),
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


def follower_values(window: Window, follow: Follow, outputs: Sequence[str], clips: Sequence[Clip]) -> dict[str, int]:
    """What a follower record says; `clips` are those of the block, in order."""
    return {
        "output": index_of(outputs, window.output),
        "leader": index_of(outputs, follow.leader),
        **_level(window.level),
        "mode": Mode[follow.mode.upper()],
        "lead": follow.lead_s,
        "trail": follow.trail_s,
        "clip": 0 if window.clip is None else 1 + list(clips).index(window.clip),
    }


def change_values(change: FieldChange, outputs: Sequence[str]) -> dict[str, int]:
    """What a field-change record says."""
    if isinstance(change, ShiftRelease):
        return {"change": Change.SHIFT, "step": change.step_s, "earlier": -change.first, "later": change.last}
    levels = {f"level_{number}": level for number, level in enumerate(change.values, 1)}
    return {
        "change": Change.LEVEL,
        "output": index_of(outputs, change.output),
        "choices": len(change.values),
        **levels,
    }

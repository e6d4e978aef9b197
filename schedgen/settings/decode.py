"""Bytes to what they mean. Pure, and never trusting: any bytes give a checked `DecodedDive` or a BlockError."""

from __future__ import annotations

from collections.abc import Sequence

from schedgen.errors import BlockError
from schedgen.plan.model import (
    Burst,
    ChooseLevel,
    Clip,
    FieldChange,
    Firing,
    Flash,
    Follow,
    Interlocks,
    ShiftRelease,
    Trigger,
    Window,
)
from schedgen.settings.bits import BitReader, bits_of
from schedgen.settings.code import dive_code
from schedgen.settings.encode import pack
from schedgen.settings.fields import (
    ALLOWED,
    CHANGE,
    CLIP,
    COMBINATIONS_MOST,
    FOLLOWER,
    HEADER,
    LAYOUT_VERSION,
    WINDOW,
    Change,
    Kind,
    Mode,
    Start,
    by_name,
)
from schedgen.settings.meaning import NO_NAMES, DecodedDive, burst_stop, bursts_without_end, check, combinations

_TRIGGERS: dict[int, Trigger] = {Start.WATER: "water", Start.BUTTON: "button", Start.COMMAND: "command"}


def decode(block: bytes, outputs: Sequence[str] = NO_NAMES) -> DecodedDive:
    """What a block says; `outputs` are the names of the board's outputs in its order ("output 1" ... without a board).

    Every field is checked against its range and against the others, and the block must be the very bytes that
    `encode` gives for what it says. Raises BlockError, and nothing else, for any bytes at all.
    """
    _check_version(block)
    reader = BitReader(block)
    header = reader.record(HEADER)
    if header["layout_version"] != LAYOUT_VERSION or header["length"] != len(block):
        raise BlockError(f"not a settings block: it says {header['length']} bytes and has {len(block)}")
    reader.end_bits = bits_of(header["end"])
    names = tuple(outputs)
    clips = [_clip(reader.record(CLIP)) for _ in range(header["clip_count"])]
    windows = [_window(reader.record(WINDOW), names) for _ in range(header["window_count"])]
    windows += [_follower(reader.record(FOLLOWER), names, clips) for _ in range(header["follower_count"])]
    changes = tuple(_change(reader.record(CHANGE), names) for _ in range(header["change_count"]))
    allowed = _allowed(reader, changes)
    reader.finish()
    dive = DecodedDive(
        version=header["layout_version"],
        board_type=header["board_type"],
        trigger=_TRIGGERS[header["trigger"]],
        at_s=header["at"],
        end_s=header["end"],
        interlocks=_interlocks(header, names),
        primary=_firing(header, "primary", header["at"], names),
        backup=_firing(header, "backup", header["latest"], names),
        windows=tuple(windows),
        field_changes=changes,
        allowed_changes=allowed,
        outputs=names,
        bottom_s=_unless_greatest("bottom", header),
        rise_s=_unless_greatest("rise", header),
        code=dive_code(block),
        bytes_used=len(block),
    )
    check(dive)
    if pack(dive) != block:
        raise BlockError("not a settings block: the same settings have another, shorter or more orderly, form")
    return dive


def _check_version(block: bytes) -> None:
    """Length and version stand at the same place in every layout, and the rest may not."""
    reader = BitReader(block)
    length, version = reader.take(HEADER[0]), reader.take(HEADER[1])
    if length == len(block) and version != LAYOUT_VERSION:
        raise BlockError(
            f"the settings block has layout version {version}, this program knows {LAYOUT_VERSION}",
            "Use the schedgen that made it, or render and upload the dive again.",
        )


def _unless_greatest(name: str, header: dict[str, int]) -> int | None:
    return None if header[name] == by_name("header", name).high else header[name]


def _name(outputs: tuple[str, ...], index: int) -> str:
    if index >= len(outputs):
        raise BlockError(f"the block uses output {index + 1}, the board has {len(outputs)}")
    return outputs[index]


def _allowed(reader: BitReader, changes: tuple[FieldChange, ...]) -> tuple[bool, ...]:
    count = len(combinations(changes))
    if count > COMBINATIONS_MOST:
        raise BlockError(f"not a settings block: {count} combinations of field changes, at most {COMBINATIONS_MOST}")
    return tuple(bool(reader.take(ALLOWED[0])) for _ in range(count))


def _interlocks(header: dict[str, int], outputs: tuple[str, ...]) -> Interlocks:
    kept = [index for index in range(header["keep"].bit_length()) if header["keep"] >> index & 1]
    return Interlocks(
        not_before_s=header["not_before"],
        latest_s=header["latest"],
        without_water=bool(header["without_water"]),
        shed_v=header["shed"] / 1000.0,
        release_below_v=header["release_below"] / 1000.0,
        series=header["series"],
        keep=tuple(_name(outputs, index) for index in kept),
    )


def _firing(header: dict[str, int], which: str, at_s: int, outputs: tuple[str, ...]) -> Firing | None:
    if not header[f"{which}_present"]:
        return None
    return Firing(
        output=_name(outputs, header[f"{which}_output"]),
        at_s=at_s,
        fire_s=header[f"{which}_fire"],
        tries=header[f"{which}_tries"],
        pause_s=header[f"{which}_pause"],
    )


def _clip(values: dict[str, int]) -> Clip:
    return Clip(values["start"], values["stop"], bool(values["start_moves"]), bool(values["stop_moves"]))


def _window(values: dict[str, int], outputs: tuple[str, ...]) -> Window:
    burst = flash = None
    stop_s = values.get("stop")
    if values["kind"] == Kind.REPEATING:
        every, on = values["every"], values["on"]
        burst = Burst(every, on, values.get("count", 0) or bursts_without_end(values["start"], every))
        stop_s = None if values["endless"] else burst_stop(values["start"], burst)
    elif values["kind"] == Kind.FLASH:
        flash = Flash(values["flash_every"], values["flash_on"])
    return Window(
        load="",
        output=_name(outputs, values["output"]),
        start_s=values["start"],
        stop_s=stop_s,
        level=values.get("level"),
        start_moves=bool(values["start_moves"]),
        stop_moves=bool(values.get("stop_moves", 0)),
        burst=burst,
        flash=flash,
    )


def _follower(values: dict[str, int], outputs: tuple[str, ...], clips: list[Clip]) -> Window:
    number = values["clip"]
    if number > len(clips):
        raise BlockError(f"not a settings block: a window uses clip {number} of {len(clips)}")
    return Window(
        load="",
        output=_name(outputs, values["output"]),
        start_s=None,
        stop_s=None,
        level=values.get("level"),
        follow=Follow(
            leader=_name(outputs, values["leader"]),
            lead_s=values["lead"],
            trail_s=values.get("trail", 0),
            mode="stop" if values["mode"] == Mode.STOP else "cover",
        ),
        clip=clips[number - 1] if number else None,
    )


def _change(values: dict[str, int], outputs: tuple[str, ...]) -> FieldChange:
    if values["change"] == Change.SHIFT:
        return ShiftRelease(values["step"], -values["earlier"], values["later"])
    return ChooseLevel(
        output=_name(outputs, values["output"]),
        values=tuple(values[f"level_{number}"] for number in range(1, values["choices"] + 1)),
    )

"""Rules inside one load, one schedule line, one actuator and one field change, each a trouble with its place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.files.quantity import Quantity, write_duration, write_value
from schedgen.files.trouble import Trouble

if TYPE_CHECKING:
    from schedgen.dive.loads import Actuator, FieldChange, Line, Load

FLASH_UP_TO_S = 10
"""`every` up to this is a flash pattern, in steps of 1/64 s."""
FLASH_STEP_S = 1 / 64
FLASH_AT_MOST_S = 8191 / 64
"""Longest period that a flash pattern may have: 13 bits of steps."""
MOST_COMBINATIONS = 32


def load_troubles(load: Load) -> list[Trouble]:
    """A surge above the power; whole-percent levels, each once; a stop pulse on an output of its own."""
    troubles = []
    if load.surge is not None and load.surge.power.high < load.power.low:
        troubles.append(
            Trouble(
                f"The surge ({load.surge.power}) is below the power ({load.power}); it is the total while starting.",
                f"a power above {load.power}", "surge: {power: 12 W, for: 4 s}",
                "Write the total power while starting, or leave surge out.", ("surge", "power"),
            )
        )  # fmt: skip
    if load.stop is not None and load.stop.output == load.wired_to:
        troubles.append(
            Trouble(
                f"The stop pulse cannot go to {load.wired_to}, which powers the load.", "another output", "stop: OUT3",
                "Name the output that is wired to the camera's shutter line.", ("stop",),
            )
        )  # fmt: skip
    seen: list[float] = []
    for index, entry in enumerate(load.power_at):
        where = ("power_at", index, "level")
        if entry.level.nominal == 1 and (entry.power.high < load.power.low or entry.power.low > load.power.high):
            troubles.append(
                Trouble(
                    f"At 100 % the power is {entry.power} here, and {load.power} under power.",
                    f"{load.power} at 100 %", "", "Correct one of the two.", ("power_at", index, "power"),
                )
            )  # fmt: skip
        if entry.level.nominal in seen:
            troubles.append(
                Trouble(f"The level {entry.level} stands twice.", "each level once", "", "Delete one.", where)
            )
        seen.append(entry.level.nominal)
    return troubles


def line_troubles(line: Line) -> list[Trouble]:
    """Either from and until or with; every and for together; flash patterns that 1/64 s can make."""
    troubles = _shape_troubles(line)
    if not troubles and line.every is not None and line.for_ is not None:
        troubles += _burst_troubles(line.every, line.for_)
    return troubles


def _shape_troubles(line: Line) -> list[Trouble]:
    either = "either from and until, or with"
    if line.with_ is not None:
        barred = [("from", line.from_), ("until", line.until), ("every", line.every), ("for", line.for_)]
        return [
            Trouble(
                f"{key} cannot stand beside with: the line takes its times from {line.with_}.", either,
                "{load: lights, with: camera, lead: 3 s}", f"Delete {key}, or delete with.", (key,), True,
            )
            for key, value in barred if value is not None
        ] + _self_troubles(line)  # fmt: skip
    troubles = []
    for key, value in (("from", line.from_), ("until", line.until)):
        if value is None:
            message = (
                f"{key} is missing." if line.from_ or line.until else "Neither from and until nor with is written."
            )
            troubles.append(
                Trouble(message, either, f"{key}: {'splash' if key == 'from' else 'bottom + 40 min'}", f"Add {key}.")
            )
            if not (line.from_ or line.until):
                break
    for key, extra in (("lead", line.lead), ("trail", line.trail), ("only", line.only)):
        if extra is not None:
            troubles.append(
                Trouble(
                    f"{key} belongs to a line with with; this one has times of its own.", "no " + key,
                    "{load: lights, with: camera, lead: 3 s}", f"Delete {key} and change from or until.", (key,), True,
                )
            )  # fmt: skip
    for key, there, lacking in (("every", line.every, line.for_), ("for", line.for_, line.every)):
        other = "for" if key == "every" else "every"
        if there is not None and lacking is None:
            troubles.append(
                Trouble(
                    f"{key} needs {other} beside it.", "every with for, or neither", "every: 30 min, for: 6 min",
                    f"Add {other}.", (key,), True,
                )
            )  # fmt: skip
    return troubles


def _self_troubles(line: Line) -> list[Trouble]:
    if line.with_ != line.load:
        return []
    return [
        Trouble(
            f"{line.load} cannot follow itself.", "another load", "{load: lights, with: camera}",
            "Name the load that it goes with.", ("with",),
        )
    ]  # fmt: skip


def _burst_troubles(every: Quantity, length: Quantity) -> list[Trouble]:
    if length.nominal > every.nominal:
        return [
            Trouble(
                f"for ({length}) is longer than every ({every}).", f"at most {every}", "every: 30 min, for: 6 min",
                "Check whether the two are exchanged.", ("for",),
            )
        ]  # fmt: skip
    flash = every.nominal <= FLASH_UP_TO_S or every.nominal % 1 or length.nominal % 1
    if length.nominal == every.nominal or (flash and round(length.nominal * 64) >= round(every.nominal * 64)):
        in_steps = "" if length.nominal == every.nominal else " in steps of 1/64 s"
        return [
            Trouble(
                f"for ({length}) and every ({every}) are the same{in_steps}, so it is always on.",
                f"less than {every}",
                "every: 30 min, for: 6 min",
                "Delete both for steadily on.",
                ("for",),
            )
        ]
    troubles = []
    if flash and every.nominal > FLASH_AT_MOST_S:
        part = "for" if length.nominal % 1 else "every"
        value = length if part == "for" else every
        return _whole_seconds(value, part)
    if flash:
        for name, value in (("every", every), ("for", length)):
            if value.nominal < FLASH_STEP_S:
                troubles.append(
                    Trouble(
                        f"{name} ({value}) is shorter than the finest step, 1/64 s (15.6 ms).",
                        "at least 16 ms",
                        "100 ms",
                        "Write a longer time.",
                        (name,),
                    )
                )
    return troubles


def _whole_seconds(value: Quantity | None, name: str) -> list[Trouble]:
    if value is None or value.nominal % 1 == 0:
        return []
    up = write_duration(float(int(value.nominal) + 1))
    return [
        Trouble(
            f"{name} ({value}) has a part of a second; only flash patterns have that.", "whole seconds", up,
            f"Write {up}.", (name,),
        )
    ]  # fmt: skip


def actuator_troubles(actuator: Actuator) -> list[Trouble]:
    """What each kind of release needs and cannot have; a test that fits; tries with a pause."""
    troubles = []
    if not actuator.fired:
        for key in ("at", "wired_to", "power", "measured_at", "fire", "pause", "wire"):
            if getattr(actuator, key) is not None:
                troubles.append(
                    Trouble(
                        f"A dissolving link has no {key}: nothing switches it.",
                        "kind and parts_after",
                        "parts_after: 24 h ± 30 %",
                        f"Delete {key}, or change kind.",
                        (key,),
                        True,
                    )
                )
        if actuator.parts_after is None:
            troubles.append(_needed(actuator, "parts_after", "time in the water until it parts", "24 h ± 30 %"))
        return troubles
    for key, expected, example in (
        ("wired_to", "the board's release output", "REL1"),
        ("power", "power while firing", "4 W"),
        ("fire", "how long each try is powered", "8 min"),
    ):
        if getattr(actuator, key) is None:
            troubles.append(_needed(actuator, key, expected, example))
    if actuator.parts_after is not None:
        troubles.append(
            Trouble(
                f"A {actuator.kind} has no parts_after; only a dissolving link has.", "fire and tries", "fire: 8 min",
                "Delete parts_after; write a measured time under tested.", ("parts_after",), True,
            )
        )  # fmt: skip
    if actuator.wire is not None and actuator.kind not in ("burn wire", "hot wire"):
        troubles.append(
            Trouble(f"A {actuator.kind} has no wire.", "no wire", "", "Delete wire, or change kind.", ("wire",), True)
        )
    if actuator.pause is not None and actuator.pause.nominal > 0 and actuator.tries == 1:
        troubles.append(
            Trouble(
                f"pause ({actuator.pause}) has no use with one try.", "tries above 1, or no pause", "tries: 3",
                "Add tries, or delete pause.", ("pause",), True,
            )
        )  # fmt: skip
    return troubles


def _needed(actuator: Actuator, key: str, expected: str, example: str) -> Trouble:
    return Trouble(f"A {actuator.kind} needs {key}.", expected, f"{key}: {example}", f"Add the key {key}.")


def change_troubles(change: FieldChange) -> list[Trouble]:
    """One of shift and level, with what belongs to it; 32 settings at most."""
    if (change.shift is None) == (change.level is None):
        return [
            Trouble(
                "A field change has either shift or level.", "shift or level", "{level: lights, values: [70 %, 45 %]}",
                "Write one of the two.",
            )
        ]  # fmt: skip
    own, other = (("step", "from", "to"), ("values",)) if change.shift else (("values",), ("step", "from", "to"))
    head = "shift" if change.shift else "level"
    troubles = []
    for key in own:
        if getattr(change, "from_" if key == "from" else key) is None:
            troubles.append(
                Trouble(f"{head} needs {key}.", f"{head} with {', '.join(own)}", _CHANGE_EXAMPLES[head], f"Add {key}.")
            )
    for key in other:
        if getattr(change, "from_" if key == "from" else key) is not None:
            troubles.append(
                Trouble(
                    f"{key} does not belong to {head}.", f"{head} with {', '.join(own)}", _CHANGE_EXAMPLES[head],
                    f"Delete {key}.", (key,), True,
                )
            )  # fmt: skip
    if troubles:
        return troubles
    return _shift_troubles(change) if change.shift else _values_troubles(change)


_CHANGE_EXAMPLES = {
    "shift": "{shift: release, step: 30 min, from: -2, to: 4}",
    "level": "{level: lights, values: [70 %, 45 %]}",
}


def _shift_troubles(change: FieldChange) -> list[Trouble]:
    assert change.from_ is not None
    assert change.to is not None
    assert change.step is not None
    troubles = []
    if change.from_ > 0:
        troubles.append(
            Trouble(
                f"from ({change.from_}) must be at most 0: the plan as written is one of the choices.",
                "0 or a negative number",
                "-2",
                "Write the most steps earlier as a negative number.",
                ("from",),
            )
        )
    if change.to < 0:
        troubles.append(
            Trouble(
                f"to ({change.to}) must be at least 0: the plan as written is one of the choices.", "0 or more", "4",
                "Write the most steps later.", ("to",),
            )
        )  # fmt: skip
    if change.from_ == change.to == 0:
        troubles.append(
            Trouble("A shift from 0 to 0 changes nothing.", "", _CHANGE_EXAMPLES["shift"], "Widen it.", ("to",))
        )
    return troubles + _too_many(change)


def _values_troubles(change: FieldChange) -> list[Trouble]:
    values = change.values or []
    troubles = []
    if len(values) < 2:
        troubles.append(
            Trouble(
                f"values has {'one level' if values else 'no level'}; there is nothing to choose.",
                "two levels or more",
                "[70 %, 45 %]",
                "Add a level.",
                ("values",),
            )
        )
    first: dict[float, int] = {}
    for index, value in enumerate(values):
        if value.nominal in first:
            troubles.append(
                Trouble(
                    f"The level {write_value(value.nominal, '%')} stands twice.", "each level once", "[70 %, 45 %]",
                    "Delete one.", ("values", index),
                )
            )  # fmt: skip
        first.setdefault(value.nominal, index)
    return troubles + _too_many(change)


def _too_many(change: FieldChange) -> list[Trouble]:
    if change.choices <= MOST_COMBINATIONS:
        return []
    key = "to" if change.shift else "values"
    return [
        Trouble(
            f"It offers {change.choices} choices; {MOST_COMBINATIONS} are the most, all field changes together.",
            f"at most {MOST_COMBINATIONS} combinations", _CHANGE_EXAMPLES["shift" if change.shift else "level"],
            "Offer fewer.", (key,),
        )
    ]  # fmt: skip

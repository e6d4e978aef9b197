"""Any dive that a settings block can say: as a hypothesis strategy, and quickly by the thousand from a seed.

The builder asks a `Pick` for whole numbers and nothing else, so that both ways make the same dives.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from hypothesis import strategies as st
from settings_dives import HOUR, OUTPUTS, make_plan, window

from schedgen.plan.model import (
    Bounds,
    Burst,
    ChooseLevel,
    Clip,
    FieldChange,
    Firing,
    Flash,
    Follow,
    Interlocks,
    Plan,
    ShiftRelease,
    Window,
)
from schedgen.settings.fields import Field, by_name
from schedgen.settings.meaning import burst_stop, bursts_without_end, combinations

T = TypeVar("T")
ELAPSED = by_name("header", "end").high
LEADERS = OUTPUTS[:4]
FOLLOWING = OUTPUTS[4:6]


@dataclass(frozen=True)
class Pick:
    """Chooses. `number(low, high)` gives a whole number, both ends included."""

    number: Callable[[int, int], int]

    def flag(self) -> bool:
        return bool(self.number(0, 1))

    def one(self, of: Sequence[T]) -> T:
        return of[self.number(0, len(of) - 1)]

    def field(self, record: str, name: str, most: int | None = None) -> int:
        """Any value of a field, at most `most`; now and then one of its ends."""
        one: Field = by_name(record, name)
        high = one.high if most is None else min(one.high, most)
        steps = (high - one.low) // one.scale
        end = self.number(0, 11)
        return one.low + one.scale * (0 if end == 0 else steps if end == 1 else self.number(0, steps))

    def span(self, end_s: int) -> tuple[int, int]:
        """A start and a later stop."""
        start_s = self.number(0, end_s - 1)
        return start_s, self.number(start_s + 1, end_s)


@st.composite
def plans(draw: st.DrawFn, most_windows: int = 6) -> Plan:
    """Any plan that a block of 255 bytes can say, from dives of minutes to the longest of 24 bits."""
    return any_plan(Pick(lambda low, high: draw(st.integers(low, high))), most_windows)


def random_plan(seed: int, most_windows: int = 6) -> Plan:
    """The plan that belongs to a seed."""
    return any_plan(Pick(random.Random(seed).randint), most_windows)


def any_plan(pick: Pick, most_windows: int) -> Plan:
    end_s = pick.number(100, pick.one((90 * HOUR, ELAPSED)))
    at_s = pick.number(0, end_s)
    leaders = [pick.one(LEADERS) for _ in range(pick.number(0, most_windows))]
    windows = [own_window(pick, name, end_s) for name in leaders]
    clips = [Clip(*pick.span(end_s), pick.flag(), pick.flag()) for _ in range(pick.number(0, 3))]
    if leaders:
        followers = [pick.one(FOLLOWING) for _ in range(pick.number(0, 5))]
        windows += [follower(pick, name, leaders, clips) for name in followers]
    limits = any_interlocks(pick, end_s)
    changes = any_changes(pick, at_s)
    plan = make_plan(
        windows,
        at_s,
        end_s,
        trigger=pick.one(("water", "button", "command")),
        board_type=pick.field("header", "board_type"),
        primary=any_firing(pick, "REL1", at_s, "primary") if pick.flag() else None,
        backup=any_firing(pick, "REL2", limits.latest_s, "backup") if pick.flag() else None,
        interlocks=limits,
        field_changes=changes,
        allowed_changes=tuple(pick.flag() for _ in combinations(changes)),
    )
    if pick.flag():
        return plan
    bottom_s, surface_s = pick.number(0, 300000), pick.number(0, ELAPSED)
    return replace(plan, events={**plan.events, "bottom": Bounds(0, 0, bottom_s), "surface": Bounds(0, 0, surface_s)})


def level(pick: Pick) -> int | None:
    return pick.field("window", "level") if pick.flag() else None


def own_window(pick: Pick, output: str, end_s: int) -> Window:
    """Any window that follows nothing."""
    start_s, stop_s = pick.span(end_s)
    made = window("load", output, start_s, stop_s, level=level(pick), start_moves=pick.flag(), stop_moves=pick.flag())
    kind = pick.one(("plain", "endless", "repeating", "flash", "endless flash", "endless repeating"))
    if "repeating" in kind:
        return bursts(pick, made, start_s, stop_s, kind == "endless repeating")
    if "flash" in kind:
        every = pick.field("window", "flash_every")
        made = replace(made, flash=Flash(every, pick.number(1, every)))
    return replace(made, stop_s=None) if "endless" in kind else made


def bursts(pick: Pick, made: Window, start_s: int, stop_s: int, endless: bool) -> Window:
    on_s = pick.field("window", "on", stop_s - start_s)
    if endless:
        every_s = pick.number(max(128, on_s), by_name("window", "every").high)  # faster ones without end are a flash
        return replace(made, burst=Burst(every_s, on_s, bursts_without_end(start_s, every_s)), stop_s=None)
    every_s = pick.number(on_s, by_name("window", "every").high)
    burst = Burst(every_s, on_s, pick.field("window", "count", 1 + (stop_s - start_s - on_s) // every_s), 2)
    return replace(made, burst=burst, stop_s=burst_stop(start_s, burst))


def follower(pick: Pick, output: str, leaders: Sequence[str], clips: Sequence[Clip]) -> Window:
    """Any window that follows one of the leaders."""
    stop = pick.flag()
    follow = Follow(
        pick.one(leaders),
        pick.field("follower", "lead"),
        0 if stop else pick.field("follower", "trail"),
        "stop" if stop else "cover",
    )
    return window("load", output, None, None, level=level(pick), follow=follow, clip=pick.one((None, *clips)))


def any_firing(pick: Pick, output: str, at_s: int, which: str) -> Firing:
    fire_s = max(1, pick.field("header", f"{which}_fire"))
    return Firing(output, at_s, fire_s, pick.field("header", f"{which}_tries"), pick.field("header", f"{which}_pause"))


def any_interlocks(pick: Pick, end_s: int) -> Interlocks:
    """Any interlocks in order; voltages to the millivolt, which the block rounds up to ten."""
    not_before_s = pick.number(0, end_s)
    most = by_name("header", "shed").high
    return Interlocks(
        not_before_s,
        pick.number(not_before_s, ELAPSED),
        pick.flag(),
        pick.number(0, most) / 1000.0,
        pick.number(0, most) / 1000.0,
        pick.field("header", "series"),
        tuple(name for name in OUTPUTS if pick.flag()),
    )


def any_changes(pick: Pick, at_s: int) -> tuple[FieldChange, ...]:
    """Up to two field changes, in either order, of at most 32 combinations."""
    changes: list[FieldChange] = []
    if pick.flag():
        step_s = pick.field("change", "step")
        changes.append(ShiftRelease(step_s, -pick.number(0, min(3, at_s // step_s)), pick.number(0, 4)))
    if pick.flag():
        values = tuple(pick.field("change", "level_1") for _ in range(pick.field("change", "choices")))
        changes.append(ChooseLevel(pick.one(FOLLOWING), values))
    return tuple(changes[::-1] if pick.flag() else changes)

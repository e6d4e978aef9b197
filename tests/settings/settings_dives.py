"""Dives for the settings tests: a builder of plans and hypothesis strategies over all that a block can say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from hypothesis import strategies as st

from schedgen.files.place import Place
from schedgen.plan.model import (
    Bounds,
    Burst,
    ChooseLevel,
    Clip,
    Fall,
    FieldChange,
    Firing,
    Flash,
    Follow,
    Interlocks,
    OutputPlan,
    Plan,
    ShiftRelease,
    Window,
)
from schedgen.settings.meaning import burst_stop, bursts_without_end, combinations

OUTPUTS = ("OUT1", "OUT2", "OUT3", "OUT4", "PWM1", "PWM2", "REL1", "REL2")
"""The outputs of the board halyard-4809, in its order."""

HOUR = 3600
_THREE = (0.0, 0.0, 0.0)
_FALL = Fall(_THREE, _THREE, _THREE, _THREE, _THREE, _THREE, _THREE, _THREE)


def make_plan(windows: Sequence[Window], at_s: int = 9 * HOUR, end_s: int = 72 * HOUR, **changes: Any) -> Plan:
    """A plan with these windows; `changes` replace any of its attributes."""
    latest_s = changes["interlocks"].latest_s if "interlocks" in changes else 14 * HOUR
    outputs = {}
    for name in OUTPUTS:
        own = tuple(window for window in windows if window.output == name)
        if own:
            outputs[name] = OutputPlan(name, "switched", own[0].load, "other", own, (), ())
    last_end_s = at_s + 3 * 480 + 2 * 300
    plan = Plan(
        name="test dive",
        board="halyard-4809",
        board_type=0x4D2E,
        trigger="water",
        planned=datetime(2027, 4, 19, 5, 40, tzinfo=UTC),
        planned_plus_minus_s=0.0,
        clock_tolerance=2e-5,
        events={
            "start": Bounds(0, 0, 0),
            "bottom": Bounds(1800, 3000, 4321),
            "release": Bounds(at_s, at_s, at_s),
            "surface": Bounds(at_s, last_end_s, last_end_s + 3001),
            "end": Bounds(end_s, end_s, end_s),
        },
        true_events={},
        first_edge_s=60,
        outputs=outputs,
        primary=Firing("REL1", at_s, 480, 3, 300),
        backup=Firing("REL2", latest_s, 480, 3, 300),
        interlocks=Interlocks(3 * HOUR, latest_s, False, 3.1, 2.95, 3, ("OUT2", "OUT4")),
        field_changes=(),
        fall=_FALL,
    )
    return replace(plan, **changes)


def window(load: str, output: str, start_s: int | None, stop_s: int | None, **rest: Any) -> Window:
    """A window of a load, standing at line 40 of a file."""
    return Window(load, output, start_s, stop_s, place=Place("dive.yaml", 40, 5), **rest)


def repeating(load: str, output: str, start_s: int, burst: Burst) -> Window:
    """A repeating window that ends with its last burst, before the release."""
    return window(load, output, start_s, burst_stop(start_s, burst), burst=burst, stop_moves=True)


def counted_windows() -> list[Window]:
    """The counted case of the design: 4 plain, 3 repeating, 3 following with one shared `only`, 2 with levels."""
    clip = Clip(1800, 9 * HOUR, stop_moves=True)
    return [
        window("camera", "OUT1", 60, 3 * HOUR),
        window("second", "OUT2", 60, 2 * HOUR),
        window("beacon", "OUT3", 9 * HOUR, 72 * HOUR, start_moves=True),
        window("locator", "OUT4", 9 * HOUR, 71 * HOUR, start_moves=True),
        repeating("camera", "OUT1", 4 * HOUR, Burst(1800, 360, 9)),
        repeating("second", "OUT2", 4 * HOUR, Burst(1800, 240, 9)),
        repeating("third", "OUT3", 2 * HOUR, Burst(600, 60, 30)),
        window("lights", "PWM1", None, None, level=70, follow=Follow("OUT1", 3, 0), clip=clip),
        window("fan", "PWM2", None, None, level=60, follow=Follow("OUT1", 0, 240), clip=clip),
        window("lamp", "OUT4", None, None, follow=Follow("OUT2", 3, 1), clip=clip),
    ]


COUNTED_CHANGES = (ShiftRelease(1800, -2, 4), ChooseLevel("PWM1", (70, 45)))


def counted_plan(**changes: Any) -> Plan:
    """The counted case of the design as a plan: see `counted_windows`; two field changes with 7 x 2 combinations."""
    return make_plan(counted_windows(), field_changes=COUNTED_CHANGES, allowed_changes=(True,) * 14, **changes)


def _spans(end_s: int) -> st.SearchStrategy[tuple[int, int]]:
    return st.tuples(st.integers(0, end_s), st.integers(0, end_s)).map(sorted).filter(lambda pair: pair[0] < pair[1])


@st.composite
def window_of(draw: st.DrawFn, output: str, end_s: int) -> Window:
    """Any window of its own (not a follower) on this output."""
    start_s, stop_s = draw(_spans(end_s))
    level = draw(st.none() | st.integers(1, 100))
    moves, stop_moves = draw(st.booleans()), draw(st.booleans())
    kind = draw(st.sampled_from(["plain", "endless", "repeating", "flash", "endless flash"]))
    made = window("load", output, start_s, stop_s, level=level, start_moves=moves, stop_moves=stop_moves)
    if kind == "repeating":
        on_s = draw(st.integers(1, min(stop_s - start_s, 16383)))
        if draw(st.booleans()):
            every_s = draw(st.integers(max(128, on_s), 65535))  # faster ones without end are a flash
            burst = Burst(every_s, on_s, bursts_without_end(start_s, every_s))
            return replace(made, burst=burst, stop_s=None)
        every_s = draw(st.integers(on_s, 65535))
        most = 1 + (stop_s - start_s - on_s) // every_s
        burst = Burst(every_s, on_s, draw(st.integers(1, min(most, 8192))), 2)
        return replace(made, burst=burst, stop_s=burst_stop(start_s, burst))
    if "flash" in kind:
        on, every = draw(st.tuples(st.integers(1, 8191), st.integers(1, 8191)).map(sorted))
        made = replace(made, flash=Flash(every, on))
    return replace(made, stop_s=None) if "endless" in kind else made


@st.composite
def follower_of(draw: st.DrawFn, output: str, leaders: Sequence[str], clips: Sequence[Clip]) -> Window:
    """Any window of this output that follows one of the leaders."""
    stop = draw(st.booleans())
    return window(
        "load",
        output,
        None,
        None,
        level=draw(st.none() | st.integers(1, 100)),
        follow=Follow(
            draw(st.sampled_from(leaders)),
            draw(st.integers(0, 511)),
            0 if stop else draw(st.integers(0, 2047)),
            "stop" if stop else "cover",
        ),
        clip=draw(st.sampled_from([None, *clips])),
    )


@st.composite
def changes_of(draw: st.DrawFn, at_s: int) -> tuple[FieldChange, ...]:
    """Up to two field changes, in either order, of at most 32 combinations."""
    changes: list[FieldChange] = []
    if draw(st.booleans()):
        step_s = 60 * draw(st.integers(1, 255))
        changes.append(ShiftRelease(step_s, -draw(st.integers(0, min(3, at_s // step_s))), draw(st.integers(0, 4))))
    if draw(st.booleans()):
        values = st.lists(st.integers(1, 100), min_size=1, max_size=4)
        changes.append(ChooseLevel(draw(st.sampled_from(["PWM1", "PWM2"])), tuple(draw(values))))
    return tuple(draw(st.permutations(changes)))


@st.composite
def firings(draw: st.DrawFn, output: str, at_s: int) -> Firing:
    """Any release that fires at this time."""
    return Firing(output, at_s, draw(st.integers(1, 2047)), draw(st.integers(1, 8)), draw(st.integers(0, 2047)))


@st.composite
def plans(draw: st.DrawFn, most_windows: int = 6) -> Plan:
    """Any plan that a block of 255 bytes can say, from dives of minutes to the longest of 24 bits."""
    end_s = draw(st.integers(100, 90 * HOUR) | st.integers(100, (1 << 24) - 1))
    at_s = draw(st.integers(0, end_s))
    not_before_s, latest_s = draw(st.tuples(st.integers(0, end_s), st.integers(0, (1 << 24) - 1)).map(sorted))
    not_before_s = min(not_before_s, end_s)
    leaders = draw(st.lists(st.sampled_from(OUTPUTS[:4]), max_size=most_windows))
    windows = [draw(window_of(name, end_s)) for name in leaders]
    clips = [
        Clip(*draw(_spans(end_s)), draw(st.booleans()), draw(st.booleans())) for _ in range(draw(st.integers(0, 3)))
    ]
    for name in draw(st.lists(st.sampled_from(["PWM1", "PWM2"]), max_size=5)) if leaders else []:
        windows.append(draw(follower_of(name, leaders, clips)))
    changes = draw(changes_of(at_s))
    count = len(combinations(changes))
    volts = st.integers(0, 5110).map(lambda millivolts: millivolts / 1000.0)
    plan = make_plan(
        windows,
        at_s,
        end_s,
        trigger=draw(st.sampled_from(["water", "button", "command"])),
        board_type=draw(st.integers(0, 65535)),
        primary=draw(st.none() | firings("REL1", at_s)),
        backup=draw(st.none() | firings("REL2", latest_s)),
        interlocks=Interlocks(
            not_before_s,
            latest_s,
            draw(st.booleans()),
            draw(volts),
            draw(volts),
            draw(st.integers(1, 15)),
            tuple(sorted(draw(st.sets(st.sampled_from(OUTPUTS))), key=OUTPUTS.index)),
        ),
        field_changes=changes,
        allowed_changes=tuple(draw(st.lists(st.booleans(), min_size=count, max_size=count))),
    )
    bottom_s, surface_s = draw(st.integers(0, 300000)), draw(st.integers(0, (1 << 24) - 1))
    more = {"bottom": Bounds(0, 0, bottom_s), "surface": Bounds(0, 0, surface_s)}
    return replace(plan, events={**plan.events, **draw(st.sampled_from([more, {}]))})

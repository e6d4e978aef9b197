"""Dives for the settings tests: a builder of plans, and the counted case of the design."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from schedgen.files.place import Place
from schedgen.plan.model import (
    Bounds,
    Burst,
    ChooseLevel,
    Clip,
    Fall,
    Firing,
    Follow,
    Interlocks,
    OutputPlan,
    Plan,
    ShiftRelease,
    Window,
)
from schedgen.settings.meaning import burst_stop

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

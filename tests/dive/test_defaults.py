"""What is left out is listed, and so is what is guessed."""

from __future__ import annotations

from collections.abc import Callable

from schedgen.dive.defaults import assumptions, guessed_inputs
from schedgen.dive.model import Dive
from schedgen.dive.read import ReadDive


def dive(read: Callable[[str], ReadDive], text: str) -> Dive:
    found = read(text)
    assert found.dive is not None, found.problems
    return found.dive


def without(text: str, *lines: str) -> str:
    for line in lines:
        assert line in text, line
        text = text.replace(line, "")
    return text


def test_a_full_dive_guesses_nothing(good: Dive) -> None:
    assert guessed_inputs(good) == []
    assert not [path for path, _ in assumptions(good) if path.startswith(("pack.s", "pack.h", "site", "vehicle"))]


def test_every_about_is_a_guess(example: str, read: Callable[[str], ReadDive]) -> None:
    text = example.replace("power: 1.2 W", "power: about 1.2 W").replace("mass: 15 kg", "mass: about 15 kg")
    text = text.replace("down: 1.0 ± 20 %", "down: about 1")
    assert guessed_inputs(dive(read, text)) == [
        "vehicle.ballast.mass", "vehicle.drag_coefficient.down", "loads.fan.power"
    ]  # fmt: skip


def test_guesses_in_lists_and_aliased_keys_have_the_keys_of_the_file(
    example: str, read: Callable[[str], ReadDive]
) -> None:
    text = example.replace("for: 4 s", "for: about 4 s")
    assert guessed_inputs(dive(read, text)) == ["loads.camera.surge.for"]


def test_health_and_drag_left_out_are_guesses_and_listed(example: str, read: Callable[[str], ReadDive]) -> None:
    found = dive(
        read, without(example, "  health: 93 % ± 3 %\n", "  drag_coefficient: {down: 1.0 ± 20 %, up: 0.9 ± 20 %}\n")
    )
    assert guessed_inputs(found) == ["pack.health", "vehicle.drag_coefficient.down", "vehicle.drag_coefficient.up"]
    assumed = dict(assumptions(found))
    assert assumed["pack.health"].startswith("60 % .. 80 %")
    assert assumed["vehicle.drag_coefficient"].startswith("0.6 .. 1.5")


def test_everything_else_left_out_is_listed(example: str, read: Callable[[str], ReadDive]) -> None:
    found = dive(
        read,
        without(
            example, "  charge: 98 %\n", "  reserve: 20 %\n", "  shed: 3.1 V\n", "  release_below: 2.95 V\n",
            "  air: {temperature: 13 degC, sun: yes}\n", "  prefer: daylight\n", "    measured_at: 11.1 V\n",
            "    ready_after: 20 s\n", "    pause: 5 min\n",
        ),
    )  # fmt: skip
    assumed = dict(assumptions(found))
    assert assumed["pack.charge"].startswith("95 %")
    assert assumed["pack.reserve"].startswith("20 %")
    assert assumed["pack.shed"] == "3.1 V for each cell, low_cut + 0.3 V"
    assert assumed["pack.release_below"] == "2.95 V for each cell, low_cut + 0.15 V"
    assert "surface" in assumed["site.air"]
    assert assumed["recovery.prefer"] == "either"
    assert assumed["release.primary.measured_at"] == "the nominal pack voltage"
    assert assumed["release.primary.pause"] == "0 s"
    assert assumed["loads.camera.ready_after"] == "0 s"
    assert assumed["loads.beacon.role"] == "beacon, from its name"


def test_water_that_ends_above_the_bottom_is_noted(example: str, read: Callable[[str], ReadDive]) -> None:
    found = dive(read, without(example, "    - {depth: 1230 m, temperature: 5.2 degC, salinity: 34.98}\n"))
    assert "600 m" in dict(assumptions(found))["site.water"]


def test_the_assumed_numbers_are_those_that_plan_and_simulation_use() -> None:
    from schedgen.dive import defaults
    from schedgen.plan import compile as plan_compile
    from schedgen.simulate import corners

    for ours, theirs in ((defaults.CHARGE, corners.DEFAULT_CHARGE), (defaults.HEALTH, corners.DEFAULT_HEALTH)):
        assert (ours.low, ours.nominal, ours.high) == (theirs.low, theirs.nominal, theirs.high)
    assert defaults.RESERVE.nominal == corners.DEFAULT_RESERVE
    assert defaults.SHED_ABOVE_CUT_V == plan_compile.SHED_ABOVE_CUT_V
    assert defaults.RELEASE_ABOVE_CUT_V == plan_compile.RELEASE_ABOVE_CUT_V

"""The whole plan: outputs, interlocks, the numbers that the settings cannot hold, places, and the example dive."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import schedgen
from schedgen.dive.times import When
from schedgen.files.place import Place
from schedgen.files.quantity import write_duration
from schedgen.plan.limits import ELAPSED_MOST, change_notes, interlock_notes, window_notes
from schedgen.plan.mechanism import nominal_pack_v
from schedgen.plan.model import (
    Burst,
    ChooseLevel,
    Clip,
    Flash,
    Follow,
    Interlocks,
    ShiftRelease,
    Window,
)
from schedgen.plan.spots import Spots
from schedgen.settings.fields import by_name

Whole = Any
SPOTS = Spots({})
DAY = 86_400


def named(plan: Any, name: str) -> list[Any]:
    return [note for note in plan.notes if note.name == name]


# -- outputs and interlocks


def test_outputs_stand_in_the_boards_order_and_only_used_ones(whole: Whole) -> None:
    dive = whole.dive()
    dive.loads = {name: dive.loads[name] for name in ("lights", "camera")}
    plan = whole.plan(dive)
    assert list(plan.outputs) == ["OUT1", "PWM1", "REL1"]
    assert [(one.load, one.role, one.kind) for one in plan.outputs.values()] == [
        ("camera", "camera", "switched"), ("lights", "light", "level"), ("release", "release", "release")
    ]  # fmt: skip


def test_a_stop_output_has_the_role_stop_and_its_cameras_name(whole: Whole) -> None:
    dive = whole.dive()
    dive.loads["camera"].stop = SimpleNamespace(kind="output", output="OUT3")
    dive.loads["camera"].close_before_off = whole.quantity(8.0)
    stop = whole.plan(dive).outputs["OUT3"]
    assert (stop.role, stop.load) == ("stop", "camera")


def test_beacon_and_locator_survive_shedding_in_board_order(whole: Whole) -> None:
    assert whole.plan(whole.dive()).interlocks.keep == ("OUT2", "OUT4")


def test_shed_and_release_below_default_above_the_low_cut(whole: Whole) -> None:
    dive = whole.dive()
    dive.pack.shed = dive.pack.release_below = None
    dive.pack.protection = SimpleNamespace(low_cut=whole.quantity(2.8))
    limits = whole.plan(dive).interlocks
    assert (limits.shed_v, limits.release_below_v) == (3.1, 2.95)


def test_the_low_cut_defaults_to_the_cells_cut_off(whole: Whole) -> None:
    dive = whole.dive()
    dive.pack.shed = dive.pack.release_below = None
    cell = SimpleNamespace(cut_off=whole.quantity(2.5), full=whole.quantity(4.2), nominal=whole.quantity(3.63))
    limits = whole.plan(dive, cell=cell).interlocks
    assert (limits.shed_v, limits.release_below_v) == (2.8, 2.65)
    with pytest.raises(ValueError, match="hand in the cell"):
        whole.plan(dive)


def test_a_backup_that_would_fire_after_the_end_is_outside_the_dive(whole: Whole) -> None:
    # end is at 44 148 s (late surface 8147 + 36 001.5); a backup at 50 000 s would never fire
    dive = whole.dive()
    dive.release.backup = SimpleNamespace(**{**vars(dive.release.primary), "wired_to": "REL2", "at": None})
    dive.release.latest = When("start", 50_000.0)
    plan = whole.plan(dive)
    assert "12 h 15 min 48 s" in named(plan, "window-outside-dive")[0].message
    assert plan.outputs["REL2"].on_times == ()


def test_a_release_on_its_own_time_is_outside_the_dive(whole: Whole) -> None:
    dive = whole.dive()
    dive.release.primary.at = When("surface", -600.0)
    assert "`surface` cannot be used here" in named(whole.plan(dive), "window-outside-dive")[0].message


def test_only_that_leaves_nothing_of_the_leader_is_an_empty_window(whole: Whole) -> None:
    # the camera is on until 900 at the latest, the lights only from 5000
    schedule = [
        whole.line("camera", "bottom", "bottom+600"),
        whole.line("lights", with_="camera", only=("start+5000", "release")),
    ]
    places = {"schedule.1.only": Place("a.yaml", 70, 40)}
    plan = whole.plan(whole.dive(schedule=schedule), places)
    empty = named(plan, "window-empty")
    assert [(note.load, note.place.line) for note in empty] == [("lights", 70)]


def test_a_note_stands_at_its_value_or_at_the_section_around_it(whole: Whole) -> None:
    schedule = [whole.line("fan", "release", "end+600")]
    near = whole.plan(whole.dive(schedule=schedule), {"schedule.0.until": Place("a.yaml", 7, 30)})
    around = whole.plan(whole.dive(schedule=schedule), {"schedule.0": Place("a.yaml", 7, 5)})
    assert [named(plan, "window-outside-dive")[0].place.column for plan in (near, around)] == [30, 5]


def test_the_same_dive_gives_the_same_plan(whole: Whole) -> None:
    assert whole.plan(whole.dive()) == whole.plan(whole.dive())


# -- numbers out of range: the bounds are those of the settings' own table


def window(**more: Any) -> Window:
    return Window("fan", "PWM2", more.pop("start_s", 100), more.pop("stop_s", 200), line=3, **more)


def most(record: str, name: str) -> int:
    return by_name(record, name).high


OUT_OF_RANGE = {
    "elapsed seconds": window(stop_s=ELAPSED_MOST + 1),
    "every": window(burst=Burst(most("window", "every") + 1, 60, 1)),
    "on": window(burst=Burst(60_000, most("window", "on") + 1, 1)),
    "count": window(burst=Burst(100, 60, most("window", "count") + 1)),
    "flash": window(flash=Flash(most("window", "flash_every") + 1, 6)),
    "lead": window(follow=Follow("OUT1", most("follower", "lead") + 1, 0)),
    "trail": window(follow=Follow("OUT1", 0, most("follower", "trail") + 1)),
    "closing": window(follow=Follow("OUT1", most("follower", "lead") + 1, 0, "stop")),
    "level": window(level=101),
    "clip": window(clip=Clip(100, ELAPSED_MOST + 1)),
}
IN_RANGE = {
    "the last elapsed second": window(stop_s=ELAPSED_MOST),
    "bursts": window(burst=Burst(most("window", "every"), most("window", "on"), most("window", "count"))),
    "flash": window(flash=Flash(most("window", "flash_every"), most("window", "flash_on"))),
    "lead and trail": window(follow=Follow("OUT1", most("follower", "lead"), most("follower", "trail"))),
    "full level": window(level=100),
}


@pytest.mark.parametrize("name", OUT_OF_RANGE)
def test_a_window_that_the_settings_cannot_hold_is_noted(name: str) -> None:
    notes = list(window_notes(OUT_OF_RANGE[name], SPOTS))
    assert [(note.name, note.load) for note in notes] == [("counter-range", "fan")]


@pytest.mark.parametrize("name", IN_RANGE)
def test_a_window_at_the_bounds_is_held(name: str) -> None:
    assert list(window_notes(IN_RANGE[name], SPOTS)) == []


def test_the_message_names_value_and_bounds() -> None:
    (note,) = window_notes(window(level=101), SPOTS)
    assert note.message == "the level is 101 %; the settings hold 1 % to 100 %"


@pytest.mark.parametrize(
    ("change", "problems"),
    [
        (ShiftRelease(1800, -2, 4), 0),
        (ShiftRelease(most("change", "step"), -most("change", "earlier"), most("change", "later")), 0),
        (ShiftRelease(90, -2, 4), 1),  # not whole minutes
        (ShiftRelease(most("change", "step") + 60, -2, 4), 1),
        (ShiftRelease(1800, -most("change", "earlier") - 1, 0), 1),
        (ShiftRelease(1800, 0, most("change", "later") + 1), 1),
        (ChooseLevel("PWM1", (70, 45)), 0),
        (ChooseLevel("PWM1", tuple(range(1, most("change", "choices") + 2))), 1),
    ],
)
def test_field_changes_that_the_settings_cannot_hold_are_noted(change: Any, problems: int) -> None:
    notes = list(change_notes((change,), 7, SPOTS))
    assert [note.name for note in notes] == ["counter-range"] * problems


def test_more_than_32_combinations_are_noted() -> None:
    assert [note.name for note in change_notes((), 33, SPOTS)] == ["counter-range"]


def test_interlocks_that_the_settings_cannot_hold_are_noted() -> None:
    series = most("header", "series")
    good = Interlocks(3600, DAY, False, 3.1, 2.95, series, ())
    assert list(interlock_notes(good, 3 * DAY, SPOTS)) == []
    assert len(list(interlock_notes(good, 2**24, SPOTS))) == 1
    assert len(list(interlock_notes(Interlocks(3600, 2**24, False, 5.2, 2.95, series + 1, ()), DAY, SPOTS))) == 3


def test_a_try_longer_than_the_settings_hold_is_noted(whole: Whole) -> None:
    dive = whole.dive()
    fire, tries = most("header", "primary_fire"), most("header", "primary_tries")
    dive.release.primary.fire = whole.quantity(fire + 1.0)
    dive.release.primary.tries = tries + 1
    messages = [note.message for note in named(whole.plan(dive), "counter-range")]
    assert messages == [
        f"`fire` is {write_duration(fire + 1)}; the settings hold 0 s to {write_duration(fire)}",
        f"`tries` is {tries + 1}; the settings hold 1 to {tries}",
    ]


# -- the example dive of the reader's tests


def test_the_example_dive_compiles(request: pytest.FixtureRequest) -> None:
    example = Path(request.config.rootpath, "tests", "dive", "example.yaml")
    plan = schedgen.load(example).plan()
    # bottom + 8 h, tries of 8 min, 8 min, 8 min with 5 min between: 34 min
    assert plan.primary is not None
    assert plan.primary.at_s == plan.events["bottom"].late + 8 * 3600
    assert plan.primary.last_end_s - plan.primary.at_s == 34 * 60
    # camera: splash to bottom + 40 min, then bursts of 6 min every 30 min from bottom + 2 h until release - 5 min
    first, bursts = plan.outputs["OUT1"].windows
    assert (first.start_s, first.stop_s) == (60, plan.events["bottom"].late + 2400)
    room = plan.primary.at_s - 300 - (plan.events["bottom"].early + 7200)
    assert bursts.burst == Burst(1800, 360, (room - 360) // 1800 + 1, (room - 360) // 1800 + 1)
    assert [note.name for note in plan.notes if note.name] == []


def noted(tmp_path: Path, request: pytest.FixtureRequest, old: str, new: str) -> list[str]:
    """Unnamed notes of the example dive with one edit."""
    text = Path(request.config.rootpath, "tests", "dive", "example.yaml").read_text(encoding="utf-8")
    assert text.count(old) == 1
    path = tmp_path / "dive.yaml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return [note.message for note in schedgen.load(path).plan().notes if not note.name]


def test_the_report_says_how_many_bursts_fall_surely_on_the_bottom(
    tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    # bottom + 2 h (early) to release - 5 min, 6 min every 30 min: with 8 h at the bottom 12 fit
    notes = noted(tmp_path, request, "dive: Gannet Hole", "dive: Gannet")
    assert [note for note in notes if "burst" in note] == ["12 bursts, 12 of them surely on the bottom"]


def test_what_the_first_firing_command_cuts_off_is_noted(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    # until late bottom + 9 h, an hour past the release at late bottom + 8 h: two more at 30 min never come
    notes = noted(tmp_path, request, "until: release - 5 min", "until: bottom + 9 h")
    cut = "2 bursts after the first firing command (8 h 26 min 33 s after start) left out"
    assert f"13 bursts, 13 of them surely on the bottom; {cut}" in notes
    notes = noted(tmp_path, request, "until: bottom + 40 min", "until: bottom + 9 h")
    assert any(note.startswith("cut at the first firing command, 8 h ") for note in notes)


def test_a_release_time_before_the_start_is_noted(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    notes = noted(tmp_path, request, "not_before: start + 3 h", "not_before: start - 1 h")
    assert "`not_before` is 1 h before start; taken as the start" in notes


def test_the_nominal_pack_voltage_is_the_cells_label_or_the_power_banks_output(whole: Whole) -> None:
    dive, cell = whole.dive(), SimpleNamespace(nominal=whole.quantity(3.63))
    assert nominal_pack_v(dive, cell) == pytest.approx(3 * 3.63)
    dive.pack.supplies = SimpleNamespace(voltage=whole.quantity(5.0))
    assert nominal_pack_v(dive, cell) == 5.0

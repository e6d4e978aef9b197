"""The model of a dive file: values as written, and each rule with its place."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from schedgen.dive.loads import StopRule, parse_stop, role_of
from schedgen.dive.model import Dive
from schedgen.errors import Problem
from schedgen.files.trouble import Misread

Broken = Callable[..., list[Problem]]


def test_the_example_reads_as_written(good: Dive) -> None:
    assert good.dive == "Gannet Hole, bait frame 2"
    assert good.start.trigger == "water"
    assert good.start.planned.plus_minus_s == 2700
    assert good.site.depth.low == 1180
    assert good.site.water[2].salinity.nominal == 35.2
    assert good.site.air is not None
    assert good.site.air.sun is True
    assert good.vehicle.volume is not None
    assert good.vehicle.volume.nominal == pytest.approx(0.0498)
    assert good.pack.series == 3
    assert good.loads["camera"].stop == StopRule("output", "OUT3", None, "OUT3")
    assert good.loads["camera"].surge is not None
    assert good.loads["camera"].surge.for_.nominal == 4
    line = good.schedule[2]
    assert (line.load, line.with_, line.from_) == ("lights", "camera", None)
    assert line.only is not None
    assert line.only.until.base == "surface"
    assert good.release.primary.at is not None
    assert good.release.primary.at.offset_s == 8 * 3600
    assert good.release.backup is not None
    assert good.release.backup.fired is False
    assert good.recovery.wait.nominal == 48 * 3600
    assert good.field_changes[0].choices == 7
    assert good.field_changes[1].level == "lights"
    assert [good.role(name) for name in good.loads] == ["camera", "light", "fan", "beacon", "locator"]


def test_models_do_not_change(good: Dive) -> None:
    with pytest.raises(Exception, match="frozen"):
        good.site.depth = good.site.depth


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("camera", "camera"), ("cam2", "camera"), ("left-camera", "camera"), ("lights", "light"), ("leds", "light"),
        ("flashlight", "light"), ("fan", "fan"), ("beacon", "beacon"), ("strobe", "beacon"), ("radio-1", "locator"),
        ("ctd", "other"), ("fantail", "other"), ("scan", "other"), ("led_ring", "light"), ("sled", "other"),
    ],
)  # fmt: skip
def test_a_role_comes_from_the_name(name: str, role: str) -> None:
    assert role_of(name) == role


def test_how_recording_ends() -> None:
    assert parse_stop("after 15 min") == StopRule("after", None, 900, "after 15 min")
    assert parse_stop("on power loss").kind == "power-loss"
    for text in ("on", "off", "on power los", "after", "after 0 s", "", "15 min"):
        with pytest.raises(Misread):
            parse_stop(text)


# (what is replaced, by what, what the message says, what stands under the caret)
FAULTS = [
    ("depth: 1180 m .. 1230 m", "depth: -5 m", "must be above 0 m", "-5 m"),
    ("depth: 1180 m .. 1230 m", "depth: 12000 m", "at most 11000 m", "12000 m"),
    ("salinity: 34.98", "salinity: 350", "at most 42", "350"),
    ("salinity: 34.98", "salinity: 35 PSU", "without", "35 PSU"),
    ("density: 7200 kg/m3", "density: 900 kg/m3", "ballast must be heavier", "900 kg/m3"),
    ("density: 7200 kg/m3", "density: 1000 kg/m3 .. 7200 kg/m3", "ballast must be heavier", "1000 kg/m3"),
    ("latitude: 58.42", "latitude: 95", "at most 90", "95"),
    ("latitude: 58.42", "latitude: 58 25.2 N", "it is 58.42", "58 25.2 N"),
    ("latitude: 58.42", "latitude: about 58", "makes no sense for a position", "about 58"),
    ("longitude: -8.17", "longitude: 190", "at most 180", "190"),
    ("{depth: 600 m,", "{depth: 100 m,", "does not lie below", "100 m"),
    ("{depth: 600 m,", "{depth: 150 m,", "does not lie below", "150 m"),
    ("temperature: 5.2 degC", "temperature: 41 degC", "at most 40 degC", "41 degC"),
    ("temperature: 5.2 degC", "temperature: about 5 degC", "makes no sense", "about 5 degC"),
    ("sun: yes", "sun: on", "neither yes nor no", "on"),
    ("2027-05-11T07:15:00+01:00 ± 45 min", "2027-05-11T07:15:00", "no offset from UTC", "2027-05-11"),
    ("trigger: water", "trigger: button", "deck_time is missing", "start"),
    ("armed_for: 12 h", "deck_time: 1 h", "not used with trigger water", "deck_time"),
    ("  volume: 49.8 L ± 0.2 L\n", "", "Neither volume nor weighed_in_water", "vehicle"),
    ("mass: 44.5 kg ± 0.2 kg", "mass: 0 kg", "must be above 0 kg", "0 kg"),
    ("wall: 11 mm", "wall: 90 mm", "leaves no room", "90 mm"),
    ("frontal_area: 0.15 m2", "frontal_area: 0.15", "0.15 has no unit", "0.15"),
    ("series: 3", "series: 03", "base 8", "03"),
    ("charge: 98 %", "charge: 120 %", "at most 100 %", "120 %"),
    ("charge: 98 %", "charge: about 98 %", "above 100 %", "about 98 %"),
    ("charge: 98 %", "charge: {rest_voltge: 12.3 V, rested: 2 h, temperature: 15 degC}", "no key", "rest_voltge"),
    ("charge: 98 %", "charge: [98 %]", "not a list", "[98 %]"),
    ("shed: 3.1 V", "shed: 9.3 V", "for each cell", "9.3 V"),
    ("release_below: 2.95 V", "release_below: 3.2 V", "must be lower than shed", "3.2 V"),
    ("release_below: 2.95 V", "release_below: 2.7 V", "above protection.low_cut", "2.7 V"),
    ("reserve: 20 %", "reserve: 100 %", "must be below 100 %", "100 %"),
    ("surge: {power: 11 W", "surge: {power: 3 W", "below the power", "3 W"),
    ("stop: OUT3", "stop: OUT1", "cannot go to OUT1", "OUT1"),
    ("stop: OUT3", "stop: OUT2", "OUT2 is used twice", "OUT2"),
    ("{wired_to: OUT2, power: 2.0 W}", "{wired_to: OUT4, power: 2.0 W}", "both wired to OUT4", "OUT4"),
    ("{wired_to: OUT2, power: 2.0 W}", "{wired_to: REL1, power: 2.0 W}", "REL1 is used twice", "REL1"),
    ("load: locator", "load: loctor", 'Did you mean "locator"?', "loctor"),
    ("{load: fan, with: camera", "{load: fan, with: camra", 'Did you mean "camera"?', "camra"),
    ("{load: fan, with: camera", "{load: fan, with: lights", "cannot be chained", "lights"),
    ("{load: fan, with: camera", "{load: fan, with: fan", "cannot follow itself", "fan"),
    ("with: camera, trail", "from: splash, with: camera, trail", "cannot stand beside with", "from"),
    ("with: camera, trail: 4 min, level", "trail: 4 min, level", "Neither from and until nor with", "{load: fan"),
    ("from: splash, until: bottom + 40 min", "from: splash", "until is missing", "{"),
    ("from: splash, until: bottom + 40 min", "from: splash, until: end, lead: 3 s", "belongs to a line with", "lead"),
    ("every: 30 min, for: 6 min", "every: 30 min", "every needs for", "every"),
    ("every: 30 min, for: 6 min", "for: 30 min", "for needs every", "for"),
    ("every: 30 min, for: 6 min", "every: 6 min, for: 30 min", "longer than every", "30 min"),
    ("every: 30 min, for: 6 min", "every: 6 min, for: 6 min", "always on", "6 min"),
    ("every: 30 min, for: 6 min", "every: 30 min, for: 6.5 s", "part of a second", "6.5 s"),
    ("every: 30 min, for: 6 min", "every: 30 min ± 1 min, for: 6 min", "must be one exact value", "30 min ± 1 min"),
    ("every: 2 s, for: 100 ms", "every: 2 s, for: 10 ms", "finest step, 1/64 s", "10 ms"),
    ("lead: 3 s", "lead: 2.5 s", "part of a second", "2.5 s"),
    ("level: 60 %", "level: 0 %", "at least 1 %", "0 %"),
    ("level: 60 %", "level: 101 %", "at most 100 %", "101 %"),
    ("level: 60 %", "level: 33.3 %", "not a whole percent", "33.3 %"),
    ("level: 60 %", "level: 60 % ± 5 %", "must be one exact value", "60 % ± 5 %"),
    ("only: splash .. surface", "only: splash", "not a span", "splash"),
    ("until: bottom + 40 min", "until: bottom + 40", "40 has no unit", "bottom + 40"),
    ("kind: burn wire", "kind: burnwire", 'Did you mean "burn wire"?', "burnwire"),
    ("    at: bottom + 8 h\n", "", "needs at", "primary"),
    ("at: bottom + 8 h", "at: surface - 8 h", "cannot be counted from surface", "surface - 8 h"),
    ("at: bottom + 8 h", "at: release", "cannot be counted from release", "release"),
    ("latest: start + 13 h", "latest: end", "cannot be counted from end", "end"),
    ("    fire: 8 min\n", "", "A burn wire needs fire", "primary"),
    ("fire: 8 min", "fire: 90 d", "at most 1 d", "90 d"),
    ("fire: 8 min", "fire: 8 min ± 1 min", "must be one exact value", "8 min ± 1 min"),
    ("tries: 3", "tries: 1", "no use with one try", "pause"),
    ("tries: 3", "tries: 3.0", "not a whole number", "3.0"),
    ("parts_after: 24 h ± 20 %", "parts_after: 24 h ± 20 %\n    fire: 3 min", "has no fire", "fire"),
    ("    parts_after: 24 h ± 20 %\n", "", "needs parts_after", "backup"),
    ("kind: dissolving link\n    parts_after: 24 h ± 20 %",
     "kind: motor\n    wired_to: REL1\n    power: 3 W\n    fire: 9 s", "REL1 is used twice", "REL1"),
    ("kind: dissolving link\n    parts_after: 24 h ± 20 %",
     "kind: motor\n    at: bottom + 9 h\n    wired_to: REL2\n    power: 3 W\n    fire: 9 s", "has no at", "at"),
    ("  not_before: start + 3 h\n", "", "release.not_before is missing", "release"),
    ("  latest: start + 13 h\n", "", "release.latest is missing", "release"),
    ("wait: 48 h", "wait: 12:30", "12 h 30 min or as 12 min 30 s", "12:30"),
    ("  wait: 48 h\n", "", "recovery.wait is missing", "recovery"),
    ("prefer: daylight", "prefer: day", 'Did you mean "daylight"?', "day"),
    ("at: bottom + 8 h", "at: 2027-05-10T19:15:00Z", "is before the planned start", "2027-05-10"),
    ("at: bottom + 8 h", "at: 2029-05-10T19:15:00Z", "more than 92 days after", "2029-05-10"),
    ("at: bottom + 8 h", "at: bottom + 900 d", "more than the controller can count", "bottom + 900 d"),
    ("trail: 4 min", "trail: 900 d", "must be at most 92 d", "900 d"),
    ("every: 2 s, for: 100 ms", "every: 200.5 s, for: 100 ms", "part of a second", "100 ms"),
    ("every: 2 s, for: 100 ms", "every: 1 s, for: 999 ms", "the same in steps of 1/64 s", "999 ms"),
    ("temperature: 13 degC, sun", "temperature: -41 degC, sun", "at least -40 degC", "-41 degC"),
    ("from: -2, to: 4", "from: 1, to: 4", "must be at most 0", "1"),
    ("from: -2, to: 4", "from: -2, to: -1", "must be at least 0", "-1"),
    ("from: -2, to: 4", "from: 0, to: 0", "changes nothing", "0"),
    ("from: -2, to: 4", "from: -20, to: 20", "41 choices", "20"),
    ("from: -2, to: 4", "from: -10, to: 10", "42 combinations", "field_changes"),
    ("step: 30 min, ", "", "shift needs step", "{"),
    ("{level: lights, values: [70 %, 45 %]}", "{level: lights, values: [45 %, 70 %]}",
     "must be the scheduled one (70 %)", "45 %"),
    ("{level: lights, values: [70 %, 45 %]}", "{level: lights, values: [70 %]}", "nothing to choose", "[70 %]"),
    ("{level: lights, values: [70 %, 45 %]}", "{level: lights, values: [70 %, 70 %]}", "stands twice", "70 %]"),
    ("{level: lights, values: [70 %, 45 %]}", "{level: lamps, values: [70 %, 45 %]}", "no load", "lamps"),
    ("{level: lights, values: [70 %, 45 %]}", "{shift: release, step: 1 h, from: 0, to: 1}",
     "changed twice", "release"),
    ("{level: lights, values: [70 %, 45 %]}",
     "{level: lights, values: [70 %, 45 %]}\n  - {level: fan, values: [60 %, 30 %]}", "too many entries", "-"),
    ("{level: lights, values: [70 %, 45 %]}", "{level: lights, shift: release}", "either shift or level", "{"),
    ("recovery:", "accept: {reserve-shrt: x}\nrecovery:", 'Did you mean "reserve-short"?', "reserve-shrt"),
    ("recovery:", "accept: {load-stuck-on@camra: x}\nrecovery:", 'Did you mean "camera"?', "load-stuck-on@camra"),
    ("recovery:", "accept: {reserve-short: }\nrecovery:", "no text", "}"),
    ("charge: 98 %", "charge: 98 %\n  charged: 2027-06-01T00:00:00Z", "after the planned start", "2027-06-01"),
    ("antenna_height: 30 cm", "floats: [{volume: 60 L, mass: 5 kg, rated_depth: 2000 m}]", "volume of 60 L", "floats"),
    ("health: 93 % ± 3 %", "supplies: {voltage: 5 V, limit: 2 A, efficiency: 80 %, off_below: 60 mA}",
     "needs off_after", "off_below"),
    ("format: 1", "format: 2", "does not know format 2", "2"),
    ("format: 1", "format: 1.0", "not a whole number", "1.0"),
    ("dive: Gannet Hole, bait frame 2", "dive:", "no text", ""),
    ("loads:\n  camera:", "loads:\n  2camera:", "cannot be a name", "2camera"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words", "under"), FAULTS, ids=[f"{new[:40]}" for _, new, _, _ in FAULTS])
def test_each_fault_is_named_at_its_place(broken: Broken, old: str, new: str, words: str, under: str) -> None:
    found = broken((old, new))
    fitting = [problem for problem in found if words in problem.message]
    assert fitting, [problem.message for problem in found]
    for problem in fitting:
        assert problem.source[problem.column - 1 :].startswith(under), problem


def test_two_cameras_on_one_switch_are_told_to_be_one_load(broken: Broken) -> None:
    (problem,) = broken(("  lights: {wired_to", "  camera2: {wired_to: OUT1, power: 6 W}\n  lights: {wired_to"))
    assert "one load with count: 2" in problem.next


def test_weights_in_water_that_contradict_the_ballast_are_refused(broken: Broken) -> None:
    volume = "volume: 49.8 L ± 0.2 L"
    weights = "weighed_in_water: {without_ballast: -5.3 kg, with_ballast: %s kg, salinity: 0, temperature: 18 degC}"
    # 15 kg of iron weigh 15 (1 - 1000/7200) = 12.9 kg in fresh water, so 7.6 kg with ballast
    assert not broken((volume, weights % "7.6"))
    (problem,) = broken((volume, weights % "3.0"))
    assert "should weigh 12.9" in problem.message
    (problem,) = broken((volume, weights % "-6.0"))
    assert "exchanged" in problem.next


def test_both_volume_and_weights_are_refused(broken: Broken) -> None:
    weights = "weighed_in_water: {without_ballast: -5.3 kg, with_ballast: 7.6 kg, salinity: 0, temperature: 18 degC}"
    (problem,) = broken(("  rated_depth: 2000 m", f"  {weights}\n  rated_depth: 2000 m"))
    assert "Both volume and weighed_in_water" in problem.message


@pytest.mark.parametrize(
    "key",
    ["format", "dive", "board", "start", "site", "vehicle", "pack", "loads", "schedule", "release", "recovery"],
)
def test_every_needed_section_is_missed(broken: Broken, key: str) -> None:
    found = broken((f"\n{key}:", f"\nx-{key}:"))
    assert [p.message for p in found if p.message.startswith(f"{key} is missing")]


@pytest.mark.parametrize(
    ("line", "dotted"),
    [
        ("  latitude: 58.42\n", "site.latitude"),
        ("  depth: 1180 m .. 1230 m\n", "site.depth"),
        ("  mass: 44.5 kg ± 0.2 kg\n", "vehicle.mass"),
        ("  frontal_area: 0.15 m2\n", "vehicle.frontal_area"),
        ("  rated_depth: 2000 m\n", "vehicle.rated_depth"),
        ("  cell: nmc-21700-5000\n", "pack.cell"),
        ("  planned: 2027-05-11T07:15:00+01:00 ± 45 min\n", "start.planned"),
        (", salinity: 34.98", "site.water entry 4.salinity"),
    ],
)
def test_nothing_needed_has_a_default(broken: Broken, line: str, dotted: str) -> None:
    (problem,) = broken((line, "\n" if line.endswith("\n") else ""))
    assert problem.message.startswith(f"{dotted} is missing")
    assert problem.example


def test_faults_do_not_hide_one_another(broken: Broken) -> None:
    found = broken(
        ("power: 6.8 W ± 5 %", "power: 6.8"),
        ("stop: OUT3", "stop: OUT2"),
        ("trail: 4 min, level: 60 %", "trail: 4 m, level: 33.3 %"),
        ("load: locator, from: release", "load: locater, from: relase"),
        ("fire: 8 min", "fire: 8"),
        ("latest: start + 13 h", "latest: surface"),
        ("density: 7200 kg/m3", "density: 700 kg/m3"),
        ("volume: 49.8 L", "volume: 49.8 l"),
    )
    said = "\n".join(problem.message for problem in found)
    for words in (
        "6.8 has no unit", "OUT2 is used twice", "m is the metre", "not a whole percent", 'mean "locator"',
        'mean "release"',
        "8 has no unit", "cannot be counted from surface", "heavier", "Did you mean 49.8 L",
    ):  # fmt: skip
        assert words in said, words
    assert len(found) == 10


@pytest.mark.parametrize(
    ("old", "new", "says", "step"),
    [
        ("charge: 98 %", "charge: {rest_voltage: 12.3 V, rested: 1 min, temperature: 9 degC}", "at least 30 min", ""),
        ("charge: 98 %", "charge: {rest_voltage: 12.3 V, rested: 2 h, temperature: 80 degC}", "at most 60 degC", ""),
        ("power: 22 W}", "power: 22 W, power_at: [{level: 100 %, power: 30 W}]}", "At 100 % the power is 30 W", ""),
        ("  reserve: 20 %", "  reserve: 20 %\n  layout: {bore: 160 mm, spacing: 1 mm}", "148 mm wide inside", ""),
        ("salinity: 35.1}", "salinity: 35,1}", "1 stands where a key is wanted", "write a point"),
        ("lights: {", "Lämpchen: {", "cannot be a name", "Write Lampchen."),
    ],
)
def test_what_cannot_be_is_refused_at_its_line(
    broken: Callable[..., list[Problem]], old: str, new: str, says: str, step: str
) -> None:
    found = [problem for problem in broken((old, new)) if says in problem.message]
    assert len(found) == 1
    assert step in found[0].next

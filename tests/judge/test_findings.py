"""Each finding of the table: a dive that has it, and a neighbour just inside the bound that has not.

Both are small edits of `tests/dive/example.yaml`. Bounds that the table gives (30 min, 0.2 and 1.5 m/s, 1.1 and 1.25 x,
5 %, 70 %, 90 %, 50 to 70 a minute) are met from both sides; where the bound is one that physics computes, the neighbour
is the smallest round step away that was found by trial.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

Edit = tuple[str, str]
NOTHING: tuple[Edit, ...] = ()
WATER = """    - {depth: 150 m, temperature: 9.6 degC, salinity: 35.25}
    - {depth: 600 m, temperature: 8.1 degC, salinity: 35.2}
    - {depth: 1230 m, temperature: 5.2 degC, salinity: 34.98}
"""
BACKUP = "  backup:\n    kind: dissolving link\n    parts_after: 24 h ± 20 %\n"
LIGHTS = "  - {load: lights, with: camera, lead: 3 s, level: 70 %, only: splash .. surface}\n"
FAN = "  - {load: fan, with: camera, trail: 4 min, level: 60 %}\n"
TESTED = "    tested: {parts_in: 4 min, salinity: 35, temperature: 12 degC}\n"
SHIFT = "  - {shift: release, step: 30 min, from: -2, to: 4}\n"
LEVELS = "  - {level: lights, values: [70 %, 45 %]}\n"
BEACON = "beacon, from: release"
PREFER = "  prefer: daylight\n"
ACCEPT_UNUSED: tuple[Edit, ...] = ((PREFER, PREFER + "accept: {hard-landing: sand}\n"),)
NO_SHIFT: tuple[Edit, ...] = ((SHIFT, ""),)


def parallel(count: int) -> tuple[Edit, ...]:
    return (("parallel: 5", f"parallel: {count}"),)


def button(deck_time: str) -> tuple[Edit, ...]:
    return (("trigger: water", f"trigger: button\n  deck_time: {deck_time}"),)


def lake(salinity: float) -> tuple[Edit, ...]:
    """A lake of 200 m, warm and even, of some salinity."""
    return (
        ("depth: 1180 m .. 1230 m", "depth: 190 m .. 200 m"),
        (WATER, ""),
        ("salinity: 35.1}", f"salinity: {salinity}}}"),
    )


def depth(text: str) -> tuple[Edit, ...]:
    return (("rated_depth: 2000 m", f"rated_depth: {text}"),)


def many(count: int) -> str:
    """Lines that fill the settings."""
    line = "  - {{load: locator, from: bottom + {0} h, until: bottom + {0} h 7 min}}\n"
    return "".join(line.format(hour) for hour in range(1, count + 1))


@dataclass(frozen=True)
class Pair:
    """A finding, the edits that bring it, those of the neighbour without it, and what to expect of it."""

    name: str
    bad: tuple[Edit, ...]
    good: tuple[Edit, ...]
    severity: str = "stop"
    final: bool = False
    line: str = ""
    says: str = ""
    fix: str = ""


def shed(volts: str) -> tuple[Edit, ...]:
    return (*parallel(2), ("shed: 3.1 V", f"shed: {volts}"))


def trip(amperes: str) -> tuple[Edit, ...]:
    return (("trip_current: 20 A", f"trip_current: {amperes}"),)


def bank(off_below: str) -> tuple[Edit, ...]:
    supplies = f"supplies: {{voltage: 9 V, limit: 4 A, efficiency: 85 %, off_below: {off_below}, off_after: 30 s}}"
    return (("protection: {", supplies + "\n  protection: {"),)


def edit(old: str, *new: str) -> tuple[tuple[Edit, ...], ...]:
    """The same text replaced by each of the new ones."""
    return tuple(((old, text),) for text in new)


BASE = NOTHING
AT = "at: bottom + 8 h"
PAIRS = [
    # energy
    Pair("reserve-short", parallel(2), parallel(3), line="parallel", fix="raise parallel from 2 to 3"),
    Pair("voltage-too-low", parallel(2), parallel(3), line="parallel", says="8.40 V", fix="parallel from 2 to 3"),
    Pair("beacon-too-short", parallel(2), parallel(3), line="wait", says="asks for 48 h", fix="from 2 to 3"),
    Pair("backup-surfacing", parallel(2), parallel(3), line="parts_after", says="asks for 48 h"),
    Pair("early-release", shed("3.6 V"), shed("3.3 V"), line="shed", says="below shed"),
    Pair("string-loss", parallel(3), parallel(4), "caution", line="parallel", fix="raise parallel from 3 to 4"),
    Pair("load-stuck-on@fan", parallel(3), parallel(5), "caution", line="fan:", says="beacon"),
    Pair("armed-idle", *edit("armed_for: 12 h", "armed_for: 700 d", "armed_for: 600 d"), "caution", line="armed_for"),
    # volts and amperes
    Pair("protection-trip", trip("2.44 A"), trip("3.5 A"), line="trip_current", says="2.440 A"),
    Pair("protection-trip", trip("3.48 A"), trip("3.5 A"), "caution", line="trip_current"),
    Pair(
        "output-overloaded@camera",
        *edit("surge: {power: 11 W", "surge: {power: 17.6 W", "surge: {power: 17.4 W"),
        line="wired_to: OUT1",
        says="carries 3.50 A",
    ),
    Pair("supply-mismatch", *edit("series: 3", "series: 5", "series: 4"), line="series", fix="at most 4 in series"),
    Pair("supply-mismatch", *edit("series: 3", "series: 1", "series: 2"), line="series", fix="at least 2 in series"),
    Pair("pack-turns-itself-off", bank("1 mA"), bank("100 uA"), final=True, line="off_below", says="release included"),
    # release
    Pair(
        "release-before-bottom",
        *edit(AT, "at: start + 26 min", "at: start + 27 min"),
        final=True,
        line="at:",
        fix="at: start + 27 min",
    ),
    Pair(
        "release-before-bottom",
        *edit("parts_after: 24 h ± 20 %", "parts_after: 26 min", "parts_after: 27 min"),
        final=True,
        line="parts_after",
        fix="27 min",
    ),
    Pair(
        "release-too-late",
        *edit("latest: start + 13 h", "latest: start + 11 h", "latest: start + 11 h 1 min"),
        line="shift",
        fix="to: 3, or latest: start + 11 h 1 min",
    ),
    Pair(
        "release-too-late",
        (*NO_SHIFT, ("latest: start + 13 h", "latest: start + 9 h")),
        (*NO_SHIFT, ("latest: start + 13 h", "latest: start + 9 h 1 min")),
        line="latest",
        fix="latest: start + 9 h 1 min",
    ),
    Pair(
        "release-interlock",
        *edit("not_before: start + 3 h", "not_before: start + 30 min", "not_before: start + 31 min"),
        final=True,
        line="not_before",
        fix="not_before: start + 31 min",
    ),
    Pair(
        "release-interlock",
        (*button("20 min .. 30 min"), ("not_before: start + 3 h", "not_before: start + 1 h")),
        (*button("20 min .. 30 min"), ("not_before: start + 3 h", "not_before: start + 1 h 1 min")),
        final=True,
        line="not_before",
        says="splash may be as late as 30 min",
    ),
    Pair(
        "release-interlock",
        *edit("latest: start + 13 h", "latest: start + 2 h 59 min", "latest: start + 3 h"),
        final=True,
        line="latest",
        says="before not_before",
        fix="latest: start + 11 h 1 min",
    ),
    Pair(
        "postponed-drop",
        (*button("20 min .. 30 min"), ("latest: start + 13 h", "latest: start + 13 h\n  without_water: yes")),
        button("20 min .. 30 min"),
        "caution",
        line="without_water",
        says="on deck 7 h 57 min after start",
    ),
    Pair("release-alone", ((BACKUP, ""),), BASE, "caution", line="release", says="burn wire"),
    Pair(
        "backup-before-primary",
        *edit("parts_after: 24 h ± 20 %", "parts_after: 11 h", "parts_after: 11 h 1 min"),
        line="parts_after",
        fix="11 h 1 min",
    ),
    Pair(
        "release-shares",
        ((BACKUP, "  backup: {kind: motor, wired_to: REL2, power: 4 W, fire: 1 min}\n"),),
        BASE,
        "caution",
        line="motor",
        says="the pack and the controller:",
    ),
    Pair(
        "release-too-weak",
        *edit("tested: {parts_in: 4 min", "tested: {parts_in: 19 min", "tested: {parts_in: 18 min"),
        line="fire: 8 min",
        fix="tries: 4, or fire: 9 min",
    ),
    Pair(
        "release-too-weak",
        ((TESTED, ""), ("exposed: 4 mm", "exposed: 50 mm")),
        ((TESTED, ""), ("exposed: 4 mm", "exposed: 45 mm")),
        line="fire: 8 min",
        says="by equation",
    ),
    Pair("wire-in-fresh-water", lake(4.9), lake(5.1), line="burn wire", says="salinity 4.9"),
    Pair("trigger-in-fresh-water", lake(1.9), lake(2.1), "caution", line="trigger", fix="without_water: yes"),
    Pair("deck-time-unknown", button("20 min .. 2 h 30 min"), button("20 min .. 30 min"), "caution", line="deck_time"),
    Pair(
        "clock-too-coarse",
        *edit("not_before: start + 3 h", "not_before: start + 30 min", "not_before: start + 31 min"),
        line="not_before",
        says="crystal",
    ),
    # weight and depth
    Pair(
        "sinks-after-release",
        *edit("mass: 44.5 kg ± 0.2 kg", "mass: 51 kg ± 0.2 kg", "mass: 48 kg ± 0.2 kg"),
        final=True,
        line="volume",
        says="stays down",
    ),
    Pair(
        "sinks-after-release",
        *edit("mass: 44.5 kg ± 0.2 kg", "mass: 48.5 kg ± 0.2 kg", "mass: 48 kg ± 0.2 kg"),
        "caution",
        line="volume",
        says="under 5 %",
    ),
    Pair(
        "floats-with-ballast",
        *edit("ballast: {mass: 15 kg", "ballast: {mass: 8.8 kg", "ballast: {mass: 8.9 kg"),
        line="ballast",
        fix="mass: 8.9 kg",
    ),
    Pair(
        "hard-landing",
        *edit("ballast: {mass: 15 kg", "ballast: {mass: 24.5 kg", "ballast: {mass: 24 kg"),
        "caution",
        line="ballast",
        says="above 1.5 m/s",
    ),
    Pair("depth-rating", depth("1229 m"), depth("1538 m"), final=True, line="rated_depth", says="crushed"),
    Pair("depth-rating", depth("1352 m"), depth("1538 m"), line="rated_depth", says="1.1 x", fix="1538 m"),
    Pair("depth-rating", depth("1537 m"), depth("1538 m"), "caution", line="rated_depth", says="1.25 x"),
    Pair(
        "antenna-awash",
        *edit("antenna_height: 30 cm", "antenna_height: 27 cm", "antenna_height: 26 cm"),
        "caution",
        line="antenna_height",
        says="26.8 cm",
    ),
    Pair(
        "antenna-awash",
        *edit(
            "antenna_height: 30 cm",
            "antenna_height: 26 cm\n  centres: {of_mass: 30 cm, of_volume: 30 cm}",
            "antenna_height: 26 cm\n  centres: {of_mass: 29 cm, of_volume: 30 cm}",
        ),
        "caution",
        line="centres",
        says="on its side",
    ),
    # recording
    Pair("camera-cut-while-recording@camera", (("    stop: OUT3\n", ""),), BASE, line="camera:", says="not known"),
    Pair(
        "camera-cut-while-recording@camera",
        *edit("stop: OUT3", "stop: after 5 min 33 s", "stop: after 5 min 32 s"),
        line="every: 30 min",
        says="needs 6 min 1 s",
        fix="at least 7 min",
    ),
    Pair(
        "camera-cut-while-recording@camera",
        *edit("for: 6 min", "for: 8 s", "for: 9 s"),
        line="every: 30 min",
        says="the stop pulse",
    ),
    Pair(
        "camera-window-too-short@camera",
        *edit("for: 6 min", "for: 29 s", "for: 30 s"),
        line="for: 29 s",
        says="nothing is recorded, 13 of 14 times",
    ),
    Pair("camera-in-the-dark@camera", ((LIGHTS, ""), (LEVELS, "")), BASE, "caution", line="camera", fix="with: camera"),
    Pair(
        "camera-in-the-dark@camera", ((LIGHTS, ""), (LEVELS, "")), (*lake(35.1), (LIGHTS, ""), (LEVELS, "")), "caution"
    ),
    Pair(
        "fan-missing@camera",
        ((FAN, FAN.replace("with: camera, trail: 4 min", "from: splash, until: bottom")),),
        BASE,
        "caution",
        line="camera",
    ),
    Pair("card-full@camera", *edit("card: 256 GB", "card: 49 GB", "card: 55 GB"), line="card", says="100 %", fix="55"),
    Pair(
        "too-hot@camera", *edit("heat_limit: 55 degC", "heat_limit: 30 degC", "heat_limit: 40 degC"), line="heat_limit"
    ),
    # light and finding
    Pair(
        "lights-in-air@lights",
        (*button("20 min .. 30 min"), (", only: splash .. surface", "")),
        button("20 min .. 30 min"),
        line="lights",
        fix="only: splash .. surface; the first good time is 30 min 1 s after start",
    ),
    Pair(
        "lights-in-air@lights",
        (
            *button("20 min .. 30 min"),
            (LIGHTS, "  - {load: lights, from: splash + 1 min, until: bottom}\n"),
            (LEVELS, ""),
        ),
        (
            *button("20 min .. 30 min"),
            (LIGHTS, "  - {load: lights, from: splash + 11 min, until: bottom}\n"),
            (LEVELS, ""),
        ),
        line="splash + 1 min",
        fix="from: splash + 11 min; the first good time is 30 min 1 s after start",
    ),
    Pair(
        "lights-in-air@lights",
        ((LIGHTS, "  - {load: lights, from: release, until: surface}\n"), (LEVELS, "")),
        ((LIGHTS, "  - {load: lights, from: release, until: surface - 37 min}\n"), (LEVELS, "")),
        line="until: surface",
        fix="until: surface - 37 min",
    ),
    Pair(
        "beacon-late@beacon",
        *edit(BEACON, BEACON + " + 21 min", BEACON + " + 20 min"),
        line="beacon",
        fix="from: release",
    ),
    Pair(
        "beacon-late@locator",
        *edit(
            "locator, from: release, until: end",
            "locator, from: release, until: release + 5 min",
            "locator, from: release, until: end",
        ),
        line="locator",
        says="goes off",
    ),
    Pair(
        "surfacing-in-the-dark",
        *edit("T07:15:00", "T20:15:00", "T20:45:00"),
        "caution",
        line="prefer",
        fix="30 min later",
    ),
    Pair(
        "flash-like-distress@beacon",
        *edit("every: 2 s", "every: 1.1875 s", "every: 1.21875 s"),
        "caution",
        line="every",
    ),
    Pair(
        "flash-like-distress@beacon",
        *edit("every: 2 s", "every: 0.859375 s", "every: 0.84375 s"),
        "caution",
        line="every",
    ),
    # windows and settings
    Pair(
        "window-overlap@camera",
        *edit("until: bottom + 40 min", "until: bottom + 2 h 1 min", "until: bottom + 2 h"),
        line="camera",
    ),
    Pair(
        "window-outside-dive@camera",
        *edit("until: bottom + 40 min", "until: splash - 1 min", "until: bottom + 40 min"),
        line="camera",
    ),
    Pair(
        "window-empty@camera",
        *edit(
            "from: splash, until: bottom + 40 min",
            "from: bottom + 40 min, until: bottom + 10 min",
            "from: bottom + 10 min, until: bottom + 40 min",
        ),
        final=True,
        line="camera",
    ),
    Pair("settings-too-big", ((LIGHTS, LIGHTS + many(7)),), ((LIGHTS, LIGHTS + many(4)),), final=True, says="bytes"),
    Pair("counter-range", *edit("wait: 48 h", "wait: 93 d", "wait: 92 d"), final=True, line="wait"),
    # notes
    Pair(
        "transport-limit",
        (("nmc-21700-5000", "nmc-18650-3000"), ("parallel: 5", "parallel: 4")),
        (("nmc-21700-5000", "nmc-18650-3000"), ("parallel: 5", "parallel: 3")),
        "note",
        line="parallel",
        says="130 Wh",
    ),
    Pair(
        "guessed-input",
        *edit("power: 1.2 W", "power: about 1.2 W", "power: 1.2 W ± 30 %"),
        "note",
        line="fan",
        says="1 input",
    ),
    Pair("accept-unused", ACCEPT_UNUSED, BASE, "note", line="hard-landing", says="nothing here is hard-landing"),
]


def ids(pair: Pair) -> str:
    return pair.name


@pytest.mark.parametrize("pair", PAIRS, ids=ids)
def test_the_dive_has_the_finding_and_its_neighbour_has_not(pair: Pair, judged: Callable) -> None:
    bad, good = judged(*pair.bad), judged(*pair.good)
    found = bad.all(pair.name)
    assert found, [f.name for f in bad.judgement.findings]
    first = found[0]
    assert (first.severity, first.final) == (pair.severity, pair.final)
    assert pair.line in bad.line_of(first)
    assert pair.says in first.message
    assert pair.fix in first.fix
    rank = ("stop", "caution", "note").index
    same = [f.message for f in good.all(pair.name) if rank(f.severity) <= rank(pair.severity)]
    assert not same
    assert not good.unchecked(pair.name)

"""The numbers in a printed report: found, and held against numbers that were worked out or copied.

A report's text shows the figures of the JSON report rounded, in other units, or as times of day; and some more. `pool`
says where each further one comes from. A number may be matched by any entry of the pool, so this test finds numbers
that come from nowhere; which figure stands where is held by the test of the JSON report.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
from typing import Any

from second_figures import Figures, Runs, planned, recorded
from second_reading import triple

SAID = (1.0, 4.0, 20.0, 35.0, 64.0, 100.0)
"""Numbers of the wording: a margin, 4 GiB, cells of 20 Wh, salinity 35, steps of 1/64 s, packs of 100 Wh."""
INSTANT = re.compile(
    r"(\d{1,2}) ([A-Z][a-z]{2}) (\d\d):(\d\d)(?::(\d\d))?|(\d{4}-\d\d-\d\d) (\d\d):(\d\d)|(\d\d):(\d\d)\b"
)
SPAN = re.compile(r"(?<![\w.])(?:(\d+) d)?(?: ?(\d+) h)?(?: ?(\d+) min)?(?: ?(\d+) s)?(?![\w/])")
NUMBER = re.compile(r"(?<![\w.:-])-?\d+(?:\.\d+)?")
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


PICTURE = re.compile(r"^Timeline\n.*?\n\n", re.MULTILINE | re.DOTALL)


def without_picture(text: str) -> tuple[str, list[str]]:
    """The report without its timeline, and the timeline's lines."""
    found = PICTURE.search(text)
    assert found is not None
    return text.replace(found.group(0), ""), found.group(0).splitlines()


def tokens(text: str) -> tuple[list[str], list[tuple[float, float]], list[tuple[float, float]]]:
    """Instants as text, durations (seconds, unit), and plain numbers (value, half of the last digit)."""
    text = re.sub(r"UTC[+-]\d\d:\d\d|line \d+:|\b[A-Z]+\d\b", " ", text)
    instants = [match.group(0) for match in INSTANT.finditer(text)]
    text = INSTANT.sub(" ", text)
    spans = []
    for match in SPAN.finditer(text):
        given = [(int(n), size) for n, size in zip(match.groups(), (86400, 3600, 60, 1), strict=True) if n]
        if given:
            spans.append((float(sum(n * size for n, size in given)), float(given[-1][1])))
    text = SPAN.sub(" ", text)
    numbers = []
    for match in NUMBER.finditer(text):
        digits = len(match.group(0).partition(".")[2])
        numbers.append((float(match.group(0)), 0.5 * 10.0**-digits))
    return instants, spans, numbers


def instants(runs: Runs, report: Any) -> list[datetime]:
    """When things happen: each bound of each event, and until when it may stay on deck."""
    start, dive = planned(runs.scene.dive), runs.scene.dive
    found = [start + timedelta(seconds=s) for event in runs.scene.events.values() for s in event.true]
    for key in ("armed_for", "deck_time"):
        if key in dive["start"]:
            found.append(start + timedelta(seconds=triple(dive["start"][key])[2]))
    return found


def is_instant(text: str, known: list[datetime]) -> bool:
    """Whether a printed instant is one of those known, local or UTC, to its last digit and 2 s."""
    slack = 62.0 if text.count(":") == 1 else 2.0
    day, month, hour, minute, second, date, hour2, minute2, hour3, minute3 = INSTANT.fullmatch(text).groups()  # type: ignore[union-attr]
    for moment in (form for each in known for form in (each, each.astimezone(UTC))):
        year, m, d = moment.year, moment.month, moment.day
        if day:
            m, d = MONTHS.index(month) + 1, int(day)
        elif date:
            year, m, d = (int(part) for part in date.split("-"))
        shown = datetime(year, m, d, int(hour or hour2 or hour3), int(minute or minute2 or minute3), int(second or 0))
        if abs((shown - moment.replace(tzinfo=None)).total_seconds()) <= slack:
            return True
    return False


def pool(runs: Runs, worked: Figures, report: Any, file: str) -> list[tuple[float, float]]:
    """Numbers that a report may show, with tolerances."""
    found = [(x * scale, tolerance * scale) for x, tolerance in worked.values() for scale in (1.0, 100.0, 1000.0, 1e-3)]
    found += [(float(number), 0.0) for number in re.findall(r"-?\d+(?:\.\d+)?", file)]  # copied from the dive file
    found += [(value, 0.0) for value in SAID]
    for outcome in (runs.nominal, runs.energy):
        values = [*outcome.by_load.values(), *outcome.by_phase.values(), outcome.usable, outcome.needed,
                  outcome.margin, outcome.reserve, outcome.cold_loss]  # fmt: skip
        found += [(value, 0.03 + 0.003 * abs(value)) for value in values]
    found += [(out.hours_after_surface, 0.1 + 0.01 * out.hours_after_surface) for out in runs.stuck.values()]
    return [*found, *_counts(report), *_of_the_pack(runs), *_of_the_cards(runs), *_of_the_clock(runs)]


def _counts(report: Any) -> list[tuple[float, float]]:
    """How many are guessed, assumed and unchecked; how many cautions; bytes."""
    counts = [len(report[key]) for key in ("guessed", "defaults", "not_checked")]
    counts.append(sum(1 for finding in report["findings"] if finding["severity"] == "caution"))
    return [(float(count), 0.0) for count in (*counts, report["information"]["pack"]["least_parallel"])]


def _of_the_pack(runs: Runs) -> list[tuple[float, float]]:
    """Watt-hours by the label; volts of shed and release_below, 0.3 and 0.15 V above low_cut; what waiting armed
    takes in a day at full charge: (98 % asleep + 2 % awake + idle) U + U^2 / R."""
    pack, cell, board = runs.scene.dive["pack"], runs.scene.cell.data, runs.scene.board
    series, strings = int(pack["series"]), int(pack["parallel"])
    label = triple(cell["capacity"])[1] * triple(cell["nominal"])[1]
    cut = triple(pack["protection"]["low_cut"])[1]
    full = triple(cell["full"])[1] * series
    amps = 0.98 * triple(board["supply"]["asleep"])[2] + 0.02 * triple(board["supply"]["awake"])[2]
    amps += sum(triple(rail["idle"])[2] for rail in board["rails"].values() if "idle" in rail)
    ohms = triple(board["pack_sense"]["top"])[1] + triple(board["pack_sense"]["bottom"])[1]
    day = 24 * (amps * full + full**2 / ohms)
    energies = (label, label * series * strings, float(series * strings), cut + 0.3, cut + 0.15, day)
    return [(value, 1e-9) for value in energies]


def _of_the_cards(runs: Runs) -> list[tuple[float, float]]:
    """The longest recording in GB, and in how many files of 4 GiB less a byte."""
    rate = triple(runs.scene.dive["loads"]["camera"]["bitrate"])[1] / 8
    longest = max(recorded(runs.scene)) * rate
    return [(longest / 1e9, 0.03), (float(math.ceil(longest / (2**32 - 1))), 0.0)]


def _of_the_clock(runs: Runs) -> list[tuple[float, float]]:
    """By how much the clock may be off at the release."""
    return [(runs.scene.error * runs.scene.at, 1e-3)]


def durations(runs: Runs, worked: Figures, file: str) -> list[tuple[float, float]]:
    """Durations in seconds that a report may show: every elapsed time, interlocks and times of the file, recordings,
    how long a pack lasts with a load stuck on, what is left to disarm in."""
    found = [(x, tolerance) for path, (x, tolerance) in worked.items() if path.endswith("_s")]
    found += [(float(s), 1.0) for event in runs.scene.events.values() for s in event.clock]
    for match in SPAN.finditer(file):
        given = [int(n) * size for n, size in zip(match.groups(), (86400, 3600, 60, 1), strict=True) if n]
        found += [(float(sum(given)), 0.0)] if given else []
    found += [
        (out.hours_after_surface * 3600, 0.02 * out.hours_after_surface * 3600 + 30) for out in runs.stuck.values()
    ]
    hours, tolerance = worked["energy.endurance_after_surface_h"]
    found.append((hours * 3600, tolerance * 3600))
    found.append((runs.scene.at - 1800.0, 1.0))  # half an hour before it would fire on deck
    return found

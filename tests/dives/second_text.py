"""The numbers in a printed report: found, and held against numbers that were worked out or copied.

A report's text shows the figures of the JSON report rounded, in other units, or as times of day; and some more. Each
line is held against the few numbers that may stand in it (`pool`), durations and times of day against all that the
dive knows.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from second_circuit import Outcome
from second_figures import Figures, Runs, planned, recorded
from second_reading import triple

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
    _, _, slack = dive["start"]["planned"].partition("±")
    if slack:
        early, late = (runs.scene.events["surface"].true[k] for k in (0, 2))
        half = triple(slack.strip())[1]
        found += [start + timedelta(seconds=early - half), start + timedelta(seconds=late + half)]
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


@dataclass(frozen=True)
class Piece:
    """A line of a report with where it stands: the heading above it, and what the line is about."""

    section: str
    label: str
    line: str


HEADS = re.compile(
    r"(Events|Compiled so|Findings|Energy|Temperatures|Cards|Worked out|Field changes|Assumed|No problem)\b"
)


def pieces(text: str) -> list[Piece]:
    """Every line of a report with its place."""
    found, section, label = [], "", ""
    for line in text.splitlines():
        heading = HEADS.match(line)
        if heading:
            section, label = heading.group(1), ""
            continue
        if section == "":
            label = line[:10].strip() or label
            line = line[10:]
        elif section == "Worked out":
            named = re.match(r"  ([A-Z][a-z]+(?: [a-z]+)?)  +", line)
            label = named.group(1) if named else label
        elif section == "Findings":
            named = re.match(r"  line \d+: (\S+)", line)
            label = named.group(1) if named else label
        elif section in ("Energy", "Temperatures"):
            label = re.split(r"  +", line.strip())[0]
        found.append(Piece(section, label, line))
    return found


def pool(piece: Piece, runs: Runs, worked: Figures, report: Any) -> list[tuple[float, float]]:
    """Plain numbers that a line of a report may show, with tolerances."""
    section, label = piece.section, piece.label
    if section == "":
        return _of_the_first_screen(label, runs, worked, report)
    if section == "Energy":
        return _of_the_account(label, runs)
    if section == "Temperatures":
        return [value for path, value in worked.items() if path.startswith(f"temperatures.{label}.")]
    if section == "Cards":
        return [worked["storage.camera.written_gb"], worked["storage.camera.card_gb"]]
    if section == "Worked out":
        return _of_the_information(label, runs, worked)
    if section == "Findings":
        return _of_the_finding(label, runs, worked)
    if section == "Compiled so":  # how many bursts, all of them on the bottom in these dives
        return [(float(len(runs.scene.windows["camera"]) - 1), 0.0)]
    if section == "Assumed":  # above the protection's cut; the words say by how much
        cut = triple(runs.scene.dive["pack"]["protection"]["low_cut"])[1]
        return [(value, 1e-9) for value in (cut + 0.3, cut + 0.15, 0.3, 0.15)]
    if section == "Field changes":
        return [(float(sum(1 for path in worked if re.match(r"field_changes\.\d+\.allowed", path))), 0.0)]
    return []


def _of_the_first_screen(label: str, runs: Runs, worked: Figures, report: Any) -> list[tuple[float, float]]:
    figures = {
        "Margin": ("energy.margin_wh", "energy.usable_wh"),
        "Beacon": ("energy.endurance_after_surface_h",),
        "Voltage": ("energy.lowest_voltage_v",),
        "Speeds": ("fall.sink_speed_m_s", "fall.rise_speed_m_s", "information.weight.least_lift_n"),
        "Release": ("information.clock.release_s",),
    }.get(label, ())
    found = [worked[path] for path in figures]
    if label == "Fix":
        found.append((float(sum(1 for finding in report["findings"] if finding["severity"] == "caution")), 0.0))
    if label == "Inputs":
        found += [(float(len(report[key])), 0.0) for key in ("guessed", "defaults", "not_checked")]
    if label == "Beacon":
        found.append((triple(runs.scene.dive["recovery"]["wait"])[2] / 3600, 0.0))
    return [*found, (armed_wh_a_day(runs), 1e-9)] if label == "On deck" else found


def armed_wh_a_day(runs: Runs) -> float:
    """What waiting armed takes in a day at full charge: (98 % asleep + 2 % awake + idle) U + U^2 / R."""
    pack, cell, board = runs.scene.dive["pack"], runs.scene.cell.data, runs.scene.board
    full = triple(cell["full"])[1] * int(pack["series"])
    amps = 0.98 * triple(board["supply"]["asleep"])[2] + 0.02 * triple(board["supply"]["awake"])[2]
    amps += sum(triple(rail["idle"])[2] for rail in board["rails"].values() if "idle" in rail)
    ohms = triple(board["pack_sense"]["top"])[1] + triple(board["pack_sense"]["bottom"])[1]
    return 24 * (amps * full + full**2 / ohms)


def _of_the_account(label: str, runs: Runs) -> list[tuple[float, float]]:
    """A row of the table of energies: the worst case and the nominal one."""
    of: dict[str, Callable[[Outcome], float]] = {
        "usable above the reserve": lambda out: out.usable,
        "needed until the end": lambda out: out.needed,
        "left": lambda out: out.margin,
        "kept for the reserve": lambda out: out.reserve,
        "out of reach in the cold": lambda out: out.cold_loss,
    }
    take = of.get(label)
    if take is None and label.startswith("in "):
        phase = label[3:]
        take = lambda out: out.by_phase[phase]  # noqa: E731
    elif take is None:
        take = lambda out: out.by_load.get(label, 0.0)  # noqa: E731
    return [(take(out), 0.02 + 0.003 * abs(take(out))) for out in (runs.energy, runs.nominal)]


UNITS = {"least_out_m": 100.0, "most_out_m": 100.0, "bore_needed_m": 1000.0, "radius_m": 1e-3}
"""Heights are shown in cm, a bore in mm, a drift in km; shares in %."""


def _of_the_information(label: str, runs: Runs, worked: Figures) -> list[tuple[float, float]]:
    start = f"information.{label.lower().replace(' ', '_')}."
    found = []
    for path, (value, tolerance) in worked.items():
        if path.startswith(start):
            ending = path.rpartition(".")[2]
            unit = UNITS.get(ending, 100.0 if ending.endswith("_share") else 1.0)
            found.append((value * unit, tolerance * unit))
    series = int(runs.scene.dive["pack"]["series"])
    more = {
        "Waters": [35.0],  # the salinity compared with
        "Float lost": [1.0, float(len(runs.scene.dive["vehicle"].get("floats", [])))],
        "Pack": [float(series), float(runs.least), 1.0],
    }
    return found + [(value, 0.0) for value in more.get(label, [])]


def _of_the_finding(label: str, runs: Runs, worked: Figures) -> list[tuple[float, float]]:
    name, _, load = label.partition("@")
    if name == "stuck-on-bottom":
        return [worked["information.weight.least_lift_n"]]
    if name == "load-stuck-on":
        hours = runs.stuck[load].hours_after_surface
        return [(hours, 0.05 + 0.01 * hours)]
    if name == "transport-limit":  # label watt-hours of pack and cell; the thresholds of air transport
        cell, pack = runs.scene.cell.data, runs.scene.dive["pack"]
        count = float(int(pack["series"]) * int(pack["parallel"]))
        wh = triple(cell["capacity"])[1] * triple(cell["nominal"])[1]
        return [(value, 1e-9) for value in (wh, wh * count, count, 100.0, 20.0)]
    if name == "card-full":  # the longest recording in GB, and in how many files of 4 GiB less a byte
        longest = max(recorded(runs.scene)) * triple(runs.scene.dive["loads"]["camera"]["bitrate"])[1] / 8
        return [(longest / 1e9, 0.02), (float(math.ceil(longest / (2**32 - 1))), 0.0), (4.0, 0.0)]
    return []


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

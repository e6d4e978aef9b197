"""Every number in the committed reports is worked out a second way, or said where it comes from.

The second way shares nothing with the program: dive, board and cell files read by `second_reading`, the fall
integrated by scipy over densities of gsw (`second_fall`), events and schedules by hand (`second_dives`), pack and
temperatures in short steps (`second_circuit`), the rest by short formulas (`second_figures`, with all tolerances).
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from astral import Observer
from astral.sun import dawn, dusk
from golden import DIVES, HERE, committed
from second_dives import Scene, setting
from second_figures import Figures, Runs, figures, planned, runs_of
from second_text import durations, instants, is_instant, pieces, pool, tokens, without_picture

from schedgen.load import load

EXPLAINED = {
    "settings.bytes": "test_the_code_is_the_checksum_of_the_block; each field's width is in tests/settings",
    "settings.capacity": "test_a_slot_holds_what_is_left_of_the_eeprom",
    "information.pack.least_parallel": "test_the_least_count_would_do_and_one_less_would_not",
}
"""Numbers that have a test of their own below, by their path."""
LINES = {
    "stuck-on-bottom": "ballast:",
    "transport-limit": "parallel:",
    "load-stuck-on": "",
    "card-full": "bitrate:",
    "postponed-drop": "without_water:",
    "sinks-after-release": "- {volume",
}
"""What stands in the line that a finding names; for load-stuck-on the load's own name."""


@pytest.fixture(scope="module", params=DIVES)
def case(request: pytest.FixtureRequest) -> tuple[Any, Runs, Figures]:
    """The committed report, the second way's runs, and its figures."""
    report = json.loads(committed(request.param, "json"))
    stuck = tuple(finding["load"] for finding in report["findings"] if finding["name"] == "load-stuck-on")
    runs = runs_of(request.param, report["information"]["pack"]["least_parallel"], stuck)
    return report, runs, figures(runs)


def numbers(value: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number (and yes or no) of a report with its path, findings left out."""
    if isinstance(value, dict):
        for key, item in value.items():
            if key != "findings":
                yield from numbers(item, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from numbers(item, f"{path}.{index}")
    elif isinstance(value, bool | int | float):
        yield path, float(value)


def test_every_number_agrees_with_the_second_way(case: tuple[Any, Runs, Figures]) -> None:
    report, _, worked = case
    off = {}
    for path, value in numbers(report):
        if path in EXPLAINED:
            continue
        assert path in worked, f"{path} is neither worked out nor explained"
        second, tolerance = worked[path]
        if abs(value - second) > tolerance:
            off[path] = (value, second, tolerance)
    assert not off


def test_nothing_is_worked_out_that_the_report_does_not_say(case: tuple[Any, Runs, Figures]) -> None:
    report, _, worked = case
    assert set(worked) <= {path for path, _ in numbers(report)}


def test_findings_stand_at_their_line(case: tuple[Any, Runs, Figures]) -> None:
    report, runs, _ = case
    lines = (HERE / f"{runs.scene.name}.yaml").read_text(encoding="utf-8").splitlines()
    for finding in report["findings"]:
        written = lines[finding["line"] - 1]
        expected = LINES[finding["name"]] or f"{finding['load']}:"
        assert expected in written, (finding["name"], written)
        assert 1 <= finding["column"] <= len(written)
        assert written[finding["column"] - 1] != " "


def test_every_number_of_the_text_is_known(case: tuple[Any, Runs, Figures]) -> None:
    report, runs, worked = case
    file = (HERE / f"{runs.scene.name}.yaml").read_text(encoding="utf-8")
    text = committed(runs.scene.name, "txt").replace(report["code"], " ").replace(report["name"], " ")
    known, seconds = instants(runs, report), durations(runs, worked, file)
    stray: list[tuple[str, Any]] = []
    count = 0
    for piece in pieces(without_picture(text)[0]):
        shown, spans, plain = tokens(piece.line)
        values = pool(piece, runs, worked, report)
        stray += [(piece.line, text) for text in shown if not is_instant(text, known)]
        stray += [(piece.line, span) for span, unit in spans if not near(span, unit, seconds)]
        stray += [(piece.line, value) for value, half in plain if not near(value, 1.001 * half, values)]
        count += len(shown) + len(spans) + len(plain)
    assert not stray
    assert count > 150


def near(value: float, slack: float, known: list[tuple[float, float]]) -> bool:
    """Whether a printed value is one of those known, to its last digit and the tolerance."""
    return any(abs(value - second) <= slack + tolerance for second, tolerance in known)


def test_the_timeline_agrees_with_clock_and_charge(case: tuple[Any, Runs, Figures]) -> None:
    """Each hour stands above its time of day; the charge begins in the tenth in which the file's own charge lies, after
    its time on the shelf, never rises, and ends in the tenth of the worst case's charge at `end`, or the one above it
    where the last column is not yet the end."""
    _, runs, _ = case
    at = runs.scene
    picture = without_picture(committed(at.name, "txt"))[1]
    rows = {line[:12].strip(): line[12:] for line in picture}
    hours = [(match.start(), int(match.group(0))) for match in re.finditer(r"\d+", rows["hours"])]
    clock = next(text for name, text in rows.items() if name.startswith("UTC"))
    for column, hour in hours:
        shown = (planned(at.dive) + timedelta(hours=hour)).strftime("%H:%M")
        assert clock[column : column + 5] == shown
    tenths = [int(digit) for digit in re.sub(r"\D", "", rows["charge"])]
    assert tenths == sorted(tenths, reverse=True)
    assert tenths[0] == int(10 * setting(at, "energy").charge)
    assert 0 <= tenths[-1] - int(10 * runs.energy.charge_at_end) <= 1


def test_the_least_count_would_do_and_one_less_would_not(case: tuple[Any, Runs, Figures]) -> None:
    report, runs, _ = case
    pack = report["information"]["pack"]
    assert runs.enough.margin > 0 > runs.fewer.margin
    assert pack["least_parallel"] * int(runs.scene.dive["pack"]["series"]) <= pack["most_in_bore"]


def test_the_code_is_the_checksum_of_the_block(case: tuple[Any, Runs, Figures]) -> None:
    """Low 30 bits of CRC-32 in base 32 without I, L, O and U; the block's first byte is its length."""
    report, runs, _ = case
    block = load(HERE / f"{runs.scene.name}.yaml").settings().block
    checksum = zlib.crc32(block) & (2**30 - 1)
    letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    assert report["code"] == "".join(letters[checksum >> shift & 31] for shift in range(25, -1, -5))
    assert report["settings"]["bytes"] == len(block) == block[0]


def test_a_slot_holds_what_is_left_of_the_eeprom(case: tuple[Any, Runs, Figures]) -> None:
    """256 bytes: two slots of 112 and 32 for the journal; a slot has 1 byte of number and 4 of checksum: 107. 1024
    bytes: slots of 260, so 255."""
    report, runs, _ = case
    assert report["settings"]["capacity"] == {"256 B": 112 - 5, "1024 B": 260 - 5}[runs.scene.board["eeprom"]["size"]]


def test_the_surfacing_window_is_as_light_as_it_says(case: tuple[Any, Runs, Figures]) -> None:
    """Civil dawn and dusk of astral on the day, against the window widened by the uncertainty of the start."""
    _, runs, _ = case
    at = runs.scene
    said = "in daylight" if at.dive["recovery"]["prefer"] == "daylight" else "in darkness"
    assert f"; {said}\n" in committed(at.name, "txt")
    first, last = window(at)
    place = Observer(float(at.dive["site"]["latitude"]), float(at.dive["site"]["longitude"]))
    zone = first.tzinfo
    if said == "in daylight":
        assert dawn(place, first.date(), tzinfo=zone) < first < last < dusk(place, first.date(), tzinfo=zone)
    else:
        assert last < dawn(place, last.date(), tzinfo=zone)
        assert first > dusk(place, first.date() - timedelta(days=1), tzinfo=zone)


def window(at: Scene) -> tuple[Any, Any]:
    """Earliest and latest surfacing, the uncertainty of the planned start included (in minutes in these files)."""
    slack = timedelta(minutes=float(at.dive["start"]["planned"].split("±")[1].split()[0]))
    surface = at.events["surface"].true
    start = planned(at.dive)
    return start + timedelta(seconds=surface[0]) - slack, start + timedelta(seconds=surface[2]) + slack


def test_the_second_way_notices_a_change(case: tuple[Any, Runs, Figures]) -> None:
    """Tolerances are narrow: 2 % more of any energy, or a window a minute longer, would be seen."""
    worked = case[2]
    assert worked["energy.needed_wh"][1] < 0.02 * worked["energy.needed_wh"][0]
    assert worked["energy.lowest_voltage_v"][1] < 0.001 * worked["energy.lowest_voltage_v"][0]
    assert all(tolerance <= 1.0 for path, (_, tolerance) in worked.items() if path.startswith("events."))

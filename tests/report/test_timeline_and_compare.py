"""The timeline of plain characters, and two dives side by side."""

from __future__ import annotations

from report_dives import Examined, changed, demo_text, hostile_text

from schedgen.report.compare import compare_lines, compare_record
from schedgen.report.timeline import WIDTH, timeline

OTHER = (("at: bottom + 9 h", "at: bottom + 13 h"),)


def _plain(text: str, *_: str) -> str:
    return text


def test_no_line_is_longer_than_80_columns(examined: Examined) -> None:
    for subject in (examined(), examined(text=hostile_text()), examined(("wait: 48 h", "wait: 3 h"))):
        for ascii_only in (False, True):
            assert all(len(line) <= WIDTH for line in timeline(subject, ascii_only))


def test_ascii_form_has_nothing_but_ascii(examined: Examined) -> None:
    lines = timeline(examined(), ascii_only=True)
    assert all(line.isascii() for line in lines)
    assert [line.replace("x", "") for line in lines] != timeline(examined())


def test_lanes_are_on_when_the_plan_says_so(examined: Examined) -> None:
    lines = {line[:12].strip(): line[12:] for line in timeline(examined(), ascii_only=True)}
    assert {"camera", "beacon", "lights", "fan", "locator", "release", "charge"} <= set(lines)
    dive, wait = lines["beacon"].split("|")
    assert set(wait) == {":"}
    assert dive.startswith(".")
    assert dive.endswith(":")
    assert set(lines["lights"].split("|")[1]) == {"."}
    assert "-" in lines["lights"]
    assert "=" in lines["camera"]


def test_charge_is_the_worst_of_the_cases_in_tenths(examined: Examined) -> None:
    subject = examined()
    row = next(line for line in timeline(subject, ascii_only=True) if line.startswith("charge"))
    digits = [int(letter) for letter in row[12:] if letter != "|"]
    assert digits == sorted(digits, reverse=True)
    assert digits[0] == 9
    assert digits[-1] == int(subject.results.cases["energy"].account.end_charge * 10)


def test_events_are_named_once_each(examined: Examined) -> None:
    text = "\n".join(timeline(examined()))
    for name in ("splash", "bottom", "surface", "end"):
        assert text.count(name) == 1, name


def test_a_dive_beside_itself_is_the_same(examined: Examined) -> None:
    lines = compare_lines(examined(), examined(), _plain)
    assert lines.count("  the same") == 4
    assert "the same settings" in lines


def test_a_later_release_shows_in_events_energy_loads_and_findings(examined: Examined) -> None:
    subject, later = examined(), examined(*OTHER)
    text = "\n".join(compare_lines(subject, later, _plain))
    row = next(line for line in text.splitlines() if line.strip().startswith("release  "))
    assert "+4 h 00 min 00 s" in row
    assert "other settings: upload again" in text
    assert "new in the second: release-too-late (stop)" in text
    assert "the last try ends" in text
    back = "\n".join(compare_lines(later, subject, _plain))
    assert "gone in the second: release-too-late (stop)" in back
    assert "-4 h 00 min 00 s" in back


def test_an_accepted_finding_is_told_from_an_open_one(examined: Examined) -> None:
    accepted = examined(text=demo_text() + "\naccept:\n  load-stuck-on@lights: a fuse stands before it\n")
    text = "\n".join(compare_lines(examined(), accepted, _plain))
    assert "load-stuck-on@lights: caution in the first, accepted in the second" in text


def test_the_record_holds_both_and_the_difference(examined: Examined) -> None:
    record = compare_record(examined(), examined(*OTHER))
    assert record["first"]["verdict"] == "go"
    assert record["second"]["verdict"] == "no-go"
    assert "release-too-late" in record["new_findings"]
    assert record["gone_findings"] == []


def test_dives_of_different_outputs_compare(examined: Examined) -> None:
    fewer = changed(
        demo_text(),
        ("  locator: {wired_to: OUT4, power: 0.45 W ± 10 %}\n", ""),
        ("  - {load: locator, from: release, until: end}\n", ""),
    )
    text = "\n".join(compare_lines(examined(), examined(text=fewer), _plain))
    row = next(line for line in text.splitlines() if line.strip().startswith("locator"))
    assert "0.0 Wh" in row

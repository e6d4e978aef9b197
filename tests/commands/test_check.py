"""`check`: the first screen, the record, the verdict, and dives with faults."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

FIRST_SCREEN = ("Fix", "Margin", "Release", "On deck", "Surface", "Beacon", "Voltage", "Speeds", "Inputs")

FAULTS = (
    # name, and the text at whose line it must be named
    ("release-interlock", "not_before: start + 10 min"),
    ("release-too-late", "latest: start + 6 h"),
    ("depth-rating", "rated_depth: 300 m"),
    ("wire-in-fresh-water", "kind: burn wire"),
    ("card-full", "card: 64 GB"),
    ("lights-in-air", "{load: lights, with: camera"),
    ("beacon-late", "{load: beacon, from: surface + 5 min"),
    ("beacon-too-short", "wait: 24 h"),
    ("camera-cut-while-recording", "camera:"),
    ("reserve-short", "parallel: 2"),
)


def test_the_demo_is_a_go_and_its_first_screen_keeps_the_order(run: Any, demo: Path) -> None:
    ran = run("check", demo)
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert re.fullmatch(r"GO   [0-9A-HJKMNP-TV-Z]{6}   Hollow Bank, bait station 3", lines[0])
    labels = [line[:10].strip() for line in lines[1 : lines.index("")] if line[:10].strip()]
    assert tuple(labels) == FIRST_SCREEN
    assert "Events" in ran.out
    assert "No problem found in: " in ran.out


def test_no_output_claims_safety(run: Any, demo: Path, faulty: Path) -> None:
    for words in (("check", demo), ("check", faulty), ("simulate", demo), ("library",), ("--help",)):
        ran = run(*words)
        assert not re.search(r"\bsafe(ly|ty)?\b", ran.out + ran.err, re.IGNORECASE), words


def test_the_record_has_the_keys_that_others_rely_on(run: Any, demo: Path) -> None:
    record = run("check", demo, "--json").record
    assert record["verdict"] == "go"
    assert re.fullmatch(r"[0-9A-HJKMNP-TV-Z]{6}", record["code"])
    assert {"name", "severity", "accepted", "file", "line", "column", "message", "fix"} <= set(record["findings"][0])
    assert list(record["events"]) == ["start", "splash", "bottom", "release", "surface", "end"]
    for bounds in record["events"].values():
        assert bounds["early_s"] <= bounds["nominal_s"] <= bounds["late_s"]
    energy = record["energy"]
    assert energy["margin_wh"] == pytest.approx(energy["usable_wh"] - energy["needed_wh"], abs=1e-5)
    assert sum(energy["by_load_wh"].values()) == pytest.approx(energy["needed_wh"], rel=1e-6)
    assert sum(energy["by_phase_wh"].values()) == pytest.approx(energy["needed_wh"], rel=1e-6)
    assert {"lowest_voltage_v", "lowest_voltage_at_s", "endurance_after_surface_h", "reserve_wh"} <= set(energy)
    assert set(record["heat"]["camera"]) == {"highest_c", "at_s"}
    assert set(record["storage"]["camera"]) == {"recorded_s", "written_gb", "card_gb"}
    assert set(record["fall"]) == {"sink_speed_m_s", "rise_speed_m_s", "net_lift_n", "pressure_dbar"}
    assert 0 < record["settings"]["bytes"] <= record["settings"]["capacity"]
    assert record["guessed"] == ["loads.fan.power"]
    assert record["defaults"]
    assert record["not_checked"] == []


def test_the_nominal_case_leaves_more_than_the_worst(run: Any, demo: Path) -> None:
    worst = run("check", demo, "--json").record["energy"]
    nominal = run("check", demo, "--json", "--case", "nominal").record["energy"]
    assert nominal["margin_wh"] > worst["margin_wh"]
    assert nominal["lowest_voltage_v"] > worst["lowest_voltage_v"]


def test_a_case_that_is_not_there_is_answered_with_those_that_are(run: Any, demo: Path) -> None:
    ran = run("check", demo, "--case", "best")
    assert ran.code == 2
    assert "recovery-late" in ran.err
    record = run("check", demo, "--case", "best", "--json").record
    assert record["verdict"] == "unreadable"
    assert "best" in record["problems"][0]["message"]


def test_a_window_that_is_empty_leaves_no_dive_code(run: Any, demo: Path) -> None:
    text = demo.read_text(encoding="utf-8").replace("every: 30 min, for: 6 min", "every: 9 h, for: 8 h")
    demo.write_text(text, encoding="utf-8")
    ran = run("check", demo, "--json")
    assert ran.code == 1
    assert "window-empty" in {finding["name"] for finding in ran.record["findings"]}
    assert ran.record["code"] is None


def test_each_fault_of_a_hurried_dive_is_named_at_its_line_with_a_fix(run: Any, faulty: Path) -> None:
    lines = faulty.read_text(encoding="utf-8").splitlines()
    ran = run("check", faulty, "--json")
    assert ran.code == 1
    assert ran.record["verdict"] == "no-go"
    found = {finding["name"]: finding for finding in ran.record["findings"] if finding["severity"] == "stop"}
    for name, text in FAULTS:
        assert name in found, name
        assert text in lines[found[name]["line"] - 1], name
        assert len(found[name]["fix"]) > 10, name


def test_at_most_three_fixes_stand_on_the_first_screen(run: Any, faulty: Path) -> None:
    ran = run("check", faulty, "--short")
    assert ran.code == 1
    assert ran.out.startswith("NO-GO   ")
    assert len(re.findall(r"^ +-> ", ran.out, re.MULTILINE)) == 3
    assert "more stops below" in ran.out


def test_an_accepted_stop_no_longer_makes_a_no_go(run: Any, demo: Path) -> None:
    text = demo.read_text(encoding="utf-8").replace("wait: 48 h", "wait: 240 h")
    demo.write_text(text, encoding="utf-8")
    names = {f["name"] for f in run("check", demo, "--json").record["findings"] if f["severity"] == "stop"}
    assert "beacon-too-short" in names
    accepted = "accept:\n" + "".join(f"  {name}: the boat stays beside it\n" for name in sorted(names))
    demo.write_text(text + accepted, encoding="utf-8")
    ran = run("check", demo)
    assert ran.code == 0
    assert "accepted: the boat stays beside it" in ran.out


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8", "cp437"])
def test_every_console_takes_every_line(encoding: str, demo: Path) -> None:
    demo.write_text(demo.read_text(encoding="utf-8").replace("Hollow Bank", "Ørn → 深海 ±"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "schedgen", "check", demo.name],
        cwd=demo.parent,
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
    )
    assert done.returncode == 0, done.stderr
    first = done.stdout.decode(encoding).splitlines()[0]
    assert first.endswith("Ørn → 深海 ±, bait station 3" if encoding == "utf-8" else "+/-, bait station 3")


def test_a_file_that_cannot_be_read_gives_all_its_problems(run: Any, demo: Path) -> None:
    text = demo.read_text(encoding="utf-8").replace("depth: 1450 m .. 1510 m", "depth: 1500")
    demo.write_text(text.replace("trigger: water", "trigger: watre"), encoding="utf-8")
    ran = run("check", demo)
    assert ran.code == 2
    assert ran.out == ""
    assert "2 problems" in ran.err
    record = run("check", demo, "--json").record
    assert record["verdict"] == "unreadable"
    assert [set(problem) for problem in record["problems"]] == [
        {"file", "line", "column", "message", "expected", "example", "next"}
    ] * 2

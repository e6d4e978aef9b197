"""The pictures and pages as the command line gives them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from report_dives import demo_text

from schedgen.commands import main

SPLASHED = "2027-04-19T09:20:00+01:00"


@pytest.fixture
def dive(tmp_path: Path) -> Path:
    """The demo dive in a folder of its own."""
    path = tmp_path / "dive.yaml"
    path.write_text(demo_text(), encoding="utf-8")
    return path


@pytest.mark.parametrize(("suffix", "begins"), [(".svg", b"<?xml"), (".PNG", b"\x89PNG"), (".pdf", b"%PDF")])
def test_simulate_draws_by_the_suffix(dive: Path, suffix: str, begins: bytes) -> None:
    out = dive.with_suffix(suffix)
    assert main(["simulate", str(dive), "--plot", str(out)]) == 0
    assert out.read_bytes().startswith(begins)


def test_simulate_refuses_another_suffix_before_it_writes(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = dive.with_suffix(".gif")
    assert main(["simulate", str(dive), "--plot", str(out)]) == 2
    assert not out.exists()
    assert ".svg, .png or .pdf" in capsys.readouterr().err


def test_check_after_the_splash_begins_with_one_line(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(dive), "--splashed", SPLASHED]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Splashed 09:20 (2 h 40 min late): at the surface 19:16 to 19:55 UTC+01:00")
    assert lines[1].startswith("GO ")


def test_check_json_after_the_splash_has_the_same_line(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", str(dive), "--json"])
    plain = json.loads(capsys.readouterr().out)
    main(["check", str(dive), "--json", "--splashed", SPLASHED])
    since = json.loads(capsys.readouterr().out)
    assert since.pop("since_splash").startswith("Splashed 09:20")
    assert since["code"] == plain["code"]
    assert set(since) == set(plain)


def test_check_shows_the_timeline_below_the_first_screen(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", str(dive)])
    lines = capsys.readouterr().out.splitlines()
    start = lines.index("Timeline")
    assert lines[start - 1] == ""
    assert start < lines.index(next(line for line in lines if line.startswith("Events")))
    main(["check", str(dive), "--short"])
    assert "Timeline" not in capsys.readouterr().out


def test_check_of_two_files_compares_them(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = dive.with_name("other.yaml")
    other.write_text(demo_text().replace("latest: start + 14 h", "latest: start + 8 h"), encoding="utf-8")
    assert main(["check", str(dive), str(dive)]) == 0
    assert "the same settings" in capsys.readouterr().out
    assert main(["check", str(dive), str(other)]) == 1
    assert "new in the second: release-too-late" in capsys.readouterr().out
    assert main(["check", str(dive), str(other), "--json"]) == 1
    assert "release-too-late" in json.loads(capsys.readouterr().out)["new_findings"]


def test_two_files_and_a_splash_do_not_go_together(dive: Path) -> None:
    assert main(["check", str(dive), str(dive), "--splashed", SPLASHED]) == 2


def test_sheet_asks_where_to_write(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", str(dive)]) == 2
    assert "--out FILE.html" in capsys.readouterr().err


def test_sheet_of_a_file_that_cannot_be_read_writes_nothing(dive: Path) -> None:
    dive.write_text("format: 1\n", encoding="utf-8")
    out = dive.with_suffix(".html")
    assert main(["sheet", str(dive), "--out", str(out)]) == 2
    assert not out.exists()


def test_watch_asks_for_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["watch", str(tmp_path / "none.yaml")]) == 2
    assert "schedgen new" in capsys.readouterr().err


def test_check_loads_no_drawing_library(dive: Path) -> None:
    program = (
        "import sys; from schedgen.commands import main; main(['check', sys.argv[1]]);"
        "print([m for m in ('matplotlib', 'weasyprint', 'jinja2', 'http.server') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program, str(dive)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("choice", [None, 6])
def test_debrief_draws_planned_against_measured(dive: Path, choice: int | None) -> None:
    from schedgen.load import load
    from schedgen.measured.journal import Journal, Reading
    from schedgen.measured.journal_file import write_journal

    code = load(dive).settings().code
    readings = tuple(Reading(9000 * k, 12.3 - 0.02 * k) for k in range(1, 22))
    told = Journal("halyard-4809", "", code, "over", 200_000, 0, 3, 11.4, 36_000, choice, (), 0.02, readings)
    journal, out = dive.with_suffix(".json"), dive.with_suffix(".svg")
    journal.write_text(write_journal(told), encoding="utf-8")
    assert main(["debrief", str(dive), "--journal", str(journal), "--plot", str(out)]) in (0, 1)
    assert out.read_bytes().startswith(b"<?xml")

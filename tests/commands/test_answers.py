"""`fit`, `check --why` and `simulate --runs` as commands: what they print, their records and their exit codes."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest


def test_fit_prints_a_patch_and_writes_nothing(run: Any, demo: Path) -> None:
    before = demo.read_bytes()
    files = sorted(demo.parent.iterdir())
    ran = run("fit", demo, "--fewest", "cells")
    assert ran.code == 0
    assert "fewest cells: 12 cells; as written 15 cells" in ran.out
    assert "pack.parallel: 3, is stopped by reserve-short" in ran.out
    assert "\n-  parallel: 5\n+  parallel: 4\n" in ran.out
    assert "Nothing was written" in ran.out
    assert demo.read_bytes() == before
    assert sorted(demo.parent.iterdir()) == files


def test_fit_writes_where_it_is_told(run: Any, demo: Path, tmp_path: Path) -> None:
    out = tmp_path / "fewer.yaml"
    ran = run("fit", demo, "--fewest", "cells", "--out", out, "--json")
    assert ran.code == 0
    assert ran.record["proven"] is True
    assert ran.record["wishes"][0]["changes"] == {"pack.parallel": "4"}
    assert out.read_text(encoding="utf-8") == demo.read_text(encoding="utf-8").replace("parallel: 5", "parallel: 4")
    assert run("check", out, "--short").code == 0


def test_wishes_are_granted_in_the_order_of_the_command_line(run: Any, demo: Path) -> None:
    one = run("fit", demo, "--latest", "release", "--most", "lights", "--json").record
    other = run("fit", demo, "--most", "lights", "--latest", "release", "--json").record
    assert [w["wish"] for w in one["wishes"]] == ["latest release", "most lights"]
    assert [w["wish"] for w in other["wishes"]] == ["most lights", "latest release"]


def test_a_wish_that_cannot_be_met_ends_with_1_and_names_what_binds(run: Any, faulty: Path) -> None:
    ran = run("fit", faulty, "--most", "camera")
    assert ran.code == 1
    assert "cannot be met" in ran.out
    assert "depth-rating: " in ran.out
    assert "Nothing was changed." in ran.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "There is no wish"),
        (("--most", "winch"), "There is no load"),
        (("--least", "ballast"), "needs a speed"),
        (("--latest", "surface"), "There is no wish --latest surface"),
    ],
)
def test_senseless_wishes_end_with_2(run: Any, demo: Path, words: tuple[str, ...], says: str) -> None:
    ran = run("fit", demo, *words)
    assert ran.code == 2
    assert says in ran.err


def test_why_gives_numbers_case_moment_equation_source_and_what_clears_it(run: Any, demo: Path) -> None:
    text = demo.read_text(encoding="utf-8")
    weak = demo.parent / "weak.yaml"
    weak.write_text(text.replace("parallel: 5", "parallel: 2"), encoding="utf-8")
    ran = run("check", weak, "--why", "reserve-short")
    assert ran.code == 1
    for part in ("Case      energy", "Moment    end, ", "needed_wh", "terminal_voltage", "Source: Kirchhoff"):
        assert part in ran.out, part
    assert re.search(r"pack\.parallel\s+2\s+->\s+4\n", ran.out)
    assert not [line for line in ran.out.splitlines() if len(line) > 100]


def test_why_of_what_is_not_there_ends_with_2(run: Any, demo: Path) -> None:
    ran = run("check", demo, "--why", "to-hot")
    assert ran.code == 2
    assert "too-hot" in ran.err


def test_sampled_dives_say_their_chances(run: Any, demo: Path) -> None:
    ran = run("simulate", demo, "--runs", "200", "--seed", "4")
    assert ran.code == 0
    assert "200 sampled dives, seed 4" in ran.out
    for part in ("reserve", "Wilson 1927", "Spearman 1904", "Surfacing"):
        assert part in ran.out, part
    record = run("simulate", demo, "--runs", "200", "--seed", "4", "--json").record
    assert record == run("simulate", demo, "--runs", "200", "--seed", "4", "--json").record
    reserve = record["chances"]["reserve"]
    assert reserve["low"] < reserve["holds"] <= reserve["high"]
    assert len(reserve["matters_most"]) <= 3


@pytest.mark.parametrize("words", [("--runs", "0"), ("--runs", "9", "--seed", "-1"), ("--runs", "9", "--csv", "x.csv")])
def test_senseless_samples_end_with_2(run: Any, demo: Path, words: tuple[str, ...]) -> None:
    ran = run("simulate", demo, *words)
    assert ran.code == 2
    assert "Next: " in ran.err


def test_check_says_what_the_buttons_may_choose_and_why_not(run: Any, demo: Path) -> None:
    assert "all 14 combinations are offered" in run("check", demo).out
    record = run("check", demo, "--json").record
    assert len(record["field_changes"]) == 14
    text = demo.read_text(encoding="utf-8").replace("parallel: 5", "parallel: 4")
    weak = demo.parent / "bright.yaml"
    weak.write_text(text.replace("24 W ± 5 %", "34 W ± 5 %").replace("[70 %, 45 %]", "[70 %, 100 %]"), encoding="utf-8")
    bright = run("check", weak, "--json").record
    assert bright["verdict"] == "go"
    missing = [one for one in bright["field_changes"] if not one["allowed"]]
    assert {one["values"][1] for one in missing} == {100}
    assert all(one["why"][0].startswith("reserve-short: ") for one in missing)
    assert "lights at 100 %" in run("check", weak).out.partition("missing: ")[2]

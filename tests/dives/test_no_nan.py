"""Whatever a dive is, no report prints a number that is none: dives that sink for ever, float, starve or freeze."""

from __future__ import annotations

import json
import re
from itertools import combinations
from pathlib import Path

import pytest
from golden import HERE

from schedgen.commands import main

EDITS = {
    "never rises": ("mass: 24.0 kg ± 0.1 kg", "mass: 30 kg"),
    "never sinks": ("mass: 10 kg ± 0.1 kg", "mass: 2 kg"),
    "hardly sinks": ("mass: 10 kg ± 0.1 kg", "mass: 5.05 kg ± 0.1 kg"),
    "one string": ("parallel: 4", "parallel: 1"),
    "empty": ("charge: 96 % ± 2 %", "charge: 1 %"),
    "nothing to spare": ("reserve: 20 %", "reserve: 90 %"),
    "hungry": ("power: 18 W ± 5 %", "power: 1800 W"),
    "frozen deck": ("temperature: 17 degC ± 2 K", "temperature: -35 degC"),
    "no housing": ("  housing: {outer_diameter: 125 mm, length: 480 mm, wall: 8 mm, material: acetal}\n", ""),
    "no air": ("  air: {temperature: 17 degC ± 2 K, sun: yes}\n", ""),
    "no current": ("  current: 0.35 m/s\n", ""),
    "no protection": ("  protection: {trip_current: 15 A, low_cut: 2.8 V}\n", ""),
    "no drag": ("  drag_coefficient: {down: 1.05 ± 15 %, up: 0.95 ± 15 %}\n", ""),
    "a long wait": ("wait: 24 h", "wait: 150 d"),
    "no wait": ("wait: 24 h", "wait: 1 s"),
    "polar": ("latitude: 54.62", "latitude: 88.9"),
    "tight bore": ("bore: 84 mm", "bore: 15 mm"),
    "power bank": (
        "  fuse: 10 A\n",
        "  supplies: {voltage: 12 V, limit: 3 A, efficiency: 85 %, off_below: 60 mA, off_after: 30 s}\n",
    ),
}  # fmt: skip
"""Old and new text, by what becomes of the dive."""


def written(folder: Path, *names: str) -> Path:
    text = (HERE / "shelf-sea-day.yaml").read_text(encoding="utf-8")
    for name in names:
        old, new = EDITS[name]
        assert text.count(old) == 1, name
        text = text.replace(old, new)
    path = folder / "dive.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def words(text: str) -> list[str]:
    return re.findall(r"\b(?:nan|NaN|inf|Infinity|None)\b", text)


def held(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (["check", str(path)], ["check", "--json", str(path)], ["simulate", str(path)]):
        code = main(command)
        said = capsys.readouterr()
        assert code in (0, 1), said.err
        assert not words(said.out)
        if "--json" in command:
            assert json.loads(said.out)["verdict"] in ("go", "no-go")


@pytest.mark.parametrize("name", EDITS)
def test_no_report_of_an_odd_dive_prints_a_number_that_is_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    held(written(tmp_path, name), capsys)


PAIRS = list(combinations(("never rises", "empty", "no housing", "hungry", "power bank", "no wait"), 2))


@pytest.mark.parametrize("pair", PAIRS, ids=" and ".join)
def test_nor_does_that_of_a_dive_odd_in_two_ways(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], pair: tuple[str, str]
) -> None:
    held(written(tmp_path, *pair), capsys)

"""Values that cannot be are refused by `schedgen check` with the bound and the place, never with a traceback."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from golden import HERE, ROOT

DIVE = (HERE / "shelf-sea-day.yaml").read_text(encoding="utf-8")
CELL = (ROOT / "boards" / "cells" / "nmc-18650-3000.yaml").read_text(encoding="utf-8")


def refused(folder: Path, text: str) -> str:
    """What `schedgen check` says of a dive that it must refuse, in a folder of its own."""
    (folder / "dive.yaml").write_text(text, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, "-m", "schedgen", "check", "dive.yaml"]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    return done.stderr


@pytest.mark.parametrize(
    ("old", "new", "bound"),
    [
        ("salinity: 33.6}", "salinity: 350}", "at most 42"),
        ("salinity: 33.6}", "salinity: -1}", "at least 0"),
        ("depth: 82 m ± 3 m", "depth: -5 m", "above 0 m"),
        ("depth: 82 m ± 3 m", "depth: 11200 m", "at most 11000 m"),
        ("{depth: 0 m, ", "{depth: -5 m, ", "at least 0 m"),
        ("density: 7200 kg/m3", "density: 900 kg/m3", "at least 1100 kg/m3"),
        ("temperature: 13.5 degC ± 0.5 K", "temperature: 90 degC", "at most 40 degC"),
        ("mass: 24.0 kg ± 0.1 kg", "mass: -24 kg", "above 0 kg"),
        ("latitude: 54.62", "latitude: 154.62", "at most 90"),
    ],
)
def test_a_value_out_of_its_range_is_refused_with_bound_and_place(
    tmp_path: Path, old: str, new: str, bound: str
) -> None:
    assert DIVE.count(old) == 1
    text = DIVE.replace(old, new)
    line = next(i for i, each in enumerate(text.splitlines(), 1) if new in each)
    said = refused(tmp_path, text)
    assert re.search(rf"^dive\.yaml:{line}:\d+: .*{re.escape(bound)}", said, re.MULTILINE), said
    assert "Expected:" in said
    assert "Next:" in said


def test_water_below_its_freezing_point_is_refused_with_the_point(tmp_path: Path) -> None:
    # salinity 34.7 freezes at -1.90 degC at the surface, a little lower at 85 m (TEOS-10)
    said = refused(tmp_path, DIVE.replace("temperature: 7.9 degC ± 0.5 K", "temperature: -2.4 degC"))
    assert "freezing point" in said
    assert re.search(r"-1\.9\d degC", said)


def test_all_of_them_are_reported_at_once(tmp_path: Path) -> None:
    text = DIVE.replace("salinity: 33.6}", "salinity: 350}").replace("density: 7200 kg/m3", "density: 900 kg/m3")
    said = refused(tmp_path, text)
    assert "2 problems in dive.yaml" in said
    assert said.index("350") < said.index("900 kg/m3")


def test_a_cell_whose_voltage_does_not_rise_with_its_charge_is_refused_at_the_number(tmp_path: Path) -> None:
    assert CELL.count("3.3369, 3.3754") == 1
    turned = CELL.replace("3.3369, 3.3754", "3.3754, 3.3369")
    (tmp_path / "turned.yaml").write_text(turned, encoding="utf-8")
    said = refused(tmp_path, DIVE.replace("cell: nmc-18650-3000", "cell: turned.yaml"))
    line = next(i for i, each in enumerate(turned.splitlines(), 1) if "3.3754, 3.3369" in each)
    assert re.search(rf"^turned\.yaml:{line}:\d+: .*3\.3369 V at 12\.5 % but 3\.3754 V at 10 %", said, re.MULTILINE)
    assert "above 3.3754 V" in said

"""A dive with a flat pack, on a board that draws next to nothing: its optimum is worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from schedgen.load import LoadedDive, load

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "schedgen" / "dive" / "demo.yaml"
DIVES = ROOT / "tests" / "dives"

CELL = """format: 1
cell: flat-5000
chemistry: nmc
size: "21700"
capacity: 5 Ah
nominal: 3.6 V
cut_off: 2.5 V
full: 4.2 V
rated_current: 10 A
rated_temperature: -20 degC .. 60 degC
mass: 69 g
diameter: 21.2 mm
length: 70.4 mm
resistance_spread: 0 %
self_discharge: 1 % .. 3 %
open_circuit:
  source: made flat for a closed form
  charge_percent: [0, 100]
  volts: [3.5999, 3.6001]
resistance:
  source: made small for a closed form
  charge_percent: [0, 100]
  milliohms:
    -20 degC: [0.0002, 0.0002]
    45 degC: [0.0001, 0.0001]
relaxation:
  source: made small for a closed form
  time_constant: 300 s
  charge_percent: [0, 100]
  milliohms:
    -20 degC: [0.0002, 0.0002]
    45 degC: [0.0001, 0.0001]
cold_capacity:
  source: made without loss for a closed form
  rows:
    -20 degC: {nominal: 100 %, pessimistic: 100 %}
    25 degC: {nominal: 100 %, pessimistic: 100 %}
"""

DIVE = """# the whole file is kept, this comment too
format: 1
dive: flat pack
board: board.yaml
start: {trigger: water, planned: 2027-04-19T06:40:00+01:00}
site:
  latitude: 5.0
  longitude: -9.84
  depth: 100 m
  water:
    - {depth: 0 m, temperature: 25 degC, salinity: 35}
    - {depth: 100 m, temperature: 25 degC, salinity: 35}
vehicle:
  mass: 46.0 kg
  volume: 51.5 L
  ballast: {mass: 16 kg, density: 7200 kg/m3}
  frontal_area: 0.16 m2
  drag_coefficient: {down: 1.0, up: 0.9}
  rated_depth: 2000 m
pack:
  cell: cell.yaml
  series: 3
  parallel: 5
  charge: 100 %
  health: 100 %
  reserve: 20 %
loads:
  camera: {wired_to: OUT2, power: 10 W, stop: on power loss}   # 10 W, exactly
  lights: {wired_to: PWM1, power: 20 W}
  beacon: {wired_to: OUT3, power: 1 W}
schedule:
  - {load: camera, from: bottom, until: "bottom + 2 h"}   # to be lengthened
  - {load: lights, from: bottom + 26 h, until: bottom + 28 h, level: 50 %}
  - {load: beacon, from: release, until: end}
release:
  primary:
    kind: hot wire
    at: bottom + 30 h
    wired_to: REL1
    power: 4 W
    measured_at: 10.8 V
    fire: 2 min
    tested: {parts_in: 20 s, salinity: 35, temperature: 25 degC}
  not_before: start + 3 h
  latest: start + 60 h
recovery: {wait: 20 h}
"""


def board_text() -> str:
    """The board `thole-1608` with every load on the pack and next to no draw of its own."""
    text = (ROOT / "boards" / "thole-1608.yaml").read_text(encoding="utf-8")
    for old, new in (
        ("asleep: 10 uA .. 35 uA", "asleep: 0.001 uA"),
        ("awake: 3 mA .. 6 mA", "awake: 0.001 uA"),
        ("rail: five, limit: 500 mA", "rail: pack, limit: 500 mA"),
        ("idle: 40 uA .. 120 uA", "idle: 0.001 uA"),
        ("idle: 2 uA .. 6 uA", "idle: 0.001 uA"),
        ("top: 680 kohm, bottom: 100 kohm", "top: 68 Mohm, bottom: 10 Mohm"),
    ):
        assert old in text, old
        text = text.replace(old, new)
    return text


@pytest.fixture
def flat(tmp_path: Path) -> Callable[..., tuple[LoadedDive, str, Path]]:
    """Write the flat dive with edits into a folder of its own; gives it loaded, its text and its path."""

    def make(*edits: tuple[str, str]) -> tuple[LoadedDive, str, Path]:
        text = DIVE
        for old, new in edits:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        (tmp_path / "board.yaml").write_text(board_text(), encoding="utf-8")
        (tmp_path / "cell.yaml").write_text(CELL, encoding="utf-8")
        path = tmp_path / "dive.yaml"
        path.write_text(text, encoding="utf-8")
        return load(path), text, path

    return make

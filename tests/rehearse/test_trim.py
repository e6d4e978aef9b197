"""The ATmega328P trims its main oscillator by the crystal, as 38 400 bit/s need."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from schedgen.board.load import load_board
from schedgen.firmware.build import build
from schedgen.firmware.rehearse.rehearsal import Build, target_for
from schedgen.firmware.rehearse.scenario import Scenario, plain

PROBE = Path(__file__).with_name("trim_probe.py")
MOST = 0.015
"""Off by more a receiver loses bytes: 2 % in all for 8 bits at double speed (data sheet, from memory), less the 0.2 %
of the divider."""


def test_an_oscillator_off_by_a_tenth_is_brought_within_what_the_line_takes() -> None:
    image = build(load_board("cleat-328p", Path.cwd()))
    target = target_for(
        load_board("cleat-328p", Path.cwd()), Build(image.flash, image.hertz, b"", "", image.fuse_bytes)
    )
    offs = [-0.09, -0.04, 0.0, 0.03, 0.1]
    given = [plain(Scenario("ff" * 1024, "", 3.0, crystal_ppm=off * 1e6)) for off in offs]
    done = subprocess.run(
        [sys.executable, str(PROBE)], input=json.dumps({"target": plain(target), "scenarios": given}),
        capture_output=True, text=True, check=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )  # fmt: skip
    left = json.loads(done.stdout.splitlines()[-1])
    assert left == [pytest.approx(1.0, abs=MOST)] * len(offs)
    assert left[2] == 1.0  # what is right is left alone

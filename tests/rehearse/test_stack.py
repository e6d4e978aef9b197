"""The stack that `compile` tells against how deep it really goes on the simulated part."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from rehearse_dives import DIVES

from schedgen.board.model import Board
from schedgen.firmware.build import build
from schedgen.firmware.rehearse import speech
from schedgen.firmware.rehearse.fault_memory import upload_actions
from schedgen.firmware.rehearse.flight import start_actions
from schedgen.firmware.rehearse.rehearsal import Build, target_for
from schedgen.firmware.rehearse.rig import Rig
from schedgen.firmware.rehearse.scenario import Action, Scenario, plain
from schedgen.firmware.rehearse.target import Hands
from schedgen.load import load
from schedgen.plan.model import Plan
from schedgen.settings.encode import Settings

PROBE = Path(__file__).with_name("stack_probe.py")
HOURS = 3


def talk(plan: Plan, board: Board, settings: Settings) -> list[Action]:
    """An upload, a plain question, and the arming."""
    rig = Rig(plan, board, settings, settings, b"", b"")
    asked: list[Action] = [(15.0, "say", b"?\n".hex()), (16.0, "say", speech.arm(settings.code, 61).hex())]
    return upload_actions(rig, 0, 1) + asked


def scenario(plan: Plan, board: Board, settings: Settings) -> Scenario:
    hands = Hands(board)
    begin, zero = start_actions(plan, board, settings.code, 40.0)
    actions: list[Action] = [
        (0.0, "pin", *hands.pack(3.8 * plan.interlocks.series)),
        *talk(plan, board, settings),
        (20.0, "pin", *hands.lead(False)),
        *begin,
    ]
    noise = [(zero + 60.0 * minute + 0.3, "say", b"?\r".hex()) for minute in range(10, 60)]
    actions = sorted([*actions, *noise], key=lambda one: float(one[0]))
    size = round(board.eeprom.size.nominal)
    return Scenario("ff" * size, "ff" * 64, zero + HOURS * 3600.0, tuple(actions), 3)


@pytest.mark.parametrize("board", DIVES)
def test_the_stack_goes_no_deeper_than_told_and_not_much_less_deep(board: str) -> None:
    loaded = load(DIVES[board])
    settings, image = loaded.settings(), build(loaded.board)
    made = Build(image.flash, image.hertz, b"", settings.code, image.fuse_bytes)
    given = {
        "target": plain(target_for(loaded.board, made)),
        "scenario": plain(scenario(loaded.plan(), loaded.board, settings)),
        "static": image.static_memory,
    }
    done = subprocess.run(
        [sys.executable, str(PROBE)], input=json.dumps(given), capture_output=True, text=True, check=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )  # fmt: skip
    deepest = int(done.stdout.split()[-1])
    # Not every way is walked in one dive, and hardly ever does an interrupt come at the deepest place of all.
    assert 0.7 * image.deepest_stack < deepest <= image.deepest_stack, (deepest, image.deepest_stack)

"""Prints how fast the crystal runs against the processor once the firmware has started, by scenario; a program of its
own, for a crash of the simulator ends its process."""

from __future__ import annotations

import json
import sys

from schedgen.firmware.rehearse.part_crystal import NOMINAL_HZ
from schedgen.firmware.rehearse.player import Player
from schedgen.firmware.rehearse.scenario import Scenario, Target


def left(target: Target, scenario: Scenario) -> float:
    """The crystal's frequency at the end, against its nominal one."""
    player = Player(target, scenario)
    player.advance(scenario.end_s)
    return player.crystal.hertz / NOMINAL_HZ


if __name__ == "__main__":
    given = json.load(sys.stdin)
    given["target"]["outputs"] = {name: tuple(wire) for name, wire in given["target"]["outputs"].items()}
    target = Target(**given["target"])
    print(json.dumps([left(target, Scenario(**one)) for one in given["scenarios"]]))

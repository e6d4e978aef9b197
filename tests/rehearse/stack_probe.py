"""How deep the stack of an image really goes in a dive with talk on the bench lead: run as a program of its own, for a
crash of the simulator ends its process. Prints the bytes."""

from __future__ import annotations

import json
import sys

from schedgen.firmware.rehearse.player import Player
from schedgen.firmware.rehearse.scenario import Scenario, Target

RUN = 48
"""So many bytes that nobody touched, one after the other: there the stack has never been."""


def deepest(target: Target, scenario: Scenario, static: int) -> int:
    """Bytes from the top of memory down to the last one that was written, not counting the `static` ones below."""
    player = Player(target, scenario)
    ram = player.part.device._descriptor_.mem.data_segments["ram"]
    first, last = int(ram[0]), int(ram[1])
    before = bytes(player.part.probe.read_data(first, last - first + 1))
    for action in scenario.actions:
        player.advance(float(action[0]))
        player.do(str(action[1]), *action[2:])
    player.advance(scenario.end_s)
    after = bytes(player.part.probe.read_data(first, last - first + 1))
    assert before != after
    for place in range(len(after) - 1, static - 1, -1):
        if before[place - RUN : place] == after[place - RUN : place]:
            return len(after) - place
    return len(after) - static


if __name__ == "__main__":
    given = json.load(sys.stdin)
    given["target"]["outputs"] = {name: tuple(wire) for name, wire in given["target"]["outputs"].items()}
    print(deepest(Target(**given["target"]), Scenario(**given["scenario"]), given["static"]))

"""What a virtual board does on the bench: a pack that sags under loads, and playing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

from schedgen.link.messages import CHANGE_SIZE, CHUNK, PLAY_SILENCE_S
from schedgen.plan.model import Edge

_NUMBER_TOP = 0xFFFFFFFF
_ROOM = 8
"""Changes that the board keeps until it is asked, as the firmware does."""


@dataclass
class VirtualPack:
    """A pack at the battery sense: one voltage behind one resistance, and a converter with a step and noise.

    `amps` is the current of each output fully on, A at the pack; outputs beyond its end draw nothing. `noise_v` is
    the standard deviation of one reading, `step_v` the converter's step at the pack; a reading is rounded down.
    """

    open_v: float = 12.0
    ohm: float = 0.0
    amps: Sequence[float] = ()
    noise_v: float = 0.0
    step_v: float = 0.001
    random: Random = field(default_factory=lambda: Random(1))

    def reading_mv(self, levels: Sequence[int]) -> int:
        """Return one reading, mV, with the outputs at these levels in percent."""
        current = sum(amps * level / 100 for amps, level in zip(self.amps, levels, strict=False))
        volts = self.open_v - self.ohm * current
        if self.noise_v:
            volts += self.random.gauss(0.0, self.noise_v)
        steps = math.floor(volts / self.step_v + 1e-6)
        return min(max(round(steps * self.step_v * 1000), 0), 0xFFFF)


def many_readings(pack: VirtualPack, levels: Sequence[int], count: int) -> tuple[int, int, int]:
    """First reading, sum, and sum of squared differences from the first, as `measure` answers them."""
    values = [pack.reading_mv(levels) for _ in range(count)]
    squares = sum((value - values[0]) ** 2 for value in values)
    return values[0], sum(values), min(squares, _NUMBER_TOP)


class Player:
    """A dive that is played on the bench: `edges` in order of time until `end_s`, `speed` elapsed seconds a second."""

    def __init__(self, edges: Sequence[Edge], outputs: Sequence[str], end_s: int, speed: int, now_s: float) -> None:
        numbers = {name: index for index, name in enumerate(outputs)}
        self._left = [(edge.at_s, numbers[edge.output], edge.level) for edge in edges if edge.at_s < end_s]
        self._end_s, self._speed, self._begun_s, self._frame_s = end_s, speed, now_s, now_s
        self.levels = [0] * len(outputs)
        self.elapsed = 0
        self.playing = True
        self.lost = 0
        self._happened: list[tuple[int, int, int]] = []

    def frame(self, now_s: float) -> None:
        """Note a valid frame."""
        self._frame_s = now_s

    def go_on(self, now_s: float) -> None:
        """Do what is due by `now_s`."""
        if not self.playing:
            return
        silent_from = self._frame_s + PLAY_SILENCE_S
        self.elapsed = min(self._end_s, int((min(now_s, silent_from) - self._begun_s) * self._speed))
        while self._left and self._left[0][0] <= self.elapsed:
            self._change(*self._left.pop(0))
        if self.elapsed >= self._end_s or now_s >= silent_from:
            self.stop()

    def stop(self) -> None:
        """End it: every output goes to its safe level."""
        self.playing = False
        for output, level in enumerate(self.levels):
            if level:
                self._change(self.elapsed, output, 0)

    def take(self) -> bytes:
        """Return and forget what happened since it was last asked, as many changes as one answer holds."""
        most = CHUNK // CHANGE_SIZE
        taken, self._happened = self._happened[:most], self._happened[most:]
        return b"".join(at.to_bytes(3, "little") + bytes((output, level)) for at, output, level in taken)

    def take_lost(self) -> int:
        """Return and forget how many changes were lost."""
        lost, self.lost = self.lost, 0
        return lost

    def _change(self, at_s: int, output: int, level: int) -> None:
        if self.levels[output] == level:
            return
        self.levels[output] = level
        if len(self._happened) < _ROOM:
            self._happened.append((at_s, output, level))
        else:
            self.lost = min(self.lost + 1, 0xFF)

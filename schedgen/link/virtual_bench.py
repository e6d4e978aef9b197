"""What a virtual board does on the bench: a pack that sags under loads, and playing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

from schedgen.link.messages import PLAY_SILENCE_S
from schedgen.settings.meaning import DecodedDive
from schedgen.settings.schedule import edges


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


class Player:
    """Seconds of a dive that are shown on the bench, until 10 s have passed without another."""

    def __init__(self, dive: DecodedDive) -> None:
        self.end_s = dive.end_s
        self._edges = edges(dive)
        self._outputs = dive.outputs
        self._shown_s: float | None = None
        self.levels = [0] * len(dive.outputs)

    def show(self, second: int, now_s: float) -> None:
        """Bring every output to where it is at an elapsed second."""
        level = dict.fromkeys(self._outputs, 0)
        level |= {edge.output: edge.level for edge in self._edges if edge.at_s <= second}
        self.levels = list(level.values())
        self._shown_s = now_s

    def goes_on(self, now_s: float) -> bool:
        """Whether it has not ended by silence."""
        return self._shown_s is not None and now_s - self._shown_s <= PLAY_SILENCE_S

"""What the simulated board's converter sees where a scenario asks for more than a fixed voltage: noise, a sagging pack.

Pure; it runs inside the worker process.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from schedgen.firmware.rehearse.scenario import Supply
from schedgen.physics.pack import terminal_voltage

INPUT_STEPS = 0.5
"""Noise of one conversion at the input of a 10-bit converter inside a running microcontroller, steps rms (from memory:
data sheets promise an absolute accuracy of 2 steps; half a step of noise is what boards show)."""
REFERENCE_STEPS = 0.3
"""Noise of the internal reference: so many steps rms at full scale, in proportion below (from memory)."""


@dataclass(frozen=True)
class ConverterInput:
    """What a part's converter asks: `volts` at a pin at a cycle of the part (None: what the pin is driven to), and the
    `code` that one conversion of volts against a reference gives, with what stands for the reference itself."""

    volts: Callable[[str, int], float | None]
    code: Callable[[float, float, int], int]


class Noise:
    """Noise of a converter from a seed; 0 where there is no seed."""

    def __init__(self, seed: int | None) -> None:
        self._random = None if seed is None else Random(f"converter {seed}")

    def steps(self, share: float) -> float:
        """Noise of one conversion of a voltage that is this share of the reference, in steps of 10 bits."""
        if self._random is None:
            return 0.0
        return self._random.gauss(0.0, math.hypot(INPUT_STEPS, share * REFERENCE_STEPS))


class SimulatedPack:
    """A pack at rest until outputs go on: resistance at once, relaxation with its time constant.

    It does not empty: it is for minutes on a bench.
    """

    def __init__(self, supply: Supply) -> None:
        self.supply = supply
        self._on: dict[str, tuple[float, float]] = {}
        """By output: level as a share, and since when."""
        self._slow_v, self._slow_at = 0.0, 0.0

    def rest(self, second: float) -> None:
        """Everything off: the power went."""
        self._relax(second)
        self._on.clear()

    def switched(self, second: float, output: str, level: int) -> None:
        """An output goes to a level in percent."""
        self._relax(second)
        if level == 0:
            self._on.pop(output, None)
        else:
            since = self._on[output][1] if output in self._on else second
            self._on[output] = (level / 100, since)

    def volts(self, second: float) -> float:
        """At the terminals, now."""
        self._relax(second)
        return self._terminal(second)

    def _terminal(self, second: float) -> float:
        watt, siemens = 0.0, 0.0
        for output, (share, since) in self._on.items():
            for draw in self.supply.draws.get(output, ()):
                if draw.until_s is None or second - since < draw.until_s:
                    watt, siemens = watt + draw.watt * share, siemens + draw.siemens * share
                    break
        inner = self.supply.open_v - self._slow_v
        return float(terminal_voltage(inner, self.supply.ohm, watt, 0.0, siemens)[0])

    def _relax(self, second: float) -> None:
        """The relaxation branch follows the current since the last change."""
        supply, step = self.supply, second - self._slow_at
        if step <= 0:
            return
        current = (supply.open_v - self._slow_v - self._terminal(second)) / supply.ohm
        kept = math.exp(-step / supply.tau_s)
        self._slow_v = self._slow_v * kept + current * supply.slow_ohm * (1 - kept)
        self._slow_at = second


class Analogue:
    """Noise, and the pack behind the battery sense."""

    def __init__(self, noise: Noise, pack: SimulatedPack | None) -> None:
        self.noise, self.pack = noise, pack

    def volts(self, pin: str, second: float) -> float | None:
        """Volts at a pin; None where it is not the sense of a simulated pack."""
        if self.pack is None or pin != self.pack.supply.pin:
            return None
        return self.pack.volts(second) * self.pack.supply.ratio

    def code(self, volts: float, reference_v: float, full: int = 1024) -> int:
        """What one conversion of 10 bits gives; `full` is what stands for the reference, were it not out of range."""
        share = volts / reference_v
        return max(0, min(1023, math.floor(full * share + self.noise.steps(share))))

"""The uncertain inputs of a dive: each an interval, a cause it shares with others, and the side that is worst.

Inputs with the same cause move together: one draw of the cause sets them all. `Inputs.corner` gives the values of a
case, `Inputs.sample` those of many runs, uniform inside the intervals (bounds are hard).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.files.quantity import Quantity
from schedgen.simulate.results import Floats

Side = Literal["low", "nominal", "high"]
CornerName = Literal["nominal", "energy", "voltage", "heat"]


@dataclass(frozen=True, slots=True)
class Input:
    """One uncertain value. `cold` is its worst side for energy and voltage, `hot` for heat."""

    name: str
    low: float
    nominal: float
    high: float
    cold: Side
    hot: Side
    cause: str

    def at(self, side: Side) -> float:
        """The value at one side."""
        return float(getattr(self, side))


def uncertain(
    name: str, value: Quantity, cold: Side, hot: Side | None = None, cause: str = "", scale: float = 1.0
) -> Input:
    """An Input from a quantity; `hot` is as `cold` where it is not given, the cause is the name."""
    return Input(name, value.low * scale, value.nominal * scale, value.high * scale, cold, hot or cold, cause or name)


def fixed(name: str, value: float) -> Input:
    """An Input that is known exactly."""
    return Input(name, value, value, value, "nominal", "nominal", name)


class Inputs:
    """All inputs of a dive, in a fixed order. A matrix of values is (runs, inputs)."""

    def __init__(self, items: Iterable[Input]) -> None:
        self.items = tuple(items)
        self.index: Mapping[str, int] = {item.name: i for i, item in enumerate(self.items)}
        for item in self.items:
            if not item.low <= item.nominal <= item.high:
                raise OutOfRange(
                    f"{item.name}: the interval must rise, low {item.low:g}, nominal {item.nominal:g}, "
                    f"high {item.high:g}"
                )
        causes = {cause: k for k, cause in enumerate(dict.fromkeys(item.cause for item in self.items))}
        self.causes = tuple(causes)
        self._cause = np.array([causes[item.cause] for item in self.items], dtype=np.intp)
        self._low = np.array([item.low for item in self.items])
        self._high = np.array([item.high for item in self.items])

    def corner(self, name: CornerName) -> Floats:
        """Values (inputs,) of a corner: every input at its worst side for that account."""
        if name == "nominal":
            return np.array([item.nominal for item in self.items])
        if name == "heat":
            return np.array([item.at(item.hot) for item in self.items])
        return np.array([item.at(item.cold) for item in self.items])

    def sample(self, runs: int, seed: int) -> Floats:
        """Values (runs, inputs), uniform inside the intervals, inputs of one cause with one draw; same seed, same
        values."""
        draws = np.random.default_rng(seed).random((runs, len(self.causes)))
        return np.asarray(self._low + draws[:, self._cause] * (self._high - self._low), dtype=np.float64)

    def pick(self, values: Floats, name: str) -> Floats:
        """Column (runs,) of one input."""
        return np.asarray(values[:, self.index[name]], dtype=np.float64)

    def named(self, values: Floats) -> dict[str, float]:
        """The values (inputs,) of one run by name."""
        return {item.name: float(value) for item, value in zip(self.items, values, strict=True)}

"""Quantities as the user writes them: a value with a unit, exact, with a tolerance, a range or a guess.

CONTRACT STUB (owner: files room fills in parsing; attribute names are fixed).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["exact", "tolerance", "range", "guess"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value as an interval in the base unit of its dimension.

    Base units: s, W, V, A, ohm, Ah, Wh, degC, dbar, m, m2, m3, kg, kg/m3, m/s, N, Hz, bit/s, byte,
    a share as a fraction (98 % is 0.98), ppm as a fraction (20 ppm is 2e-5), bare numbers as themselves.
    """

    low: float
    nominal: float
    high: float
    form: Form = "exact"
    text: str = ""

    @property
    def guessed(self) -> bool:
        """True for `about ...`, which counts as +/- 30 %."""
        return self.form == "guess"

"""How heavy a finding is among others of its severity: what it costs, then by how much it is over its bound."""

from __future__ import annotations

LIFE = 100.0
"""It could hurt someone, or the package is lost for certain."""
RETURN = 80.0
"""It may not come back, or not when planned."""
POWER = 60.0
"""The pack may not last."""
FINDING = 50.0
"""It may come up unseen."""
WORK = 40.0
"""The recording may be lost."""
COMFORT = 20.0
"""Worth knowing."""


def weigh(kind: float, excess: float = 0.0) -> float:
    """`kind` plus up to 9.9 for the relative `excess` over the bound (0 at the bound, 1 for twice it)."""
    return kind + min(9.9, 5.0 * max(0.0, excess))

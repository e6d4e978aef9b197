"""Round cells in a round housing: how many fit side by side in one layer.

The smallest circle around n equal circles is known (or best known) for small n. With ratio k(n) = radius of the
large circle over that of a small one, n cells of diameter d with gap s between neighbours fit a bore of
(k - 1) (d + s) + d. Sources: Graham, Lubachevsky, Nurmela, Ostergard 1998, Discrete Math. 181, 139, and the closed
forms of Kravitz 1967, Math. Mag. 40, 65, and Pirl 1969, Math. Nachr. 40, 111. Values from memory; proven optimal for n
up to 13 and for 19.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from schedgen.errors import OutOfRange

MOST_EXACT = 19
MOST_CELLS = 400

_SQRT2, _SQRT3, _SQRT5 = math.sqrt(2.0), math.sqrt(3.0), math.sqrt(5.0)
RATIOS: tuple[float, ...] = (
    1.0,
    2.0,
    1.0 + 2.0 / _SQRT3,
    1.0 + _SQRT2,
    1.0 + math.sqrt(2.0 * (1.0 + 1.0 / _SQRT5)),
    3.0,
    3.0,
    1.0 + 1.0 / math.sin(math.pi / 7.0),
    1.0 + math.sqrt(2.0 * (2.0 + _SQRT2)),
    3.8130256,
    1.0 + 1.0 / math.sin(math.pi / 9.0),
    4.0296019,
    2.0 + _SQRT5,
    4.3284286,
    1.0 + math.sqrt(6.0 + 2.0 / _SQRT5 + 4.0 * math.sqrt(1.0 + 2.0 / _SQRT5)),
    4.6154256,
    4.7920338,
    1.0 + _SQRT2 + math.sqrt(6.0),
    1.0 + _SQRT2 + math.sqrt(6.0),
)
"""Radius of the enclosing circle over that of n equal circles, n from 1 to 19 [1]."""


def enclosing_ratio(cells: int) -> float:
    """Radius of the smallest known circle around `cells` equal circles, over their radius [1].

    Exact or best known for 1 to 19. Above, up to 400, what the best of the hexagonal arrangements needs: those many
    certainly fit, though a cleverer arrangement might need less. Source: see the module. Raises
    `OutOfRange`.

    >>> round(enclosing_ratio(7), 6), round(enclosing_ratio(19), 4)
    (3.0, 4.8637)
    """
    if not 1 <= cells <= MOST_CELLS:
        raise OutOfRange(f"{cells} cells: the packing answers for 1 to {MOST_CELLS}")
    if cells <= MOST_EXACT:
        return RATIOS[cells - 1]
    return min(_hexagonal(cells, x, y) for x, y in ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0 / _SQRT3)))


def _hexagonal(cells: int, x: float, y: float) -> float:
    """Ratio for the `cells` nearest to (x, y) of a hexagonal lattice of unit circles."""
    reach = math.ceil(math.sqrt(cells)) + 3
    distances = sorted(
        math.hypot(2.0 * column + row - x, _SQRT3 * row - y)
        for row in range(-reach, reach + 1)
        for column in range(-2 * reach, 2 * reach + 1)
    )
    return 1.0 + distances[cells - 1]


def density(cells: int) -> float:
    """Share of the enclosing circle's area that the cells cover: n / k^2 [share]. Source: areas. Raises `OutOfRange`.

    >>> round(density(7), 4)
    0.7778
    """
    return float(cells / enclosing_ratio(cells) ** 2)


def bore_needed(cells: int, diameter_m: float, spacing_m: float = 0.0) -> float:
    """Least bore for `cells` of `diameter_m` [m] in one layer, `spacing_m` [m] apart: (k - 1)(d + s) + d [m].

    The spacing is between neighbours; the outer ones touch the bore. Source: the ratio's definition.
    Raises `OutOfRange`.

    >>> round(bore_needed(7, 0.0212, 0.001), 4)
    0.0656
    """
    if diameter_m <= 0.0 or spacing_m < 0.0:
        raise OutOfRange(f"diameter must be above 0 m and spacing at least 0 m, not {diameter_m:g} and {spacing_m:g} m")
    return (enclosing_ratio(cells) - 1.0) * (diameter_m + spacing_m) + diameter_m


def fits(cells: int, diameter_m: float, spacing_m: float, bore_m: float) -> bool:
    """Whether `cells` fit the bore in one layer. Source: `bore_needed`. Raises `OutOfRange`.

    >>> fits(7, 0.0212, 0.001, 0.068), fits(8, 0.0212, 0.001, 0.068)
    (True, False)
    """
    return bore_needed(cells, diameter_m, spacing_m) <= bore_m + 1e-9


def most_in_bore(diameter_m: float, spacing_m: float, bore_m: float) -> int:
    """The largest number of cells that fit the bore in one layer, up to 400; 0 when not even one does.

    Source: `bore_needed`.

    >>> most_in_bore(0.0212, 0.001, 0.068)
    7
    """
    best = 0
    for cells in range(1, MOST_CELLS + 1):
        if fits(cells, diameter_m, spacing_m, bore_m):
            best = cells
        elif cells > MOST_EXACT:
            break
    return best


def least_parallel(passes: Callable[[int], bool], most: int = 40) -> int | None:
    """The least parallel count from 1 to `most` for which `passes` is true; None when none is.

    Bisection: `passes` must stay true once it is (more cells never make it worse). Source: bisection.

    >>> least_parallel(lambda parallel: parallel * 3.0 >= 17.0)
    6
    """
    if not passes(most):
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if passes(middle) else (middle, high)
    return high

"""Cells in a bore."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.physics import packing


def test_ratios_never_fall_and_densities_are_possible() -> None:
    ratios = [packing.enclosing_ratio(cells) for cells in range(1, 61)]
    assert ratios == sorted(ratios)
    assert all(packing.density(cells) <= math.pi / math.sqrt(12) for cells in range(2, 61))  # Thue's bound in the plane


def test_spacing_by_hand() -> None:
    # 7 cells of 21.2 mm, 1 mm apart: two pitches of 22.2 mm and a diameter
    assert packing.bore_needed(7, 21.2e-3, 1e-3) == pytest.approx(65.6e-3)


@settings(deadline=None, max_examples=60)
@given(st.integers(1, 60), st.floats(0.01, 0.04), st.floats(0.0, 0.005))
def test_as_many_fit_as_the_bore_was_made_for(cells: int, diameter: float, spacing: float) -> None:
    bore = packing.bore_needed(cells, diameter, spacing)
    assert packing.fits(cells, diameter, spacing, bore)
    assert packing.most_in_bore(diameter, spacing, bore) >= cells
    assert cells == 1 or not packing.fits(cells, diameter, spacing, bore * 0.999)


def test_not_even_one() -> None:
    assert packing.most_in_bore(0.02, 0.0, 0.01) == 0


@pytest.mark.parametrize(
    ("cells", "diameter", "spacing"), [(0, 0.02, 0.0), (401, 0.02, 0.0), (3, 0.0, 0.0), (3, 0.02, -1.0)]
)
def test_bounds(cells: int, diameter: float, spacing: float) -> None:
    with pytest.raises(OutOfRange):
        packing.bore_needed(cells, diameter, spacing)


def test_least_parallel_counts() -> None:
    assert packing.least_parallel(lambda parallel: parallel >= 13) == 13
    assert packing.least_parallel(lambda parallel: True) == 1
    assert packing.least_parallel(lambda parallel: False) is None

"""Water that does not exist is refused with the bound; pressure and depth are each other's inverse."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.physics import seawater

SHELF = (57.31, -9.84)


def test_salinity_of_350_is_refused_with_the_bound() -> None:
    with pytest.raises(OutOfRange, match=r"salinity is 350; it must lie in 0 \.\. 42"):
        seawater.density(350.0, 10.0, 0.0, *SHELF)


def test_depth_above_the_surface_is_refused_with_the_bound() -> None:
    with pytest.raises(OutOfRange, match=r"depth is -5 m; it must lie in 0 \.\. 11000 m"):
        seawater.pressure(-5.0, 57.0)


@pytest.mark.parametrize(
    ("salinity", "temperature", "pressure", "words"),
    [
        (35.0, -4.0, 0.0, r"must be at least the freezing point -1\.92 degC"),
        (0.0, -1.0, 0.0, "must be at least the freezing point 0"),
        (35.0, 55.0, 0.0, r"temperature is 55 degC; it must lie in -5 \.\. 40 degC"),
        (35.0, 25.0, 6000.0, "range of ocean waters"),
        (10.0, 4.0, 6000.0, "range of ocean waters"),
        (35.0, 4.0, 12_000.0, r"pressure is 12000 dbar; it must lie in 0 \.\. 11500 dbar"),
        (float("nan"), 4.0, 0.0, "salinity is nan"),
        (35.0, float("nan"), 0.0, "temperature is nan"),
    ],
)
def test_water_that_does_not_exist_is_refused(salinity: float, temperature: float, pressure: float, words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        seawater.density(salinity, temperature, pressure, *SHELF)


@pytest.mark.parametrize(
    ("salinity", "temperature", "pressure"),
    [
        (0.0, 0.0, 0.0),  # melting lake
        (0.0, 4.0, 1650.0),  # the deepest lake
        (5.0, 12.0, 400.0),  # brackish fjord
        (38.6, 13.9, 5200.0),  # Mediterranean abyss
        (40.5, 21.7, 2200.0),  # Red Sea
        (34.7, 2.5, 11_200.0),  # deepest trench
        (34.5, -1.9, 0.0),  # under ice
    ],
)
def test_waters_of_this_world_are_accepted(salinity: float, temperature: float, pressure: float) -> None:
    """Temperatures and salinities from memory of the places named."""
    assert 990.0 < float(seawater.density(salinity, temperature, pressure, *SHELF)) < 1080.0


def test_one_bad_value_in_an_array_is_named() -> None:
    with pytest.raises(OutOfRange, match="salinity is 43;"):
        seawater.density(np.array([35.0, 43.0]), 10.0, 0.0, *SHELF)


def test_positions_off_the_globe_are_refused() -> None:
    with pytest.raises(OutOfRange, match=r"latitude is 91 degrees; it must lie in -90 \.\. 90"):
        seawater.pressure(100.0, 91.0)
    with pytest.raises(OutOfRange, match="longitude is -200"):
        seawater.density(35.0, 10.0, 0.0, 0.0, -200.0)
    with pytest.raises(OutOfRange, match="no ocean in the salinity atlas"):
        seawater.density(35.0, 0.0, 0.0, -89.0, 10.0)


@settings(deadline=None, max_examples=200)
@given(st.floats(0, 10_900), st.floats(-90, 90))
def test_depth_and_pressure_are_each_others_inverse(depth: float, latitude: float) -> None:
    assert float(seawater.depth(seawater.pressure(depth, latitude), latitude)) == pytest.approx(depth, abs=1e-6)


@settings(deadline=None, max_examples=100)
@given(st.floats(0, 41), st.floats(0, 30), st.floats(0, 499))
def test_saltier_and_deeper_is_denser(salinity: float, temperature: float, pressure: float) -> None:
    here = float(seawater.density(salinity, temperature, pressure, *SHELF))
    assert float(seawater.density(salinity + 1, temperature, pressure, *SHELF)) > here
    assert float(seawater.density(salinity, temperature, pressure + 0.5, *SHELF)) > here

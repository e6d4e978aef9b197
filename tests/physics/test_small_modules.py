"""Storage, light and drag: edges and refusals beside the published values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.physics import bounds, drag, light, storage


@given(st.floats(1e5, 4e8), st.floats(1, 1e6))
def test_time_that_was_recorded_fits_what_was_written(bitrate: float, seconds: float) -> None:
    assert storage.recording_time(storage.written(bitrate, seconds), bitrate) == pytest.approx(seconds)


@given(st.floats(1e6, 2e8), st.floats(1, 1e5))
def test_files_hold_what_is_written(bitrate: float, seconds: float) -> None:
    count = storage.files(seconds, bitrate)
    assert (count - 1) * storage.LARGEST_FILE < storage.written(bitrate, seconds) <= count * storage.LARGEST_FILE


def test_a_file_of_four_gibibytes_is_one_byte_too_long() -> None:
    """2^25 bit/s for 1024 s are 2^32 bytes."""
    assert storage.written(2.0**25, 1024.0) == 2.0**32
    assert storage.files(1024.0, 2.0**25) == 2


def test_nothing_recorded_makes_no_file() -> None:
    assert storage.files(0.0, 25e6) == 0


@given(st.floats(0.01, 1e4), st.floats(0.3, 0.95))
def test_range_gives_the_threshold_back(intensity: float, clear: float) -> None:
    try:
        found = light.visible_range(intensity, clear)
    except OutOfRange:
        assert float(light.intensity_for(light.LARGEST_NM, clear)) < intensity
        return
    assert float(light.intensity_for(found, clear)) == pytest.approx(intensity, rel=1e-6)


def test_haze_shortens_the_range() -> None:
    assert light.visible_range(10.0, 0.5) < light.visible_range(10.0, 0.8)


@pytest.mark.parametrize(("every", "like"), [(1.0, True), (60 / 50, True), (60 / 70, True), (2.0, False), (0.5, False)])
def test_flash_of_a_distress_light(every: float, like: bool) -> None:
    assert light.like_distress(every) is like


def test_sphere_speed_up_and_down() -> None:
    assert drag.sphere_speed(0.02, 500.0, 1027.8, 0.00167) < 0
    assert drag.sphere_speed(0.02, 2500.0, 1027.8, 0.00167) > 0


def test_drag_of_a_sphere_has_no_jump() -> None:
    numbers = np.geomspace(0.1, 1e6, 4000)
    steps = np.abs(np.diff(np.log(np.asarray(drag.sphere(numbers)))))
    assert steps.max() < 0.03


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: storage.written(-1.0, 10.0), "bitrate is -1 bit/s"),
        (lambda: storage.recording_time(1e9, 0.0), "bitrate is 0 bit/s; it must be above 0"),
        (lambda: storage.full_share(1.0, 0.0), "card is 0 byte"),
        (lambda: storage.card_keeps_up(1e6, 0.0), "card speed is 0 byte/s"),
        (lambda: light.visible_range(0.0), r"intensity is 0 cd; it must lie in 0\.001 \.\. 1e\+06 cd"),
        (lambda: light.transmissivity(0.0), "visibility is 0 nm"),
        (lambda: light.flash_rate(0.0), "time between flashes is 0 s"),
        (lambda: light.effective_intensity(10.0, 0.0), "flash is 0 s"),
        (lambda: drag.sphere(1e7), r"Reynolds number is 1e\+07"),
        (lambda: drag.cylinder_along(9.0), r"length over diameter is 9; it must lie in 0 \.\. 8"),
        (lambda: drag.cylinder_across(0.5), "length over diameter is 0.5; it must be at least 1"),
        (lambda: drag.sphere_speed(2.0, 2500.0, 1027.8, 0.00167), r"Cd Re\^2"),
    ],
)
def test_nonsense_is_refused_with_the_bound(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange, match=words):
        call()


def test_bounds_name_value_unit_reason_and_next_step() -> None:
    with pytest.raises(OutOfRange) as caught:
        bounds.within("depth", np.array([1.0, -5.0]), 0, 10, "m", "positive down", "Turn the sign round.")
    assert caught.value.message == "depth is -5 m; it must lie in 0 .. 10 m (positive down)"
    assert caught.value.next_step == "Turn the sign round."
    with pytest.raises(OutOfRange, match="it must be at most 3 m"):
        bounds.within("depth", 4.0, -np.inf, 3.0, "m")
    with pytest.raises(OutOfRange, match="depth is nan m"):
        bounds.within("depth", float("nan"), 0.0, 3.0, "m")

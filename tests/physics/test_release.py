"""How long a release needs: from the charge, from a test, and with tries and pauses."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.physics import release
from schedgen.physics.release import Drive, SiteWater, Trial, Wire

WIRE = Wire("steel", 0.6e-3, 4e-3)
SEA = SiteWater((34.9, 34.95, 35.0), (3.9, 4.1, 4.3), 1530.0)
DRIVE = Drive(4.0, 11.1, (9.6, 10.5, 11.4))


def test_by_hand_at_the_measured_voltage_in_standard_water() -> None:
    """8.878 mg of steel are 30.68 C; at 4 W / 11.1 V = 0.3604 A that is 85.1 s with nothing lost and no necking."""
    charge = float(release.wire_charge("steel", 0.6e-3, 4e-3))
    assert charge == pytest.approx(30.68, abs=0.01)
    assert float(release.dissolving_time(charge, 4 / 11.1)) == pytest.approx(85.1, abs=0.1)


def test_cold_water_makes_a_wire_slow() -> None:
    warm = SiteWater((35.0, 35.0, 35.0), (15.0, 15.0, 15.0))
    assert release.wire_time_by_charge(WIRE, DRIVE, SEA)[2] > release.wire_time_by_charge(WIRE, DRIVE, warm)[2]
    # 4 degC conducts 0.76 of 15 degC (PSS-78: 3.25 and 4.29 S/m; the first from memory)
    assert float(release.conductivity(35.0, 4.0)) / float(release.conductivity(35.0, 15.0)) == pytest.approx(
        0.76, abs=0.01
    )


def test_a_test_in_the_same_water_at_the_same_voltage_keeps_its_span() -> None:
    trial = Trial((200.0, 240.0, 280.0), 35.0, 4.0)
    same = SiteWater((35.0, 35.0, 35.0), (4.0, 4.0, 4.0))
    span = release.wire_time_by_test(trial, Drive(4.0, 11.1, (11.1, 11.1, 11.1)), same)
    assert span == pytest.approx((200.0, 240.0, 280.0))


def test_a_single_measured_time_gets_the_usual_scatter() -> None:
    same = SiteWater((35.0, 35.0, 35.0), (4.0, 4.0, 4.0))
    span = release.wire_time_by_test(Trial((240.0,) * 3, 35.0, 4.0), Drive(4.0, 11.1, (11.1,) * 3), same)
    assert span == pytest.approx((192.0, 240.0, 288.0))


@settings(deadline=None)
@given(st.floats(10, 40), st.floats(-1, 30), st.floats(8, 13), st.floats(5, 40), st.floats(0, 30))
def test_spans_are_in_order_and_hold_the_test(
    salinity: float, temperature: float, volt: float, tested_in: float, tested_at: float
) -> None:
    water = SiteWater((salinity * 0.99, salinity, salinity), (temperature, temperature, temperature + 1))
    drive = Drive(4.0, 11.1, (volt * 0.9, volt, volt * 1.1))
    low, nominal, high = release.wire_time_by_test(Trial((240.0,) * 3, tested_in, tested_at), drive, water)
    assert 0 < low <= nominal * 1.0001
    assert nominal <= high * 1.0001
    assert low <= 240.0 <= high
    charged = release.wire_time_by_charge(WIRE, drive, water)
    assert charged[0] < charged[1] < charged[2]


def test_fresh_water_parts_no_wire() -> None:
    lake = SiteWater((0.1, 0.2, 0.3), (4.0, 5.0, 6.0))
    for call in (
        lambda: release.wire_time_by_charge(WIRE, DRIVE, lake),
        lambda: release.wire_time_by_test(Trial((240.0,) * 3, 35.0, 12.0), DRIVE, lake),
        lambda: release.parting_time("burn wire", DRIVE, lake, 480.0),
    ):
        with pytest.raises(
            OutOfRange, match=r"salinity is 0\.1; it must lie in 5 \.\. 42 \(a bare wire needs salt water"
        ):
            call()


def test_hot_wires_work_in_fresh_water() -> None:
    lake = SiteWater((0.0, 0.0, 0.0), (4.0, 5.0, 6.0))
    span, known = release.parting_time("hot wire", DRIVE, lake, 30.0, trial=Trial((6.0,) * 3, 0.0, 5.0))
    assert known == "tested"
    assert span[2] == pytest.approx(6.0 * 1.2 * (11.1 / 9.6) ** 2)


def test_what_is_not_known_is_called_assumed() -> None:
    assert release.parting_time("motor", DRIVE, SEA, 30.0) == ((0.0, 15.0, 30.0), "assumed")
    assert release.parting_time("burn wire", DRIVE, SEA, 480.0)[1] == "assumed"
    assert release.parting_time("burn wire", DRIVE, SEA, 480.0, wire=WIRE)[1] == "faraday"
    assert (
        release.parting_time("burn wire", DRIVE, SEA, 480.0, wire=WIRE, trial=Trial((240.0,) * 3, 35.0, 12.0))[1]
        == "tested"
    )


def test_a_dissolving_link_has_no_powered_time() -> None:
    with pytest.raises(OutOfRange, match="not powered"):
        release.parting_time("dissolving link", DRIVE, SEA, 30.0)


def test_power_of_a_wire_falls_with_the_square_of_the_voltage() -> None:
    assert float(release.resistive_power(4.0, 12.0, 6.0)) == pytest.approx(1.0)


@given(st.floats(0.1, 5000), st.floats(1, 900), st.floats(0, 900), st.integers(1, 20))
def test_elapsed_counts_whole_pauses(powered: float, fire: float, pause: float, tries: int) -> None:
    elapsed = release.elapsed_at(powered, fire, pause, tries)
    if elapsed is None:
        assert powered > fire * tries
        return
    # walk through the tries, one after the other
    left, clock = powered, 0.0
    for _ in range(tries):
        if left <= fire:
            clock += left
            break
        left -= fire
        clock += fire + pause
    assert elapsed == pytest.approx(clock)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: release.metal("gold"), "the metal 'gold' is not known; known are iron"),
        (lambda: release.wire_charge("iron", 0.5, 5e-3), r"wire diameter is 500 mm; it must lie in 0\.02 \.\. 5 mm"),
        (lambda: release.wire_charge("iron", 0.5e-3, 5.0), "exposed wire is 5000 mm"),
        (lambda: release.dissolving_time(26.7, 0.0), "current is 0 A; it must be above 0 A"),
        (lambda: release.dissolving_time(26.7, 0.1, 1.2), "current efficiency is 1.2"),
        (lambda: release.conductivity(350.0, 4.0), r"salinity is 350; it must lie in 0 \.\. 42"),
        (
            lambda: release.wire_time_by_test(Trial((240.0,) * 3, 0.0, 12.0), DRIVE, SEA),
            r"salinity of the test is 0; it must lie in 5 \.\. 42",
        ),
        (lambda: release.powered_time_by_test("motor", (0.0,) * 3, DRIVE), "time of the test is 0 s"),
        (lambda: release.powered_time_by_test("motor", (5.0,) * 3, Drive(4.0, 11.1, (0.0, 9.0, 11.0))), "voltage is 0"),
    ],
)
def test_nonsense_is_refused_with_the_bound(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange, match=words):
        call()


def test_charge_takes_arrays() -> None:
    charges = release.wire_charge("copper", np.array([0.5e-3, 1e-3]), 5e-3)
    assert charges[1] == pytest.approx(4 * charges[0])

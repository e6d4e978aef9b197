"""Serial lines against published values: time a byte takes, how far two clocks may differ, baud dividers.

The project has no baud function of its own in Python (the firmware's dividers are C); the entries check the formulas
of the data sheet, which then judge the rates in our board files.
"""

import math

import pytest
from published import Entry, chosen, entry, ids

from schedgen.board.load import load_board

RATES = chosen("uart.bps_")
TOLERANCES = chosen("uart.tol_")
DIVIDERS = chosen("uart.ubrr_")
COVERS = [*ids(RATES + TOLERANCES + DIVIDERS), "uart.8E2_115200", "uart.ihex_32KiB_57600", "uart.sum_ok"]
FRAME_BITS = 10
"""Start, eight data, stop."""


def bytes_a_second(baud: float, bits: int = FRAME_BITS) -> float:
    return baud / bits


def slowest_and_fastest(data_bits: int, samples: int) -> tuple[float, float]:
    """Slowest and fastest sender that a receiver still reads, % of its own rate (AVR data sheets)."""
    first, middle = (8, 9) if samples == 16 else (4, 5)
    slow = (data_bits + 1) * samples / (samples - 1 + data_bits * samples + first)
    fast = (data_bits + 2) * samples / ((data_bits + 1) * samples + middle)
    return slow * 100, fast * 100


def divider(clock_hz: float, baud: float, samples: int) -> tuple[int, float]:
    """UBRR, and how far the rate it gives is off, %."""
    ubrr = math.floor(clock_hz / (samples * baud) - 1 + 0.5)
    return ubrr, (clock_hz / (samples * (ubrr + 1)) / baud - 1) * 100


@pytest.mark.parametrize("published", RATES, ids=ids(RATES))
def test_rate(published: Entry) -> None:
    rate = bytes_a_second(published.inputs["baud"])
    published.holds(rate, "bytes_per_s")
    published.holds(1e6 / rate, "byte_time_us")
    published.holds(32768 / rate, "s_per_32KiB")
    published.holds(1e6 / rate, "s_per_MB")


def test_rate_with_parity_and_two_stop_bits() -> None:
    entry("uart.8E2_115200").holds(bytes_a_second(115200, 12))


def test_time_of_a_hex_file() -> None:
    entry("uart.ihex_32KiB_57600").holds(32768 / 16 * 45 / bytes_a_second(57600))


@pytest.mark.parametrize("published", TOLERANCES, ids=ids(TOLERANCES))
def test_how_far_two_clocks_may_differ(published: Entry) -> None:
    slow, fast = slowest_and_fastest(published.inputs["D_data_plus_parity"], published.inputs["oversampling"])
    published.holds(slow, "Rslow_pct")
    published.holds(fast, "Rfast_pct")


@pytest.mark.parametrize("published", DIVIDERS, ids=ids(DIVIDERS))
def test_divider(published: Entry) -> None:
    values = published.inputs
    ubrr, off = divider(values["f_clk_Hz"], values["baud"], values["samples"])
    assert ubrr == published.expected["UBRR"]
    published.holds(off, "error_pct")


def test_sum_of_errors() -> None:
    published = entry("uart.sum_ok")
    total = sum(published.inputs.values())
    published.holds(total, "sum_pct")
    assert (total <= 4.5) is published.expected["inside_4.5_total"]
    assert (max(published.inputs.values()) <= 2) is published.expected["inside_2_each"]


def test_the_boards_rates_can_be_read() -> None:
    """38 400 baud from the 8 MHz oscillator of the 328P board, in double speed as all its dividers are: the divider's
    own error is small against the 1.5 % that the data sheet recommends; 115 200 would not be."""
    recommended = entry("uart.tol_8x_D8").expected["recommended_pct"]
    baud = load_board("cleat-328p").serial.baud
    assert abs(divider(8e6, baud, 8)[1]) < recommended / 4
    assert abs(divider(8e6, 115200, 8)[1]) > recommended

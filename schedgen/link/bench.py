"""What is done to a board on the bench: measure the pack, pulse an output, play a dive.

Each function takes a `Client` that has said hello. They raise `LinkError` and its kinds.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from schedgen.errors import OutOfRange
from schedgen.link.client import Client
from schedgen.link.holdings import calibration_in
from schedgen.link.messages import NO_CODE, PLAY_STOP_S, PULSE_STEPS_A_S
from schedgen.link.ports import Port

LATE_S = 1.0
"""A play that is behind its time by more than this goes on from there instead of catching up."""


@dataclass(frozen=True, slots=True)
class Average:
    """The mean of `count` readings of the pack, V, and the standard deviation of one of them, V."""

    mean_v: float
    spread_v: float
    count: int


@dataclass(frozen=True, slots=True)
class Shown:
    """One elapsed second that the board was shown at: the level of each output, percent, a flash pattern as on.

    Of a release output it stands for the status light. `before_v` is the pack with what the second shown before had on.
    """

    at_s: int
    before_v: float
    levels: tuple[int, ...]


def measure(client: Client, readings: int = 256) -> Average:
    """Read the pack voltage at least `readings` times and return mean and spread. Raises `OutOfRange` below 2."""
    if readings < 2:
        raise OutOfRange(f"a mean with its spread needs at least 2 readings, not {readings}")
    told: list[int] = []
    factor = calibration_in(client.read_area("row"))
    while len(told) < readings:
        raw = client.request("measure").data("readings")
        told += [int.from_bytes(raw[at : at + 2], "little") for at in range(0, len(raw), 2)]
    return Average(statistics.fmean(told) * factor / 1000, statistics.stdev(told) * factor / 1000, len(told))


def pulse(client: Client, output: int, duration_s: float, level: int = 100, code: int = NO_CODE) -> None:
    """Switch an output on, for a time rounded up to 1/64 s, at a level in percent; a release needs the dive code."""
    client.request("pulse", output=output, steps=math.ceil(duration_s * PULSE_STEPS_A_S), level=level, code=code)


def switch_off(client: Client, output: int) -> None:
    """End a pulse at once."""
    client.request("pulse", output=output, steps=0, level=0, code=NO_CODE)


def wait(port: Port, seconds: float) -> None:
    """Let time pass on the port's clock; what the board says meanwhile is dropped."""
    until = port.now() + seconds
    while port.now() < until:
        port.read(until)


def show(client: Client, code: int, second: int) -> Shown:
    """Let the board show one elapsed second of its dive with this code; at or after `end` that ends the showing."""
    values = client.request("play", elapsed=second, code=code)
    return Shown(second, values.number("pack_mv") / 1000, tuple(values.data("levels")))


def play(client: Client, code: int, seconds: Sequence[int], speed: float) -> Iterator[Shown]:
    """Show `seconds`, which rise, one after the other, `speed` elapsed seconds a second or slower."""
    port = client.port
    due = port.now()
    for before, second in pairwise((seconds[0], *seconds)):
        due = max(due, port.now() - LATE_S) + (second - before) / speed
        wait(port, due - port.now())
        yield show(client, code, second)


def stop_playing(client: Client) -> None:
    """End what is shown; every output goes to its safe level."""
    client.request("play", elapsed=PLAY_STOP_S, code=NO_CODE)

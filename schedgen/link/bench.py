"""What is done to a board on the bench: measure the pack, pulse an output, play a dive.

Each function takes a `Client` that has said hello. They raise `LinkError` and its kinds.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from schedgen.errors import OutOfRange
from schedgen.link.client import Client
from schedgen.link.messages import (
    CHANGE_SIZE,
    NO_CODE,
    READINGS_MOST,
    SPEED_MOST,
)
from schedgen.link.ports import Port


@dataclass(frozen=True, slots=True)
class Average:
    """The mean of `count` readings of the pack, V, and the standard deviation of one of them, V."""

    mean_v: float
    spread_v: float
    count: int


@dataclass(frozen=True, slots=True)
class Change:
    """Something that a played dive did: at `at_s` elapsed, output number, level in percent."""

    at_s: int
    output: int
    level: int


@dataclass(frozen=True, slots=True)
class Played:
    """How far a played dive is: elapsed seconds, whether it goes on, pack V, changes since last time, changes lost."""

    elapsed_s: int
    playing: bool
    pack_v: float
    changes: tuple[Change, ...]
    lost: int


def measure(client: Client, readings: int = READINGS_MOST) -> Average:
    """Read the pack voltage at least `readings` times and return mean and spread. Raises `OutOfRange` below 2."""
    if readings < 2:
        raise OutOfRange(f"a mean with its spread needs at least 2 readings, not {readings}")
    total = squares = origin = count = 0
    while count < readings:
        values = client.request("measure", readings=min(READINGS_MOST, max(2, readings - count)))
        many, first = values.number("readings"), values.number("first_mv")
        if not count:
            origin = first
        shift = first - origin  # squares about this answer's first reading become squares about the very first one
        about = values.number("sum_mv") - many * first
        squares += values.number("squares") + 2 * shift * about + many * shift * shift
        total += values.number("sum_mv")
        count += many
    off = total - count * origin
    variance = max(0.0, (squares - off * off / count) / (count - 1))
    return Average(total / count / 1000, math.sqrt(variance) / 1000, count)


def pulse(client: Client, output: int, duration_s: float, level: int = 100, code: int = NO_CODE) -> None:
    """Switch an output on for a time, at a level in percent; a release also needs the dive code as a number."""
    client.request("pulse", output=output, duration_ms=round(duration_s * 1000), level=level, code=code)


def switch_off(client: Client, output: int) -> None:
    """End a pulse at once."""
    client.request("pulse", output=output, duration_ms=0, level=0, code=NO_CODE)


def wait(port: Port, seconds: float) -> None:
    """Let time pass on the port's clock; what the board says meanwhile is dropped."""
    until = port.now() + seconds
    while port.now() < until:
        port.read(until)


def begin_playing(client: Client, code: int, speed: int) -> None:
    """Let the board play its dive with this code, `speed` elapsed seconds a second, 1 to 3600. Raises `OutOfRange`."""
    if not 1 <= speed <= SPEED_MOST:
        raise OutOfRange(f"a dive is played at 1 to {SPEED_MOST} times its speed, not {speed}")
    client.request("play", code=code, speed=speed)


def stop_playing(client: Client) -> None:
    """End what is played; every output goes to its safe level."""
    client.request("play", code=NO_CODE, speed=0)


def playing(client: Client, every_s: float = 0.1) -> Iterator[Played]:
    """Ask the board every so often how far it is, until it has ended and told everything."""
    while True:
        values = client.request("follow")
        raw = values.data()
        changes = tuple(
            Change(int.from_bytes(raw[at : at + 3], "little"), raw[at + 3], raw[at + 4])
            for at in range(0, len(raw) - CHANGE_SIZE + 1, CHANGE_SIZE)
        )
        goes_on = bool(values.number("playing"))
        yield Played(values.number("elapsed"), goes_on, values.number("pack_mv") / 1000, changes, values.number("lost"))
        if not changes:
            if not goes_on:
                return
            wait(client.port, every_s)

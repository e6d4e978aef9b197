"""One output tried on the bench: the pack measured before a pulse, during it and after it."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.link.bench import Average, measure, pulse, switch_off, wait
from schedgen.link.client import Client
from schedgen.link.messages import NO_CODE

SETTLES_S = 0.1
"""After switching, before measuring: converters have started by then (common practice, no source)."""

SLOWER, SPARE_S = 1.3, 0.15
"""A measurement may take so much longer than the last one, and so much more, and still be over within the pulse."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What was measured. `measured_from_s` after switching on it was begun during the pulse; `in_time` is False where
    the pulse had ended before that was over."""

    level: int
    seconds: float
    before: Average
    during: Average
    after: Average
    measured_from_s: float
    in_time: bool


def try_output(client: Client, output: int, level: int, seconds: float, readings: int, code: int = NO_CODE) -> Trial:
    """Pulse an output for `seconds` and measure: before, in the last part of the pulse, after.

    A release needs the dive code. How long a measurement takes is known from the one before. Raises `LinkError`; the
    board itself ends the pulse where the line fails.
    """
    asked = client.port.now()
    before = measure(client, readings)
    begun = client.port.now()
    needed = (begun - asked) * SLOWER + SPARE_S
    pulse(client, output, seconds, level, code)
    wait(client.port, max(min(SETTLES_S, seconds / 3), seconds - needed))
    measured_from = client.port.now() - begun
    during = measure(client, readings)
    in_time = client.port.now() - begun < seconds
    switch_off(client, output)
    wait(client.port, SETTLES_S)
    return Trial(level, seconds, before, during, measure(client, readings), measured_from, in_time)

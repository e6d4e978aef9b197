"""One output tried on the bench: the pack measured before a pulse, during it and after it."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.link.bench import Average, measure, pulse, switch_off, wait
from schedgen.link.client import Client
from schedgen.link.messages import NO_CODE

SETTLES_S = 0.1
"""After switching, before measuring: converters have started by then (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What was measured; `in_time` is False where the pulse had ended before the measurement during it was over."""

    level: int
    seconds: float
    before: Average
    during: Average
    after: Average
    in_time: bool


def try_output(client: Client, output: int, level: int, seconds: float, readings: int, code: int = NO_CODE) -> Trial:
    """Pulse an output and measure. `seconds` is the longest time that it stays on; a release needs the dive code.

    It is switched off as soon as everything is measured. Raises `LinkError`; the board itself ends the pulse where the
    line fails.
    """
    before = measure(client, readings)
    begun = client.port.now()
    pulse(client, output, seconds, level, code)
    wait(client.port, min(SETTLES_S, seconds / 3))
    during = measure(client, readings)
    in_time = client.port.now() - begun < seconds
    switch_off(client, output)
    wait(client.port, SETTLES_S)
    return Trial(level, seconds, before, during, measure(client, readings), in_time)

"""What a board tells of its last dive: where it got to, and the voltage history. Plain values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of the pack voltage: noted at `at_s` elapsed, `volts` at the battery sense."""

    at_s: int
    volts: float


@dataclass(frozen=True, slots=True)
class Journal:
    """The last dive of one board. `code` is its dive code.

    `elapsed_s` is the last second that was journalled; `tries` release tries begun; `lowest_v` and `first_firing_s`
    are None where they are not known; `choice` is the combination of field changes, None for the unchanged dive;
    `step_v` the step in which readings were kept. A reading is the latest one taken, by `at_s`, with everything outside
    the keep mask off and no release firing.
    """

    board: str
    name: str
    code: str
    state: str
    elapsed_s: int
    resets: int
    tries: int
    lowest_v: float | None
    first_firing_s: int | None
    choice: int | None
    faults: tuple[str, ...]
    step_v: float
    readings: tuple[Reading, ...]


def readings_of(volts_mv: Iterable[int], spacing_s: int) -> tuple[Reading, ...]:
    """The readings of a voltage history: number k, counted from 0, at (k + 1) x `spacing_s`; 0 mV is no reading."""
    return tuple(Reading((k + 1) * spacing_s, value / 1000) for k, value in enumerate(volts_mv) if value)

"""Which windows the first firing command moves, and which it ends. Used by on-times; `evaluate` has its own."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.plan.model import Window

NEVER = 1 << 40
"""Later than any elapsed second: a stop that does not come."""


@dataclass(frozen=True, slots=True)
class State:
    """How the windows stand: moving edges are `shift` s off, windows on at `cut` end there, the rest at `end`."""

    first_edge: int
    release: int
    shift: int
    cut: int
    end: int


def cut_there(window: Window, state: State) -> bool:
    """True when `window` ends at the firing command at `state.cut`.

    It does when it is on by then (it was planned to begin before the release, or did begin before the command) and
    its stop does not move with the release. What runs from the release itself is not cut.
    """
    if state.cut == NEVER or window.stop_s is None or window.stop_moves or window.start_s is None:
        return False
    if window.start_moves:
        return window.start_s < state.release
    return window.start_s < max(state.release, state.cut)


def moved(window: Window, state: State) -> tuple[int, int]:
    """Start and stop of a window that is no follower, with the shift in; stop is NEVER where there is none."""
    start, stop = window.start_s or 0, window.stop_s
    start += state.shift if window.start_moves else 0
    if stop is None:
        return start, NEVER
    return start, stop + (state.shift if window.stop_moves else 0)

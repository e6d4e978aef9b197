"""Start, splash, bottom, release, surface and end as intervals, on the controller's clock and in true seconds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.plan.model import Bounds, Fall, TrueBounds
from schedgen.plan.times import Moment, down, on_clock, up

if TYPE_CHECKING:
    from schedgen.dive.model import Dive

Triple = tuple[float, float, float]
START = Moment(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Happening:
    """One event: on the controller's clock, and in true seconds after start."""

    clock: Moment
    true: TrueBounds

    @property
    def bounds(self) -> Bounds:
        """On the controller's clock in whole seconds, rounded outwards."""
        return Bounds(down(self.clock.early), round(self.clock.nominal), up(self.clock.late))


def happening(true: Triple, error: float) -> Happening:
    """An event that happens at true times whatever the controller does."""
    return Happening(on_clock(*true, error), TrueBounds(*true))


def commanded(at_s: float, error: float) -> Happening:
    """An event that the controller makes at `at_s` of its own clock: true x / (1 + e) .. x / (1 - e)."""
    return Happening(Moment(at_s, at_s, at_s, True), TrueBounds(at_s / (1 + error), at_s, at_s / (1 - error)))


def before_release(dive: Dive, fall: Fall, error: float) -> dict[str, Happening]:
    """start, splash and bottom. With a water trigger splash is the start; else after `deck_time`."""
    splash = (0.0, 0.0, 0.0)
    deck = dive.start.deck_time
    if dive.start.trigger != "water" and deck is not None:
        splash = (deck.low, deck.nominal, deck.high)
    bottom = (splash[0] + fall.down_s[0], splash[1] + fall.down_s[1], splash[2] + fall.down_s[2])
    return {
        "start": Happening(START, TrueBounds(0.0, 0.0, 0.0)),
        "splash": happening(splash, error),
        "bottom": happening(bottom, error),
    }


def after_release(
    release: Happening, last_end_s: float | None, cut: Triple, rise: Triple, wait_s: float, error: float
) -> dict[str, Happening]:
    """release, surface and end, from the release as commanded (`last_end_s` its last try) or as it parts by itself."""
    clock, true = release.clock, release.true
    if last_end_s is None:
        surface_true = (true.early + rise[0], true.nominal + rise[1], true.late + rise[2])
        surface = on_clock(*surface_true, error)
        surface = Moment(surface.early, surface.nominal, surface.late, clock.moves)
    else:
        surface_true = (
            true.early + cut[0] + rise[0],
            true.nominal + cut[1] + rise[1],
            last_end_s / (1 - error) + rise[2],
        )
        surface = Moment(
            clock.early + (cut[0] + rise[0]) * (1 - error),
            clock.nominal + cut[1] + rise[1],
            last_end_s + rise[2] * (1 + error),
            True,
        )
    end = float(up(surface.late + wait_s * (1 + error)))
    return {
        "release": release,
        "surface": Happening(surface, TrueBounds(*surface_true)),
        "end": Happening(Moment(end, end, end, clock.moves), TrueBounds(end / (1 + error), end, end / (1 - error))),
    }


def clocks(events: Mapping[str, Happening]) -> dict[str, Moment]:
    """The events on the controller's clock."""
    return {name: event.clock for name, event in events.items()}


def bounds_of(events: Mapping[str, Happening]) -> dict[str, Bounds]:
    """The events on the controller's clock in whole seconds."""
    return {name: event.bounds for name, event in events.items()}


def true_of(events: Mapping[str, Happening]) -> dict[str, TrueBounds]:
    """The events in true seconds."""
    return {name: event.true for name, event in events.items()}

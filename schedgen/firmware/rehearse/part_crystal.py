"""The 32.768 kHz crystal: the time base of the clock counters, which can be slow, fast, late or dead."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

NOMINAL_HZ = 32768
NEVER = 1 << 62


class Crystal:
    """`ppm` off its nominal frequency; starts `startup_s` after it is switched on; `stopped` is dead for good."""

    def __init__(
        self, ppm: float = 0.0, startup_s: float = 0.4, stopped: bool = False, internal_error: float = 0.0
    ) -> None:
        self.ppm = ppm
        self.startup_s = startup_s
        self.stopped = stopped
        self.pull = 1.0
        """The processor's own frequency against that which it has after a reset."""
        self.internal_error = internal_error
        """How much faster than nominal the internal oscillator runs that takes the crystal's place, as a share."""
        self.running = False
        """Switched on by the firmware and past its start-up."""
        self.before_change: list[Callable[[], None]] = []
        self.after_change: list[Callable[[], None]] = []

    @property
    def hertz(self) -> float:
        """Its frequency now, 0 while it does not run."""
        return NOMINAL_HZ * (1 + self.ppm * 1e-6) / self.pull if self.running and not self.stopped else 0.0

    def change(
        self,
        running: bool | None = None,
        stopped: bool | None = None,
        ppm: float | None = None,
        pull: float | None = None,
    ) -> None:
        """Change what is given; counters that hang on the crystal keep their count."""
        for listener in self.before_change:
            listener()
        self.running = self.running if running is None else running
        self.stopped = self.stopped if stopped is None else stopped
        self.ppm = self.ppm if ppm is None else ppm
        self.pull = self.pull if pull is None else pull
        for listener in self.after_change:
            listener()


class Ticks:
    """A count of ticks of a clock whose frequency may change, against processor cycles, without drift."""

    def __init__(self, cycles_a_second: int) -> None:
        self.cycles_a_second = cycles_a_second
        self.hertz = 0.0
        self._origin = 0.0
        self._count = 0.0

    def at(self, now: int) -> int:
        """Whole ticks at cycle `now`."""
        return int(self._count + (now - self._origin) * self.hertz / self.cycles_a_second + 1e-6)

    def set_hertz(self, hertz: float, now: int) -> None:
        """Go on at another frequency (0: stand still)."""
        self._count = self._exact(now)
        self._origin, self.hertz = float(now), hertz

    def when(self, count: int) -> int:
        """The first cycle at which `at` gives `count` or more; NEVER while the clock stands still."""
        if not self.hertz:
            return NEVER
        return ceil(self._origin + (count - self._count) * self.cycles_a_second / self.hertz)

    def _exact(self, now: int) -> float:
        return self._count + (now - self._origin) * self.hertz / self.cycles_a_second

"""Waking, sleeping and resets of a simulated part, counted."""

from __future__ import annotations

from collections.abc import Callable

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_model import NO_MODE, Hardware
from schedgen.firmware.rehearse.part_native import SleepCounter


class Watcher(Hardware):
    """Attached last: opens the EEPROM after each reset (the stock fuses close it), adds up waking and sleeping."""

    def __init__(self) -> None:
        super().__init__("WATCH")
        self.sleeping = [0] * NO_MODE
        """Cycles asleep, by mode; the first number is those awake. Right after `add_up`."""
        self.resets: list[tuple[int, int]] = []
        self.after_reset: Callable[[], None] = lambda: None
        self.opens_memory = True
        self.frozen = False

    @property
    def awake(self) -> int:
        """Cycles awake, right after `add_up`."""
        return self.sleeping[0]

    def reset(self, flags: int) -> None:
        """Note a reset."""
        if self.opens_memory:
            _, request = self.device().ctlreq(core.IOCTL_CORE, core.CTLREQ_CORE_SECTIONS)
            sections = request.data.value(core.MemorySectionManager)
            for source in range(3):
                for target in range(3):
                    sections.set_access_flags(source, target, 3)
        self.resets.append((self.now, int(flags)))
        self.after_reset()

    def freeze(self) -> None:
        """Count no further: the power goes now, and what the loop's clock says after a stop is not to be trusted."""
        self.add_up()
        self.frozen = True

    def add_up(self) -> None:
        """Add the cycles since the last change to where they belong."""
        raise NotImplementedError


class PythonWatcher(Watcher):
    """Counts by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.since, self.mode = 0, 0
        """Cycle of the last change; the mode of sleep now, 0 while awake."""
        self.minding.now = lambda: self.mode

    def reset(self, flags: int) -> None:
        """A reset wakes."""
        self.add_up()
        self.mode = 0
        super().reset(flags)

    def add_up(self) -> None:
        """See `Watcher`."""
        if self.frozen:
            return
        now = self.clock_now()
        self.sleeping[self.mode] += now - self.since
        self.since = now

    def sleep(self, on: bool, mode: int) -> None:
        """Note falling asleep and waking; tell the models that mind. Called twice for each second at the least."""
        now = self.clock_now()
        if on:
            self.sleeping[0] += now - self.since
            self.mode = mode
        else:
            self.sleeping[mode] += now - self.since
            self.mode = 0
        self.since = now
        if mode >= self.minding.least:
            self.minding.tell(on, mode)


class NativeWatcher(Watcher):
    """Lets the model in C++ count."""

    def __init__(self) -> None:
        super().__init__()
        self.counter: SleepCounter | None = None

    def add_up(self) -> None:
        """See `Watcher`."""
        if self.counter is not None and not self.frozen:
            self.sleeping = self.counter.cycles()

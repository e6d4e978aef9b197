"""Waking, sleeping and resets of a simulated part, counted."""

from __future__ import annotations

from collections.abc import Callable

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_model import NO_MODE, Hardware


class Watcher(Hardware):
    """Attached last: opens the EEPROM after each reset (the stock fuses close it), adds up waking and sleeping."""

    def __init__(self) -> None:
        super().__init__("WATCH")
        self.since, self.mode = 0, 0
        """Cycle of the last change; the mode of sleep now, 0 while awake."""
        self.awake = 0
        self.sleeping = [0] * NO_MODE
        """Cycles asleep, by mode."""
        self.sleeps = 0
        self.resets: list[tuple[int, int]] = []
        self.after_reset: Callable[[], None] = lambda: None
        self.opens_memory = True
        self.minding.now = lambda: self.mode

    def reset(self, flags: int) -> None:
        """Note a reset."""
        if self.opens_memory:
            _, request = self.device().ctlreq(core.IOCTL_CORE, core.CTLREQ_CORE_SECTIONS)
            sections = request.data.value(core.MemorySectionManager)
            for source in range(3):
                for target in range(3):
                    sections.set_access_flags(source, target, 3)
        self.add_up()
        self.mode = 0
        self.resets.append((self.now, int(flags)))
        self.after_reset()

    def add_up(self) -> None:
        """Add the cycles since the last change to where they belong."""
        now = self.now
        if self.mode:
            self.sleeping[self.mode] += now - self.since
        else:
            self.awake += now - self.since
        self.since = now

    def sleep(self, on: bool, mode: int) -> None:
        """Note falling asleep and waking; tell the models that mind. Called twice for each second at the least."""
        now = self.clock_now()
        if on:
            self.awake += now - self.since
            self.mode = mode
            self.sleeps += 1
        else:
            self.sleeping[mode] += now - self.since
            self.mode = 0
        self.since = now
        if mode >= self.minding.least:
            self.minding.tell(on, mode)

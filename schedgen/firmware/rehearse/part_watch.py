"""Waking, sleeping and resets of a simulated part, counted."""

from __future__ import annotations

from collections.abc import Callable

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_model import ADC_SLEEP, Hardware


class Watcher(Hardware):
    """Attached last: opens the EEPROM after each reset (the stock fuses close it), adds up waking and sleeping."""

    def __init__(self) -> None:
        super().__init__("WATCH")
        self.since, self.asleep, self.mode = 0, False, 0
        self.awake = 0
        self.sleeping: dict[int, int] = {}
        self.sleepers: list[Callable[[bool, int], None]] = []
        self.sleeps = 0
        self.resets: list[tuple[int, int]] = []
        self.after_reset: Callable[[], None] = lambda: None
        self.opens_memory = True

    def reset(self, flags: int) -> None:
        """Note a reset."""
        if self.opens_memory:
            _, request = self.device().ctlreq(core.IOCTL_CORE, core.CTLREQ_CORE_SECTIONS)
            sections = request.data.value(core.MemorySectionManager)
            for source in range(3):
                for target in range(3):
                    sections.set_access_flags(source, target, 3)
        self.add_up()
        self.asleep = False
        self.resets.append((self.now, int(flags)))
        self.after_reset()

    def add_up(self) -> None:
        """Add the cycles since the last change to where they belong."""
        now = self.now
        if self.asleep:
            self.sleeping[self.mode] = self.sleeping.get(self.mode, 0) + now - self.since
        else:
            self.awake += now - self.since
        self.since = now

    def sleep(self, on: bool, mode: int) -> None:
        """Note falling asleep and waking; tell the models that care."""
        now = self.clock_now()
        if on:
            self.awake += now - self.since
            self.mode = mode
            self.sleeps += 1
        else:
            self.sleeping[mode] = self.sleeping.get(mode, 0) + now - self.since
        self.since = now
        self.asleep = bool(on)
        if mode >= ADC_SLEEP:
            for tell in self.sleepers:
                tell(on, mode)

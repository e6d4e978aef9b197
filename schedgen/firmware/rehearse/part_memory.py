"""EEPROM and user row as the power may leave them: every write command seen before it happens, and torn on demand."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any, Literal

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_model import READ_WRITE, Hardware

ERASED = 0xFF
Tear = Literal["before", "erased", "torn", "after"]
TEARS: tuple[Tear, ...] = ("before", "erased", "torn", "after")


class MemoryTap(Hardware):
    """Sees each write command before it is carried out. `at_command` is called with the count so far (from 1)."""

    def __init__(self, address: int, starts: Callable[[int], bool]) -> None:
        """`address` of the command register; `starts` says of a written value whether it begins a write."""
        super().__init__("TAP")
        self.address, self.starts = address, starts
        self.count = 0
        self.at_command: Callable[[int], None] = lambda count: None
        self.changes: Callable[[], None] = lambda: None
        """Called at each command as well: what was read before may not hold any more."""

    def watch(self, device: Any) -> None:
        """Stand before the command register; to be called before the loop is made."""
        self.belong_to(device)
        device.add_ioreg_handler(core.reg_addr_t(self.address), self, core.bitmask_t(0), READ_WRITE)

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Count a command."""
        if self.starts(data.value):
            self.count += 1
            self.changes()
            self.at_command(self.count)


class UserRow(Hardware):
    """Lets the user row be read through the data space, where the stock model shows zeros."""

    base = 0x1300

    def __init__(self, size: int, read: Callable[[], bytes]) -> None:
        super().__init__("ROWREAD")
        self.size, self.read = size, read
        self.held: bytes | None = None
        """What was read last; None once something may have been written since."""

    def watch(self, device: Any) -> None:
        """Stand before the row's addresses; to be called before the loop is made."""
        self.belong_to(device)
        for offset in range(self.size):
            device.add_ioreg_handler(core.reg_addr_t(self.base + offset), self, core.bitmask_t(0), READ_WRITE)

    def forget(self) -> None:
        """Read again at the next look."""
        self.held = None

    def ioreg_read_handler(self, addr: Any, value: int) -> int:
        """What the row holds."""
        if self.held is None:
            self.held = self.read()
        return self.held[int(addr) - self.base]

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Writing is the stock model's."""


def torn(before: bytes, after: bytes, how: Tear, random: Random) -> bytes:
    """What a memory holds when the power goes in the middle of a write from `before` to `after`.

    "erased": the bytes that change are erased and not yet written; "torn": each of their bits is old, erased or new.
    """
    if how == "before":
        return before
    if how == "after":
        return after
    if how == "erased":
        return bytes(old if old == new else ERASED for old, new in zip(before, after, strict=True))
    return bytes(_mixed(old, new, random) for old, new in zip(before, after, strict=True))


def _mixed(old: int, new: int, random: Random) -> int:
    if old == new:
        return old
    stage = random.randrange(3)
    noise = random.randrange(256)
    # Erasing sets bits one after the other, writing clears them.
    return (old | noise) if stage == 0 else (new | noise) if stage == 1 else noise

"""Supply and clock of the megaAVR 0-series: brown-out and voltage level monitor, oscillators, protected registers.

None of these is in the stock model. Registers as in the data sheet (from memory).
"""

from __future__ import annotations

from typing import Any

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.part_crystal import Crystal
from schedgen.firmware.rehearse.part_model import READ_ONLY, READ_WRITE, STROBE, Hardware, interrupt_flag

BROWN_OUT_V = 2.6
"""Level at which the supply resets the part (BODLEVEL2, the usual choice for 3.3 V)."""


class BrownOut(Hardware):
    """BOD with its voltage level monitor."""

    base = 0x80
    _VLMCTRL, _INTCTRL, _INTFLAGS, _STATUS = 8, 9, 10, 11
    _ABOVE = (1.05, 1.15, 1.25, 1.05)

    def __init__(self, vector: int) -> None:
        super().__init__("BOD")
        self.vector = vector
        self.flags = (interrupt_flag(False),)
        self.supply_v = 3.3

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        self.add_each((0, 1, self._VLMCTRL, self._INTCTRL))
        self.add(self._INTFLAGS, 1, STROBE)
        self.add(self._STATUS, 1, READ_ONLY)
        return bool(
            ready and self.flags[0].init(device, self.at(self._INTCTRL, 1), self.at(self._INTFLAGS, 1), self.vector)
        )

    def supply(self, volts: float) -> None:
        """Let the supply change. Below the brown-out level the part is reset."""
        level = BROWN_OUT_V * self._ABOVE[self.get(self._VLMCTRL) & 3]
        was, now = self.supply_v < level, volts < level
        self.supply_v = volts
        if volts < BROWN_OUT_V:
            force_reset(self.device(), core.Device.ResetFlag.BOD)
            return
        self.put(self._STATUS, int(now), 1)
        wanted = (self.get(self._INTCTRL) >> 1) & 3
        if was != now and (wanted == 2 or (wanted == 0 and now) or (wanted == 1 and not now)):
            self.raise_bit(self.flags[0], 1)


def force_reset(device: Any, cause: Any) -> None:
    """Reset a device for a cause: watchdog, brown-out, reset pin or software."""
    request = core.ctlreq_data_t()
    request.data = core.vardata_t(int(cause))
    device.ctlreq(core.IOCTL_CORE, core.CTLREQ_CORE_RESET, request)


class ClockControl(Hardware):
    """CLKCTRL: prescaler as written, crystal with its start-up and its ready bit."""

    base = 0x60
    _MCLKCTRLB, _STATUS, _XOSC = 1, 3, 0x1C
    _READY_INTERNAL, _READY_CRYSTAL = 0x30, 0x40
    _DIVIDERS = (2, 4, 8, 16, 32, 64, 1, 1, 6, 10, 12, 24, 48, 1, 1, 1)

    def __init__(self, crystal: Crystal) -> None:
        super().__init__("CLKCTRL")
        self.crystal = crystal
        self.timers = (core.CallableCycleTimer(self._started),)
        self.divided = 6

    def init(self, device: Any) -> bool:
        """Add the registers."""
        ready = super().init(device)
        self.add_each((0, 1, 2, 0x10, 0x11, 0x12, 0x18, self._XOSC))
        self.add(self._STATUS, 0xFF, READ_ONLY)
        return bool(ready)

    def reset(self, flags: int) -> None:
        """Main clock by 6, crystal off."""
        self.cycles.cancel(self.timers[0])
        self.put(self._MCLKCTRLB, 0x11)
        self.put(self._STATUS, self._READY_INTERNAL)
        self.divided = 6
        self.crystal.change(running=False)

    def _started(self, when: int) -> int:
        if not self.crystal.stopped:
            self.put(self._STATUS, self._READY_INTERNAL | self._READY_CRYSTAL)
            self.crystal.change(running=True)
        return 0

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Obey a write."""
        offset = int(addr) - self.base
        if offset == self._XOSC and data.posedge() & 1:
            self.cycles.delay(self.timers[0], max(1, int(self.crystal.startup_s * self.hertz)))
        elif offset == self._XOSC and data.negedge() & 1:
            self.cycles.cancel(self.timers[0])
            self.put(self._STATUS, self._READY_INTERNAL)
            self.crystal.change(running=False)
        elif offset == self._MCLKCTRLB:
            self.divided = self._DIVIDERS[(data.value >> 1) & 15] if data.value & 1 else 1


class Protection(Hardware):
    """Watches the registers that the chip protects against stray writes; the stock model takes any write."""

    _CCP, _KEY_IO, _KEY_FLASH, _CYCLES = 0x34, 0xD8, 0x9D, 8
    _NVM_COMMAND, _NVM_STATUS = 0x1000, 0x1002
    PROTECTED = (0x41, 0x60, 0x61, 0x62, 0x70, 0x71, 0x72, 0x78, 0x7C, 0x80, 0x100, 0x110, 0x1001)

    def __init__(self) -> None:
        super().__init__("GUARD")
        self._key, self._since = -1, -1000

    def watch(self, device: Any) -> None:
        """Stand before the registers; to be called before the loop is made."""
        self.belong_to(device)
        for address in (self._CCP, self._NVM_COMMAND, *self.PROTECTED):
            device.add_ioreg_handler(core.reg_addr_t(address), self, core.bitmask_t(0), READ_WRITE)

    def ioreg_write_handler(self, addr: Any, data: Any) -> None:
        """Note a protected write without its key."""
        address, now = int(addr), self.now
        if address == self._CCP:
            self._key, self._since = data.value, now
            return
        if address == self._NVM_COMMAND and not data.value & 7:
            return
        wanted = (self._KEY_FLASH,) if address == self._NVM_COMMAND else (self._KEY_IO,)
        if now - self._since > self._CYCLES or self._key not in wanted:
            self.breaks(f"protected register {address:#06x} written without its key")

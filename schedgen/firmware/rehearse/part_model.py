"""What every hardware model of ours shares: register access, interrupt flags that are torn down in the right order.

The simulator calls these objects from C++. It keeps no reference of its own to handlers, and an interrupt flag that
Python destroys after its device ends the process; so `SimulatedPart.close` calls `discard` first.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import yasimavr.lib.core as core
from yasimavr.lib import _sip

READ_ONLY = core.IORegister.BitMode.RO
STROBE = core.IORegister.BitMode.Strobe
READ_WRITE = core.IORegister.BitMode.RW
NO_MODE = 99
"""Deeper than any mode of sleep there is."""
ADC_SLEEP, STANDBY = int(core.SleepMode.ADC), int(core.SleepMode.Standby)


def interrupt_flag(clear_on_service: bool) -> Any:
    """An interrupt flag that belongs to C++ until `discard` takes it back."""
    flag = core.InterruptFlag(clear_on_service)
    _sip.transferto(flag, None)
    return flag


def _bits(mask: int) -> Any:
    found = _MASKS.get(mask)
    if found is None:
        found = _MASKS[mask] = core.bitmask_t(mask)
    return found


_MASKS: dict[int, Any] = {}


class Minding:
    """Which models mind which sleep mode and all that are deeper."""

    def __init__(self) -> None:
        self.models: dict[Hardware, int] = {}
        self.least = NO_MODE
        """The lightest sleep that anybody minds."""
        self.changed: Callable[[int], object] = lambda least: None
        """Called with `least` when it has changed."""
        self.now: Callable[[], int] = lambda: 0
        """The mode of sleep at this moment, 0 while awake."""

    def set(self, model: Hardware, mode: int) -> None:
        """Note that `model` minds sleep from `mode` on."""
        if self.models.get(model) != mode:
            self.models[model] = mode
            least = min(self.models.values())
            if least != self.least:
                self.least = least
                self.changed(least)

    def tell(self, on: bool, mode: int) -> None:
        """Tell those who mind."""
        for model, least in list(self.models.items()):
            if mode >= least:
                model.slept(on, mode)


class Hardware(core.Peripheral):
    """A peripheral written in Python. `base` is the address from which register offsets count.

    A call from C++ into Python costs more than all else here. So only the watcher overrides the simulator's own
    `sleep`; it calls `slept` of those models that mind the mode just now (`mind`).
    """

    base = 0

    def __init__(self, name: Any) -> None:
        super().__init__(name)
        self.broken_rules: dict[str, int] = {}
        """What the firmware did that the real chip does not take, with how often."""
        self.hertz = 1
        """Processor cycles a second; set by the part before anything runs."""
        self.cycles: Any = None
        """The device's cycle manager."""
        self.clock_now: Callable[[], int] = lambda: 0
        """Cycles since power-on, as a call."""
        self.minding = Minding()
        """Shared by all models of a part."""
        self._addresses: dict[int, Any] = {}

    def belong_to(self, device: Any) -> None:
        """Take the device's clock."""
        self.clock_now = device.cycle

    def init(self, device: Any) -> bool:
        """Called by the simulator when the device is put together."""
        self.belong_to(device)
        self.cycles = device.cycle_manager()
        return bool(super().init(device))

    def let_go(self) -> None:
        """Forget the device."""
        self.clock_now = lambda: 0
        self.cycles = None

    def breaks(self, rule: str) -> None:
        """Note that the firmware broke a rule of the hardware."""
        self.broken_rules[rule] = self.broken_rules.get(rule, 0) + 1

    def _address(self, offset: int) -> Any:
        found = self._addresses.get(offset)
        if found is None:
            found = self._addresses[offset] = core.reg_addr_t(self.base + offset)
        return found

    def add(self, offset: int, mask: int = 0xFF, mode: Any = READ_WRITE) -> None:
        """Add a register, or bits of one."""
        self.add_ioreg(self._address(offset), _bits(mask), mode)

    def add_each(self, offsets: tuple[int, ...]) -> None:
        """Add plain registers that can be read and written."""
        for offset in offsets:
            self.add(offset)

    def get(self, offset: int) -> int:
        """A register's content."""
        return self.read_ioreg(self._address(offset))  # type: ignore[no-any-return]  # an int from C++

    def put(self, offset: int, value: int, mask: int = 0xFF) -> None:
        """Set a register, or the bits of it in `mask`."""
        self.write_ioreg(self._address(offset), _bits(mask), value & mask)

    def at(self, offset: int, mask: int) -> Any:
        """A register's bits, as an interrupt flag wants to be told them."""
        return core.regmask_t(self._address(offset), core.bitmask_t(mask))

    @property
    def now(self) -> int:
        """Cycles since power-on."""
        return self.clock_now()

    def raise_bit(self, flag: Any, bit: int) -> None:
        """Raise a bit of an interrupt flag."""
        flag.set_flag(_bits(bit))

    def mind(self, mode: int) -> None:
        """Ask to be told from now on of sleep in this mode and in all that are deeper (`NO_MODE`: in none)."""
        self.minding.set(self, mode)

    def slept(self, on: bool, mode: int) -> None:
        """The processor fell asleep (`on`) or woke; `mode` as the simulator numbers it."""

    def ioreg_peek_handler(self, addr: Any, value: int) -> int:
        """What a debugger sees: the stored value."""
        return value


def discard(model: Hardware) -> None:
    """Destroy flags and timers of a model while its device still lives."""
    for name, value in list(vars(model).items()):
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, core.InterruptFlag):
                _sip.transferback(one)
            if isinstance(one, core.InterruptFlag | core.CycleTimer):
                _sip.delete(one)
                setattr(model, name, None)


class PlainRegisters(Hardware):
    """Registers without any behaviour, for what the stock model leaves out and the firmware only sets."""

    def __init__(self, name: str, addresses: tuple[int, ...]) -> None:
        super().__init__(name)
        self.addresses = addresses

    def init(self, device: Any) -> bool:
        """Add them."""
        ready = super().init(device)
        self.add_each(self.addresses)
        return bool(ready)

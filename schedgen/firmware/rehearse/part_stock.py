"""What we keep of the simulator's own models of each part, mended where its description is wrong.

Everything else that a part has is modelled by our own `part_*.py`.
"""

from __future__ import annotations

from typing import Any

import yasimavr.lib.core as core
from yasimavr.device_library import DeviceDescriptor
from yasimavr.device_library.builders import _builders_arch_avr as avr_builders
from yasimavr.device_library.builders import _builders_arch_xt as xt_builders

_MEGAAVR_STOCK = (
    "CPUINT", "SLPCTRL", "RSTCTRL", "NVMCTRL", "MISC", "PORTA", "PORTC", "PORTD", "PORTF", "PORTMUX",
    "TCB0", "TCB1", "TCB2", "VREF", "ADC0", "FUSES", "USERROW", "WDT",
)  # fmt: skip
_MEGAAVR_LARGE = ("PORTB", "PORTE", "TCB3")
_ATMEGA328_STOCK = (
    "CPUINT", "RSTCTRL", "SLPCTRL", "FUSES", "NVMCTRL", "MISC", "PORTB", "PORTC", "PORTD",  "TC0", "VREF",
    "WDT",
)  # fmt: skip
UNBUILT_328 = (0x44, 0x41, 0x23, 0x5F, 0x30)


def _megaavr_class() -> Any:
    class MegaAvr(xt_builders.XT_BaseDevice):
        def __init__(self, descriptor: Any, builder: Any) -> None:
            super().__init__(descriptor, builder)
            large = "PORTB" in descriptor.peripherals
            builder.build_peripherals(self, [*_MEGAAVR_STOCK, *(_MEGAAVR_LARGE if large else ())])

        def arch_init(self) -> bool:
            return True

    return MegaAvr


def _atmega328_class() -> Any:
    class Atmega328(avr_builders.AVR_BaseDevice):
        def __init__(self, descriptor: Any, builder: Any) -> None:
            super().__init__(descriptor, builder)
            builder.build_peripherals(self, list(_ATMEGA328_STOCK))

        def arch_init(self) -> bool:
            return True

    return Atmega328


def description(model: str) -> Any:
    """The library's description, mended: a finished conversion of the ADC wakes from standby."""
    found = DeviceDescriptor.create_from_model(model)
    masks = found.interrupt_map.sleep_mask
    if "ADC0_RESRDY" in found.interrupt_map.vectors:
        vector = found.interrupt_map.vectors.index("ADC0_RESRDY")
        masks["Standby"][vector // 8] |= 1 << vector % 8
    return found


def missing_pins(descriptor: Any) -> tuple[int, ...]:
    """Port registers that stand in the chip, without pins to them, and that the stock model does not have."""
    addresses: list[int] = []
    for number, letter in enumerate("ABCDEF"):
        base = 0x400 + 0x20 * number
        if f"PORT{letter}" not in descriptor.peripherals:
            addresses += range(base, base + 0x18)
        else:
            addresses += [base + 0x10 + bit for bit in range(8) if f"P{letter}{bit}" not in descriptor.pins]
    return tuple(addresses)


def stock_device(described: Any, is_megaavr: bool) -> Any:
    """The library's device with the peripherals that we keep of it."""
    builder = xt_builders.XT_DeviceBuilder if is_megaavr else avr_builders.AVR_DeviceBuilder
    device = builder.build_device(described, _megaavr_class() if is_megaavr else _atmega328_class())
    device.set_option(core.Device.Option.InfiniteLoopDetect, False)
    return device

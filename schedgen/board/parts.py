"""The microcontrollers that a board may carry: memory, pins, PWM and ADC of each, from the data sheets (from memory).

Two families: the megaAVR 0-series in its 32-pin (..08) and 48-pin (..09) packages, and the ATmega328P in its
32-pin package. Nothing here was looked up while writing; the figures are those of the public data sheets as
remembered, and the firmware's compiler checks memory sizes and register names again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from schedgen.errors import UsageError

Family = Literal["megaavr-0", "atmega328p"]

FIRMWARE_FLASH = 13_800
"""Bytes of flash that the firmware needs at least, on any part; a test holds it to the images."""
FIRMWARE_RAM = 800
"""Bytes of RAM that the firmware needs at least, its stack included."""


@dataclass(frozen=True, slots=True)
class Channel:
    """A PWM output of a timer: `route` is the port it has to be led to ('' where there is no choice)."""

    timer: str
    name: str
    route: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """A microcontroller. Sizes in bytes; pins by their port name (PA0); `adc` and `pwm` by pin."""

    name: str
    family: Family
    flash: int
    sram: int
    eeprom: int
    user_row: int
    pins: frozenset[str]
    input_only: frozenset[str]
    """Pins that cannot drive an output here (the reset pin)."""
    crystal: tuple[str, str]
    """Pins of a 32.768 kHz crystal."""
    adc: Mapping[str, int]
    pwm: Mapping[str, tuple[Channel, ...]]
    clock_timer: str = ""
    """The timer that keeps time from the crystal, where that takes one away from PWM."""

    @property
    def package(self) -> str:
        """Pins of the package in words, for messages."""
        ports: dict[str, list[int]] = {}
        for pin in sorted(self.pins):
            ports.setdefault(pin[:2], []).append(int(pin[2:]))
        return ", ".join(f"{port}{min(found)} to {port}{max(found)}" for port, found in ports.items())


def _span(port: str, last: int) -> list[str]:
    return [f"{port}{number}" for number in range(last + 1)]


def _megaavr_0(name: str, flash_kb: int, sram_kb: int) -> Part:
    large = name.endswith("9")
    pins = [*_span("PA", 7), *_span("PD", 7), *_span("PF", 6)]
    pins += [*_span("PB", 5), *_span("PC", 7), *_span("PE", 3)] if large else _span("PC", 3)
    adc = {f"PD{number}": number for number in range(8)}
    adc |= {f"PE{number}": 8 + number for number in range(4) if large}
    adc |= {f"PF{number}": 10 + number for number in range(2, 6)}
    pwm: dict[str, list[Channel]] = {pin: [] for pin in pins}
    for port in "ABCDEF":
        for number in range(6):
            if f"P{port}{number}" in pwm:
                pwm[f"P{port}{number}"].append(Channel("TCA0", f"WO{number}", f"PORT{port}"))
    blocks = {"TCB0": ("PA2", "PF4"), "TCB1": ("PA3", "PF5"), "TCB2": ("PC0", "PB4"), "TCB3": ("PB5", "PC1")}
    for timer, places in blocks.items():
        for pin in places:
            if pin in pwm and (large or timer != "TCB3"):
                pwm[pin].append(Channel(timer, "WO", f"PORT{pin[1]}"))
    return Part(
        name, "megaavr-0", flash_kb * 1024, sram_kb * 1024, 256, 64 if flash_kb >= 32 else 32,
        frozenset(pins), frozenset({"PF6"}), ("PF0", "PF1"), adc,
        {pin: tuple(channels) for pin, channels in pwm.items() if channels},
    )  # fmt: skip


def _atmega328p() -> Part:
    pwm = {
        "PD6": Channel("TC0", "OC0A"), "PD5": Channel("TC0", "OC0B"), "PB1": Channel("TC1", "OC1A"),
        "PB2": Channel("TC1", "OC1B"), "PB3": Channel("TC2", "OC2A"), "PD3": Channel("TC2", "OC2B"),
    }  # fmt: skip
    return Part(
        "ATmega328P", "atmega328p", 32 * 1024, 2 * 1024, 1024, 0,
        frozenset([*_span("PB", 7), *_span("PC", 6), *_span("PD", 7)]), frozenset({"PC6"}), ("PB6", "PB7"),
        {f"PC{number}": number for number in range(6)}, {pin: (channel,) for pin, channel in pwm.items()}, "TC2",
    )  # fmt: skip


@lru_cache(maxsize=1)
def parts() -> Mapping[str, Part]:
    """Every known part by name."""
    sizes = {
        "ATmega4809": (48, 6), "ATmega4808": (48, 6), "ATmega3209": (32, 4), "ATmega3208": (32, 4),
        "ATmega1609": (16, 2), "ATmega1608": (16, 2), "ATmega809": (8, 1), "ATmega808": (8, 1),
    }  # fmt: skip
    table = {name: _megaavr_0(name, flash, sram) for name, (flash, sram) in sizes.items()}
    return {**table, "ATmega328P": _atmega328p()}


def refuse_without_room(part: Part) -> None:
    """Raises `UsageError` with the figures when the firmware cannot fit the part (the 8 KB ones)."""
    if part.flash < FIRMWARE_FLASH or part.sram < FIRMWARE_RAM:
        raise UsageError(
            f"the firmware needs at least {FIRMWARE_FLASH} bytes of flash and {FIRMWARE_RAM} bytes of RAM with its "
            f"stack; the {part.name} has {part.flash} and {part.sram}",
            "take a part of the same family with 16 KB or more, ATmega1608 or ATmega1609 say",
        )

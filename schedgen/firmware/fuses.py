"""The fuses that the firmware wants, by the names of the data sheets (values put together from memory of them)."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.board.parts import Part


@dataclass(frozen=True, slots=True)
class Fuse:
    """One fuse register: its number among the fuses, its name in the data sheet, the value to write, what it means."""

    number: int
    register: str
    value: int
    meaning: str


def fuses_of(part: Part) -> tuple[Fuse, ...]:
    """The fuses to write with the firmware; those that are not listed keep the manufacturer's value."""
    if part.family == "megaavr-0":
        return (
            Fuse(0, "WDTCFG", 0x0B, "watchdog on from the start, 8 s, no window"),
            Fuse(1, "BODCFG", 0x46, "brown-out at 2.6 V, always on while awake, sampled 1000 times a second asleep"),
            Fuse(2, "OSCCFG", 0x02, "main oscillator 20 MHz; the firmware runs at a quarter of it"),
            Fuse(6, "SYSCFG1", 0x07, "64 ms from power-up to start"),
            Fuse(7, "APPEND", 0x00, "no application data section"),
            Fuse(8, "BOOTEND", 0x00, "no boot section: the program starts at address 0"),
        )
    return (
        Fuse(0, "Fuse Low Byte", 0xE2, "internal oscillator, 8 MHz undivided, 65 ms from power-up to start"),
        Fuse(1, "Fuse High Byte", 0xC7, "watchdog always on, EEPROM kept when the flash is erased, no boot section"),
        Fuse(2, "Extended Fuse Byte", 0xFD, "brown-out at 2.7 V, awake and asleep"),
    )

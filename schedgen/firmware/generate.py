"""What of the firmware is made from the board file and from the tables. Pure: a board in, the text of headers out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.board.parts import Part, parts, refuse_without_room
from schedgen.board.rules import channel_of
from schedgen.errors import UsageError
from schedgen.firmware.records import records_header
from schedgen.settings import c_text
from schedgen.settings.eeprom import ROW_BYTES, SLOT_EXTRA, EepromLayout, layout_of
from schedgen.settings.fields import SLOT_TAIL
from schedgen.settings.layout import layout_header

if TYPE_CHECKING:
    from schedgen.board.model import Board, Output

INTERNAL_SHIFT = 3
"""The internal oscillator is taken to be off by at most a half to the power of this, an eighth: 10 % over 0 to 70 degC
and the supply's range on both families (data sheets, from memory), and some more. It keeps time where the crystal
fails."""

WATCHDOG_S = 8
"""Nominal period of the watchdog, s."""

NO_TIMER = 255
_Rows = Iterator[tuple[str, str | int, str]]


@dataclass(frozen=True, slots=True)
class Port:
    """One family's port: the folder of its sources, its F_CPU in Hz and what the compiler calls the part."""

    folder: str
    clock_hz: int
    mcu: str


def port_of(part: Part) -> Port:
    """The port for a part. Raises UsageError, with the figures, for a part that is too small."""
    refuse_without_room(part)
    if part.family == "megaavr-0":
        return Port("port_megaavr0", 5_000_000, part.name.lower())
    return Port("port_atmega328p", 8_000_000, part.name.lower())


def part_of(board: Board) -> Part:
    """The part of a board. Raises UsageError for one that no port serves."""
    part = parts().get(board.part)
    if part is None:
        raise UsageError(f"there is no firmware for the part {board.part}", f"Known parts: {', '.join(parts())}.")
    return part


def headers(board: Board) -> dict[str, str]:
    """The generated headers by file name: `dive_layout.h`, `records.h`, `link_messages.h`, `board.h`, `pins.h`.

    Raises UsageError where the firmware cannot serve what the board file describes.
    """
    from schedgen.link.c_side import c_constants

    part = part_of(board)
    refuse_without_room(part)
    return {
        "dive_layout.h": layout_header(),
        "records.h": records_header(),
        "link_messages.h": c_text.fill("link_messages.h.j2", constants=c_constants()),
        "board.h": _board_header(board, part),
        "pins.h": _pins_header(board, part),
    }


def _board_header(board: Board, part: Part) -> str:
    from schedgen.link.messages import STATES

    layout = layout_of(part.eeprom)
    return c_text.fill(
        "board.h.j2",
        name=board.board,
        constants=[*_identity(board, part), *_memory(layout, part), *_abilities(board, part)],
        states=[c_text.string(name) for name in STATES],
    )


def _identity(board: Board, part: Part) -> _Rows:
    from schedgen.link.messages import NAME_SIZE, PARTS

    name = board.board.encode("ascii", "replace").decode("ascii")[:NAME_SIZE]
    yield "BOARD_NAME", c_text.string(name), "name of the board file"
    yield "BOARD_TYPE", f"0x{board.board_type:04X}U", "from pins and polarity; settings for another are refused"
    yield "BOARD_PART", f"{PARTS.index(part.name)}U", part.name


def _memory(layout: EepromLayout, part: Part) -> _Rows:
    """Addresses: the EEPROM from 0, then the user row."""
    yield "BOARD_EEPROM_SIZE", f"{layout.size}U", "bytes"
    yield "BOARD_MEMORY", f"{layout.size + part.user_row}U", "bytes, EEPROM and user row"
    yield "BOARD_SLOT_A", f"{layout.slot_a}U", "address"
    yield "BOARD_SLOT_B", f"{layout.slot_b}U", "address"
    yield "BOARD_SLOT_SIZE", f"{layout.slot_size}U", "bytes"
    yield "BOARD_SUM_BYTES", f"{SLOT_TAIL[0].bits // 8}U", "bytes of a slot's checksum"
    yield "BOARD_BLOCK_MOST", f"{min(255, layout.slot_size - SLOT_EXTRA)}U", "longest block, bytes"
    yield "BOARD_JOURNAL", f"{layout.journal}U", "address"
    yield "BOARD_JOURNAL_SIZE", f"{layout.journal_size}U", "bytes"
    row = layout.size if layout.row is None else layout.row
    yield "BOARD_ROW", f"{row}U", "essentials, calibration, given name"
    if layout.history is not None:
        yield "BOARD_HISTORY", f"{layout.history}U", "voltage history"
        yield "BOARD_HISTORY_SIZE", f"{layout.history_size}", "bytes"
    else:
        yield "BOARD_HISTORY", f"{row + ROW_BYTES}U", "voltage history, in the rest of the user row"
        yield "BOARD_HISTORY_SIZE", f"{part.user_row - ROW_BYTES}", "bytes; 0: it stands behind the settings"


def _abilities(board: Board, part: Part) -> _Rows:
    outputs = list(board.outputs.values())
    yield "BOARD_OUTPUTS", f"{len(outputs)}U", "outputs"
    for name, kind in (("BOARD_RELEASES", "release"), ("BOARD_LEVELS", "level")):
        bits = sum(1 << number for number, output in enumerate(outputs) if output.kind == kind)
        yield name, f"0x{bits:02X}U", f"bit n: output n is a {kind}"
    yield "BOARD_WATER", int(board.water_contact is not None), "1: a water contact is fitted"
    yield "BOARD_INTERNAL_SHIFT", f"{INTERNAL_SHIFT}U", "the internal oscillator is off by at most 1/2^n"
    yield "BOARD_WATCHDOG_S", f"{WATCHDOG_S}U", "period of the watchdog, s"


def _pins_header(board: Board, part: Part) -> str:
    rows = [_output_row(number, name, output, part) for number, (name, output) in enumerate(board.outputs.items())]
    return c_text.fill("pins.h.j2", name=board.board, outputs=rows, constants=list(_pins(board, part)))


def _output_row(number: int, name: str, output: Output, part: Part) -> str:
    timer, channel = NO_TIMER, 0
    if output.kind == "level":
        timer, channel = _timer(name, output, part)
    return f"{number}, {output.pin[1]}, {output.pin[2]}, {int(output.active == 'high')}, {timer}, {channel}"


def _timer(name: str, output: Output, part: Part) -> tuple[int, int]:
    """Number of the timer and of its channel, as the port counts them."""
    found = channel_of(output, part)
    if found is not None and found.timer == "TCA0" and int(found.name[2:]) < 3:
        return 0, int(found.name[2:])
    if found is not None and found.timer in ("TC0", "TC1"):
        return int(found.timer[2:]), "AB".index(found.name[-1])
    timers = "TCA0, WO0 to WO2" if part.family == "megaavr-0" else "TC0 or TC1"
    raise UsageError(
        f"the firmware makes levels with {timers}; output {name} is on {output.timer} at {output.pin}",
        f"Wire {name} to a pin of {timers}, or make it switched.",
    )


def _pins(board: Board, part: Part) -> _Rows:
    sense = board.pack_sense
    for name, pin, remark in (
        ("SENSE", sense.pin, "battery sense"),
        ("BUTTON_A", board.buttons.a.pin, "button a"),
        ("BUTTON_B", board.buttons.b.pin, "button b"),
        ("LIGHT", board.status_light.pin, "status light"),
        ("LEAD", board.bench_lead.pin, "bench lead"),
        ("WATER", board.water_contact.pin if board.water_contact else "", "water contact"),
        ("TRANSMIT", board.serial.transmit, "serial line, out"),
        ("RECEIVE", board.serial.receive, "serial line, in"),
    ):
        if pin:
            yield f"PIN_{name}_PORT", pin[1], f"port letter of the {remark}"
            yield f"PIN_{name}_BIT", pin[2], "bit of that port"
    yield "PIN_SENSE_CHANNEL", part.adc[sense.pin], "of the converter"
    yield "SENSE_FULL_MV", f"{round(sense.reference.nominal * 1000 / sense.ratio)}UL", "pack voltage at full scale"
    yield "SENSE_REFERENCE_MV", round(sense.reference.nominal * 1000), "reference of the converter, mV"
    yield "BUTTON_A_PULL_UP", int(board.buttons.a.pull == "up"), "1: to ground"
    yield "BUTTON_B_PULL_UP", int(board.buttons.b.pull == "up"), "1: to ground"
    yield "LIGHT_ON", int(board.status_light.active == "high"), "level that lights it"
    yield "LEAD_ACTIVE", int(board.bench_lead.active == "high"), "level while it is plugged in"
    yield (
        "WATER_ACTIVE",
        int(board.water_contact is not None and board.water_contact.active == "high"),
        "level when wet",
    )
    yield "CLOCK_CRYSTAL", int(board.clock.kind == "crystal"), "1: a 32.768 kHz crystal"
    yield "CLOCK_EXTERNAL", int(board.clock.kind == "temperature-compensated"), "1: 32.768 kHz from outside"
    yield "SERIAL_BAUD", f"{int(board.serial.baud)}UL", "bit/s"
    levels = [o.frequency.nominal for o in board.outputs.values() if o.kind == "level" and o.frequency is not None]
    yield "LEVEL_HZ", f"{round(levels[0]) if levels else 500}UL", "frequency of the levels"
    routes = [c.route for o in board.outputs.values() if o.kind == "level" and (c := channel_of(o, part))]
    route = routes[0][-1] if routes and routes[0] else "A"
    yield "LEVEL_PORT", route, "port that the timer is led to"
    yield from _serial(board, part)
    if part.family == "megaavr-0":
        pins = sorted({board.buttons.a.pin, board.buttons.b.pin})
        cleared = {letter: " ".join(f"cleared({p[1]}, {p[2]})" for p in pins if p[1] == letter) for letter in "ABCDEF"}
        vectors = " ".join(f"vector({letter}, {text})" for letter, text in cleared.items() if text)
        for which, button in (("A", board.buttons.a), ("B", board.buttons.b)):
            yield f"BUTTON_{which}_NUMBER", f"PORT{button.pin[1]}_PORT_vect_num", "number of its interrupt"
        yield "BUTTON_VECTORS(vector, cleared)", vectors, "an interrupt for each port with a button"


_USARTS = {
    ("PA0", "PA1"): (0, 0), ("PA4", "PA5"): (0, 1), ("PC0", "PC1"): (1, 0), ("PC4", "PC5"): (1, 1),
    ("PF0", "PF1"): (2, 0), ("PF4", "PF5"): (2, 1), ("PB0", "PB1"): (3, 0), ("PB4", "PB5"): (3, 1),
}  # fmt: skip
"""(transmit, receive) of the megaAVR 0-series: number of the USART, and its place; from the data sheet, from memory."""


def _serial(board: Board, part: Part) -> _Rows:
    """Which USART the bench lead is on. Raises UsageError for pins that none has."""
    wired = (board.serial.transmit, board.serial.receive)
    if part.family == "megaavr-0":
        found = _USARTS.get(wired)
        if found is None or (found[0] == 3 and not part.name.endswith("9")):
            raise UsageError(
                f"no serial port of the {part.name} sends on {wired[0]} and receives on {wired[1]}",
                f"Take one of these pairs: {', '.join(' and '.join(pair) for pair in _USARTS)}.",
            )
        yield "SERIAL_USART", f"USART{found[0]}", "serial port of the bench lead"
        yield "SERIAL_RXC_VECT", f"USART{found[0]}_RXC_vect", "its interrupt"
        yield "SERIAL_RXC_NUMBER", f"USART{found[0]}_RXC_vect_num", "number of its interrupt"
        others = sum(3 << 2 * number for number in range(4) if number != found[0])
        yield "SERIAL_ROUTE", f"0x{others | found[1] << 2 * found[0]:02X}U", "its place; the others are led nowhere"
    elif wired != ("PD1", "PD0"):
        raise UsageError(
            f"the serial port of the {part.name} sends on PD1 and receives on PD0, not on {wired[0]} and {wired[1]}",
            "Wire the bench lead to these.",
        )

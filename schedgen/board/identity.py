"""The board type: a 16-bit number computed from what the firmware's wiring depends on.

It is CRC-16/CCITT-FALSE (polynomial 0x1021, start 0xFFFF, not reflected, no final XOR; check value 0x29B1 for
"123456789") over a text in ASCII, one line for each of these, ended by a line feed::

    part ATmega4809
    output OUT1 PA2 switched high           one line an output, in the order of the file
    output PWM1 PD0 level high TCA0         with the timer where there is one
    sense PD3 6.8 2.5 10                    pin, (top + bottom) / bottom, reference in V, bits
    button a PC2 up
    button b PC3 up
    light PC4 high
    water PD4 low                           or: water none
    bench PD5 low
    clock crystal
    serial PA0 PA1 115200

Rails, limits, currents and notes are not in it: they change what a dive needs, not what the firmware does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from schedgen.board.model import Board


def board_type(board: Board) -> int:
    """The 16-bit board type [0..65535]. Source: CRC catalogue (Greg Cook), CRC-16/CCITT-FALSE."""
    return crc16(identity_text(board).encode("ascii"))


def identity_text(board: Board) -> str:
    """The text that the board type is computed over."""
    sense, light, lead, serial = board.pack_sense, board.status_light, board.bench_lead, board.serial
    lines = [f"part {board.part}"]
    for name, output in board.outputs.items():
        timer = f" {output.timer}" if output.timer else ""
        lines.append(f"output {name} {output.pin} {output.kind} {output.active}{timer}")
    reference = f"{sense.reference.nominal:.6g}"
    lines.append(f"sense {sense.pin} {1.0 / sense.ratio:.6g} {reference} {int(sense.bits)}")
    for name, button in (("a", board.buttons.a), ("b", board.buttons.b)):
        lines.append(f"button {name} {button.pin} {button.pull}")
    lines.append(f"light {light.pin} {light.active}")
    water = board.water_contact
    lines.append(f"water {water.pin} {water.active}" if water else "water none")
    lines.append(f"bench {lead.pin} {lead.active}")
    lines.append(f"clock {board.clock.kind}")
    lines.append(f"serial {serial.transmit} {serial.receive} {int(serial.baud)}")
    return "\n".join(lines) + "\n"


def crc16(data: bytes) -> int:
    """CRC-16/CCITT-FALSE of `data`.

    >>> hex(crc16(b"123456789"))
    '0x29b1'
    """
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1) ^ 0x1021 if value & 0x8000 else value << 1
        value &= 0xFFFF
    return value

"""The table of parts against the data sheets' figures (from memory)."""

from __future__ import annotations

import pytest

from schedgen.board.load import board_names, load_board
from schedgen.board.parts import parts, refuse_without_room
from schedgen.board.rules import channel_of
from schedgen.errors import UsageError

SIZES = {
    "ATmega4809": (49152, 6144, 256), "ATmega4808": (49152, 6144, 256), "ATmega3209": (32768, 4096, 256),
    "ATmega3208": (32768, 4096, 256), "ATmega1609": (16384, 2048, 256), "ATmega1608": (16384, 2048, 256),
    "ATmega809": (8192, 1024, 256), "ATmega808": (8192, 1024, 256), "ATmega328P": (32768, 2048, 1024),
}  # fmt: skip
"""Flash, SRAM, EEPROM in bytes: public data sheets, from memory."""


def test_sizes() -> None:
    assert {name: (part.flash, part.sram, part.eeprom) for name, part in parts().items()} == SIZES


def test_number_of_port_pins() -> None:
    # 48-pin: 41 port pins; 32-pin: 27; 328P: 23 with the reset pin (data sheets, from memory)
    assert [len(parts()[name].pins) for name in ("ATmega4809", "ATmega4808", "ATmega328P")] == [41, 27, 23]


def test_known_pins() -> None:
    large, small, old = parts()["ATmega4809"], parts()["ATmega1608"], parts()["ATmega328P"]
    assert {"PB5", "PC7", "PE3"} <= large.pins
    assert not {"PB0", "PC4", "PE0"} & small.pins
    assert (large.adc["PD3"], large.adc["PE0"], small.adc["PF2"], old.adc["PC5"]) == (3, 8, 12, 5)
    assert [(channel.timer, channel.name) for channel in old.pwm["PB1"]] == [("TC1", "OC1A")]
    assert {channel.timer for channel in large.pwm["PA2"]} == {"TCA0", "TCB0"}
    assert "PA7" not in large.pwm


@pytest.mark.parametrize("name", ["ATmega808", "ATmega809"])
def test_parts_without_room_are_refused_with_figures(name: str) -> None:
    with pytest.raises(UsageError, match=r"at least 13800 bytes of flash .* has 8192 and 1024") as caught:
        refuse_without_room(parts()[name])
    assert "16 KB" in caught.value.next_step


def test_all_other_parts_have_room() -> None:
    for name, part in parts().items():
        if not name.startswith("ATmega80"):
            refuse_without_room(part)


def test_every_level_of_the_boards_has_a_channel_of_its_own() -> None:
    for name in board_names():
        board = load_board(name)
        part = parts()[board.part]
        found = [channel_of(output, part) for output in board.outputs.values() if output.kind == "level"]
        assert None not in found
        assert len(set(found)) == len(found)

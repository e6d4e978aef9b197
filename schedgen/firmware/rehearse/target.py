"""From a board file and a compiled image to what the simulated part needs to know. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.firmware.rehearse.scenario import Target

if TYPE_CHECKING:
    from schedgen.board.model import Board

LIGHT = "status light"
"""Name under which the status light's edges are recorded, beside the outputs."""
_OUTSIDE = {"up": "U", "down": "D", "none": "Z"}
_CHANNELS = {"WO0": 0, "WO1": 1, "WO2": 2, "OC1A": 0, "OC1B": 1}


def channel_number(board: Board, name: str) -> int | None:
    """Number of the dimmer channel of an output; None where it is only switched."""
    from schedgen.board.parts import parts
    from schedgen.board.rules import channel_of

    output = board.outputs[name]
    found = channel_of(output, parts()[board.part]) if output.kind == "level" else None
    return None if found is None else _CHANNELS.get(found.name)


def target_of(board: Board, flash: bytes, hertz: int, fuses: bytes = b"") -> Target:
    """The target for an image: flash content from address 0, processor clock in Hz, fuses by number."""
    supply = board.rails[board.supply.rail].voltage
    outputs = {
        name: (output.pin, output.active == "high", channel_number(board, name))
        for name, output in board.outputs.items()
    }
    outputs[LIGHT] = (board.status_light.pin, board.status_light.active == "high", None)
    pulls = {output.pin: _OUTSIDE[output.pull] for output in board.outputs.values()}
    pulls[board.status_light.pin] = "D" if board.status_light.active == "high" else "U"
    return Target(
        model=board.part.lower(),
        hertz=hertz,
        flash=flash.hex(),
        fuses=fuses.hex(),
        supply_v=3.3 if supply is None else supply.nominal,
        outputs=outputs,
        receive_pin=board.serial.receive,
        pulls=pulls | resting(board),
    )


class Hands:
    """How somebody at the board drives its inputs: levels of pins, by what they mean."""

    def __init__(self, board: Board) -> None:
        self.board = board

    def button(self, which: str, pressed: bool) -> tuple[str, str]:
        """Pin and level of button "a" or "b"."""
        button = self.board.buttons.a if which == "a" else self.board.buttons.b
        rest, push = ("U", "L") if button.pull == "up" else ("D", "H")
        return button.pin, push if pressed else rest

    def lead(self, plugged: bool) -> tuple[str, str]:
        """Pin and level of the bench lead's detect line."""
        return _contact(self.board.bench_lead.pin, self.board.bench_lead.active, plugged)

    def water(self, wet: bool) -> tuple[str, str] | None:
        """Pin and level of the water contact; None where the board has none."""
        contact = self.board.water_contact
        return None if contact is None else _contact(contact.pin, contact.active, wet)

    def pack(self, volts: float) -> tuple[str, float]:
        """Pin and volts of the battery sense for a pack voltage."""
        sense = self.board.pack_sense
        return sense.pin, volts * sense.ratio


def _contact(pin: str, active: str, closed: bool) -> tuple[str, str]:
    if active == "low":
        return pin, "L" if closed else "U"
    return pin, "H" if closed else "D"


def resting(board: Board) -> dict[str, str]:
    """Levels of all inputs on a board that is left alone: dry, nothing plugged, nothing pressed."""
    hands = Hands(board)
    rest = dict([hands.button("a", False), hands.button("b", False), hands.lead(False)])
    water = hands.water(False)
    return rest | (dict([water]) if water else {})

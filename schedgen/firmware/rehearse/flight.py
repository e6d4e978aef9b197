"""The scenario of a whole dive: armed over the bench lead, lead off, started as the file says, flown to the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.errors import BlockError
from schedgen.firmware.rehearse import speech
from schedgen.firmware.rehearse.scenario import Action, Scenario
from schedgen.firmware.rehearse.target import Hands
from schedgen.settings.eeprom import ERASED

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Trace

ASK_S, ARM_S, UNPLUG_S = 3.0, 3.5, 8.0
START_S = 20.25
"""When the dive starts, true s after power-on: water reaches the contact, or button or command act. Not on a tick."""
AFTER_END_S = 130.0
"""How long the scenario goes on after `end`, to see that nothing but what is endless is on."""
BUTTON_HELD_S = 3.5
BUTTON_COUNTS_S = 3.0
"""The start button counts when it has been held this long."""
_STEP_V = 0.02
ROW_SIZE = 64

Volts = Sequence[tuple[float, float]]
"""Pack voltage over time: (elapsed s, V), each from then on."""


@dataclass(frozen=True)
class Flight:
    """A scenario, and when the controller's clock begins in it, true s."""

    scenario: Scenario
    zero_s: float


def volts_of(trace: Trace) -> list[tuple[float, float]]:
    """The pack's voltage in a simulated case, thinned to changes of 20 mV."""
    course: list[tuple[float, float]] = []
    for at, volts in zip(trace.time_s.tolist(), trace.voltage_v.tolist(), strict=True):
        if not course or abs(volts - course[-1][1]) >= _STEP_V:
            course.append((float(at), float(volts)))
    return course


def on_deck(board: Board, code: str, volts: float) -> list[Action]:
    """Switched on with the bench lead in, asked who it is, armed; the lead comes off."""
    hands = Hands(board)
    return [
        (0.0, "pin", *hands.lead(True)),
        (0.0, "pin", *hands.pack(volts)),
        (ASK_S, "say", speech.identify().hex()),
        (ARM_S, "say", speech.arm(code).hex()),
        (UNPLUG_S, "pin", *hands.lead(False)),
    ]


def start_actions(plan: Plan, board: Board, code: str, at_s: float = START_S) -> tuple[list[Action], float]:
    """What starts the dive, and when the controller's clock begins by it. Raises BlockError for a water start on a
    board without a water contact."""
    hands = Hands(board)
    wet = hands.water(True)
    if plan.trigger == "water":
        if wet is None:
            raise BlockError("the dive starts by water and the board has no water contact")
        return [(at_s, "pin", *wet)], at_s
    actions: list[Action]
    if plan.trigger == "button":
        actions = [
            (at_s, "pin", *hands.button("b", True)),
            (at_s + BUTTON_HELD_S, "pin", *hands.button("b", False)),
        ]
        begun = at_s + BUTTON_COUNTS_S
    else:
        actions = [
            (at_s - 2.0, "pin", *hands.lead(True)),
            (at_s, "say", (speech.identify() + speech.start(code, 1)).hex()),
            (at_s + 2.0, "pin", *hands.lead(False)),
        ]
        begun = at_s
    if wet is not None:
        actions.append((begun + plan.true_events["splash"].nominal, "pin", *wet))
    return actions, begun


def flight(plan: Plan, board: Board, eeprom: bytes, code: str, volts: Volts, seed: int = 0) -> Flight:
    """The scenario of the unchanged dive. `eeprom` holds the settings in a slot; the user row is erased."""
    actions = on_deck(board, code, volts[0][1])
    begin, zero = start_actions(plan, board, code)
    actions += begin
    hands = Hands(board)
    actions += [(zero + at, "pin", *hands.pack(level)) for at, level in volts if at > 0]
    end = zero + plan.end_s * (1 + plan.clock_tolerance) + AFTER_END_S
    actions = [action for action in actions if float(action[0]) < end]
    return Flight(Scenario(eeprom.hex(), bytes([ERASED] * ROW_SIZE).hex(), end, tuple(actions), seed), zero)

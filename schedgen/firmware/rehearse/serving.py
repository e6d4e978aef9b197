"""A simulated board behind a pseudo-terminal, for the ordinary commands and for a person to try. POSIX only."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from schedgen.errors import UsageError
from schedgen.firmware.rehearse.rehearsal import Build, target_for
from schedgen.firmware.rehearse.rig import SURE_V_A_CELL
from schedgen.firmware.rehearse.scenario import Scenario, Supply
from schedgen.firmware.rehearse.supervisor import Simulator
from schedgen.firmware.rehearse.target import Hands
from schedgen.settings.eeprom import ERASED

if TYPE_CHECKING:
    from schedgen.board.model import Board

_CELLS = 3
_ROW = 64


class Served:
    """A board that waits: the name of its `port`, and once it has gone what its pins did.

    `edges` are (microseconds since power-on, output or status light, level in percent) of each change of a pin.
    """

    def __init__(self, port: str) -> None:
        self.port = port
        self.edges: list[tuple[int, str, int]] = []

    def of(self, *outputs: str) -> list[tuple[int, str, int]]:
        """The edges of these outputs."""
        return [edge for edge in self.edges if edge[1] in outputs]


@contextmanager
def served(board: Board, build: Build, supply: Supply | None = None, seed: int = 1) -> Iterator[str]:
    """As `served_board`; gives the name of its port."""
    with served_board(board, build, supply, seed) as waiting:
        yield waiting.port


@contextmanager
def served_board(board: Board, build: Build, supply: Supply | None = None, seed: int = 1) -> Iterator[Served]:
    """A board with erased memory, powered, its bench lead in; `edges` of what it gives are filled after the block.

    Its converter has the noise of a real one, from `seed`. With `supply` its pack sags with the outputs that are on,
    without one it holds 3.75 V a cell of three.

    It runs at the pace of the wall clock and goes away with the `with` block. Raises `UsageError` on a system without
    pseudo-terminals or without the simulator, `SimulatorFailed`.
    """
    if os.name != "posix":
        raise UsageError("This system has no pseudo-terminals.", "Use --port virtual:FILE instead.")
    hands = Hands(board)
    erased = bytes([ERASED])
    scenario = Scenario(
        (erased * round(board.eeprom.size.nominal)).hex(),
        (erased * _ROW).hex(),
        0.0,
        ((0.0, "pin", *hands.lead(True)), (0.0, "pin", *hands.pack(_CELLS * SURE_V_A_CELL))),
        seed,
        noise=True,
        supply=supply,
    )
    with Simulator(target_for(board, build)) as simulator:
        waiting = Served(simulator.serve(scenario))
        yield waiting
        waiting.edges = simulator.stop_serving()

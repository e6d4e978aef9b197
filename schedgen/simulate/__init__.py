"""Plan to accounts and traces: `simulate` for the cases of one dive, `simulate_many` for sampled runs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.simulate.results import Account, Case, LoadHeat, Results, Trace
from schedgen.simulate.run import simulate

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive
    from schedgen.plan.model import Plan
    from schedgen.simulate.sampled import Sampled

__all__ = ["Account", "Case", "LoadHeat", "Results", "Trace", "simulate", "simulate_many"]


def simulate_many(dive: Dive, board: Board, cell: Cell, plan: Plan, runs: int, seed: int) -> Sampled:
    """`runs` dives, every uncertain input drawn uniformly inside its bounds; see `schedgen.simulate.sampled`, which a
    plain check never loads."""
    from schedgen.simulate.sampled import simulate_many as many

    return many(dive, board, cell, plan, runs, seed)

"""The same dive with other counts of parallel strings: how small may the pack be?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from schedgen.plan.model import Plan
from schedgen.simulate.assemble import accounts_of
from schedgen.simulate.corners import CaseSpec, arrange
from schedgen.simulate.heat import interior_of
from schedgen.simulate.limits import ends_of
from schedgen.simulate.results import Account
from schedgen.simulate.run import prepare, solve_batch

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive


def with_strings(dive: Dive, board: Board, cell: Cell, plan: Plan, counts: Sequence[int]) -> dict[int, Account]:
    """The account of the worst corner for energy with each of `counts` parallel strings, all in one batch.

    Everything else is as in the dive; the housing keeps the heat that the pack as written holds. The pack is not
    followed beyond `end`, so `endurance_after_surface_h` is that until `end` at most.
    """
    tables, demand, inputs = prepare(dive, board, cell, plan)
    parallel = int(dive.pack.parallel)
    specs = [CaseSpec(f"{count} strings", "energy", strings_lost=parallel - count) for count in counts]
    values = np.repeat(inputs.corner("energy")[None, :], len(specs), axis=0)
    runs = arrange(inputs, values, plan, parallel, specs)
    solved = solve_batch(dive, cell, tables, demand, runs, interior_of(dive, cell, plan, demand), tail=False)
    return dict(zip(counts, accounts_of(solved, ends_of(solved), dive, board, plan), strict=True))

"""The figures that decide about a combination of field changes: as `simulate`, but only the corners that can stop a
dive, followed to `end` and no further."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from schedgen.plan.model import Plan
from schedgen.simulate.assemble import accounts_of, traces_of
from schedgen.simulate.corners import arrange, cases
from schedgen.simulate.heat import Interior, interior_of
from schedgen.simulate.limits import ends_of
from schedgen.simulate.results import Case, Results
from schedgen.simulate.run import WORST_CORNERS, prepare, solve_batch, worst_of

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive

DECIDING = ("nominal", "energy", "heat", "backup-late")
"""Cases that a finding of severity stop may hang on. The corner for voltage has the very inputs of that for energy."""

Housings = dict[tuple[Any, ...], Interior | None]
"""What is in the housing, by the levels that each output has: nothing else of a plan enters into it."""


def simulate_deciding(dive: Dive, board: Board, cell: Cell, plan: Plan, housings: Housings | None = None) -> Results:
    """Results with the cases of `DECIDING`, and `voltage` as a second name for `energy`.

    `housings` keeps what is worked out about the housing from one call to the next, for plans of one dive.
    Nothing is followed beyond `end`: a pack that lasts until then has an endless `endurance_after_surface_h`. All
    other figures are those of `simulate`. Raises as `simulate` does.
    """
    tables, demand, inputs = prepare(dive, board, cell, plan)
    specs = [spec for spec in cases(dive, plan) if spec.name in DECIDING]
    values = np.stack([inputs.corner(spec.corner) for spec in specs])
    runs = arrange(inputs, values, plan, int(dive.pack.parallel), specs)
    known = {} if housings is None else housings
    fans = tuple((name, *np.unique(levels)) for name, levels in demand.levels.items())
    if fans not in known:
        known[fans] = interior_of(dive, cell, plan, demand)
    solved = solve_batch(dive, cell, tables, demand, runs, known[fans], tail=False)
    ends = ends_of(solved)
    traces = traces_of(solved, ends, plan)
    found: dict[str, Case] = {}
    for i, account in enumerate(accounts_of(solved, ends, dive, board, plan)):
        if account.empty_at_s is None:
            account = replace(account, endurance_after_surface_h=math.inf)
        found[specs[i].name] = Case(specs[i].name, inputs.named(values[i]), account, traces[i])
    found["voltage"] = replace(found["energy"], name="voltage")
    worst, worst_case = worst_of({name: found[name].account for name in WORST_CORNERS})
    return Results(found, worst, worst_case)

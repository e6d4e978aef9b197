"""What `schedgen simulate --runs` does: many sampled dives."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from schedgen.commands.common import console, write_json

if TYPE_CHECKING:
    from schedgen.load import LoadedDive


def sampled_dives(loaded: LoadedDive, runs: int, seed: int, as_json: bool) -> int:
    """Sample, and print the chances; says on a terminal that it is at work."""
    from schedgen.report.chances import chance_lines, chance_record
    from schedgen.report.console import Console, Progress
    from schedgen.simulate.chances import chances

    progress = Progress(Console(sys.stderr), "sampling", "dives")
    progress(0, runs)
    found = chances(loaded.dive, loaded.board, loaded.cell, loaded.plan(), runs, seed)
    progress.close()
    if as_json:
        write_json(chance_record(found))
    else:
        out = console()
        out.lines(chance_lines(loaded.plan(), found, out.paint))
    return 0

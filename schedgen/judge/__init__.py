"""Judging: a plan and its simulation to findings. One small function a rule; nothing here prints or reads files.

The rules are loaded on the first call of `judge`, so that reading a dive file can have the table of names
(`schedgen.judge.names`) without them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.judge.finding import Finding, Judgement, Severity, Verdict

if TYPE_CHECKING:
    from schedgen.errors import BlockError
    from schedgen.judge.subject import Parts
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Results

__all__ = ["Finding", "Judgement", "Severity", "Verdict", "judge"]


def judge(
    dive: Parts,
    plan: Plan,
    results: Results | None = None,
    settings: BlockError | bytes | int | None = None,
) -> Judgement:
    """All findings about a dive, its verdict, and what could not be decided.

    `dive` is a loaded dive or anything with .dive .board .cell and .place(dotted path). `results` is what
    `simulate` gave; without it all that needs a simulation stands in `not_checked`. `settings` is the settings
    block, its number of bytes, or the BlockError that encoding raised; without it settings-too-big is not decided.
    """
    from schedgen.judge.judging import judge as decide

    return decide(dive, plan, results, settings)

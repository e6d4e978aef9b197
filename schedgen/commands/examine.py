"""From a loaded dive to everything that is reported about it: plan, simulation, settings block, findings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.errors import BlockError, UsageError

if TYPE_CHECKING:
    from schedgen.load import LoadedDive
    from schedgen.report.check import Subject
    from schedgen.settings import Settings


def examine(loaded: LoadedDive, case: str = "worst") -> Subject:
    """Plan, simulate, encode and judge `loaded`. Raises UsageError when there is no such case."""
    from schedgen.judge import judge
    from schedgen.judge.facts import facts
    from schedgen.report.check import Subject

    plan = loaded.plan()
    results = loaded.simulate()
    if case != "worst" and case not in results.cases:
        names = ", ".join(["worst", *results.cases])
        raise UsageError(f"There is no case {case!r}.", f"choose one of: {names}")
    settings: Settings | None = None
    trouble: BlockError | None = None
    try:
        settings = loaded.settings()
    except BlockError as error:
        trouble = error
    judgement = judge(loaded, plan, results, settings.block if settings else trouble)
    empty = next((finding for finding in judgement.findings if finding.name == "window-empty"), None)
    if empty is not None:
        settings, trouble = None, BlockError(empty.message, empty.fix)
    return Subject(loaded, plan, results, judgement, facts(loaded, plan, results, judgement), settings, trouble)

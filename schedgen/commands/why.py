"""What `schedgen check --why NAME` does: explain a finding."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from schedgen.commands.common import console, write_json

if TYPE_CHECKING:
    from schedgen.fit.edits import Edit
    from schedgen.load import LoadedDive


def _readable(loaded: LoadedDive, text: str, edit: Edit) -> bool:
    """Whether the file would still be a dive file with the edit; one that has to be made by hand counts as such."""
    from schedgen.errors import FileProblems, UsageError
    from schedgen.fit.edits import changed_text
    from schedgen.load import load_text

    try:
        load_text(changed_text(text, [edit], str(loaded.path)), loaded.path)
    except FileProblems:
        return False
    except UsageError:
        return True
    return True


def explain(loaded: LoadedDive, name: str, as_json: bool) -> int:
    """Print what stands behind each finding that NAME means, and what would clear it. 1 where the dive is no-go."""
    from schedgen.files.text import read_text
    from schedgen.fit.clear import clearings
    from schedgen.judge.explain import chosen, explained
    from schedgen.report.console import Console, Progress
    from schedgen.report.why import why_lines, why_record

    judgement = loaded.check()
    records = []
    text = read_text(loaded.path)
    out = console()
    for finding in chosen(judgement, name):
        one = explained(finding, loaded.plan(), loaded.simulate())
        progress = Progress(Console(sys.stderr), f"what would clear {finding.name}", "inputs")
        clear = clearings(loaded, finding, progress, lambda edit: _readable(loaded, text, edit))
        progress.close()
        if as_json:
            records.append(why_record(one, clear))
            continue
        out.lines([*why_lines(one, clear, out.paint), ""])
    if as_json:
        write_json({"verdict": judgement.verdict, "explained": records})
    return 0 if judgement.verdict == "go" else 1

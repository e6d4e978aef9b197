"""The journal of a last dive as a file: written by `debrief --save`, read again without the board.

With it stands what the dive left in its pack, where that is known: what `charge: {after: FILE}` of the next dive reads.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from schedgen.dive.part import Instant, Part
from schedgen.errors import FileProblems, Problem
from schedgen.files.bind import bind
from schedgen.files.fields import Duration, Name, Share, Text, Voltage, Whole
from schedgen.files.tree import read_tree
from schedgen.measured.journal import Journal, Reading
from schedgen.measured.left import Left

_Count = Annotated[int, Whole(0, 65535)]


class _At(Part):
    at: Duration = Field(description="Elapsed", examples=["2 h"])
    volts: Voltage = Field(description="Pack", examples=["11.85 V"])


class _Pack(Part):
    """What the dive left in its pack."""

    cell: Text = Field(description="Its cell", examples=["nmc-21700-5000"])
    series: Annotated[int, Whole(1, 20)] = Field(description="Cells in series", examples=["3"])
    parallel: Annotated[int, Whole(1, 200)] = Field(description="Strings in parallel", examples=["5"])
    charge: Share = Field(description="Charge left, a share of label x health", examples=["41.2 % .. 44.8 %"])
    ended: Instant = Field(description="When that was", examples=["2027-04-21T17:20:00Z"])


class _File(Part):
    """A saved journal."""

    format: Annotated[int, Whole(1, 1)] = Field(description="Version of the file's form", examples=["1"])
    journal: Text = Field(description="Dive code", examples=["7K3QF2"])
    board: Name = Field(description="Board, by its board file", examples=["halyard-4809"])
    name: Text | None = Field(default=None, description="The board's given name")
    state: Text = Field(description="State last journalled", examples=["over"])
    elapsed: Duration = Field(description="Elapsed when last journalled")
    resets: _Count = Field(description="Resets during the dive")
    tries: _Count = Field(description="Release tries begun")
    lowest: Voltage | None = Field(default=None, description="Lowest pack voltage")
    first_firing: Duration | None = Field(default=None, description="Elapsed at the first firing command")
    choice: Annotated[int, Whole(0, 254)] | None = Field(default=None, description="Combination of field changes")
    faults: list[Text] = Field(default=[], description="What was wrong")
    step: Voltage | None = Field(default=None, description="Step in which readings were kept")
    readings: list[_At] = Field(default=[], description="Voltage history")
    pack: _Pack | None = Field(default=None, description="What was left in the pack")


def load_journal(path: str | Path) -> Journal:
    """The journal in the file at `path`. Raises `FileProblems` with every problem, each at its place."""
    said = bind(_File, read_tree(path))[0]
    return Journal(
        board=said.board,
        name=said.name or "",
        code=said.journal,
        state=said.state,
        elapsed_s=round(said.elapsed.nominal),
        resets=said.resets,
        tries=said.tries,
        lowest_v=None if said.lowest is None else said.lowest.nominal,
        first_firing_s=None if said.first_firing is None else round(said.first_firing.nominal),
        choice=said.choice,
        faults=tuple(said.faults),
        step_v=0.0 if said.step is None else said.step.nominal,
        readings=tuple(Reading(round(one.at.nominal), one.volts.nominal) for one in said.readings),
    )


_NEXT_LEFT = "Or write the charge as a share or a rested voltage."
_KINDS = {
    "dive": ("a dive file: it says what was planned", "Name the journal that schedgen debrief --save FILE wrote."),
    "bench": ("a bench record", "Name the journal that schedgen debrief --save FILE wrote."),
}
"""Files that are taken for journals, by the key that tells them."""


def load_left(path: str | Path) -> Left:
    """What the dive of the journal at `path` left in its pack.

    Raises `FileProblems`: those of the journal at their places; without a place (line 0) where the file is missing, is
    no journal, or does not say what was left.
    """
    tree = read_tree(path)
    keys = tree.root.entries
    if "journal" not in keys:
        kinds = [kind for key, kind in _KINDS.items() if key in keys]
        what, step = kinds[0] if kinds else ("no journal of a dive", _KINDS["dive"][1])
        raise _not_there(path, f"{Path(path).name} is {what}.", step)
    said = bind(_File, tree)[0]
    if said.pack is None:
        again = f"schedgen debrief DIVE --journal {path} --save {path}"
        step = f"Run {again}, which works it out or says why not. {_NEXT_LEFT}"
        raise _not_there(path, f"{Path(path).name} does not say what dive {said.journal} left in its pack.", step)
    one = said.pack
    return Left(said.journal, one.cell, one.series, one.parallel, one.charge, one.ended.instant)


def _not_there(path: str | Path, message: str, step: str) -> FileProblems:
    expected = "the journal of the dive before, with a section pack"
    return FileProblems([Problem(str(path), 0, 0, message, expected, "charge: {after: monday-journal.yaml}", step)])


def write_journal(journal: Journal, left: Left | None = None) -> str:
    """The text of the file, which reads back as the same journal and as the same `left`."""
    lines = [
        "# What a board told of its last dive. To look at it: schedgen debrief DIVE --journal THIS FILE",
        "format: 1",
        f'journal: "{journal.code}"',
        f"board: {journal.board}",
    ]
    if journal.name:
        escaped = journal.name.replace("\\", "\\\\").replace('"', '\\"')
        lines.append(f'name: "{escaped}"')
    lines += [f"state: {journal.state}", f"elapsed: {journal.elapsed_s} s", f"resets: {journal.resets}"]
    lines.append(f"tries: {journal.tries}")
    for key, text in (
        ("lowest", None if journal.lowest_v is None else f"{journal.lowest_v:.3f} V"),
        ("first_firing", None if journal.first_firing_s is None else f"{journal.first_firing_s} s"),
        ("choice", None if journal.choice is None else str(journal.choice)),
        ("step", f"{journal.step_v:.3f} V" if journal.step_v else None),
    ):
        if text is not None:
            lines.append(f"{key}: {text}")
    if journal.faults:
        lines += ["faults:", *(f'  - "{fault}"' for fault in journal.faults)]
    if journal.readings:
        lines.append("readings:")
        lines += [f"  - {{at: {one.at_s} s, volts: {one.volts:.3f} V}}" for one in journal.readings]
    if left is not None:
        lines += [
            "# Left in the pack when last journalled. For the next dive without charging: charge: {after: THIS FILE}",
            "pack:",
            f'  cell: "{left.cell}"',
            f"  series: {left.series}",
            f"  parallel: {left.parallel}",
            f"  charge: {left.charge}",
            f"  ended: {left.ended.isoformat().replace('+00:00', 'Z')}",
        ]
    return "\n".join(lines) + "\n"

"""The journal of a last dive as a file: written by `debrief --save`, read again without the board."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from schedgen.dive.part import Part
from schedgen.files.bind import bind
from schedgen.files.fields import Duration, Name, Text, Voltage, Whole
from schedgen.files.tree import read_tree
from schedgen.measured.journal import Journal, Reading

_Count = Annotated[int, Whole(0, 65535)]


class _At(Part):
    at: Duration = Field(description="Elapsed", examples=["2 h"])
    volts: Voltage = Field(description="Pack", examples=["11.85 V"])


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


def write_journal(journal: Journal) -> str:
    """The text of the file, which reads back as the same journal."""
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
    return "\n".join(lines) + "\n"

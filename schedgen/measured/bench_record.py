"""A bench record as a file: what a bench test found, output by output. Reading, writing, and its use in a dive.

A measured power (from a current that was read off a meter) takes the place of a load's guessed power when the dive file
says `bench: FILE`. What the file does not guess stays as it is written; `disagreements` says where the two differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from schedgen.dive.part import Part
from schedgen.files import units
from schedgen.files.bind import bind
from schedgen.files.fields import Current, Duration, Name, Of, Power, Resistance, Share, Text, Voltage, Whole
from schedgen.files.quantity import Quantity
from schedgen.files.tree import read_tree
from schedgen.measured.connection import Verdict

if TYPE_CHECKING:
    from schedgen.dive.model import Dive

FORMAT = 1
_Difference = Annotated[Quantity, Of(units.VOLTAGE, example="44 mV ± 2 mV")]


class BenchOutput(Part):
    """What was found at one output."""

    load: Text | None = Field(default=None, description="What is wired to it", examples=["camera"])
    verdict: Literal["connected", "not connected", "cannot tell", "not tried"] = Field(description="What was found")
    why: Text | None = Field(default=None, description="Why, where that is not plain")
    level: Share | None = Field(default=None, description="Level of the pulse", examples=["100 %"])
    pulse: Duration | None = Field(default=None, description="Length of the pulse", examples=["2 s"])
    before: Voltage | None = Field(default=None, description="Pack before", examples=["12.0012 V"])
    during: Voltage | None = Field(default=None, description="Pack during the pulse", examples=["11.957 V"])
    after: Voltage | None = Field(default=None, description="Pack after", examples=["12.0004 V"])
    sag: _Difference | None = Field(default=None, description="The sag, and three standard errors of it")
    expected: _Difference | None = Field(default=None, description="The sag that the model expects")
    current: Current | None = Field(default=None, description="Read off a meter in the pack's lead")
    resistance: Resistance | None = Field(default=None, description="Pack and wiring: sag over current")
    power: Power | None = Field(default=None, description="Power of the load itself, at full level")


class BenchRecord(Part):
    """A bench record."""

    format: Annotated[int, Whole(1, 1)] = Field(description="Version of the file's form", examples=["1"])
    bench: Text = Field(description="Name of the dive", examples=["Gannet Hole, bait frame 2"])
    board: Name = Field(description="Board, by its board file", examples=["halyard-4809"])
    name: Text | None = Field(default=None, description="The board's given name")
    code: Text | None = Field(default=None, description="Dive code on the board")
    taken: Text = Field(description="When, UTC", examples=["2027-04-18T15:20:00Z"])
    temperature: Annotated[Quantity, Of(units.TEMPERATURE)] = Field(description="Of the pack", examples=["18 degC"])
    outputs: dict[Name, BenchOutput] = Field(description="By output of the board")


def load_bench_record(path: str | Path) -> BenchRecord:
    """The bench record in the file at `path`. Raises `FileProblems` with every problem, each at its place."""
    return bind(BenchRecord, read_tree(path))[0]


def measured_powers(record: BenchRecord) -> Mapping[str, Quantity]:
    """Measured power of each load, W at its own rail, from meter readings."""
    return {one.load: one.power for one in record.outputs.values() if one.load is not None and one.power is not None}


def with_bench(dive: Dive, record: BenchRecord) -> Dive:
    """The dive with guessed powers of loads replaced by measured ones."""
    loads = dict(dive.loads)
    for name, power in measured_powers(record).items():
        if name in loads and loads[name].power.guessed:
            loads[name] = loads[name].model_copy(update={"power": power})
    return dive.model_copy(update={"loads": loads})


def replaced(dive: Dive, record: BenchRecord) -> tuple[str, ...]:
    """Names of the loads of `dive` (as written) whose guessed power the record replaces."""
    return tuple(name for name in measured_powers(record) if name in dive.loads and dive.loads[name].power.guessed)


def disagreements(dive: Dive, record: BenchRecord) -> tuple[str, ...]:
    """A sentence for each load whose power in the file, not guessed, and as measured do not overlap."""
    said = []
    for name, power in measured_powers(record).items():
        load = dive.loads.get(name)
        if load is None or load.power.guessed:
            continue
        if power.high < load.power.low or power.low > load.power.high:
            said.append(f"{name}: the file says {load.power}, the bench record {power}")
    return tuple(said)


def write_bench_record(record: BenchRecord) -> str:
    """The text of the file, which reads back as the same record."""
    lines = [
        "# A bench record. To use it, write into the dive file: bench: THIS FILE",
        f"format: {FORMAT}",
        f"bench: {_quoted(record.bench)}",
        f"board: {record.board}",
    ]
    for key in ("name", "code"):
        if (value := getattr(record, key)) is not None:
            lines.append(f"{key}: {_quoted(value)}")
    lines += [f"taken: {_quoted(record.taken)}", f"temperature: {record.temperature}", "outputs:"]
    for output, one in record.outputs.items():
        lines.append(f"  {output}:")
        for key in BenchOutput.model_fields:
            value = getattr(one, key)
            if value is not None:
                lines.append(f"    {key}: {_quoted(value) if isinstance(value, str) else value}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """A YAML scalar in double quotes, so that no text becomes anything else."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
    return f'"{escaped}"'


def millivolts(value: float, half: float) -> Quantity:
    """A small voltage with its half-width as the language writes it: `44.5 mV ± 1.2 mV`."""
    text = f"{value * 1000:.2f} mV ± {half * 1000:.2f} mV"
    return Quantity(value - half, value, value + half, "tolerance", text, "V")


def plain(value: float, unit: str, digits: int) -> Quantity:
    """An exact value as the language writes it."""
    return Quantity(value, value, value, "exact", f"{value:.{digits}f} {unit}", unit)


__all__ = [
    "BenchOutput", "BenchRecord", "Verdict", "disagreements", "load_bench_record", "measured_powers", "millivolts",
    "plain", "replaced", "with_bench", "write_bench_record",
]  # fmt: skip

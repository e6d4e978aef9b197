"""A bench record as a file: what a bench test found, output by output. Reading, writing, and its use in a dive.

A measured power (from a current that was read off a meter) takes the place of a load's guessed power when the dive file
says `bench: FILE`. What the file does not guess stays as it is written; `differences` says where the two disagree.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
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

    @property
    def day(self) -> str:
        """The day on which it was taken, `2027-04-18`."""
        return self.taken[:10]


def load_bench_record(path: str | Path) -> BenchRecord:
    """The bench record in the file at `path`. Raises `FileProblems` with every problem, each at its place."""
    return bind(BenchRecord, read_tree(path))[0]


@dataclass(frozen=True, slots=True)
class Measured:
    """A power of a load as the dive file says it and as it was measured with a meter, W at its own rail."""

    load: str
    key: Literal["power", "surge"]
    said: Quantity
    power: Quantity

    @property
    def path(self) -> str:
        """Where it stands in the dive file."""
        return f"loads.{self.load}.{'power' if self.key == 'power' else 'surge.power'}"


def measured_of(dive: Dive, record: BenchRecord) -> Iterator[Measured]:
    """For each load of the dive whose current was read off a meter: its power, or that of its surge.

    A pulse no longer than the load's surge shows its surge and not its power.
    """
    for one in record.outputs.values():
        load = dive.loads.get(one.load) if one.load is not None else None
        if one.load is None or load is None or one.power is None:
            continue
        if load.surge is not None and one.pulse is not None and one.pulse.nominal <= load.surge.for_.high:
            yield Measured(one.load, "surge", load.surge.power, one.power)
        else:
            yield Measured(one.load, "power", load.power, one.power)


def measured_powers(dive: Dive, record: BenchRecord) -> Mapping[str, Quantity]:
    """Measured power of each load of the dive, W at its own rail, from meter readings; surges are left out."""
    return {one.load: one.power for one in measured_of(dive, record) if one.key == "power"}


def with_bench(dive: Dive, record: BenchRecord) -> Dive:
    """The dive with guessed powers of loads, and of their surges, replaced by measured ones."""
    loads = dict(dive.loads)
    for one in measured_of(dive, record):
        if one.said.guessed:
            load, changed = loads[one.load], {"power": one.power}
            if one.key == "surge" and load.surge is not None:
                load = load.model_copy(update={"surge": load.surge.model_copy(update=changed)})
            else:
                load = load.model_copy(update=changed)
            loads[one.load] = load
    return dive.model_copy(update={"loads": loads})


def replaced(dive: Dive, record: BenchRecord) -> tuple[tuple[str, Quantity], ...]:
    """(dotted path, measured power) for each guess of the dive as written that the record replaces."""
    return tuple((one.path, one.power) for one in measured_of(dive, record) if one.said.guessed)


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
    "BenchOutput", "BenchRecord", "Measured", "Verdict", "load_bench_record", "measured_of", "measured_powers",
    "millivolts", "plain", "replaced", "with_bench", "write_bench_record",
]  # fmt: skip

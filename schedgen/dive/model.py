"""The pydantic model of a dive file. Attribute names are the keys of the file; `for`, `from` and `with` get a `_`.

Quantities are `Quantity` objects in base units. What was left out is None (or the default that the manual
names, where it is certain); `schedgen.dive.defaults` says what is assumed for each.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from schedgen.dive.loads import (
    Actuator,
    FieldChange,
    Line,
    Load,
    PowerAt,
    Recovery,
    Release,
    Role,
    StopRule,
    Surge,
    Tested,
    Wire,
    role_of,
)
from schedgen.dive.part import Instant, Part, SomeTime
from schedgen.dive.times import LONGEST_S
from schedgen.dive.vehicle import (
    After,
    Air,
    Ballast,
    Centres,
    Drag,
    Float,
    Housing,
    Pack,
    PackLayout,
    Protection,
    RestVoltage,
    Site,
    Supplies,
    Vehicle,
    WaterRow,
    Weighed,
)
from schedgen.files import units
from schedgen.files.fields import Name, Of, Reads, Text
from schedgen.files.numerals import count
from schedgen.files.quantity import Quantity
from schedgen.files.trouble import Misread, Trouble

FORMAT = 1
"""The one version of the file's form that this program reads."""


def read_format(text: str) -> int:
    """The number of the file's form. Raises `Misread` unless it is one that this program knows."""
    value = count(text, example=str(FORMAT))
    if value != FORMAT:
        raise Misread(
            Trouble(
                f"This program does not know format {value}.", f"format: {FORMAT}", f"{FORMAT}",
                f"Write {FORMAT}, or use a newer version of the program.",
            )
        )  # fmt: skip
    return value


Format = Annotated[int, Reads(read_format, int, "1", "1", {"enum": [FORMAT, str(FORMAT)]})]


class Start(Part):
    """What starts the controller's clock."""

    trigger: Literal["water", "button", "command"] = Field(description="What starts the controller's clock")
    planned: Instant = Field(description="When that is expected", examples=["2027-04-19T06:40:00+01:00"])
    deck_time: Annotated[Quantity, Of(units.DURATION, least=0, most=LONGEST_S)] | None = Field(
        default=None,
        description="Trigger to splash. Needed with button and command, not used with water",
        examples=["20 min .. 2 h 30 min"],
    )
    armed_for: SomeTime | None = Field(default=None, description="How long it may stay armed", examples=["12 h"])

    @model_validator(mode="after")
    def _rules(self) -> Start:
        if self.trigger != "water" and self.deck_time is None:
            raise Misread(
                Trouble(
                    f"deck_time is missing: with trigger {self.trigger} the fall begins some time after the start.",
                    "trigger to splash, as a range", "deck_time: 20 min .. 2 h 30 min", "Add the key deck_time.",
                )
            )  # fmt: skip
        if self.trigger == "water" and self.deck_time is not None:
            raise Misread(
                Trouble(
                    "deck_time is not used with trigger water: the clock starts at the splash.", "no deck_time", "",
                    "Delete deck_time, or write another trigger.", ("deck_time",), True,
                )
            )  # fmt: skip
        return self


class Dive(Part):
    """A dive file."""

    format: Format = Field(description="Version of the file's form", examples=["1"])
    dive: Text = Field(description="Name of the dive", examples=["Gannet Hole, bait frame 2"])
    notes: Text | None = Field(default=None, description="Anything")
    board: Text = Field(description="A board of the library, or a path", examples=["halyard-4809"])
    start: Start = Field(
        description="What starts the controller's clock, and when", examples=["{trigger: water, planned: ...}"]
    )
    site: Site = Field(description="Where the dive is, and the water there", examples=["{latitude: 57.31, ...}"])
    vehicle: Vehicle = Field(description="What falls and rises", examples=["{mass: 46.0 kg, ...}"])
    pack: Pack = Field(description="The battery", examples=["{cell: nmc-21700-5000, series: 3, parallel: 5}"])
    loads: dict[Name, Load] = Field(
        description="What the outputs switch, by name",
        min_length=1,
        examples=["{camera: {wired_to: OUT1, power: 7 W}}"],
    )
    schedule: list[Line] = Field(
        description="When each load is on", min_length=1, examples=["[{load: camera, from: splash, until: release}]"]
    )
    release: Release = Field(
        description="How the ballast goes", examples=["{primary: ..., not_before: start + 3 h, latest: start + 14 h}"]
    )
    recovery: Recovery = Field(description="Finding it again", examples=["{wait: 48 h}"])
    field_changes: list[FieldChange] = Field(
        default=[], description="What the two buttons may change, on deck; at most two", max_length=2
    )
    accept: dict[str, Text] = Field(
        default={}, description="Findings that are taken on, each with a reason; NAME or NAME@load",
        examples=["{surfacing-in-the-dark: the boat stays}"],
    )  # fmt: skip
    bench: Text | None = Field(
        default=None, description="A bench record that replaces guessed values", examples=["bench.yaml"]
    )

    @model_validator(mode="after")
    def _names(self) -> Dive:
        for name, load in self.loads.items():
            load.called(name)
        return self

    def role(self, load: str) -> Role:
        """The role of a load, from its name when the file gives none. Raises KeyError for an unknown load."""
        return self.loads[load].resolved_role


__all__ = [
    "FORMAT",
    "Actuator",
    "After",
    "Air",
    "Ballast",
    "Centres",
    "Dive",
    "Drag",
    "FieldChange",
    "Float",
    "Housing",
    "Line",
    "Load",
    "Pack",
    "PackLayout",
    "PowerAt",
    "Protection",
    "Recovery",
    "Release",
    "RestVoltage",
    "Role",
    "Site",
    "Start",
    "StopRule",
    "Supplies",
    "Surge",
    "Tested",
    "Vehicle",
    "WaterRow",
    "Weighed",
    "Wire",
    "role_of",
]

"""The sections `site`, `vehicle` and `pack` of a dive file."""

from __future__ import annotations

from typing import Annotated, Any, TypeVar

from pydantic import Discriminator, Field, Tag, model_validator

from schedgen.dive.part import (
    AirTemperature,
    Instant,
    Part,
    Salinity,
    Size,
    SomeCurrent,
    SomeTime,
    WaterDepth,
    WaterTemperature,
)
from schedgen.dive.vehicle_rules import pack_troubles, vehicle_troubles, water_troubles
from schedgen.files import units
from schedgen.files.fields import (
    Area,
    Latitude,
    Length,
    Longitude,
    Mass,
    Of,
    Share,
    SignedLength,
    SignedMass,
    Speed,
    Text,
    Voltage,
    Volume,
    Whole,
    YesNo,
)
from schedgen.files.quantity import Quantity
from schedgen.files.trouble import Misread, Trouble

Checked = TypeVar("Checked", bound=Part)

_DEPTH = Annotated[Quantity, Of(units.LENGTH, above=0, most=11_000, example="1450 m .. 1510 m")]
_RATING = Annotated[Quantity, Of(units.LENGTH, above=0, example="2000 m")]
_SHRINKS = Annotated[
    Quantity,
    Of(
        units.SHARE,
        least=0,
        most=0.05,
        because="floats that lose more are outside the linear law",
        example="1.2 % ± 0.3 %",
    ),
]
_DRAG = Annotated[Quantity, Of(units.NUMBER, above=0, most=10, example="1.0 ± 20 %")]
_HEALTH = Annotated[Quantity, Of(units.SHARE, above=0, most=1, example="94 % ± 3 %")]
_RESERVE = Annotated[Quantity, Of(units.SHARE, least=0, below=1, example="20 %")]
_BALLAST_DENSITY = Annotated[
    Quantity,
    Of(
        units.DENSITY,
        least=1100,
        most=23_000,
        because="ballast must be heavier than the densest sea water, about 1075 at 11 000 m",
        example="7200 kg/m3",
    ),
]
_RESTED = Annotated[
    Quantity,
    Of(units.DURATION, least=1800, because="a pack rested for less says too little about its charge", example="2 h"),
]
_CELL_VOLTAGE = Annotated[
    Quantity, Of(units.VOLTAGE, least=1, most=5, because="volts for each cell, not for the pack", example="3.1 V")
]


class WaterRow(Part):
    """One row of the water profile; the profile is linear between rows and held below the last."""

    depth: WaterDepth = Field(description="Depth of the row below the surface", examples=["200 m"])
    temperature: WaterTemperature = Field(description="Temperature of the water there", examples=["9.8 degC"])
    salinity: Salinity = Field(description="Practical salinity there, a bare number; 0 in fresh water")


class Air(Part):
    """The air on deck."""

    temperature: AirTemperature = Field(description="Temperature of the air on deck")
    sun: YesNo = Field(default=False, description="Whether the vehicle may stand in the sun")


class Site(Part):
    """Where the dive is, and the water there."""

    latitude: Latitude = Field(description="Latitude in decimal degrees, north positive", examples=["57.31"])
    longitude: Longitude = Field(description="Longitude in decimal degrees, east positive", examples=["-9.84"])
    depth: _DEPTH = Field(description="Depth of the bottom")
    current: Speed | None = Field(
        default=None, description="Surface drift while waiting. Left out: drift is not computed", examples=["0.2 m/s"]
    )
    water: list[WaterRow] = Field(
        description="The water from the top down, one row or more",
        min_length=1,
        examples=["[{depth: 0 m, temperature: 11.5 degC, salinity: 35.2}]"],
    )
    air: Air | None = Field(default=None, description="The air on deck", examples=["{temperature: 16 degC, sun: yes}"])

    @model_validator(mode="after")
    def _rules(self) -> Site:
        return _checked(self, water_troubles(self))


class Weighed(Part):
    """Weights in water instead of a volume."""

    without_ballast: SignedMass = Field(
        description="What the scale shows in water without ballast, negative when it floats",
        examples=["-5.5 kg ± 0.3 kg"],
    )
    with_ballast: SignedMass = Field(
        description="What the scale shows in water with ballast", examples=["8.3 kg ± 0.3 kg"]
    )
    salinity: Salinity = Field(description="Practical salinity of that water", examples=["0"])
    temperature: WaterTemperature = Field(description="Temperature of that water", examples=["18 degC"])


class Ballast(Part):
    """The weight that is left on the bottom."""

    mass: Mass = Field(description="Mass of the ballast in air", examples=["16 kg"])
    density: _BALLAST_DENSITY = Field(
        description="Density of the material: cast iron about 7200, steel 7850, lead 11340, concrete 2300 kg/m3"
    )


class Drag(Part):
    """Drag coefficients referred to the frontal area."""

    down: _DRAG = Field(description="Drag coefficient while sinking")
    up: _DRAG = Field(description="Drag coefficient while rising", examples=["0.9 ± 20 %"])


class Housing(Part):
    """The pressure housing that holds the pack."""

    outer_diameter: Annotated[Quantity, Of(units.LENGTH, above=0, most=2, example="180 mm")] = Field(
        description="Outer diameter of the housing"
    )
    length: Annotated[Quantity, Of(units.LENGTH, above=0, most=10)] = Field(
        description="Outer length of the housing", examples=["620 mm"]
    )
    wall: Size = Field(description="Thickness of the wall", examples=["12 mm"])
    material: Text = Field(description="Material of the wall", examples=["aluminium"])


class Float(Part):
    """One float or glass sphere."""

    volume: Volume = Field(description="Volume that the float displaces", examples=["18 L"])
    mass: Mass = Field(description="Mass of the float in air", examples=["9 kg"])
    rated_depth: _RATING = Field(description="Depth that the float is rated for")
    shrinks: _SHRINKS | None = Field(
        default=None, description="Share of its volume that it loses by its rated depth", examples=["1.2 % ± 0.3 %"]
    )


class Centres(Part):
    """Heights of the two centres above the same mark."""

    of_mass: SignedLength = Field(description="Height of the centre of mass, without ballast", examples=["31 cm"])
    of_volume: SignedLength = Field(description="Height of the centre of the displaced volume", examples=["42 cm"])


class Vehicle(Part):
    """What falls and rises."""

    mass: Mass = Field(description="Mass in air, without ballast", examples=["46.0 kg ± 0.2 kg"])
    volume: Volume | None = Field(
        default=None, description="Displaced volume, without ballast", examples=["51.5 L ± 0.2 L"]
    )
    weighed_in_water: Weighed | None = Field(
        default=None,
        description="Weights in water, instead of volume",
        examples=["{without_ballast: -5.5 kg, with_ballast: 8.3 kg, salinity: 0, temperature: 18 degC}"],
    )
    ballast: Ballast = Field(
        description="The ballast that is left behind", examples=["{mass: 16 kg, density: 7200 kg/m3}"]
    )
    frontal_area: Area = Field(description="The shadow seen from straight below, frame included", examples=["0.16 m2"])
    drag_coefficient: Drag | None = Field(
        default=None,
        description="Drag coefficients down and up. Left out: 0.6 .. 1.5, listed as guessed",
        examples=["{down: 1.0 ± 20 %, up: 0.9 ± 20 %}"],
    )
    rated_depth: _RATING = Field(description="Depth rating of the weakest part")
    housing: Housing | None = Field(
        default=None,
        description="The housing that holds the pack",
        examples=["{outer_diameter: 180 mm, length: 620 mm, wall: 12 mm, material: aluminium}"],
    )
    antenna_height: Length | None = Field(
        default=None, description="Height above the waterline that the locator needs", examples=["35 cm"]
    )
    floats: list[Float] = Field(default=[], description="The floats one by one, to see what losing one does")
    centres: Centres | None = Field(default=None, description="Heights of the centres of mass and of volume")

    @model_validator(mode="after")
    def _rules(self) -> Vehicle:
        return _checked(self, vehicle_troubles(self))


class RestVoltage(Part):
    """The charge, from the voltage of the rested pack."""

    rest_voltage: Voltage = Field(description="Voltage of the whole pack at rest", examples=["12.31 V ± 0.02 V"])
    rested: _RESTED = Field(description="How long it had rested", examples=["2 h"])
    temperature: AirTemperature = Field(description="Temperature of the pack then", examples=["15 degC"])


class After(Part):
    """The charge that an earlier dive left."""

    after: Text = Field(
        description="Journal of the dive before, as debrief --save writes it", examples=["monday-journal.yaml"]
    )


class Protection(Part):
    """The pack's protection circuit."""

    trip_current: SomeCurrent | None = Field(default=None, description="Current of the pack at which it trips")
    low_cut: _CELL_VOLTAGE | None = Field(
        default=None, description="Voltage of a cell at which it cuts off", examples=["2.8 V"]
    )


class Supplies(Part):
    """A power bank's output, in place of the bare pack."""

    voltage: Voltage = Field(description="Voltage of the output", examples=["5 V"])
    limit: SomeCurrent = Field(description="Most current of the output", examples=["2 A"])
    efficiency: Annotated[Quantity, Of(units.SHARE, above=0, most=1)] = Field(
        description="Efficiency of its converter", examples=["80 % .. 90 %"]
    )
    off_below: SomeCurrent | None = Field(
        default=None, description="Current below which it turns itself off", examples=["60 mA"]
    )
    off_after: SomeTime | None = Field(default=None, description="How long below before it does", examples=["30 s"])


class PackLayout(Part):
    """Room for the cells, standing in one layer."""

    bore: Size = Field(description="Diameter of the bore that they stand in", examples=["150 mm"])
    spacing: Length = Field(description="Gap between neighbouring cells", examples=["1 mm"])


def _charge_form(value: Any) -> str:
    if isinstance(value, dict):
        return "(after)" if "after" in value or (len(value) == 1 and "aft" in str(next(iter(value)))) else "(rest)"
    return "(rest)" if isinstance(value, RestVoltage) else "(after)" if isinstance(value, After) else "(share)"


_Charge = Annotated[
    Annotated[Share, Tag("(share)")] | Annotated[RestVoltage, Tag("(rest)")] | Annotated[After, Tag("(after)")],
    Discriminator(_charge_form),
]
_Cell = Annotated[
    Annotated[Text, Tag("(name)")] | Annotated[dict[str, Any], Tag("(mapping)")],
    Discriminator(lambda value: "(mapping)" if isinstance(value, dict) else "(name)"),
]


class Pack(Part):
    """The battery."""

    cell: _Cell = Field(
        description="A cell of the library, a file, or a mapping as schedgen library prints it",
        examples=["nmc-21700-5000"],
    )
    series: Annotated[int, Whole(1, 20)] = Field(description="Cells in series", examples=["3"])
    parallel: Annotated[int, Whole(1, 200)] = Field(description="Strings in parallel", examples=["5"])
    charge: _Charge | None = Field(
        default=None,
        description="Charge at start: a share, a rested voltage, or what another dive left. Left out: 95 %",
        examples=["98 %"],
    )
    health: _HEALTH | None = Field(
        default=None, description="Capacity left as a share of the label. Left out: 60 % .. 80 %, guessed"
    )
    reserve: _RESERVE | None = Field(default=None, description="What must be unspent at the end. Left out: 20 %")
    protection: Protection | None = Field(
        default=None, description="The protection circuit", examples=["{trip_current: 20 A, low_cut: 2.8 V}"]
    )
    shed: _CELL_VOLTAGE | None = Field(
        default=None, description="Voltage of a cell below which only beacon, locator and release stay on"
    )
    release_below: _CELL_VOLTAGE | None = Field(
        default=None, description="Voltage of a cell below which the release is asked for", examples=["2.95 V"]
    )
    supplies: Supplies | None = Field(default=None, description="The output of a power bank")
    fuse: SomeCurrent | None = Field(default=None, description="The fuse of the pack", examples=["15 A"])
    charged: Instant | None = Field(default=None, description="When it was charged, for self-discharge")
    layout: PackLayout | None = Field(default=None, description="Room for the cells")

    @model_validator(mode="after")
    def _rules(self) -> Pack:
        return _checked(self, pack_troubles(self))


def _checked(part: Checked, troubles: list[Trouble]) -> Checked:
    if troubles:
        raise Misread(*troubles)
    return part


__all__ = [
    "After", "Air", "Ballast", "Centres", "Drag", "Float", "Housing", "Pack", "PackLayout", "Protection", "RestVoltage",
    "Site", "Supplies", "Vehicle", "WaterRow", "Weighed",
]  # fmt: skip

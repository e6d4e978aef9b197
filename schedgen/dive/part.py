"""What every section of a dive file shares: a frozen pydantic model that refuses unknown keys."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict

from schedgen.dive.times import Between, Planned, When, parse_between, parse_planned, parse_when
from schedgen.files import units
from schedgen.files.fields import Of, Reads
from schedgen.files.quantity import Quantity

DEEPEST_M = 11_000
"""No sea floor lies deeper (Challenger Deep, about 10 935 m)."""
SALTIEST = 42
"""Upper end of the practical salinity scale 1978."""


class Part(BaseModel):
    """A section: immutable, no unknown keys."""

    model_config = ConfigDict(extra="forbid", frozen=True)


Moment = Annotated[
    When,
    Reads(parse_when, When, "an event, sunset or sunrise, plus or minus a duration; or an instant", "bottom + 40 min"),
]
Span = Annotated[Between, Reads(parse_between, Between, "two times with two dots between", "splash .. surface")]
Instant = Annotated[
    Planned,
    Reads(parse_planned, Planned, "an instant: ISO 8601 with an offset or Z", "2027-04-19T06:40:00+01:00"),
]
Salinity = Annotated[
    Quantity,
    Of(units.NUMBER, least=0, most=SALTIEST, because="practical salinity; 0 is fresh water", example="35.1"),
]
WaterDepth = Annotated[Quantity, Of(units.LENGTH, least=0, most=DEEPEST_M)]
WaterTemperature = Annotated[
    Quantity, Of(units.TEMPERATURE, least=-2.5, most=40, because="what liquid sea water is", example="8 degC")
]
AirTemperature = Annotated[Quantity, Of(units.TEMPERATURE, least=-40, most=60, example="16 degC")]
SomeTime = Annotated[Quantity, Of(units.DURATION, above=0)]
Size = Annotated[Quantity, Of(units.LENGTH, above=0, example="180 mm")]
SomePower = Annotated[Quantity, Of(units.POWER, above=0)]
SomeCurrent = Annotated[Quantity, Of(units.CURRENT, above=0, example="20 A")]
"""Above zero where zero makes no sense."""

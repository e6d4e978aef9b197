"""The sections `loads`, `schedule`, `release`, `recovery` and `field_changes` of a dive file."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr, model_validator

from schedgen.dive.line_rules import actuator_troubles, change_troubles, line_troubles, load_troubles
from schedgen.dive.part import (
    Moment,
    Part,
    Salinity,
    Size,
    SomePower,
    SomeTime,
    Span,
    WaterTemperature,
)
from schedgen.dive.times import LONGEST_S
from schedgen.files import units
from schedgen.files.fields import (
    ByteRate,
    Data,
    Duration,
    Integer,
    Name,
    Of,
    Power,
    Rate,
    Reads,
    Temperature,
    Text,
    Voltage,
    Whole,
    YesNo,
    read_name,
)
from schedgen.files.quantity import Quantity, parse_duration, write_duration
from schedgen.files.trouble import Misread, Trouble, did_you_mean, nearest, shown

Role = Literal["camera", "light", "fan", "beacon", "locator", "other"]
ROLE_WORDS: dict[Role, tuple[str, ...]] = {
    "camera": ("camera", "cam", "video", "stills", "recorder"),
    "light": ("light", "lamp", "led"),
    "fan": ("fan", "blower"),
    "beacon": ("beacon", "strobe", "flash"),
    "locator": ("locator", "radio", "satellite", "gps", "ais", "tracker"),
}
"""Words in a load's name that give it its role when the file gives none; the first that fits, from the top."""


class Level(Of):
    """Annotation of a level: an exact share of on-time in whole percent, 1 % to 100 %."""

    def __init__(self) -> None:
        super().__init__(
            units.SHARE, least=0.01, most=1, exact=True, because="a level is a share of on-time", example="70 %"
        )
        self.expected = "a whole percent, 1 % to 100 %"

    def _parse(self, text: str) -> Quantity:
        level = super()._parse(text)
        percent = level.nominal * 100
        if abs(percent - round(percent)) > 1e-9:
            near = f"{round(percent)} %"
            raise Misread(Trouble(f"{shown(text)} is not a whole percent.", self.expected, "70 %", f"Write {near}."))
        return level


class ExactTime(Of):
    """Annotation of a duration that becomes one number of the controller: exact, and in whole seconds.

    `parts` allows parts of a second, for flash patterns.
    """

    def __init__(
        self, example: str, *, above: float | None = None, most: float = LONGEST_S, parts: bool = False
    ) -> None:
        self._parts = parts
        why = "it becomes one number of the controller"
        least = 0 if above is None else None
        super().__init__(units.DURATION, above=above, least=least, most=most, exact=True, because=why, example=example)

    def _parse(self, text: str) -> Quantity:
        value = super()._parse(text)
        if not self._parts and value.nominal % 1:
            up = write_duration(float(int(value.nominal) + 1))
            raise Misread(Trouble(
                f"{shown(text)} has a part of a second; only flash patterns have that.", "whole seconds", self.example,
                f"Write {up}.",
            ))  # fmt: skip
        return value


LONGEST_TRY_S = 86_400
"""A try, or a pause between two, of more than a day is a slip of the pen: no release works so."""
_LEVEL = Annotated[Quantity, Level()]
_PERIOD = Annotated[Quantity, ExactTime("30 min", above=0, parts=True)]
_MARGIN = Annotated[Quantity, ExactTime("4 min")]
_FIRING = Annotated[Quantity, ExactTime("8 min", above=0, most=LONGEST_TRY_S)]
_PAUSE = Annotated[Quantity, ExactTime("5 min", most=LONGEST_TRY_S)]
_STEP = Annotated[Quantity, ExactTime("30 min", above=0)]
_STOP_EXPECTED = "an output that is pulsed, after DURATION, or on power loss"


def role_of(name: str) -> Role:
    """The role that a load's name stands for; "other" when it says nothing."""
    words = re.split(r"[^a-z]+", name.lower())
    for role, starts in ROLE_WORDS.items():
        if any(word in (start, start + "s") for word in words for start in starts):
            return role
    flat = "".join(words)
    for role, starts in ROLE_WORDS.items():
        if any(start in flat for start in starts if len(start) > 4):
            return role
    return "other"


@dataclass(frozen=True, slots=True)
class StopRule:
    """How recording ends: a pulse on `output`, by itself `after_s` seconds, or when power goes."""

    kind: Literal["output", "after", "power-loss"]
    output: str | None = None
    after_s: float | None = None
    text: str = ""


def parse_stop(text: str) -> StopRule:
    """`OUT3`, `after 15 min` or `on power loss`. Raises `Misread`."""
    stripped = " ".join(text.split())
    if stripped == "on power loss":
        return StopRule("power-loss", text=stripped)
    if stripped.startswith("after "):
        seconds = parse_duration(stripped[6:])
        if seconds <= 0:
            raise _stop_misread(f"{shown(stripped)}: the duration must be above 0 s.", "Write the file length.")
        return StopRule("after", after_s=seconds, text=stripped)
    if stripped.lower() in ("on", "off", "yes", "no", "true", "false", "after") or " " in stripped or not stripped:
        guess = (
            did_you_mean(stripped, ["on power loss", "after 15 min"]) if nearest(stripped, ["on power loss"]) else ""
        )
        raise _stop_misread(
            f"{shown(stripped)} does not say how recording ends. {guess}".strip(), "Write one of the three."
        )
    return StopRule("output", output=read_name(stripped), text=stripped)


def _stop_misread(message: str, step: str) -> Misread:
    return Misread(Trouble(message, _STOP_EXPECTED, "after 15 min", step))


class Surge(Part):
    """What a load takes while it starts."""

    power: SomePower = Field(description="Total power while starting", examples=["12 W"])
    for_: SomeTime = Field(alias="for", description="How long starting takes", examples=["4 s"])


class PowerAt(Part):
    """A measured power at a level."""

    level: _LEVEL = Field(description="The level")
    power: Power = Field(description="The power measured there", examples=["15 W"])


class Load(Part):
    """Something that an output switches."""

    wired_to: Name = Field(description="The board's output that it is wired to", examples=["OUT1"])
    count: Annotated[int, Whole(1, 100)] = Field(
        default=1, description="Several alike on one output; power is for all, bitrate and card of each"
    )
    power: Power = Field(description="Power of all of them while on", examples=["7.4 W ± 5 %"])
    surge: Surge | None = Field(
        default=None, description="What they take while starting", examples=["{power: 12 W, for: 4 s}"]
    )
    ready_after: Duration | None = Field(default=None, description="Power on until it records", examples=["22 s"])
    close_before_off: Duration | None = Field(
        default=None, description="From stopping until power may go", examples=["8 s"]
    )
    stop: Annotated[StopRule, Reads(parse_stop, StopRule, _STOP_EXPECTED, "after 15 min")] | None = Field(
        default=None, description="How recording ends. Left out: not known"
    )
    bitrate: Rate | None = Field(default=None, description="Data rate of each", examples=["60 Mbit/s"])
    card: Data | None = Field(default=None, description="Memory card of each", examples=["256 GB"])
    card_speed: ByteRate | None = Field(default=None, description="Write speed of the card", examples=["30 MB/s"])
    heat_limit: Temperature | None = Field(
        default=None, description="Highest temperature that it stands", examples=["55 degC"]
    )
    role: Role | None = Field(default=None, description="What it is. Left out: taken from its name")
    colour: Text | None = Field(default=None, description="Colour of a light. Left out: white", examples=["red"])
    power_at: list[PowerAt] = Field(
        default=[], description="Measured powers at levels", examples=["[{level: 50 %, power: 11 W}]"]
    )

    _name: str = PrivateAttr(default="")

    @property
    def name(self) -> str:
        """The key that the load has in the file."""
        return self._name

    @property
    def resolved_role(self) -> Role:
        """The role as written, else the one that the load's name stands for."""
        return self.role or role_of(self._name)

    def called(self, name: str) -> None:
        """Tells the load its name; the dive does so once."""
        self._name = name

    @model_validator(mode="after")
    def _rules(self) -> Load:
        troubles = load_troubles(self)
        if troubles:
            raise Misread(*troubles)
        return self


class Line(Part):
    """One line of the schedule."""

    load: Name = Field(description="The load that is switched", examples=["camera"])
    from_: Moment | None = Field(default=None, alias="from", description="When it goes on", examples=["splash"])
    until: Moment | None = Field(default=None, description="When it goes off", examples=["bottom + 40 min"])
    with_: Name | None = Field(
        default=None, alias="with", description="A load whose windows it follows", examples=["camera"]
    )
    lead: _MARGIN | None = Field(default=None, description="How much earlier than that load", examples=["3 s"])
    trail: _MARGIN | None = Field(default=None, description="How much longer than that load", examples=["4 min"])
    only: Span | None = Field(default=None, description="Cut to the time certainly between two times")
    every: _PERIOD | None = Field(default=None, description="Period of bursts", examples=["30 min"])
    for_: _PERIOD | None = Field(default=None, alias="for", description="Length of a burst", examples=["6 min"])
    level: _LEVEL | None = Field(default=None, description="Share of on-time, in whole percent. Left out: 100 %")

    @model_validator(mode="after")
    def _rules(self) -> Line:
        troubles = line_troubles(self)
        if troubles:
            raise Misread(*troubles)
        return self


class Wire(Part):
    """The wire that burns or corrodes."""

    metal: Text = Field(description="Metal of the wire", examples=["steel"])
    diameter: Size = Field(description="Diameter of the wire", examples=["0.6 mm"])
    exposed: Size = Field(description="Length that is bare", examples=["4 mm"])


class Tested(Part):
    """A measured release time; wins over the equation."""

    parts_in: SomeTime = Field(description="Time in which it parted", examples=["4 min"])
    salinity: Salinity = Field(description="Practical salinity of the test", examples=["35"])
    temperature: WaterTemperature = Field(description="Temperature of the test", examples=["12 degC"])


class Actuator(Part):
    """What parts the ballast."""

    kind: Literal["burn wire", "hot wire", "motor", "magnet", "dissolving link"] = Field(
        description="The kind of release"
    )
    at: Moment | None = Field(default=None, description="When it fires", examples=["bottom + 9 h"])
    wired_to: Name | None = Field(default=None, description="The board's release output", examples=["REL1"])
    power: SomePower | None = Field(default=None, description="Power while firing, at measured_at", examples=["4 W"])
    measured_at: Voltage | None = Field(
        default=None, description="Voltage of that power. Left out: the nominal pack voltage"
    )
    fire: _FIRING | None = Field(default=None, description="How long each try is powered", examples=["8 min"])
    tries: Annotated[int, Whole(1, 15)] = Field(
        default=1, description="Number of tries; all always run", examples=["3"]
    )
    pause: _PAUSE | None = Field(default=None, description="Between two tries. Left out: 0 s", examples=["5 min"])
    wire: Wire | None = Field(
        default=None, description="The wire", examples=["{metal: steel, diameter: 0.6 mm, exposed: 4 mm}"]
    )
    tested: Tested | None = Field(default=None, description="A measured release time; wins over the equation")
    parts_after: SomeTime | None = Field(
        default=None, description="Time in the water after which a link has dissolved", examples=["24 h ± 30 %"]
    )

    @property
    def fired(self) -> bool:
        """True when the controller fires it; a dissolving link acts by itself."""
        return self.kind != "dissolving link"

    @model_validator(mode="after")
    def _rules(self) -> Actuator:
        troubles = actuator_troubles(self)
        if troubles:
            raise Misread(*troubles)
        return self


class Release(Part):
    """How the ballast goes."""

    primary: Actuator = Field(description="The release that acts on schedule", examples=["{kind: burn wire, ...}"])
    backup: Actuator | None = Field(default=None, description="A second release, independent if possible")
    not_before: Moment = Field(description="Never fires earlier, whatever happens", examples=["start + 3 h"])
    latest: Moment = Field(description="Fires by then even after faults", examples=["start + 14 h"])
    without_water: YesNo = Field(default=False, description="Lets it fire though the water contact was never wet")


class Recovery(Part):
    """Finding it again."""

    wait: SomeTime = Field(description="How long the beacon must last after the latest surfacing", examples=["48 h"])
    prefer: Literal["daylight", "darkness", "either"] = Field(
        default="either", description="When surfacing is wanted", examples=["daylight"]
    )


class FieldChange(Part):
    """What the two buttons may change on deck."""

    shift: Literal["release"] | None = Field(default=None, description="Move the release")
    step: _STEP | None = Field(default=None, description="One step of the shift", examples=["30 min"])
    from_: Integer | None = Field(
        default=None, alias="from", description="Most steps earlier, as a negative number", examples=["-2"]
    )
    to: Integer | None = Field(default=None, description="Most steps later", examples=["4"])
    level: Name | None = Field(default=None, description="A load whose level is chosen", examples=["lights"])
    values: list[_LEVEL] | None = Field(
        default=None, description="The levels, first as scheduled", examples=["[70 %, 45 %]"]
    )

    @property
    def choices(self) -> int:
        """How many settings it offers, the unchanged one included."""
        if self.shift is not None:
            return (self.to or 0) - (self.from_ or 0) + 1
        return len(self.values or ())

    @model_validator(mode="after")
    def _rules(self) -> FieldChange:
        troubles = change_troubles(self)
        if troubles:
            raise Misread(*troubles)
        return self

"""What must hold between the keys of a board file. One function a rule; each yields troubles with their place."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from schedgen.board.model import MOST_OUTPUTS, PACK_RAIL, Board, Output, Rail
from schedgen.board.parts import Channel, Part, parts
from schedgen.files.trouble import Trouble, did_you_mean, listing, shown

Place = tuple[str | int, ...]
SECONDS_FROM_HZ = 32768.0
SAME_FREQUENCY = 0.02
"""Two frequencies on one timer count as the same within this share."""


def board_troubles(board: Board) -> list[Trouble]:
    """Everything that is wrong between the keys of `board`, empty when nothing is."""
    part = parts().get(board.part)
    if part is None:
        names = list(parts())
        guess = did_you_mean(board.part, names)
        return [
            Trouble(f"The part {shown(board.part)} is not known here. {guess}".strip(), listing(names), "ATmega4809",
                    "Write one of these.", ("part",)),
            *(trouble for rule in WITHOUT_PART for trouble in rule(board)),
        ]  # fmt: skip
    found = [trouble for rule in WITHOUT_PART for trouble in rule(board)]
    return found + [trouble for rule in WITH_PART for trouble in rule(board, part)]


def functions(board: Board) -> list[tuple[str, str, Place]]:
    """Every pin that the file uses: (pin, what for, place), in the order of the file."""
    used: list[tuple[str, str, Place]] = []
    for name, output in board.outputs.items():
        used.append((output.pin, f"output {name}", ("outputs", name, "pin")))
    used.append((board.pack_sense.pin, "pack_sense", ("pack_sense", "pin")))
    used.append((board.buttons.a.pin, "button a", ("buttons", "a", "pin")))
    used.append((board.buttons.b.pin, "button b", ("buttons", "b", "pin")))
    used.append((board.status_light.pin, "status_light", ("status_light", "pin")))
    if board.water_contact is not None:
        used.append((board.water_contact.pin, "water_contact", ("water_contact", "pin")))
    used.append((board.bench_lead.pin, "bench_lead", ("bench_lead", "pin")))
    used.append((board.serial.transmit, "serial transmit", ("serial", "transmit")))
    used.append((board.serial.receive, "serial receive", ("serial", "receive")))
    return used


def too_many_outputs(board: Board) -> Iterator[Trouble]:
    """Format 1 has at most eight outputs, and at least one."""
    names = board.output_names
    if not names:
        yield Trouble("There is no output.", f"1 to {MOST_OUTPUTS} outputs", "", "Describe at least one.", ("outputs",))
    if len(names) > MOST_OUTPUTS:
        yield Trouble(
            f"There are {len(names)} outputs; format 1 has at most {MOST_OUTPUTS}.", f"at most {MOST_OUTPUTS}", "",
            "Take the ones away that no dive uses.", ("outputs", names[MOST_OUTPUTS]), True,
        )  # fmt: skip


def unknown_rail(board: Board) -> Iterator[Trouble]:
    """Every rail that is named must be described."""
    names = list(board.rails)
    named: list[tuple[str, Place]] = [(board.supply.rail, ("supply", "rail"))]
    named += [(output.rail, ("outputs", name, "rail")) for name, output in board.outputs.items()]
    for rail, place in named:
        if rail not in board.rails:
            guess = did_you_mean(rail, names)
            yield Trouble(
                f"There is no rail {shown(rail)}. {guess}".strip(), listing(names), "",
                "Name one of the rails, or describe it under rails.", place,
            )  # fmt: skip


def rail_that_cannot_be(board: Board) -> Iterator[Trouble]:
    """Each kind of rail has what it needs, and the rail named pack is the pack itself."""
    if PACK_RAIL not in board.rails:
        yield Trouble(
            f"The rail {PACK_RAIL} is missing.", "a rail of that name, kind direct",
            "pack: {kind: direct, limit: 10 A}", "Add it: it is the pack itself.", ("rails",),
        )  # fmt: skip
    for name, rail in board.rails.items():
        if (name == PACK_RAIL) != (rail.kind == "direct"):
            yield Trouble(
                f"Rail {name} is of kind {rail.kind}: the rail {PACK_RAIL}, and no other, is direct.",
                "kind direct for pack, buck, boost or linear for others", "", "Correct the kind or the name.",
                ("rails", name, "kind"),
            )  # fmt: skip
            continue
        yield from _rail_keys(name, rail)


_NEEDED = {
    "direct": (), "buck": ("voltage", "efficiency"), "boost": ("voltage", "efficiency", "input"),
    "linear": ("voltage",),
}  # fmt: skip
_MEANINGLESS = {
    "direct": ("voltage", "efficiency", "dropout", "input"), "buck": (), "boost": ("dropout",),
    "linear": ("efficiency",),
}  # fmt: skip


def _rail_keys(name: str, rail: Rail) -> Iterator[Trouble]:
    for key in _NEEDED[rail.kind]:
        if getattr(rail, key) is None:
            yield Trouble(
                f"Rail {name} is of kind {rail.kind} and needs {key}.", key, "", f"Add the key {key}.", ("rails", name),
                True,
            )  # fmt: skip
    for key in _MEANINGLESS[rail.kind]:
        if getattr(rail, key) is not None:
            yield Trouble(
                f"Rail {name} is of kind {rail.kind}; {key} means nothing there.", f"no {key}", "",
                f"Take the key {key} away, or correct the kind.", ("rails", name, key), True,
            )  # fmt: skip
    if rail.efficiency is not None and rail.efficiency.low <= 0.0:
        yield Trouble("An efficiency of 0 % cannot be.", "above 0 %", "88 % .. 92 %", "", ("rails", name, "efficiency"))
    if rail.kind != "boost" or rail.input is None or rail.voltage is None:
        return
    if rail.input.high > rail.voltage.nominal:
        yield Trouble(
            f"Rail {name} boosts to {rail.voltage.text} but its input goes up to {rail.input.high:g} V.",
            f"an input of at most {rail.voltage.text}", "", "Correct input or voltage.", ("rails", name, "input"),
        )  # fmt: skip


def two_functions_on_a_pin(board: Board) -> Iterator[Trouble]:
    """A pin has one function."""
    taken: dict[str, str] = {}
    for pin, what, place in functions(board):
        if pin in taken:
            yield Trouble(
                f"Pin {pin} is {what} and {taken[pin]} at once.", "a pin of its own", "",
                "Give one of the two another pin.", place,
            )  # fmt: skip
        else:
            taken[pin] = what


def release_without_pull(board: Board) -> Iterator[Trouble]:
    """A release output must not float while the controller starts or is being programmed."""
    for name, output in board.outputs.items():
        if output.kind == "release" and output.pull == "none":
            yield Trouble(
                f"Release output {name} has no pull: while the controller starts, its pin floats and the release may "
                "fire.",
                f"pull: {output.safe_pull}, the level that keeps it off", f"pull: {output.safe_pull}",
                "Fit a resistor on the board and say so here.", ("outputs", name, "pull"),
            )  # fmt: skip


def sense_out_of_range(board: Board) -> Iterator[Trouble]:
    """The divider must bring the highest pack voltage under the reference."""
    sense = board.pack_sense
    highest = board.supply.voltage.high * sense.ratio
    if sense.bottom.low <= 0.0:
        yield Trouble(
            "A divider with 0 ohm below measures nothing.", "above 0 ohm", "100 kohm", "", ("pack_sense", "bottom")
        )
    elif highest > sense.reference.nominal:
        yield Trouble(
            f"At {board.supply.voltage.high:g} V the divider gives {highest:.2f} V, above the reference "
            f"{sense.reference.text}.", f"at most {sense.reference.text} at the pin", "",
            "Make top larger or bottom smaller.", ("pack_sense", "top"),
        )  # fmt: skip


def clock_that_cannot_be(board: Board) -> Iterator[Trouble]:
    """A crystal has a turnover and a curvature, the other kinds an error over temperature."""
    clock = board.clock
    needed = ("turnover", "curvature") if clock.kind == "crystal" else ("over_temperature",)
    other = ("over_temperature",) if clock.kind == "crystal" else ("turnover", "curvature")
    for key in needed:
        if getattr(clock, key) is None:
            yield Trouble(
                f"A clock of kind {clock.kind} needs {key}.", key, "", f"Add the key {key}.", ("clock",), True
            )
    for key in other:
        if getattr(clock, key) is not None:
            yield Trouble(
                f"{key} means nothing for a clock of kind {clock.kind}.", f"no {key}", "", f"Take the key {key} away.",
                ("clock", key), True,
            )  # fmt: skip


def crystal_of_another_frequency(board: Board) -> Iterator[Trouble]:
    """The firmware counts seconds from 32.768 kHz."""
    clock = board.clock
    if clock.kind != "rc" and abs(clock.frequency.nominal - SECONDS_FROM_HZ) > 0.5:
        yield Trouble(
            f"A {clock.kind} clock of {clock.frequency.text} does not divide down to seconds here.", "32.768 kHz",
            "frequency: 32.768 kHz", "Fit a watch crystal, or correct the frequency.", ("clock", "frequency"),
        )  # fmt: skip


def supply_too_low_for_the_controller(board: Board) -> Iterator[Trouble]:
    """At the lowest pack voltage the controller's own rail still stands."""
    rail, lowest = board.rails.get(board.supply.rail), board.supply.voltage.low
    if rail is None or rail.voltage is None or rail.kind not in ("buck", "linear"):
        return
    need = rail.voltage.nominal + (rail.dropout.nominal if rail.dropout is not None else 0.0)
    if lowest < need:
        yield Trouble(
            f"The pack may fall to {lowest:g} V, but the controller's rail {board.supply.rail} needs {need:g} V.",
            f"at least {need:g} V", "", "Raise the lower end of supply.voltage, or correct the rail.",
            ("supply", "voltage"),
        )  # fmt: skip


def pin_the_part_lacks(board: Board, part: Part) -> Iterator[Trouble]:
    """Every pin exists in the part's package, and an output can be driven."""
    driven: set[Place] = {("outputs", name, "pin") for name in board.outputs}
    driven |= {("status_light", "pin"), ("serial", "transmit")}
    for pin, what, place in functions(board):
        if pin not in part.pins:
            yield Trouble(
                f"The {part.name} has no pin {pin} (for {what}).", part.package, "", "Take a pin that it has.", place
            )
        elif pin in part.input_only and place in driven:
            yield Trouble(
                f"Pin {pin} of the {part.name} is the reset pin and cannot drive {what}.", "another pin", "",
                "Take another pin.", place,
            )  # fmt: skip


def crystal_pins_taken(board: Board, part: Part) -> Iterator[Trouble]:
    """A crystal needs its two pins for itself."""
    if board.clock.kind == "rc":
        return
    for pin, what, place in functions(board):
        if pin in part.crystal:
            yield Trouble(
                f"Pin {pin} is {what}, but the {board.clock.kind} clock needs it.", "another pin", "",
                f"Leave {listing(part.crystal, 'and')} to the clock.", place,
            )  # fmt: skip


def level_without_timer(board: Board, part: Part) -> Iterator[Trouble]:
    """A level needs a pin that a PWM timer can drive, that timer, and a frequency; nothing else has them."""
    for name, output in board.outputs.items():
        if output.kind != "level":
            for key in ("timer", "frequency"):
                if getattr(output, key) is not None:
                    yield Trouble(
                        f"Output {name} is {output.kind}; {key} means nothing there.", f"no {key}", "",
                        "Take it away, or make the kind level.", ("outputs", name, key), True,
                    )  # fmt: skip
            continue
        for key in ("timer", "frequency"):
            if getattr(output, key) is None:
                yield Trouble(
                    f"Level output {name} has no {key}.", key, "timer: TCA0" if key == "timer" else "frequency: 500 Hz",
                    f"Add the key {key}.", ("outputs", name), True,
                )  # fmt: skip
        if output.pin in part.pins:
            yield from _timer_troubles(name, output, part)


def _timer_troubles(name: str, output: Output, part: Part) -> Iterator[Trouble]:
    channels = part.pwm.get(output.pin, ())
    if not channels:
        yield Trouble(
            f"No timer of the {part.name} can drive pin {output.pin} (output {name}).",
            f"one of {listing(sorted(part.pwm))}", "", "Take one of these pins, or make the output switched.",
            ("outputs", name, "pin"),
        )  # fmt: skip
    elif output.timer is not None and output.timer not in {channel.timer for channel in channels}:
        can = listing(sorted({channel.timer for channel in channels}))
        yield Trouble(
            f"Timer {output.timer} cannot drive pin {output.pin} of the {part.name}; {can} can.", can, f"timer: {can}",
            "Correct the timer or the pin.", ("outputs", name, "timer"),
        )  # fmt: skip


def channel_of(output: Output, part: Part) -> Channel | None:
    """The timer channel behind a level output, None when there is none."""
    return next((c for c in part.pwm.get(output.pin, ()) if c.timer == output.timer), None)


def timers_that_clash(board: Board, part: Part) -> Iterator[Trouble]:
    """Outputs on one timer share its frequency and its port, and have a channel each; the clock's timer is not free."""
    first: dict[str, tuple[str, Output, Channel]] = {}
    for name, output in board.outputs.items():
        channel = channel_of(output, part) if output.kind == "level" else None
        if channel is None:
            continue
        if channel.timer == part.clock_timer and board.clock.kind != "rc":
            yield Trouble(
                f"Output {name} wants {channel.timer}, which keeps time from the {board.clock.kind} clock.",
                "another timer", "", "Take a pin of another timer.", ("outputs", name, "timer"),
            )  # fmt: skip
        if channel.timer not in first:
            first[channel.timer] = (name, output, channel)
            continue
        other_name, other, other_channel = first[channel.timer]
        yield from _clash((name, output, channel), (other_name, other, other_channel))


def _clash(one: tuple[str, Output, Channel], first: tuple[str, Output, Channel]) -> Iterator[Trouble]:
    (name, output, channel), (other_name, other, other_channel) = one, first
    if output.frequency is not None and other.frequency is not None:
        mine, its = output.frequency.nominal, other.frequency.nominal
        if abs(mine - its) > SAME_FREQUENCY * its:
            yield Trouble(
                f"{name} wants {output.frequency.text} and {other_name} {other.frequency.text}, but both hang on "
                f"{channel.timer}.", f"the same frequency, {other.frequency.text}",
                f"frequency: {other.frequency.text}",
                "Make them equal, or take another timer.", ("outputs", name, "frequency"),
            )  # fmt: skip
    if channel.route != other_channel.route:
        yield Trouble(
            f"{channel.timer} can be led to one port only: {name} is on {channel.route}, {other_name} on "
            f"{other_channel.route}.", f"a pin on {other_channel.route}", "", "Take pins of one port.",
            ("outputs", name, "pin"),
        )  # fmt: skip


def no_adc_on_pin(board: Board, part: Part) -> Iterator[Trouble]:
    """The pack is measured on a pin that the converter can read."""
    pin = board.pack_sense.pin
    if pin in part.pins and pin not in part.adc:
        yield Trouble(
            f"Pin {pin} of the {part.name} has no analogue input, and pack_sense needs one.",
            f"one of {listing(sorted(part.adc))}", "", "Take one of these pins.", ("pack_sense", "pin"),
        )  # fmt: skip


def eeprom_of_another_size(board: Board, part: Part) -> Iterator[Trouble]:
    """The size in the file is the part's."""
    size = board.eeprom.size.nominal
    if round(size) != part.eeprom:
        yield Trouble(
            f"The {part.name} has {part.eeprom} bytes of EEPROM, not {size:g}.", f"{part.eeprom} B",
            f"size: {part.eeprom} B", "Correct the size.", ("eeprom", "size"),
        )  # fmt: skip


WITHOUT_PART: tuple[Callable[[Board], Iterator[Trouble]], ...] = (
    too_many_outputs, unknown_rail, rail_that_cannot_be, two_functions_on_a_pin, release_without_pull,
    sense_out_of_range, clock_that_cannot_be, crystal_of_another_frequency, supply_too_low_for_the_controller,
)  # fmt: skip
WITH_PART: tuple[Callable[[Board, Part], Iterator[Trouble]], ...] = (
    pin_the_part_lacks, crystal_pins_taken, level_without_timer, timers_that_clash, no_adc_on_pin,
    eeprom_of_another_size,
)  # fmt: skip

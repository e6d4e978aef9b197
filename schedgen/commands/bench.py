"""`schedgen bench`: try every output before the lid is closed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from schedgen.commands.common import console_for, dive_argument, json_option, load_dive, write_json
from schedgen.commands.lines import board_line, line_options
from schedgen.errors import BoardRefused, Differs, UsageError, WrongBoard

if TYPE_CHECKING:
    from schedgen.files.quantity import Quantity
    from schedgen.link.client import Client
    from schedgen.link.identity import Identity
    from schedgen.load import LoadedDive
    from schedgen.measured.bench_record import BenchOutput
    from schedgen.measured.bench_trial import Pulse
    from schedgen.measured.connection import Setup
    from schedgen.report.console import Console

READINGS = 1024
"""Readings to each mean, at the least; LEAST_READINGS where the pulse is that of a light."""
LEAST_READINGS = 256
SETTLE_S = 2.0
LOOK_EVERY_S = 0.1
"""A played dive is looked at so often, s of real time, besides every second with a change and the one before it."""


@click.command("bench", short_help="try every output before the lid is closed")
@dive_argument
@line_options
@click.option("--seconds", default=2.0, show_default=True, type=click.FloatRange(0.2, 60), help="Length of a pulse.")
@click.option("--only", "chosen", multiple=True, metavar="OUTPUT", help="Only this output; may be repeated.")
@click.option("--meter", multiple=True, metavar="OUTPUT=CURRENT", help="What a meter in the pack's lead shows more.")
@click.option("--temperature", default="20 degC ± 5 degC", show_default=True, help="Of the pack.")
@click.option("--release", "with_release", is_flag=True, help="Also the release, after the caution, into a dummy load.")
@click.option("--whole-dive", is_flag=True, help="Play the dive that the board holds, its loads attached.")
@click.option("--speed", default=60, show_default=True, type=click.IntRange(1, 3600), help="With --whole-dive.")
@click.option("--out", metavar="FILE", type=click.Path(), help="The bench record. Left out: DIVE-bench.yaml beside it.")
@json_option
def command(
    file: str,
    port: str | None,
    called: str | None,
    seconds: float,
    chosen: tuple[str, ...],
    meter: tuple[str, ...],
    temperature: str,
    with_release: bool,
    whole_dive: bool,
    speed: int,
    out: str | None,
    as_json: bool,
) -> int:
    """Pulse each output, look at the pack's voltage, and say what is connected. Writes a bench record.

    Exit code 1 when something is not connected, or when what was played differs from the Plan.
    """
    from schedgen.link.client import Client
    from schedgen.measured.connection import Setup

    loaded = load_dive(file, as_json)
    setup = Setup(loaded.dive, loaded.board, loaded.cell, _quantity(temperature, "--temperature", degrees=True))
    currents = _currents(loaded, meter)
    _check_outputs(loaded, chosen)
    screen = console_for(as_json)
    with board_line(port, called, loaded.board.serial.baud) as line:
        client = Client(line, limit_s=LONGEST_S)
        identity = _ready(client, loaded)
        if whole_dive:
            return _play(client, loaded, setup, speed, screen, as_json)
        found = _try_all(client, setup, seconds, chosen, currents, with_release, screen)
    return _keep(loaded, setup, identity, found, out, screen, as_json)


LONGEST_S = 7 * 86_400.0
"""A session may last as long as a whole dive at its own speed."""


def _quantity(text: str, option: str, degrees: bool = False) -> Quantity:
    from schedgen.files import units
    from schedgen.files.quantity import parse
    from schedgen.files.trouble import Misread

    try:
        return parse(text, units.TEMPERATURE if degrees else units.CURRENT)
    except Misread as error:
        raise UsageError(f"{option}: {error.message}", "Write it as in a dive file, in quotes.") from error


def _currents(loaded: LoadedDive, meter: tuple[str, ...]) -> dict[str, Quantity]:
    """Currents by output, from `--meter OUT1=0.72 A`. Raises `UsageError`."""
    found = {}
    for one in meter:
        output, sign, text = one.partition("=")
        if not sign:
            raise UsageError(f"--meter {one}: an output and a current are wanted.", 'Write --meter "OUT1=0.72 A".')
        _check_outputs(loaded, (output,))
        found[output] = _quantity(text, "--meter")
        if found[output].low <= 0:
            raise UsageError(f"--meter {one}: the current must be above 0 A.", "Leave it out where nothing flows.")
    return found


def _check_outputs(loaded: LoadedDive, names: tuple[str, ...]) -> None:
    for name in names:
        if name not in loaded.board.outputs:
            listed = ", ".join(loaded.board.outputs)
            raise UsageError(f"The board has no output {name!r}.", f"It has: {listed}.")


def _ready(client: Client, loaded: LoadedDive) -> Identity:
    """The board, when it is one of the dive's kind and neither armed nor under way."""
    from dataclasses import replace

    from schedgen.link.holdings import given_name_in
    from schedgen.settings.eeprom import ROW_BYTES

    identity = client.identify()
    if identity.board_type != loaded.board.board_type:
        raise WrongBoard(
            f"This board is {identity.board}, type {identity.board_type:#06x}; the dive is for type "
            f"{loaded.board.board_type:#06x}.",
            "Plug in the board that the dive file names. Nothing was switched on.",
        )
    if identity.armed:
        raise BoardRefused(
            f"The board is armed with dive {identity.code or 'unknown'}; nothing is tried on an armed board.",
            "Disarm it first: schedgen disarm. Nothing was switched on.",
        )
    return replace(identity, given_name=given_name_in(client.read_area("row", ROW_BYTES)) or "")


def _try_all(
    client: Client,
    setup: Setup,
    seconds: float,
    chosen: tuple[str, ...],
    currents: dict[str, Quantity],
    with_release: bool,
    screen: Console,
) -> dict[str, BenchOutput]:
    from schedgen.measured.bench_record import BenchOutput
    from schedgen.measured.bench_trial import pulses_of
    from schedgen.report.bench import RELEASE_CAUTION, output_line

    found: dict[str, BenchOutput] = {}
    for pulse in pulses_of(setup, seconds):
        if chosen and pulse.output not in chosen:
            continue
        if pulse.is_release and not (with_release and pulse.is_wired):
            why = "a release: only with --release" if pulse.is_wired else "no release of the dive file is wired to it"
            found[pulse.output] = BenchOutput(verdict="not tried", why=why)
        else:
            number = None
            if pulse.is_release:
                screen.lines(RELEASE_CAUTION)
                number = _typed_code(client.identify(), f"Type the dive code to fire {pulse.output}")
            found[pulse.output] = _try(client, setup, pulse, currents.get(pulse.output), number)
        screen.line(output_line(pulse.output, found[pulse.output], screen.paint))
        screen.flush()
    return found


def _try(client: Client, setup: Setup, pulse: Pulse, current: Quantity | None, code: int | None) -> BenchOutput:
    from schedgen.link.bench import Average
    from schedgen.link.messages import NO_CODE, PULSE_RELEASE_S
    from schedgen.link.trial import try_output
    from schedgen.measured.bench_trial import LIGHT_S, Means, found_at
    from schedgen.measured.connection import Mean

    def mean(average: Average) -> Mean:
        return Mean(average.mean_v, average.spread_v, average.count)

    seconds = min(pulse.seconds, PULSE_RELEASE_S) if pulse.is_release else pulse.seconds
    readings = LEAST_READINGS if seconds <= LIGHT_S else READINGS
    trial = try_output(client, pulse.number, pulse.level, seconds, readings, NO_CODE if code is None else code)
    means = Means(
        mean(trial.before), mean(trial.during), mean(trial.after), trial.level, trial.seconds, trial.in_time,
        trial.measured_from_s,
    )  # fmt: skip
    return found_at(setup, pulse.output, means, current)


def _typed_code(identity: Identity, prompt: str) -> int:
    """The dive code that the user types, as a number. Raises `UsageError` where it is not the board's."""
    from schedgen.link.deck import check_code

    typed = click.prompt(prompt, type=str, err=True)
    number = check_code(typed)
    if identity.code is None or number != check_code(identity.code):
        raise UsageError(f"The board holds dive {identity.code or 'none'}, not {typed}.", "Nothing was switched on.")
    return number


def _keep(
    loaded: LoadedDive,
    setup: Setup,
    identity: Identity,
    found: dict[str, BenchOutput],
    out: str | None,
    screen: Console,
    as_json: bool,
) -> int:
    """Write the bench record and say how it went."""
    from datetime import UTC, datetime

    from schedgen.commands.files import write_text
    from schedgen.measured.bench_record import BenchRecord, write_bench_record
    from schedgen.report.bench import bench_lines, bench_record

    record = BenchRecord(
        format=1,
        bench=loaded.dive.dive,
        board=identity.board,
        name=identity.given_name or None,
        code=identity.code,
        taken=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        temperature=setup.temperature,
        outputs=found,
    )
    path = Path(out) if out else loaded.path.with_name(f"{loaded.path.stem}-bench.yaml")
    write_text(path, write_bench_record(record))
    if as_json:
        write_json({**bench_record(record), "file": str(path)})
    else:
        screen.lines(bench_lines(record, path, screen.paint))
    return 1 if any(one.verdict == "not connected" for one in found.values()) else 0


def _play(client: Client, loaded: LoadedDive, setup: Setup, speed: int, screen: Console, as_json: bool) -> int:
    """Play the dive on the board and compare it with the Plan."""
    from schedgen.link.bench import play, stop_playing
    from schedgen.measured.bench_trial import expected_below_rest
    from schedgen.measured.played import changes_in, compare, expected_changes, seconds_to_ask, states_of
    from schedgen.report.bench import PLAY_CAUTION, played_lines, played_record, rest_of
    from schedgen.report.console import Progress

    settings, identity = loaded.settings(), client.identify()
    if identity.code != settings.code:
        raise Differs(
            f"The board holds dive {identity.code or 'none'}, the file is dive {settings.code}.",
            "Upload the file first: schedgen upload. Nothing was switched on.",
        )
    screen.lines(PLAY_CAUTION)
    code = _typed_code(identity, "Type the dive code to begin")
    names, end_s = loaded.board.output_names, settings.dive.end_s
    bar = Progress(screen, "playing", "s of the dive")
    expected = expected_changes(settings.dive)
    asked = seconds_to_ask(expected, end_s, max(1, round(speed * LOOK_EVERY_S)))
    looks: list[tuple[int, tuple[int, ...]]] = []
    readings: list[tuple[int, float]] = []
    try:
        for now in play(client, code, asked, speed):
            if looks:
                readings.append((looks[-1][0], now.before_v))
            looks.append((now.at_s, now.levels))
            bar(now.at_s, end_s)
    finally:
        bar.close()
        stop_playing(client)
    seen = changes_in(looks, names)
    compared = compare(expected, seen)
    after = client.identify()
    states = states_of(seen, readings)
    if as_json:
        write_json(played_record(compared, states, len(looks), end_s, after))
    else:
        rest = rest_of(states) or 0.0
        lines = played_lines(
            compared,
            states,
            lambda state: expected_below_rest(setup, state.on, rest),
            len(looks),
            end_s,
            after,
            screen.paint,
        )
        screen.lines(lines)
    return 0 if compared.same and not after.armed else 1

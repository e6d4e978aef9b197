"""`schedgen rehearse`: fly the compiled firmware through the dive on a simulated microcontroller, before the drop."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from schedgen.commands.common import console_for, dive_argument, json_option, load_dive, write_json

if TYPE_CHECKING:
    from schedgen.firmware.rehearse.faults import Faults
    from schedgen.firmware.rehearse.rehearsal import Build
    from schedgen.load import LoadedDive
    from schedgen.report.console import Console


@click.command("rehearse", short_help="fly the compiled firmware on a simulated board")
@dive_argument
@json_option
@click.option("--faults", metavar="N", type=click.IntRange(min=1), help="Add N runs with faults on a shortened dive.")
@click.option("--seed", metavar="S", type=int, default=1, show_default=True, help="Seed of the faults; of the noise.")
@click.option("--replay", metavar="K", type=click.IntRange(min=1), help="Only run number K of the faults, once more.")
@click.option("--serve", is_flag=True, help="Let the board wait behind a pseudo-terminal for upload, bench and arm.")
@click.option("--unplugged", multiple=True, metavar="OUTPUT", help="With --serve: nothing hangs at this output.")
def command(
    file: str,
    as_json: bool,
    faults: int | None,
    seed: int,
    replay: int | None,
    serve: bool,
    unplugged: tuple[str, ...],
) -> int:
    """Compile the firmware of a dive and fly the very image, with the dive's settings, on a simulated microcontroller.

    Every edge of every output is compared with the plan, from start to end and beyond, and the energy of the edges that
    really happened is recomputed. It shows what the firmware does; it says nothing of solder, water and pressure.
    """
    from schedgen.firmware.rehearse.supervisor import require_simulator

    loaded = load_dive(file, as_json)
    _check_unplugged(loaded, unplugged, serve)
    require_simulator()
    out = console_for(as_json)
    made = _build(loaded)
    if serve:
        return _serve(loaded, made, out, unplugged, seed)
    if replay is not None:
        return _faults(loaded, made, out, as_json, 0, seed, replay)
    return _rehearse(loaded, made, out, as_json, faults, seed)


def _check_unplugged(loaded: LoadedDive, names: tuple[str, ...], serve: bool) -> None:
    from schedgen.errors import UsageError

    if names and not serve:
        raise UsageError("--unplugged is for a board that waits on the bench.", "Add --serve.")
    for name in names:
        if name not in loaded.board.outputs:
            listed = ", ".join(loaded.board.outputs)
            raise UsageError(f"The board has no output {name!r}.", f"It has: {listed}.")


def _build(loaded: LoadedDive) -> Build:
    """Image and settings of the dive."""
    from schedgen.firmware.build import build
    from schedgen.firmware.rehearse.rehearsal import Build
    from schedgen.settings.eeprom import layout_of
    from schedgen.settings.slot import eeprom_image

    settings = loaded.settings()
    image = build(loaded.board)
    eeprom = eeprom_image(settings.block, layout_of(round(loaded.board.eeprom.size.nominal)))
    return Build(image.flash, image.hertz, eeprom, settings.code, image.fuse_bytes)


def _rehearse(loaded: LoadedDive, made: Build, out: Console, as_json: bool, faults: int | None, seed: int) -> int:
    from schedgen.firmware.rehearse.rehearsal import rehearse
    from schedgen.report.console import Progress
    from schedgen.report.rehearsal import rehearsal_lines

    bar = Progress(out, "rehearsing", "s of the dive")
    try:
        result = rehearse(loaded, made, bar)
    finally:
        bar.close()
    if not as_json:
        out.lines(rehearsal_lines(result, made.code, out.paint))
    tried = _tried(loaded, made, out, faults, seed, None) if faults else None
    if as_json:
        empty = {"tried": 0, "survived": 0, "failures": []}
        write_json({"code": made.code, **result.as_json(), "faults": tried.as_json() if tried else empty})
    elif tried:
        from schedgen.report.rehearsal import fault_lines

        out.lines(fault_lines(tried, out.paint))
    return 0 if result.passed and (tried is None or not tried.failures) else 1


def _tried(loaded: LoadedDive, made: Build, out: Console, count: int, seed: int, only: int | None) -> Faults:
    from schedgen.firmware.rehearse.fault_runs import run_faults
    from schedgen.report.console import Progress

    bar = Progress(out, "trying faults", "runs")
    try:
        return run_faults(loaded, made, count, seed, only=() if only is None else (only,), progress=bar)
    finally:
        bar.close()


def _faults(
    loaded: LoadedDive, made: Build, out: Console, as_json: bool, count: int, seed: int, only: int | None
) -> int:
    from schedgen.report.rehearsal import fault_lines

    tried = _tried(loaded, made, out, count, seed, only)
    if as_json:
        write_json({"code": made.code, "faults": tried.as_json()})
    else:
        out.lines(fault_lines(tried, out.paint))
    return 1 if tried.failures else 0


def _serve(loaded: LoadedDive, made: Build, out: Console, unplugged: tuple[str, ...], seed: int) -> int:
    from schedgen.firmware.rehearse.serving import served
    from schedgen.firmware.rehearse.supply import supply_of

    supply = supply_of(loaded, unplugged)
    with served(loaded.board, made, supply, seed) as port:
        out.line(f"A simulated {loaded.board.board} waits, powered and with its bench lead in: --port {port}")
        pack = f"Its pack has {supply.open_v:.2f} V at rest"
        out.line(f"{pack}; loads plugged in at {', '.join(supply.draws) or 'no output'}.")
        out.line("It holds no settings yet. Try upload, bench, readback and arm with that port; end it with Ctrl-C.")
        out.flush()
        _wait()
    return 0


def _wait() -> None:
    """Until the standard input ends, or Ctrl-C."""
    import sys

    try:
        sys.stdin.read()
    except KeyboardInterrupt:
        return

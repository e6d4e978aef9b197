"""What `bench` prints: output by output what is connected, and how a played dive compares with the Plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from schedgen.report.tables import table

if TYPE_CHECKING:
    from schedgen.link.identity import Identity
    from schedgen.measured.bench_record import BenchOutput, BenchRecord
    from schedgen.measured.played import Compared, State, Switched

Paint = Callable[..., str]

RELEASE_CAUTION = (
    "CAUTION  The release output is about to be powered. Take the ballast off and connect a dummy load in place of the",
    "         wire, motor or magnet. Nobody's hands near it. Keep to local codes and licensed practice.",
)
PLAY_CAUTION = (
    "CAUTION  Every load of the dive is about to run. Lights get hot in air and hurt eyes: cover or dip them. The",
    "         release stays off; the status light is lit in its place. Keep to local codes and licensed practice.",
)
_STYLES = {"connected": ("green",), "not connected": ("bold", "red"), "cannot tell": ("yellow",), "not tried": ("dim",)}


def output_line(output: str, one: BenchOutput, paint: Paint) -> str:
    """One output as it is tried: verdict, sag, what was expected."""
    said = f"{output:<6}{one.load or '-':<12}{paint(f'{one.verdict:<14}', *_STYLES[one.verdict])}"
    if one.sag is not None:
        said += f" sag {one.sag}"
    if one.expected is not None:
        said += f"; expected {one.expected}"
    return f"{said}{('; ' if one.sag else ' ') + one.why if one.why else ''}".rstrip()


def record_rows(record: BenchRecord) -> list[list[str]]:
    """A bench record as rows of a table, its head first: for the terminal and the sheet."""
    rows = [["output", "load", "found", "level", "sag", "expected", "measured power"]]
    for output, one in record.outputs.items():
        rows.append(
            [
                output,
                one.load or "-",
                one.verdict,
                str(one.level or "-"),
                str(one.sag or "-"),
                str(one.expected or "-"),
                str(one.power or "-"),
            ]
        )
    return rows


def bench_lines(record: BenchRecord, path: Path, paint: Paint) -> list[str]:
    """How it went altogether, and what to do with the record."""
    bad = [name for name, one in record.outputs.items() if one.verdict == "not connected"]
    unsure = [name for name, one in record.outputs.items() if one.verdict == "cannot tell"]
    lines = [""]
    if bad:
        lines.append(f"{paint('Not connected', 'bold', 'red')}: {', '.join(bad)}. Look at the plugs, then try again.")
    if unsure:
        lines.append(f"Cannot tell: {', '.join(unsure)}. Look, listen, or read a meter: --meter OUTPUT=CURRENT.")
    measured = [f"{one.load}: {one.power}" for one in record.outputs.values() if one.power is not None]
    if measured:
        lines.append(f"Measured: {'; '.join(measured)}.")
    lines.append("Sag is given with three standard errors. Nothing was armed.")
    lines.append(f"Bench record: {path}. To use it write into the dive file: bench: {path.name}")
    return lines


def bench_record(record: BenchRecord) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "board": record.board,
        "name": record.name,
        "code": record.code,
        "outputs": {
            output: {
                "load": one.load,
                "verdict": one.verdict,
                "why": one.why,
                "sag_v": None if one.sag is None else one.sag.nominal,
                "sag_error_v": None if one.sag is None else (one.sag.high - one.sag.low) / 6,
                "expected_v": None if one.expected is None else [one.expected.low, one.expected.high],
                "power_w": None if one.power is None else [one.power.low, one.power.nominal, one.power.high],
                "resistance_ohm": None if one.resistance is None else one.resistance.nominal,
            }
            for output, one in record.outputs.items()
        },
    }


def _change(one: Switched) -> str:
    return f"{one.output} {'off' if not one.level else f'{one.level} %'} at {one.at_s} s"


def rest_of(states: Sequence[State]) -> float | None:
    """The pack voltage with nothing on, None where it never was so."""
    return next((state.volts for state in states if not state.on), None)


def played_lines(
    compared: Compared,
    states: Sequence[State],
    below_rest: Callable[[State], tuple[float, float]],
    asked: int,
    end_s: int,
    after: Identity,
    paint: Paint,
) -> list[str]:
    """Changes and voltages of a played dive against the Plan, and what the board is afterwards."""
    good = compared.same
    word = paint("The same", "green") if good else paint("Different", "bold", "red")
    lines = [
        f"{word} as the Plan: {compared.matched} of {compared.expected} changes seen at their second, "
        f"{len(compared.extra)} extra.",
        f"The board was looked at in {asked} of {end_s + 1} elapsed seconds: each one with a change, the one before",
        "it, and others in even steps between them.",
    ]
    lines += [f"  missed  {_change(one)}" for one in compared.missed[:10]]
    lines += [f"  extra   {_change(one)}" for one in compared.extra[:10]]
    rest = rest_of(states)
    rows = [["on", "pack", "below rest", "expected", "readings"]]
    for state in states:
        below = expected = ""
        if rest is not None and state.on:
            least, most = below_rest(state)
            below = f"{(rest - state.volts) * 1000:.0f} mV"
            expected = f"{least * 1000:.0f} to {most * 1000:.0f} mV"
        said = ", ".join(f"{name} {level} %" for name, level in state.on) or "nothing"
        rows.append([said, f"{state.volts:.3f} V", below, expected, str(state.count)])
    lines += ["", *table(rows), ""]
    armed = "ARMED: disarm it now" if after.armed else "nothing is armed"
    lines.append(f"Afterwards the board is {after.state}; {armed}; it holds dive {after.code or 'none'}.")
    return lines


def played_record(
    compared: Compared, states: Sequence[State], asked: int, end_s: int, after: Identity
) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "edges": {
            "expected": compared.expected,
            "seen": compared.matched,
            "missed": [_change(one) for one in compared.missed],
            "extra": [_change(one) for one in compared.extra],
            "asked_s": asked,
            "of_s": end_s + 1,
        },
        "states": [{"on": dict(state.on), "pack_v": state.volts, "readings": state.count} for state in states],
        "armed_afterwards": after.armed,
        "state": after.state,
    }

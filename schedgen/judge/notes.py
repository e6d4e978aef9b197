"""Notes: what is not modelled, what the bench found otherwise, what air transport asks, which inputs are guesses."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.judge import weights
from schedgen.judge.guesses import guessed_inputs
from schedgen.judge.rules import decides
from schedgen.judge.subject import Outcome, Subject
from schedgen.judge.words import many, number

PACK_WH = 100.0
CELL_WH = 20.0
"""From these on lithium-ion batteries and cells travel as declared dangerous goods: UN Manual of Tests and Criteria
38.3 and the air-transport rules built on it (from memory)."""


@decides("stuck-on-bottom")
def stuck_on_bottom(subject: Subject) -> Iterator[Outcome]:
    """Always said: soft ground may hold it."""
    yield subject.finding(
        "stuck-on-bottom",
        ("vehicle.ballast", "vehicle"),
        f"the pull of soft sediment is not modelled: its least lift is {number(subject.plan.fall.net_lift_n[0], 'N')},"
        f" and mud may hold more",
        "on soft ground use feet that stay behind with the ballast, and more lift",
        weight=weights.COMFORT,
    )


@decides("transport-limit")
def transport_limit(subject: Subject) -> Iterator[Outcome]:
    """Pack and cell watt-hours against what air transport allows with the fewest papers."""
    pack, cell_wh = subject.dive.pack, subject.cell.energy_wh
    pack_wh = cell_wh * pack.series * pack.parallel
    if pack_wh <= PACK_WH and cell_wh <= CELL_WH:
        return
    yield subject.finding(
        "transport-limit",
        ("pack.parallel", "pack"),
        f"the pack is {number(pack_wh, 'Wh')} ({many(pack.series * pack.parallel, 'cell')} of"
        f" {number(cell_wh, 'Wh')}); the limits are {PACK_WH:g} Wh for a pack and {CELL_WH:g} Wh for a cell",
        "ask the carrier before it flies: it is likely to travel as declared dangerous goods, or as loose cells",
        weight=weights.COMFORT,
    )


@decides("bench-disagrees")
def bench_disagrees(subject: Subject) -> Iterator[Outcome]:
    """Each disagreement of the bench record with the file, as the loader found it."""
    for one in subject.parts.bench_differences:
        yield subject.finding("bench-disagrees", one.path, one.message, one.fix, load=one.load, weight=weights.WORK)


@decides("guessed-input")
def guessed_input(subject: Subject) -> Iterator[Outcome]:
    """Once: all inputs that are guesses, the one that matters most first."""
    guesses = guessed_inputs(subject)
    if not guesses:
        return
    first = guesses[0]
    share = f" (worth {number(first.effect_wh, 'Wh')})" if first.effect_wh > 0.05 else ""
    yield subject.finding(
        "guessed-input",
        first.path,
        f"{many(len(guesses), 'input')} guessed: {first.path}{share}"
        + (f" matters most, then {', '.join(guess.path for guess in guesses[1:])}" if guesses[1:] else ""),
        f"measure {first.path} and write what you measured with its tolerance",
        weight=weights.COMFORT,
    )

"""Two decoded blocks, line by line: what one says and the other does not. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import zip_longest

from schedgen.errors import Differs
from schedgen.settings.meaning import DecodedDive
from schedgen.settings.schedule import Said, schedule


@dataclass(frozen=True, slots=True)
class Difference:
    """One line that differs; `held` or `wanted` is empty where only the other has it."""

    what: str
    held: str
    wanted: str


def differences(
    held: DecodedDive, wanted: DecodedDive, loads: Mapping[str, str] | None = None
) -> tuple[Difference, ...]:
    """What the board's block (`held`) and the wanted one say differently, in the order of the schedule.

    Nothing exactly when they are equal. `loads` names the load on each output, where it is known.
    """
    ours, theirs = _by_subject(schedule(held, loads)), _by_subject(schedule(wanted, loads))
    found: list[Difference] = []
    for what in dict.fromkeys((*theirs, *ours)):
        found += _lines(what, ours.get(what, []), theirs.get(what, []))
    if not found and held != wanted:
        found.append(Difference("order", "the same windows in another order", ""))
    return tuple(found)


def must_say(held: DecodedDive, wanted: DecodedDive) -> None:
    """Raise `Differs`, naming the first line, unless the board's block (`held`) says exactly what is wanted."""
    found = differences(held, wanted)
    if found:
        first = found[0]
        raise Differs(
            f"What the board holds does not mean what the plan says: {first.what}: board {first.held or 'nothing'}, "
            f"plan {first.wanted or 'nothing'}.",
            "Report this as a defect; do not fly this board.",
        )


def _by_subject(lines: tuple[Said, ...]) -> dict[str, list[str]]:
    grouped: dict[str, list[str]] = {}
    for line in lines:
        grouped.setdefault(line.what, []).append(line.text)
    return grouped


def _lines(what: str, held: list[str], wanted: list[str]) -> list[Difference]:
    found: list[Difference] = []
    for tag, a, b, c, d in SequenceMatcher(None, held, wanted, autojunk=False).get_opcodes():
        if tag != "equal":
            found += [Difference(what, one, other) for one, other in zip_longest(held[a:b], wanted[c:d], fillvalue="")]
    return found

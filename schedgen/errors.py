"""The exceptions of the project, all in one tree.

Everything that the program raises on purpose derives from `SchedgenError`, and each class knows the exit
code that the command line gives for it::

    SchedgenError                 2   the command line or a file is wrong
    |-- FileProblems              2   an input file cannot be used; carries every problem found in it
    |-- UsageError                2   the command line asks for something that cannot be
    |-- OutOfRange                2   a physical function was asked outside its validity range
    |-- BlockError                2   bytes that are not a settings block
    |   |-- CounterRange          2   a number of the plan that the block's field cannot hold
    |   `-- SettingsTooBig        2   a plan that needs more bytes than the board's slot has
    |-- Differs                   1   a verification, a comparison or a rehearsal found a difference
    `-- LinkError                 3   the board, the port or the link failed
        |-- PortDenied, PortBusy, PortMissing, PortLost
        |-- BoardSilent, BoardGarbled, BoardRefused
        |-- WrongBoard
        `-- NotOneBoard
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from schedgen.files.place import Place


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in an input file, with where it stands and what to do.

    `line` and `column` count from 1; both are 0 when the problem has no place in the file
    (it cannot be opened, say). `expected`, `example` and `next` may be empty.
    """

    file: str
    line: int
    column: int
    message: str
    expected: str = ""
    example: str = ""
    next: str = ""
    source: str = ""
    """The bare line of the file, for the caret; empty when there is none."""


class SchedgenError(Exception):
    """Base of every error raised on purpose. `next_step` is one sentence for the user, or empty."""

    exit_code = 2

    def __init__(self, message: str, next_step: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.next_step = next_step


class FileProblems(SchedgenError):
    """An input file cannot be used. `problems` holds all of them, sorted by file, line and column."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: (p.file, p.line, p.column)))
        count = len(self.problems)
        first = self.problems[0].message if self.problems else "nothing"
        super().__init__(f"{count} problem{'s' if count != 1 else ''}; the first: {first}")


class UsageError(SchedgenError):
    """The command line asks for something that cannot be done."""


class OutOfRange(SchedgenError, ValueError):
    """A physical function was asked outside its validity range; the message names the bound."""


class BlockError(SchedgenError, ValueError):
    """Bytes that are not a valid settings block, or a plan that does not fit one.

    `place` is where in the dive file the cause stands, None where that is not known.
    """

    place: Place | None = None


class CounterRange(BlockError):
    """A number of the plan is out of the range of its field in the settings block (finding `counter-range`).

    `where` says which window or release it belongs to, or is empty; `low`, `high` and `scale` are in `unit`.
    """

    def __init__(self, name: str, value: int, low: int, high: int, unit: str, scale: int, where: str) -> None:
        self.name, self.value, self.low, self.high = name, value, low, high
        self.unit, self.scale, self.where = unit, scale, where
        words = f" {unit}" if unit else ""
        steps = f" in whole steps of {scale}{words}" if scale != 1 else ""
        spoken = name.replace("_", " ")
        super().__init__(
            f"{where + ': ' if where else ''}{spoken} is {value}{words}, the board holds {low} to {high}{words}{steps}",
            f"Write a value of {low} to {high}{words}{steps}.",
        )


class SettingsTooBig(BlockError):
    """The settings need more bytes than the board's slot has (finding `settings-too-big`).

    `bytes_needed` and `capacity` are of the block; `costs` holds (what, bits) for every part that the user can change,
    the dearest first; the part that every block has, with releases and interlocks, takes `fixed_bits` beside them.
    """

    def __init__(self, bytes_needed: int, capacity: int, costs: Sequence[tuple[str, int]], fixed_bits: int = 0) -> None:
        self.bytes_needed, self.capacity = bytes_needed, capacity
        self.bytes_over = bytes_needed - capacity
        self.costs = tuple(costs)
        self.fixed_bits = fixed_bits
        dearest = ", ".join(f"{what} {bits / 8:.1f}" for what, bits in self.costs[:3])
        super().__init__(
            f"the settings need {bytes_needed} bytes and the board's slot holds {capacity}: {self.bytes_over} over. "
            f"What takes most, in bytes: {dearest}",
            "Join windows, follow another load with `with`, or take a board with more EEPROM.",
        )


class Differs(SchedgenError):
    """A comparison or verification found a difference."""

    exit_code = 1


class LinkError(SchedgenError):
    """The board, the port or the link failed."""

    exit_code = 3


class PortDenied(LinkError):
    """The system does not let this user open the port (EACCES, EPERM)."""


class PortBusy(LinkError):
    """Another program has the port (EBUSY, or an exclusive lock)."""


class PortMissing(LinkError):
    """There is no such port (ENOENT, ENODEV, ENXIO at opening)."""


class PortLost(LinkError):
    """The port went away while it was in use: the cable was pulled, or the other side closed."""


class BoardSilent(LinkError):
    """Nothing answered before the deadline."""


class BoardGarbled(LinkError):
    """Something answers, but not in frames that can be read (wrong speed, noise, another device)."""


class BoardRefused(LinkError):
    """The board understood the request and refused it (armed, wrong code, checksum, unknown request)."""


class WrongBoard(LinkError):
    """The board is of another type, or its firmware speaks another layout version."""


class NotOneBoard(LinkError):
    """No board was found, or more than one where one has to be chosen."""

"""The line to the board that the deck commands share: which port, at which speed, and how it is opened and closed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from schedgen.link.eeprom import Nameplate
    from schedgen.link.ports import Port

_PORT = click.option(
    "--port",
    metavar="PORT",
    help="Serial port as the system names it, or virtual:FILE for the built-in virtual board. Left out: the one board "
    "that answers behind a known adapter.",
)
_CALLED = click.option("--called", metavar="NAME", help="The board with this given name, wherever it is plugged in.")


def line_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command `--port` and `--called`."""
    return _PORT(_CALLED(command))


@contextmanager
def board_line(
    port: str | None, called: str | None = None, baud: int | None = None, make: Nameplate | None = None
) -> Iterator[Port]:
    """The open line to the board, closed at the end.

    Without `port` the board is looked for; without `baud` it is asked at each speed of our boards. Raises `LinkError`
    and its kinds; a board that gives no sense at `baud` and answers at another speed is said to do so.
    """
    from schedgen.errors import BoardGarbled, BoardSilent
    from schedgen.link.ports import VIRTUAL, open_port
    from schedgen.link.search import other_speed, wrong_speed

    name, speed = _where(port, called, baud)
    line = open_port(name, speed, make=make)
    try:
        yield line
    except (BoardSilent, BoardGarbled) as error:
        line.close()
        spoken = None if name.startswith(VIRTUAL) else other_speed(name, speed)
        if spoken is None:
            raise
        raise wrong_speed(name, speed, spoken) from error
    finally:
        line.close()


def _where(port: str | None, called: str | None, baud: int | None) -> tuple[str, int]:
    """Name and speed of the port. Raises `UsageError`, `LinkError`."""
    from schedgen.errors import UsageError
    from schedgen.link.ports import BAUD, VIRTUAL
    from schedgen.link.search import SPEEDS, Candidate, ask, candidates, find_board

    if port is not None and called is not None:
        raise UsageError("--port and --called both say which board.", "Give one of them.")
    if port is None:
        first = SPEEDS if baud is None else (baud, *(speed for speed in SPEEDS if speed != baud))
        found = find_board(candidates(), called, first)
        return found.candidate.port, found.baud
    if baud is not None or port.startswith(VIRTUAL):
        return port, baud or BAUD
    asked = ask(Candidate(port, ""), hello_s=None)
    if asked.trouble is not None:
        raise asked.trouble
    return port, asked.baud

"""Which ports may have a board, and who answers there. Only ports with a known adapter are asked, or those named."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from schedgen.errors import BoardGarbled, BoardSilent, LinkError, NotOneBoard
from schedgen.link.client import Client
from schedgen.link.holdings import given_name_in
from schedgen.link.identity import Identity
from schedgen.link.ports import BAUD, Port, open_port
from schedgen.settings.eeprom import ROW_BYTES

SPEEDS = (BAUD, 38_400)
"""Speeds of the boards of the library, bit/s."""
ASK_S = 1.5
"""How long an adapter's board may take to answer at each speed when nobody said that there is one."""
WHY = "To see the usual causes: schedgen find --why."

_ADAPTERS: dict[int, tuple[int, ...]] = {
    0x0403: (0x6001, 0x6010, 0x6011, 0x6014, 0x6015),
    0x10C4: (0xEA60, 0xEA61, 0xEA70),
    0x1A86: (0x5523, 0x7522, 0x7523, 0x55D3, 0x55D4),
    0x067B: (0x2303, 0x23A3, 0x23C3),
    0x04D8: (0x000A, 0x00DD),
    0x1FC9: (),
}
"""USB ids of common serial adapters: maker to models, all of a maker where there are none (from memory, no source)."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A serial port of this computer. `vid` and `pid` are USB ids, None for a port that is not on USB."""

    port: str
    description: str
    vid: int | None = None
    pid: int | None = None

    @property
    def known(self) -> bool:
        """Whether its adapter is one that a board may be behind."""
        if self.vid is None or self.vid not in _ADAPTERS:
            return False
        models = _ADAPTERS[self.vid]
        return not models or self.pid in models

    @property
    def usb(self) -> str:
        """USB ids as `0403:6001`, or `not USB`."""
        return "not USB" if self.vid is None else f"{self.vid:04x}:{self.pid or 0:04x}"


@dataclass(frozen=True, slots=True)
class Asked:
    """A port that was asked: the board that answered and at what speed, or the trouble."""

    candidate: Candidate
    identity: Identity | None = None
    baud: int = 0
    trouble: LinkError | None = None


def candidates() -> tuple[Candidate, ...]:
    """Return the serial ports of this computer, those with a known adapter first, then by name.

    On macOS only the `cu.*` name of a port is given, since opening `tty.*` waits for a modem signal.
    """
    from serial.tools import list_ports

    found = [
        Candidate(each.device, _described(each.description), each.vid, each.pid)
        for each in list_ports.comports()
        if not each.device.startswith("/dev/tty.")
    ]
    return tuple(sorted(found, key=lambda each: (not each.known, each.port)))


def ask(candidate: Candidate, speeds: Sequence[int] = SPEEDS, hello_s: float | None = ASK_S) -> Asked:
    """Open a port at each speed in turn until a board answers "who are you?"; never raises `LinkError`.

    A board is asked at the next speed only where it was silent or garbled.
    """
    trouble: LinkError | None = None
    for baud in speeds:
        try:
            port = open_port(candidate.port, baud)
        except LinkError as error:
            return Asked(candidate, trouble=error)
        try:
            return Asked(candidate, who(port, hello_s), baud)
        except (BoardSilent, BoardGarbled) as error:
            trouble = error
        except LinkError as error:
            return Asked(candidate, trouble=error)
        finally:
            port.close()
    return Asked(candidate, trouble=trouble)


def who(port: Port, hello_s: float | None = None) -> Identity:
    """Return who the board is, its given name included. Raises `LinkError`."""
    from dataclasses import replace

    client = Client(port, hello_s=hello_s)
    identity = client.identify()
    return replace(identity, given_name=given_name_in(client.read_area("row", ROW_BYTES)) or "")


def find_board(
    found: Iterable[Candidate],
    called: str | None = None,
    speeds: Sequence[int] = SPEEDS,
    asking: Callable[[Candidate, Sequence[int]], Asked] = ask,
) -> Asked:
    """Return the one board that answers behind a known adapter; with `called`, the one of that given name.

    Asking stops as soon as two answer. Raises `NotOneBoard` where none or more than one does.
    """
    known = [each for each in found if each.known]
    if not known:
        raise NotOneBoard("No port with a known serial adapter is there.", f"Plug the board in, or give --port. {WHY}")
    answered: list[Asked] = []
    quiet: list[Asked] = []
    for each in known:
        asked = asking(each, speeds)
        if asked.identity is None:
            quiet.append(asked)
        elif called is None or asked.identity.given_name.casefold() == called.casefold():
            answered.append(asked)
        if len(answered) > 1:
            listed = "; ".join(f"{one.candidate.port} has {_called(one)}" for one in answered)
            raise NotOneBoard(f"More than one board answers: {listed}.", "Say which one with --port or --called.")
    if answered:
        return answered[0]
    raise _none(known, quiet, called)


def other_speed(port: str, baud: int) -> int | None:
    """Return the speed at which a board answers on a port that gave no sense at `baud`, None where none does."""
    speeds = [speed for speed in SPEEDS if speed != baud]
    asked = ask(Candidate(port, ""), speeds)
    return asked.baud if asked.identity is not None else None


def wrong_speed(port: str, baud: int, spoken: int) -> BoardGarbled:
    """The error for a board that answers at another speed than it was asked at."""
    return BoardGarbled(
        f"The board on {port} speaks {spoken} bit/s; it was asked at {baud}.",
        "The dive file names another kind of board: take the right board, or write the right one into the file.",
    )


def _none(known: Sequence[Candidate], quiet: Sequence[Asked], called: str | None) -> LinkError:
    if called is not None:
        return NotOneBoard(f"No board called {called} answers on {_ports(known)}.", "See who answers: schedgen find.")
    if len(quiet) == 1 and quiet[0].trouble is not None:
        return quiet[0].trouble
    return NotOneBoard(f"No board answers on {_ports(known)}.", f"Is the pack connected? {WHY}")


def _ports(known: Sequence[Candidate]) -> str:
    return ", ".join(each.port for each in known)


def _called(asked: Asked) -> str:
    return asked.identity.called if asked.identity is not None else "no board"


def _described(text: str | None) -> str:
    return "" if text in (None, "n/a") else str(text)

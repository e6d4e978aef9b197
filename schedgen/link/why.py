"""Why no board is found: what can be seen without a board and without a network, and the usual causes."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from schedgen.link.search import Candidate

_SERIAL_GROUPS = ("dialout", "uucp", "tty")


@dataclass(frozen=True, slots=True)
class Cause:
    """One possible cause: what it is, how it shows or what was seen here, what to do. `seen`: it is the case here."""

    title: str
    text: str
    step: str
    seen: bool = False


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What this computer says: system ("linux", "darwin", "win32"), its ports, groups of the user and of the system.

    `denied` are ports that this user may not open.
    """

    system: str
    ports: tuple[Candidate, ...]
    groups: tuple[str, ...] = ()
    serial_groups: tuple[str, ...] = ()
    denied: tuple[str, ...] = ()


def look_around(ports: Sequence[Candidate]) -> Surroundings:
    """Return what can be seen here; opens no port."""
    denied = tuple(
        each.port for each in ports if os.path.exists(each.port) and not os.access(each.port, os.R_OK | os.W_OK)
    )
    mine, there = _groups()
    return Surroundings(sys.platform, tuple(ports), mine, there, denied)


def causes(around: Surroundings) -> tuple[Cause, ...]:
    """Return the usual causes for a system, those that are the case here first."""
    listed = [_no_port(around), _permission(around), _service(around), _cable(), _driver(around), _power(), _board()]
    return tuple(sorted(listed, key=lambda cause: not cause.seen))


def _no_port(around: Surroundings) -> Cause:
    known = [each.port for each in around.ports if each.known]
    if known:
        return Cause("adapter", f"seen: {', '.join(known)}", "It is there; read on.")
    names = {"darwin": "/dev/cu.*", "win32": "COM3 and the like"}.get(around.system, "/dev/ttyUSB* or /dev/ttyACM*")
    return Cause(
        "no adapter",
        f"this computer lists no port with a known serial adapter; it would be called {names}",
        "Plug it in, wait three seconds, look again; try another socket and no hub.",
        seen=True,
    )


def _permission(around: Surroundings) -> Cause:
    if around.system == "win32":
        return Cause("permission", "Windows lets every user open a serial port", "Nothing to do.")
    if around.system == "darwin":
        return Cause("permission", "macOS lets every user open cu.* ports", "Nothing to do.")
    group = around.serial_groups[0] if around.serial_groups else _SERIAL_GROUPS[0]
    inside = group in around.groups
    text = f"this user is {'' if inside else 'not '}in the group {group}, which owns serial ports"
    if around.denied:
        text = f"this user may not open {', '.join(around.denied)}; the group {group} may"
    step = f'Join it: sudo usermod -a -G {group} "$USER" ; then log out and in again.'
    return Cause("permission", text, step if not inside or around.denied else "Nothing to do.", bool(around.denied))


def _service(around: Surroundings) -> Cause:
    see = {
        "win32": "Close serial terminals, and programs that look for phones, modems or positions.",
        "darwin": "See who has it: lsof PORT ; then close that program.",
    }.get(around.system, "See who has it: fuser -v PORT ; stop that service, or tell it to leave this adapter alone.")
    return Cause(
        "a service holds the port",
        "services that look after modems, printers, braille lines or positions open every new serial port; "
        "so does a terminal left open",
        see,
    )


def _cable() -> Cause:
    return Cause(
        "charge-only cable",
        "many USB cables have no data wires: the board may even light up, and no port appears",
        "Take a cable over which files were copied before.",
    )


def _driver(around: Surroundings) -> Cause:
    step = {
        "win32": "Look in the Device Manager for a device with a warning sign; install its maker's driver.",
        "darwin": "Allow the driver under System Settings, Privacy and Security; then plug in again.",
    }.get(around.system, "Look at what the kernel says when you plug it in: sudo dmesg --follow")
    return Cause(
        "driver", "the system sees the adapter and has no driver for it, or has not been allowed to load it", step
    )


def _power() -> Cause:
    return Cause(
        "power saving",
        "a sleeping hub or an energy-saving setting switches the socket off",
        "Plug it straight into the computer; switch USB power saving off; wake the computer and plug in again.",
    )


def _board() -> Cause:
    return Cause(
        "the board itself",
        "the adapter is there and nothing answers: the pack is not connected, the two data wires are crossed, the "
        "speed is another board's, or the lead is not fully in",
        "Connect the pack, press the plug home, then: schedgen find --port PORT",
    )


def _groups() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Groups of this user, and those of the system that own serial ports; both empty where there is no such thing."""
    try:
        import grp
    except ImportError:
        return (), ()
    mine, there = [], []
    for number in {*os.getgroups(), os.getegid()}:
        try:
            mine.append(grp.getgrgid(number).gr_name)
        except KeyError:
            continue
    for name in _SERIAL_GROUPS:
        try:
            grp.getgrnam(name)
        except KeyError:
            continue
        there.append(name)
    return tuple(sorted(mine)), tuple(there)

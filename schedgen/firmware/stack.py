"""How deep the stack can get, from the disassembly of the linked program alone. Pure.

The compiler's own figures (.su files) are not used: the program is optimized once more when it is linked, and what they
say of functions that were joined, split or renamed then cannot be told from nothing. A frame is all that a function
pushes anywhere, and what it takes off the stack pointer. Where the calls form a cycle no bound can be given; the
firmware has none.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

_FUNCTION = re.compile(r"^([0-9a-f]+) <([^>]+)>:$")
_GOES = re.compile(r"\tr?(?:call|jmp)\t.*; 0x([0-9a-f]+)")
_INDIRECT = re.compile(r"\te?icall\b")
_PUSH = re.compile(r"\tpush\t")
_PUSH_TWO = re.compile(r"\trcall\t\.\+0\s")
_LOAD = re.compile(r"\tldi\tr(26|27), 0x([0-9A-Fa-f]+)")
_STACK_TO_FRAME = re.compile(r"\tin\tr28, 0x3d\b")
_FRAME_TO_STACK = re.compile(r"\tout\t0x3d, r28\b")
_TAKE = re.compile(r"\t(sbiw|subi|sbci)\tr(28|29), 0x([0-9A-Fa-f]+)")
_RETURN_BYTES = 2
_SHARED_SAVES = "__prologue_saves__"
_ALL_SAVED = 18
"""Registers that the shared prologue pushes when it is entered at its beginning; each push is 2 bytes long."""
_LIBRARY_FRAME = 20
"""More than any helper of the compiler's library takes."""


@dataclass(slots=True)
class _Function:
    at: int
    lines: list[str] = field(default_factory=list)


def frames(listing: str) -> dict[str, int]:
    """Bytes of stack that each function takes at most, without the return address, from a disassembly."""
    functions = _functions(listing)
    saves = functions.get(_SHARED_SAVES)
    return {name: _frame(function.lines, saves.at if saves else None) for name, function in functions.items()}


def calls(listing: str) -> dict[str, set[str]]:
    """Who calls whom, from the addresses in a disassembly (it may name an address by any symbol nearby); "*" stands
    for a call through a pointer."""
    functions = _functions(listing)
    names = {function.at: name for name, function in functions.items()}
    graph: dict[str, set[str]] = {}
    for name, function in functions.items():
        found = {names.get(int(goes[1], 16), name) for line in function.lines if (goes := _GOES.search(line))}
        graph[name] = found - {name} | ({"*"} if any(_INDIRECT.search(line) for line in function.lines) else set())
    return graph


def _functions(listing: str) -> dict[str, _Function]:
    found: dict[str, _Function] = {}
    inside = _Function(0)
    for line in listing.splitlines():
        begin = _FUNCTION.match(line)
        if begin:
            inside = found.setdefault(begin[2], _Function(int(begin[1], 16)))
        else:
            inside.lines.append(line)
    return found


def _frame(lines: Iterable[str], saves_at: int | None) -> int:
    pushed = taken = 0
    pending: int | None = None  # what is being taken off the stack pointer
    loaded = {26: 0, 27: 0}
    for line in lines:
        load, take, goes = _LOAD.search(line), _TAKE.search(line), _GOES.search(line)
        if _PUSH.search(line):
            pushed += 1
        elif _PUSH_TWO.search(line):
            pushed += 2
        elif load:
            loaded[int(load[1])] = int(load[2], 16)
        elif goes:
            skipped = -1 if saves_at is None else int(goes[1], 16) - saves_at
            if 0 <= skipped < 2 * _ALL_SAVED:
                pushed += _ALL_SAVED - skipped // 2 + (loaded[27] << 8 | loaded[26])
            pending = None
        elif _STACK_TO_FRAME.search(line):
            pending = 0
        elif pending is not None and take:
            pending += int(take[3], 16) << (8 if take[1] == "sbci" else 0)
        elif pending is not None and _FRAME_TO_STACK.search(line):
            taken, pending = taken + pending, None
    return pushed + taken


def deepest(listing: str) -> int:
    """Bytes of stack at most: the deepest way from `main`, and the deepest interrupt on top of it.

    Raises ValueError naming a function that calls itself, and where the listing holds no `main`.
    """
    graph, frame = calls(listing), frames(listing)
    if "main" not in graph:
        raise ValueError("there is no main in the program")
    depths = _Depths(graph, frame)
    interrupts = [name for name in graph if name.startswith("__vector_")]
    return depths.of("main") + max((depths.of(name) for name in interrupts), default=0)


class _Depths:
    """Bytes of stack below and in each function."""

    def __init__(self, graph: Mapping[str, set[str]], frame: Mapping[str, int]) -> None:
        self.graph, self.frame = graph, frame
        self.known: dict[str, int] = {}
        self.under_way: list[str] = []

    def of(self, name: str) -> int:
        """Of one function."""
        if name in self.known:
            return self.known[name]
        if _is_library(name):
            return _LIBRARY_FRAME + _RETURN_BYTES
        if name in self.under_way:
            way = ", ".join(self.under_way[self.under_way.index(name) :])
            raise ValueError(f"{name} calls itself, by way of {way}")
        self.under_way.append(name)
        callees = self.graph[name]
        if "*" in callees:
            callees = callees - {"*"} | self._pointed(name)
        below = max((self.of(callee) for callee in callees), default=0)
        self.under_way.pop()
        self.known[name] = self.frame[name] + below + _RETURN_BYTES
        return self.known[name]

    def _pointed(self, caller: str) -> set[str]:
        """What a pointer may lead to: every function but interrupts, and those that lead back to the caller."""
        return {
            name
            for name in self.graph
            if not _is_library(name) and not name.startswith("__vector_") and caller not in self._reached(name)
        }

    def _reached(self, name: str) -> set[str]:
        found, left = {name}, [name]
        while left:
            fresh = {callee for callee in self.graph.get(left.pop(), set()) if callee != "*"} - found
            found |= fresh
            left += fresh
        return found


def _is_library(name: str) -> bool:
    """Whether it is one of the compiler's own helpers, which call nothing of ours."""
    return name.startswith("__") and not name.startswith("__vector_")

"""How deep the stack can get: frames as the compiler tells them, calls as they stand in the program. Pure.

Calls through the port's table are taken to reach any function of that table. Where the calls form a cycle no bound can
be given; the firmware has none.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

_FUNCTION = re.compile(r"^[0-9a-f]+ <([^>]+)>:$")
_CALL = re.compile(r"\t(?:r?call|r?jmp)\t.*<([^>+]+)>")
_INDIRECT = re.compile(r"\te?icall\b")
_RETURN_BYTES = 2
_LIBRARY_FRAME = 20
"""More than any helper of the compiler's library takes."""


def frames(usages: Iterable[str]) -> dict[str, int]:
    """Stack frame of each function in bytes, from the texts of the compiler's .su files."""
    found: dict[str, int] = {}
    for text in usages:
        for line in text.splitlines():
            place, size, _ = line.split("\t")
            name = place.rsplit(":", 1)[-1]
            found[name] = max(found.get(name, 0), int(size))
    return found


def calls(listing: str) -> dict[str, set[str]]:
    """Who calls whom, from a disassembly; "*" stands for a call through a pointer."""
    graph: dict[str, set[str]] = {}
    inside = ""
    for line in listing.splitlines():
        begin = _FUNCTION.match(line)
        if begin:
            inside = begin[1]
            graph.setdefault(inside, set())
        elif _INDIRECT.search(line):
            graph[inside].add("*")
        else:
            call = _CALL.search(line)
            if call and call[1] != inside:
                graph[inside].add(call[1])
    return graph


def deepest(graph: Mapping[str, set[str]], frame: Mapping[str, int], through_pointers: Iterable[str]) -> int:
    """Bytes of stack at most: the deepest way from `main`, and the deepest interrupt on top of it.

    Raises ValueError naming a function that calls itself.
    """
    pointed = set(through_pointers)
    known: dict[str, int] = {}
    under_way: list[str] = []

    def depth(name: str) -> int:
        if name in known:
            return known[name]
        if _is_library(name):
            return _LIBRARY_FRAME + _RETURN_BYTES
        if name in under_way:
            raise ValueError(f"{name} calls itself, by way of {', '.join(under_way[under_way.index(name) :])}")
        under_way.append(name)
        callees = graph.get(name, set())
        callees = (callees - {"*"}) | (pointed if "*" in callees else set())
        below = max((depth(callee) for callee in callees), default=0)
        under_way.pop()
        own = frame.get(re.sub(r"\.(isra|part|constprop)\.\d+", "", name), _LIBRARY_FRAME)
        known[name] = own + below + _RETURN_BYTES
        return known[name]

    interrupts = [name for name in graph if name.startswith("__vector_")]
    return depth("main") + max((depth(name) for name in interrupts), default=0)


def _is_library(name: str) -> bool:
    """Whether it is one of the compiler's own helpers, which call nothing of ours."""
    return name.startswith("__") and not name.startswith("__vector_")

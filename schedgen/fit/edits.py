"""Edits of a dive: a value in the model, and the same value in the text of the file with all else left as it stands."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from schedgen.errors import UsageError
from schedgen.files.tree import Leaf, Node, Series, Table, parse_tree

_LINES = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+$")


@dataclass(frozen=True, slots=True)
class Edit:
    """What stands at a dotted path (list items from 0): its text in the file, and its value in the model."""

    path: str
    text: str
    value: Any


def changed_model(model: Any, edits: Iterable[Edit]) -> Any:
    """A copy of a model with the edits made in it; nothing else is read again."""
    for edit in edits:
        model = _with(model, edit.path.split("."), edit.value)
    return model


def _with(here: Any, keys: Sequence[str], value: Any) -> Any:
    if not keys:
        return value
    key, rest = keys[0], keys[1:]
    if isinstance(here, list | tuple):
        at = int(key)
        return [_with(item, rest, value) if i == at else item for i, item in enumerate(here)]
    if isinstance(here, Mapping):
        return {name: _with(item, rest, value) if name == key else item for name, item in here.items()}
    if not isinstance(here, BaseModel):
        raise UsageError(f"{key} is not part of a section.")
    name = key if key in type(here).model_fields else f"{key}_"
    return here.model_copy(update={name: _with(getattr(here, name), rest, value)})


def changed_text(text: str, edits: Iterable[Edit], file: str) -> str:
    """The text of a file with each edit made in place: comments, order, spacing and line ends stay.

    A key that is not there yet is added to its mapping when that is written on one line in braces. Raises UsageError
    where a value cannot be changed in place (it runs over several lines, or is an alias).
    """
    for edit in edits:
        text = _one(text, edit, file)
    return text


def _one(text: str, edit: Edit, file: str) -> str:
    lines = _LINES.findall(text)
    node: Node = parse_tree(text, file).root
    keys = edit.path.split(".")
    for index, key in enumerate(keys):
        inside: Node | None = None
        if isinstance(node, Table) and key in node.entries:
            inside = node.entries[key][1]
        elif isinstance(node, Series) and key.isdigit() and int(key) < len(node.items):
            inside = node.items[int(key)]
        if inside is None:
            if index + 1 < len(keys) or not isinstance(node, Table):
                raise _by_hand(edit, file, node.line, "it is not in the file")
            return _added(lines, node, key, edit, file)
        node = inside
    if not isinstance(node, Leaf):
        raise _by_hand(edit, file, node.line, "it is no single value")
    line, start = lines[node.line - 1], node.column - 1
    if not node.plain:
        start += 1
    stop = start + len(node.text)
    whole = line[start:stop] == node.text and (node.plain or line[stop : stop + 1] == line[start - 1])
    if not whole:
        raise _by_hand(edit, file, node.line, "it is an alias, or is written in a way that cannot be changed in place")
    lines[node.line - 1] = line[:start] + edit.text + line[stop:]
    return "".join(lines)


def _added(lines: list[str], node: Table, key: str, edit: Edit, file: str) -> str:
    """`key: text` as the last entry of a mapping in braces on one line."""
    line = lines[node.line - 1]
    stop = _closing(line, node.column - 1)
    if stop is None:
        raise _by_hand(edit, file, node.line, "it is not in the file")
    body = line[:stop].rstrip()
    lines[node.line - 1] = f"{body}, {key}: {edit.text}{line[stop:]}"
    return "".join(lines)


def _closing(line: str, start: int) -> int | None:
    """Where the brace that opens at `start` closes on the same line; None where it does not."""
    depth, quote = 0, ""
    for at in range(start, len(line)):
        sign = line[at]
        if quote:
            quote = "" if sign == quote else quote
        elif sign in "\"'":
            quote = sign
        elif sign in "{[":
            depth += 1
        elif sign in "}]":
            depth -= 1
            if depth == 0:
                return at
        if depth == 0:
            return None
    return None


def _by_hand(edit: Edit, file: str, line: int, why: str) -> UsageError:
    return UsageError(f"{file}:{line}: {edit.path} cannot be changed in place: {why}.", f"Write {edit.text} by hand.")


def patch(old: str, new: str, file: str) -> str:
    """The change as a unified diff that `patch` and `git apply` take; empty where nothing changes."""
    return "".join(
        line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n"
        for line in difflib.unified_diff(_LINES.findall(old), _LINES.findall(new), f"a/{file}", f"b/{file}")
    )

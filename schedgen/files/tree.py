"""YAML text to a tree that knows line and column of every key and value. All scalars stay text.

Built from the parser's events with a stack of our own: no recursion, so that nothing can exhaust Python's
stack, and the same code and messages whether PyYAML has its C parser or not. YAML 1.1 types are never
resolved: `12:30`, `on`, `010` and `1e3` arrive as they were written. Anchors are allowed; merge keys, tags and
further documents are refused, and so is what would grow beyond `MOST_NODES` when aliases are written out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import yaml

from schedgen.errors import FileProblems, Problem
from schedgen.files.place import Place
from schedgen.files.text import read_text, split_lines
from schedgen.files.trouble import shown
from schedgen.files.wording import syntax_problem

DEEPEST = 32
"""Deepest nesting of mappings and lists."""
MOST_NODES = 50_000
"""Most values a file may hold, aliases written out."""

_SHORT = 100_000
"""Characters up to which a broken text is read again by the Python parser, for the sake of the place."""

_ODD_SPACES = "\u00a0\u1680\u2000-\u200d\u202f\u205f\u2060\u3000\ufeff"
_INDENT = re.compile(f"[ ]*([\t{_ODD_SPACES}])[\\s{_ODD_SPACES}]*[^\\s#{_ODD_SPACES}]")
_ODD_SPACE = re.compile(f"[{_ODD_SPACES}]")
_BLANK = re.compile(r"([:,\[{-][ ]+)\?(?=[ ]*(?:[#,}\]\r\n]|$))", re.MULTILINE)
"""A lone `?`, where a value still has to be filled in: YAML takes it for something else, so it is hidden from it."""
_HIDDEN = "\ue000"
_BARE_TABS = re.compile(r"^[ \t]+(?=\r?$)", re.MULTILINE)
"""Lines of blanks and tabs alone, which YAML refuses though nobody can see them."""
_CURLY = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b"


@dataclass(slots=True)
class Leaf:
    """A scalar: its text exactly as meant, quotes taken off. `plain` is false when it was quoted."""

    text: str
    line: int
    column: int
    plain: bool = True
    size: int = 1
    height: int = 0


@dataclass(slots=True)
class Series:
    """A list."""

    line: int
    column: int
    items: list[Node] = field(default_factory=list)
    size: int = 1
    height: int = 1


@dataclass(slots=True)
class Table:
    """A mapping: key text to (the key's leaf, the value)."""

    line: int
    column: int
    entries: dict[str, tuple[Leaf, Node]] = field(default_factory=dict)
    size: int = 1
    height: int = 1


Node = Leaf | Series | Table


@dataclass(frozen=True, slots=True)
class Tree:
    """A file as read. `problems` are those that did not stop the reading (a key that stands twice, say)."""

    file: str
    lines: list[str]
    root: Table
    problems: tuple[Problem, ...] = ()

    def problem(
        self, line: int, column: int, message: str, expected: str = "", example: str = "", next: str = ""
    ) -> Problem:
        """A problem of this file at `line` and `column`, with the bare line filled in."""
        return Problem(self.file, line, column, message, expected, example, next, source_line(self.lines, line))

    def place(self, node: Node) -> Place:
        """Where `node` stands."""
        return Place(self.file, node.line, node.column)


def source_line(lines: list[str], line: int) -> str:
    """Line number `line` (from 1), or an empty text where there is none."""
    return lines[line - 1] if 1 <= line <= len(lines) else ""


def read_tree(path: str | Path) -> Tree:
    """The tree of the YAML file at `path`. Raises `FileProblems` and nothing else."""
    return parse_tree(read_text(path), str(path))


def parse_tree(text: str, file: str, loader: Any = None) -> Tree:
    """The tree of YAML `text`; `file` is for messages, `loader` a PyYAML loader class (tests only).

    Raises `FileProblems` where the text has no usable tree at all; lesser problems are in the tree.
    """
    chosen = loader or _loader()
    lines = split_lines(text)
    marked = text if "?" not in text or _HIDDEN in text else _BLANK.sub(rf"\1{_HIDDEN}", text)
    if "\t" in marked:
        marked = _BARE_TABS.sub("", marked)
    builder = _Builder(file, lines, hidden=_HIDDEN not in text)
    try:
        for event in yaml.parse(marked, Loader=chosen):
            builder.take(event)
    except _Stop:
        pass
    except yaml.MarkedYAMLError as error:
        if chosen is not yaml.SafeLoader and len(text) < _SHORT:
            return parse_tree(text, file, yaml.SafeLoader)  # its marks are the better ones
        builder.syntax_error(error)
    except yaml.YAMLError:
        builder.report(1, 1, "This is not YAML text.", "a dive, board or cell file", "", "Open it in a text editor.")
        builder.fatal = True
    return builder.finish()


def _loader() -> Any:
    return getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Stop(Exception):  # control flow inside this module, never seen outside
    """Reading cannot go on; the reason has been reported."""


class _Builder:
    """Turns parser events into a tree. One open container a stack entry; `keys` holds its key in waiting."""

    def __init__(self, file: str, lines: list[str], hidden: bool) -> None:
        self.hidden = hidden
        self.file = file
        self.lines = lines
        self.problems: list[Problem] = []
        self.fatal = False
        self.root: Node | None = None
        self.stack: list[Series | Table] = []
        self.keys: list[Leaf | None] = []
        self.anchors: dict[str, Node | None] = {}
        self.names: list[str | None] = []
        self.documents = 0
        self.count = 0
        self.long_texts: list[tuple[int, int]] = []

    def report(
        self, line: int, column: int, message: str, expected: str = "", example: str = "", next: str = ""
    ) -> None:
        source = source_line(self.lines, line)
        self.problems.append(Problem(self.file, line, column, message, expected, example, next, source))

    def stop(
        self, line: int, column: int, message: str, expected: str = "", example: str = "", next: str = ""
    ) -> _Stop:
        self.report(line, column, message, expected, example, next)
        self.fatal = True
        return _Stop()

    def take(self, event: Any) -> None:
        line, column = event.start_mark.line + 1, event.start_mark.column + 1
        if isinstance(event, yaml.ScalarEvent):
            self._scalar(event, line, column)
        elif isinstance(event, yaml.AliasEvent):
            self._alias(str(event.anchor), line, column)
        elif isinstance(event, yaml.MappingStartEvent):
            self._open(Table(line, column), event, line, column)
        elif isinstance(event, yaml.SequenceStartEvent):
            self._open(Series(line, column), event, line, column)
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            self._close()
        elif isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                raise self.stop(
                    line, column, "A second document begins here.", "one document a file", "",
                    "Delete the line of three dashes, or put what follows in a file of its own.",
                )  # fmt: skip

    def _scalar(self, event: Any, line: int, column: int) -> None:
        plain = not event.style  # the C parser says '' where the Python one says None
        text = event.value.replace(_HIDDEN, "?") if self.hidden else event.value
        leaf = Leaf(text, line, column, plain)
        if event.end_mark.line > event.start_mark.line:
            self.long_texts.append((line, event.end_mark.line + 1))
        if event.tag is not None:
            self._refuse_tag(event.tag, line, column)
        if plain and leaf.text[:1] in _CURLY and leaf.text:
            self.report(
                line, column, f"A curly quote ({leaf.text[0]}) stands here; it does not quote anything.",
                "straight quotes, or none", '"Gannet Hole"', 'Type a straight quote (") at both ends.',
            )  # fmt: skip
            leaf.text = leaf.text.strip(_CURLY)
        self._odd_space(leaf)
        if event.anchor is not None:
            self.anchors[event.anchor] = leaf
        self._add(leaf)

    def _odd_space(self, leaf: Leaf) -> None:
        odd = _ODD_SPACE.search(leaf.text)
        if odd is None:
            return
        source = source_line(self.lines, leaf.line)
        at = _ODD_SPACE.search(source, leaf.column - 1)
        column = at.start() + 1 if at else leaf.column
        self.report(
            leaf.line, column, f"{_space_name(odd[0])} stands here; it only looks like a blank.",
            "an ordinary blank, or nothing", "", "Delete it and press the space bar.",
        )  # fmt: skip
        leaf.text = _ODD_SPACE.sub(" ", leaf.text).strip() if leaf.plain else _ODD_SPACE.sub(" ", leaf.text)

    def _refuse_tag(self, tag: str, line: int, column: int) -> None:
        self.report(
            line, column, f"A tag ({shown(tag)}) stands here. Tags are not used in these files.",
            "the value alone", "", "Delete the tag; put quotes around a text that really begins with !.",
        )  # fmt: skip

    def _alias(self, name: str, line: int, column: int) -> None:
        if name not in self.anchors:
            raise self.stop(
                line, column, f"*{name} refers to &{name}, which is not written above.",
                "an anchor written earlier in the file", "", f"Write &{name} before the value that it stands for.",
            )  # fmt: skip
        node = self.anchors[name]
        if node is None:
            raise self.stop(
                line, column, f"*{name} stands inside the value that it names, so it would never end.", "", "",
                "Write the value out.",
            )  # fmt: skip
        self._add(replace(node, line=line, column=column))

    def _open(self, node: Series | Table, event: Any, line: int, column: int) -> None:
        if event.tag is not None:
            self._refuse_tag(event.tag, line, column)
        if self.stack and isinstance(self.stack[-1], Table) and self.keys[-1] is None:
            raise self.stop(
                line, column, "A list or a mapping cannot be a key.", "a word as the key", "depth: 320 m",
                "If this was meant as text, put it in quotes.",
            )  # fmt: skip
        if len(self.stack) >= DEEPEST:
            raise self.too_deep(line, column)
        if event.anchor is not None:
            self.anchors[event.anchor] = None
        self.names.append(event.anchor)
        self.stack.append(node)
        self.keys.append(None)

    def too_deep(self, line: int, column: int) -> _Stop:
        return self.stop(
            line, column, f"The nesting is deeper than {DEEPEST} levels.", "lists and mappings a few levels deep", "",
            "Look for brackets that are never closed.",
        )  # fmt: skip

    def _close(self) -> None:
        node = self.stack.pop()
        self.keys.pop()
        name = self.names.pop()
        if name is not None:
            self.anchors[name] = node
        self._add(node)

    def _add(self, node: Node) -> None:
        self.count += 1
        if not self.stack:
            self.root = node
            return
        parent = self.stack[-1]
        if isinstance(parent, Table) and self.keys[-1] is None:
            self._key(parent, node)
            return
        parent.size += node.size
        parent.height = max(parent.height, node.height + 1)
        if parent.size > MOST_NODES or self.count > MOST_NODES:
            raise self.stop(
                node.line, node.column, f"With its aliases written out the file holds more than {MOST_NODES} values.",
                "a file that a person would write", "", "Write fewer aliases (*name) inside one another.",
            )  # fmt: skip
        if parent.height + len(self.stack) - 1 > DEEPEST:
            raise self.too_deep(node.line, node.column)
        if isinstance(parent, Series):
            parent.items.append(node)
            return
        key = self.keys[-1]
        self.keys[-1] = None
        assert key is not None
        self._entry(parent, key, node)

    def _key(self, parent: Table, node: Node) -> None:
        if not isinstance(node, Leaf):
            raise self.stop(
                node.line, node.column, "A list or a mapping cannot be a key.", "a word as the key", "", "Write a word."
            )
        self.keys[-1] = node

    def _entry(self, parent: Table, key: Leaf, node: Node) -> None:
        if key.text == "<<" and key.plain:
            self.report(
                key.line, key.column, "A merge key (<<) stands here. Merge keys are not used in these files.",
                "the keys themselves", "", "Write out the keys that should be merged.",
            )  # fmt: skip
            return
        first = parent.entries.get(key.text)
        if first is not None:
            self.report(
                key.line, key.column,
                f"The key {shown(key.text)} stands twice: here and in line {first[0].line}.",
                "each key once", "", f"Delete one of the two (lines {first[0].line} and {key.line}).",
            )  # fmt: skip
            return
        parent.entries[key.text] = (key, node)

    def syntax_error(self, error: yaml.MarkedYAMLError) -> None:
        self.fatal = True
        mark = error.problem_mark or error.context_mark
        last = mark.line + 1 if mark else len(self.lines)
        if any(self._indent_problems(last)):
            return
        self.problems.append(syntax_problem(error, self.file, self.lines))

    def _indent_problems(self, last: int) -> Iterator[bool]:
        for number, text in enumerate(self.lines[:last], 1):
            found = _INDENT.match(text)
            if found is None or any(first < number <= end for first, end in self.long_texts):
                continue
            self._indent_problem(number, found.start(1) + 1, found[1])
            yield True

    def _indent_problem(self, line: int, column: int, character: str) -> None:
        if any(problem.line == line and problem.column == column for problem in self.problems):
            return
        what = "A tab" if character == "\t" else _space_name(character)
        self.report(
            line, column, f"{what} stands in the indentation.", "blanks only", "",
            "Delete it and press the space bar; two blanks a level are usual.",
        )  # fmt: skip

    def finish(self) -> Tree:
        if not self.fatal:
            list(self._indent_problems(len(self.lines)))
        root = self.root
        if not self.fatal and (root is None or (isinstance(root, Leaf) and not root.text)):
            self.report(
                1, 1, "The file is empty.", "a mapping of keys and values", "format: 1",
                "Write a new one with: schedgen new",
            )  # fmt: skip
            self.fatal = True
        elif not self.fatal and not isinstance(root, Table):
            assert root is not None
            self.report(
                root.line, root.column, "The file is not a mapping of keys and values.", "key: value, one a line",
                "format: 1", "Write a new one with: schedgen new",
            )  # fmt: skip
            self.fatal = True
        if self.fatal or not isinstance(root, Table):
            raise FileProblems(self.problems)
        return Tree(self.file, self.lines, root, tuple(self.problems))


def _space_name(character: str) -> str:
    if character == "\u00a0":
        return "A non-breaking space (U+00A0)"
    return f"An invisible or unusual space (U+{ord(character):04X})"

"""A tree to a pydantic model, all problems at once, each at its place in the file.

Works for any model whose fields take text, lists of text or further models; knows nothing of dives or boards.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from schedgen.errors import FileProblems, Problem
from schedgen.files.complaints import complaint, hint_at
from schedgen.files.place import Place
from schedgen.files.tree import Leaf, Node, Series, Table, Tree, source_line
from schedgen.files.trouble import Misread, Trouble

Model = TypeVar("Model", bound=BaseModel)
Path = tuple[str | int, ...]


class Places(Mapping[str, Place]):
    """Dotted path (`loads.camera.power`, `schedule.2.from`, list items from 0) to the place of its value."""

    def __init__(self, file: str, values: dict[str, Place], keys: dict[str, Place]) -> None:
        self._file = file
        self._values = values
        self._keys = keys

    def __getitem__(self, dotted: str) -> Place:
        """Place of the value at `dotted`. Raises KeyError when the file has none there."""
        return self._values[dotted]

    def __iter__(self) -> Iterator[str]:
        """The dotted paths in the order of the file."""
        return iter(self._values)

    def __len__(self) -> int:
        """How many values the file has."""
        return len(self._values)

    def key(self, dotted: str) -> Place:
        """Place of the key itself; of the value for a list item. Raises KeyError when it is not in the file."""
        return self._keys.get(dotted) or self._values[dotted]

    def nearest(self, dotted: str) -> Place:
        """Place of the value, else of the innermost mapping or list around it that is in the file.

        Where the key of such a mapping is known, its key is taken: that is where a line would be added.
        """
        if dotted in self._values:
            return self._values[dotted]
        while "." in dotted:
            dotted = dotted.rpartition(".")[0]
            if dotted in self._values:
                return self.key(dotted)
        return Place(self._file, 1, 1)


@dataclass(frozen=True, slots=True)
class Bound(Generic[Model]):
    """What binding gave: the model, or None when there are problems. `data` is the tree as dicts, lists and text."""

    model: Model | None
    places: Places
    problems: tuple[Problem, ...]
    data: dict[str, Any]


def bind(model_class: type[Model], tree: Tree, *, context: Any = None) -> tuple[Model, Places]:
    """`tree` as a `model_class`, and where each value stands.

    Raises `FileProblems` with every problem of the tree and of the model. `context` goes to the validators.
    """
    bound = bind_partly(model_class, tree, context=context)
    if bound.model is None:
        raise FileProblems(bound.problems)
    return bound.model, bound.places


def bind_partly(model_class: type[Model], tree: Tree, *, context: Any = None) -> Bound[Model]:
    """As `bind`, but returns the problems instead of raising them, so that a caller can look for more."""
    values: dict[str, Place] = {}
    keys: dict[str, Place] = {}
    _collect(tree, tree.root, (), values, keys)
    data = _plain(tree.root)
    places = Places(tree.file, values, keys)
    problems = list(tree.problems)
    model: Model | None = None
    try:
        model = model_class.model_validate(data, context=context)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            problems += _problems(model_class, tree, detail)
    if problems:
        return Bound(None, places, tuple(problems), data)
    return Bound(model, places, (), data)


def problem_at(tree: Tree, where: Path, trouble: Trouble) -> Problem:
    """`trouble` as a problem of the file, with the caret under what stands at `where` + `trouble.where`.

    Where the file has nothing there, the innermost key around it is taken; for a whole mapping, its key.
    """
    node, key, complete = _follow(tree.root, (*where, *trouble.where))
    target: Node = node
    if key is not None and (trouble.on_key or not complete or isinstance(node, Table)):
        target = key
    return Problem(
        tree.file, target.line, target.column, trouble.message, trouble.expected, trouble.example, trouble.next,
        source_line(tree.lines, target.line),
    )  # fmt: skip


def _follow(root: Node, where: Sequence[str | int]) -> tuple[Node, Leaf | None, bool]:
    """The innermost node on the way, its key if it has one, and whether the way was there to its end.

    Parts in parentheses are names that models give to the members of a union: not in the file.
    """
    node: Node = root
    key: Leaf | None = None
    for part in where:
        if isinstance(part, str) and part.startswith("("):
            continue
        if isinstance(node, Table) and str(part) in node.entries:
            key, node = node.entries[str(part)]
        elif isinstance(node, Series) and isinstance(part, int) and part < len(node.items):
            key, node = None, node.items[part]
        else:
            return node, key, False
    return node, key, True


def _problems(model_class: type[BaseModel], tree: Tree, detail: Any) -> list[Problem]:
    where: Path = tuple(detail["loc"])
    on_key = bool(where) and where[-1] == "[key]"
    if on_key:
        where = where[:-1]
    raised = detail.get("ctx", {}).get("error")
    if isinstance(raised, Misread):
        troubles = list(raised.troubles)
        _, example = hint_at(model_class, where)
        if example and isinstance(_follow(tree.root, where)[0], Leaf):
            troubles = [replace(t, example=example) for t in troubles]
        if on_key:
            troubles = [replace(t, on_key=True) for t in troubles]
    else:
        troubles = [complaint(model_class, where, detail, _follow(tree.root, where)[0])]
    return [problem_at(tree, where, trouble) for trouble in troubles]


def _plain(node: Node) -> Any:
    """The node as dicts, lists and text; `x-` keys are left out."""
    if isinstance(node, Leaf):
        return node.text
    if isinstance(node, Series):
        return [_plain(item) for item in node.items]
    return {name: _plain(value) for name, (_, value) in node.entries.items() if not name.startswith("x-")}


def _collect(tree: Tree, node: Node, where: Path, values: dict[str, Place], keys: dict[str, Place]) -> None:
    if where:
        values[".".join(map(str, where))] = tree.place(node)
    if isinstance(node, Series):
        for index, item in enumerate(node.items):
            _collect(tree, item, (*where, index), values, keys)
    elif isinstance(node, Table):
        for name, (key, value) in node.entries.items():
            keys[".".join(map(str, (*where, name)))] = tree.place(key)
            _collect(tree, value, (*where, name), values, keys)

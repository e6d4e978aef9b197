"""What pydantic finds wrong with the shape of a file, in our own words with what was expected."""

from __future__ import annotations

import types
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from schedgen.files.tree import Leaf, Node, Series
from schedgen.files.trouble import Trouble, did_you_mean, listing, shown


class Hint:
    """What a field's type tells about itself; stands in `Annotated` beside the validators."""

    def __init__(self, expected: str, example: str) -> None:
        self.expected = expected
        self.example = example


def complaint(model: type[BaseModel], where: Sequence[str | int], detail: Any, node: Node) -> Trouble:
    """Our words for one pydantic error `detail` at `where`; `node` is what the file has there."""
    kind = detail["type"]
    if kind == "missing":
        return _missing(model, where)
    if kind == "extra_forbidden":
        return _unknown_key(model, where)
    if kind in ("literal_error", "enum"):
        return _unknown_value(model, where, node)
    if kind in ("model_type", "model_attributes_type", "dict_type", "dataclass_type", "union_tag_not_found"):
        return _wrong_shape(model, where, node, "a mapping of keys and values")
    if kind == "list_type":
        return _wrong_shape(model, where, node, "a list")
    if kind == "string_type":
        return _wrong_shape(model, where, node, "a text")
    expected, example = hint_at(model, where)
    if kind in ("too_short", "string_too_short"):
        return Trouble(f"{_name(where)} is empty.", expected or "at least one entry", example, "Write at least one.")
    if kind == "too_long":
        most = detail.get("ctx", {}).get("max_length")
        return Trouble(f"{_name(where)} has too many entries.", f"at most {most}", example, "Take some out.")
    if kind in ("value_error", "assertion_error"):
        return Trouble(str(detail.get("ctx", {}).get("error", detail["msg"])), expected, example)
    return Trouble(f"{_name(where)}: {detail['msg']}.", expected, example, "Compare it with the example.")


def hint_at(model: type[BaseModel], where: Sequence[str | int]) -> tuple[str, str]:
    """What is expected at `where`, and an example; either may be empty."""
    expected, example = "", ""
    for found in _types_at(model, where):
        if isinstance(found, FieldInfo):
            if found.examples:
                example = example or str(found.examples[0])
            for extra in found.metadata:
                if isinstance(extra, Hint):
                    expected, example = expected or extra.expected, example or extra.example
        for part in _members(found):
            for extra in getattr(part, "__metadata__", ()):
                if isinstance(extra, Hint):
                    expected, example = expected or extra.expected, example or extra.example
    if not expected:
        allowed = keys_at(model, where)
        expected = f"a mapping with the keys {listing(allowed, 'and')}" if allowed else ""
    return expected, example


def keys_at(model: type[BaseModel], where: Sequence[str | int]) -> list[str]:
    """The keys that a mapping at `where` may have, in the order of the models."""
    names: dict[str, None] = {}
    for found in _types_at(model, where):
        for part in _members(found):
            if isinstance(part, type) and issubclass(part, BaseModel):
                names |= {field.alias or name: None for name, field in part.model_fields.items()}
    return list(names)


def _missing(model: type[BaseModel], where: Sequence[str | int]) -> Trouble:
    expected, example = hint_at(model, where)
    key, what = str(where[-1]), _description(model, where)
    message = f"{_name(where)} is missing{': ' + what[0].lower() + what[1:] if what else ''}."
    return Trouble(message, expected, f"{key}: {example}" if example else "", f"Add the key {key}.")


def _description(model: type[BaseModel], where: Sequence[str | int]) -> str:
    """What the field at `where` is, its first sentence; empty where nobody wrote it down."""
    texts = [found.description for found in _types_at(model, where) if isinstance(found, FieldInfo)]
    return (texts[0] or "").split(". ")[0].rstrip(".") if texts else ""


def _unknown_key(model: type[BaseModel], where: Sequence[str | int]) -> Trouble:
    key, allowed = str(where[-1]), keys_at(model, where[:-1])
    if key.isdigit():
        return Trouble(
            f"{key} stands where a key is wanted.", listing(allowed), "", "If a comma was meant as the decimal sign, "
            "write a point: 35.2. Else correct the key.", on_key=True,
        )  # fmt: skip
    guess = did_you_mean(key, allowed)
    inside = f" in {_name(where[:-1])}" if len(where) > 1 else ""
    return Trouble(
        f"There is no key {shown(key)}{inside}. {guess}".strip(),
        expected=listing(allowed),
        next="Correct the key, or write x- before it if it is a note of yours.",
        on_key=True,
    )


def _unknown_value(model: type[BaseModel], where: Sequence[str | int], node: Node) -> Trouble:
    allowed = [str(value) for found in _types_at(model, where) for value in _literals(found)]
    if not isinstance(node, Leaf):
        return Trouble(f"{_name(where)} must be one word.", listing(allowed), allowed[0] if allowed else "")
    if not node.text:
        return Trouble(f"{_name(where)} has no value.", listing(allowed), "", "Write one of them.")
    if not node.text.strip("? "):
        return Trouble(f"{_name(where)} still has to be filled in.", listing(allowed), "", "Write one of them.")
    guess = did_you_mean(node.text, allowed)
    return Trouble(
        f"{_name(where)} cannot be {shown(node.text)}. {guess}".strip(), listing(allowed), "", "Write one of them."
    )


def _wrong_shape(model: type[BaseModel], where: Sequence[str | int], node: Node, wanted: str) -> Trouble:
    expected, example = hint_at(model, where)
    allowed = keys_at(model, where)
    if allowed and not example:
        example = "{" + f"{allowed[0]}: ..." + "}"
    if isinstance(node, Leaf):
        got = shown(node.text) if node.text else "nothing"
    else:
        got = "a list" if isinstance(node, Series) else "a mapping"
    return Trouble(
        f"{_name(where)} must be {wanted}; {got} is written.",
        expected or wanted,
        example,
        "Compare it with the example.",
    )


def _name(where: Sequence[str | int]) -> str:
    """`schedule[3].from` for people: list items count from 1."""
    text = ""
    for part in where:
        if isinstance(part, int):
            text += f" entry {part + 1}"
        elif not part.startswith("("):
            text += f".{part}" if text else part
    return text or "The file"


def _members(found: Any) -> Iterator[Any]:
    """The type, what is inside its Annotated wrappers, and the members of its unions."""
    if isinstance(found, FieldInfo):
        found = found.annotation
    yield found
    origin = get_origin(found)
    if origin is Annotated:
        yield from _members(get_args(found)[0])
    elif origin in (Union, types.UnionType):
        for part in get_args(found):
            yield from _members(part)


def _literals(found: Any) -> Iterator[Any]:
    for part in _members(found):
        if get_origin(part) is Literal:
            yield from get_args(part)


def _types_at(model: type[BaseModel], where: Sequence[str | int]) -> list[Any]:
    """All types (or fields) that may stand at `where`."""
    current: list[Any] = [model]
    for part in where:
        if isinstance(part, str) and part.startswith("("):
            continue
        current = [inner for found in current for inner in _inside(found, part)]
    return current


def _inside(found: Any, part: str | int) -> Iterator[Any]:
    for member in _members(found):
        if isinstance(member, type) and issubclass(member, BaseModel):
            for name, field in member.model_fields.items():
                if part == (field.alias or name):
                    yield field
        elif get_origin(member) is list and isinstance(part, int):
            yield get_args(member)[0]
        elif get_origin(member) is dict and isinstance(part, str):
            yield get_args(member)[1]

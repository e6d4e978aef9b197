"""A dive file to a `Dive`: binding and all rules, every problem at once. Reads the one file and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from schedgen.dive.loads import FieldChange, Line, Load, Release
from schedgen.dive.model import Dive, Start
from schedgen.dive.rules import Sections, dive_troubles
from schedgen.dive.vehicle import Pack, Vehicle
from schedgen.errors import Problem
from schedgen.files.bind import Places, bind_partly, problem_at
from schedgen.files.tree import Tree

One = TypeVar("One", bound=BaseModel)


@dataclass(frozen=True)
class ReadDive:
    """What was read. `dive` is None when there are problems; `sections` are those that could be read all the same."""

    dive: Dive | None
    sections: Sections
    tree: Tree
    places: Places
    problems: tuple[Problem, ...]
    board: str
    cell: str | Mapping[str, Any]
    """As written, empty where the file does not say, so that those files can be read in any case."""


def read_dive(tree: Tree) -> ReadDive:
    """The dive in `tree`. Never raises for what the file says: problems are returned."""
    bound = bind_partly(Dive, tree)
    dive = bound.model
    sections = Sections.of(dive) if dive else _sections(bound.data)
    problems = [*bound.problems, *(problem_at(tree, (), trouble) for trouble in dive_troubles(sections))]
    board, pack = bound.data.get("board"), bound.data.get("pack")
    cell = pack.get("cell") if isinstance(pack, dict) else None
    return ReadDive(
        None if problems else dive,
        sections,
        tree,
        bound.places,
        tuple(problems),
        board if isinstance(board, str) else "",
        cell if isinstance(cell, (str, dict)) else "",
    )


def _sections(data: Mapping[str, Any]) -> Sections:
    loads, accept = data.get("loads"), data.get("accept")
    named = loads if isinstance(loads, dict) else {}
    read = {name: load for name, one in named.items() if (load := _loose(Load, one)) is not None}
    for name, load in read.items():
        load.called(name)
    return Sections(
        list(named),
        read,
        _items(Line, data.get("schedule")),
        _loose(Release, data.get("release")),
        _items(FieldChange, data.get("field_changes")),
        {key: text for key, text in accept.items() if isinstance(text, str)} if isinstance(accept, dict) else {},
        _whole(Start, data.get("start")),
        _whole(Pack, data.get("pack")),
        _whole(Vehicle, data.get("vehicle")),
    )


def _items(model: type[One], data: Any) -> dict[int, One]:
    if not isinstance(data, list):
        return {}
    return {index: one for index, item in enumerate(data) if (one := _loose(model, item)) is not None}


def _whole(model: type[One], data: Any) -> One | None:
    """The section when all of it is right, else None."""
    if not isinstance(data, dict):
        return None
    try:
        return model.model_validate(data)
    except ValidationError:
        return None


def _loose(model: type[One], data: Any) -> One | None:
    """The section with whatever is right in it; a field that is wrong or missing has its default, or None."""
    if not isinstance(data, dict):
        return None
    whole = _whole(model, data)
    if whole is not None:
        return whole
    values: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        given = data.get(field.alias or name)
        inner = _model_of(field.annotation)
        fallback = None if field.is_required() else field.default
        if inner is not None:
            values[name] = _loose(inner, given)
        else:
            values[name] = _one(model, name, given, fallback) if given is not None else fallback
    given_names = {name for name, field in model.model_fields.items() if (field.alias or name) in data}
    made = model.model_construct(_fields_set=given_names)
    made.__dict__.update(values)
    return made


def _model_of(annotation: Any) -> type[BaseModel] | None:
    kinds = [
        kind for kind in (annotation, *get_args(annotation)) if isinstance(kind, type) and issubclass(kind, BaseModel)
    ]
    return kinds[0] if len(kinds) == 1 and get_origin(annotation) is not list else None


def _one(model: type[BaseModel], name: str, given: Any, fallback: Any) -> Any:
    try:
        return _adapter(model, name).validate_python(given)
    except ValidationError:
        return fallback


@cache
def _adapter(model: type[BaseModel], name: str) -> TypeAdapter[Any]:
    field = model.model_fields[name]
    kind: Any = field.annotation
    for extra in field.metadata:
        kind = Annotated[kind, extra]
    return TypeAdapter(kind)

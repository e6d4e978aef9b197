"""A dive file to a `Dive`: binding and all rules, every problem at once. Reads the one file and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

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
    loads, schedule = data.get("loads"), data.get("schedule")
    changes, accept = data.get("field_changes"), data.get("accept")
    named = loads if isinstance(loads, dict) else {}
    read = {name: load for name, one in named.items() if (load := _try(Load, one)) is not None}
    for name, load in read.items():
        load.called(name)
    return Sections(
        list(named),
        read,
        _items(Line, schedule),
        _try(Release, data.get("release")),
        _items(FieldChange, changes),
        {key: text for key, text in accept.items() if isinstance(text, str)} if isinstance(accept, dict) else {},
        _try(Start, data.get("start")),
        _try(Vehicle, data.get("vehicle")),
        _try(Pack, data.get("pack")),
    )


def _items(model: type[One], data: Any) -> dict[int, One]:
    if not isinstance(data, list):
        return {}
    return {index: one for index, item in enumerate(data) if (one := _try(model, item)) is not None}


def _try(model: type[One], data: Any) -> One | None:
    if not isinstance(data, dict):
        return None
    try:
        return model.model_validate(data)
    except ValidationError:
        return None

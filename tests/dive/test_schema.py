"""The JSON Schema for editors, held to the reader by an independent validator (jsonschema)."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest

from schedgen.dive.model import Dive
from schedgen.dive.schema import dive_schema
from schedgen.files.bind import bind_partly
from schedgen.files.tree import parse_tree


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = dive_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def data(text: str) -> dict[str, Any]:
    return bind_partly(Dive, parse_tree(text, "a.yaml")).data


def changed(example: str, old: str, new: str) -> dict[str, Any]:
    assert old in example
    return data(example.replace(old, new))


def test_the_example_is_valid(validator: jsonschema.Draft202012Validator, example: str) -> None:
    assert [error.message for error in validator.iter_errors(data(example))] == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("charge: 98 %", "chrge: 98 %"),
        ("format: 1", "format: 2"),
        ("power: 6.8 W ± 5 %", "power: 6.8"),
        ("power: 6.8 W ± 5 %", "power: 6.8 V"),
        ("trigger: water", "trigger: buton"),
        ("latitude: 58.42", "latitude: 58 25.2 N"),
        ("tries: 3", "tries: 3.5"),
        ("sun: yes", "sun: on"),
        ("wait: 48 h", "wait: 48:00"),
        ("  latest: start + 13 h\n", ""),
        ("{load: fan, with: camera", "{load: fan, wth: camera"),
        ("from: -2, to: 4", "from: -2.5, to: 4"),
    ],
)
def test_what_the_reader_refuses_the_schema_refuses(
    validator: jsonschema.Draft202012Validator, example: str, old: str, new: str
) -> None:
    assert list(validator.iter_errors(changed(example, old, new)))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("charge: 98 %", "charge: {rest_voltage: 12.31 V ± 0.02 V, rested: 2 h, temperature: 15 degC}"),
        ("charge: 98 %", "charge: {after: monday.yaml}"),
        ("cell: nmc-21700-5000", "cell: {cell: x}"),
        ("power: 6.8 W ± 5 %", "power: about 6.8 W"),
        ("power: 6.8 W ± 5 %", "power: 6.8 W +/- 300 mW"),
        ("power: 6.8 W ± 5 %", "power: 6 W .. 7 W"),
        ("wait: 48 h", "wait: 1 d 23 h 30 min"),
        ("down: 1.0 ± 20 %", "down: 0.6 .. 1.5"),
        ("stop: OUT3", "stop: on power loss"),
    ],
)
def test_what_the_reader_takes_the_schema_takes(
    validator: jsonschema.Draft202012Validator, example: str, old: str, new: str
) -> None:
    assert [error.message for error in validator.iter_errors(changed(example, old, new))] == []


def test_plain_numbers_of_an_editor_are_fine(validator: jsonschema.Draft202012Validator, example: str) -> None:
    typed = data(example)
    typed["format"] = 1
    typed["site"]["latitude"] = 58.42
    typed["pack"]["series"] = 3
    typed["x-note"] = {"free": 1}
    assert [error.message for error in validator.iter_errors(typed)] == []


def test_it_is_the_same_on_every_call() -> None:
    assert json.dumps(dive_schema()) == json.dumps(dive_schema())


def test_every_key_has_a_description() -> None:
    def walk(part: Any, path: str) -> None:
        if isinstance(part, dict):
            for name, field in part.get("properties", {}).items():
                assert field.get("description"), f"{path}.{name}"
            for key, inner in part.items():
                walk(inner, f"{path}.{key}")
        elif isinstance(part, list):
            for inner in part:
                walk(inner, path)

    walk(dive_schema(), "")

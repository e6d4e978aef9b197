"""Tree to model: all problems at once, each at its place, for any model."""

from __future__ import annotations

from typing import Annotated, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, model_validator

from schedgen.errors import FileProblems, Problem
from schedgen.files import units
from schedgen.files.bind import Places, bind, bind_partly
from schedgen.files.fields import Count, Name, Of, Power, Quantity, Text, Whole, YesNo
from schedgen.files.place import Place
from schedgen.files.tree import parse_tree
from schedgen.files.trouble import Misread, Trouble


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Lamp(Part):
    power: Power = Field(description="Power of the lamp. While on", examples=["24 W"])
    kind: Literal["flood", "spot"] = "flood"
    for_: Annotated[Quantity, Of(units.DURATION, above=0)] | None = Field(default=None, alias="for")

    @model_validator(mode="after")
    def _rules(self) -> Lamp:
        if self.kind == "spot" and self.for_ is not None:
            raise Misread(
                Trouble("A spot has no for.", where=("for",), on_key=True, next="Delete it."),
                Trouble("Too bright.", where=("power",), next="Dim it."),
            )
        return self


class Rig(Part):
    name: Text
    lamps: dict[Name, Lamp]
    spare: list[Lamp] = []
    count: Count = 1
    lit: YesNo = False
    steps: Annotated[int, Whole(-2, 4)] = 0


GOOD = "name: x\nlamps:\n  left: {power: 7 W}\nspare:\n  - {power: 1 W, for: 2 s}\n"


def problems(text: str) -> list[Problem]:
    with pytest.raises(FileProblems) as caught:
        bind(Rig, parse_tree(text, "a.yaml"))
    return list(caught.value.problems)


def only(text: str) -> Problem:
    found = problems(text)
    assert len(found) == 1, found
    return found[0]


def test_a_good_file_gives_model_and_places() -> None:
    rig, places = bind(Rig, parse_tree(GOOD, "a.yaml"))
    assert rig.lamps["left"].power.nominal == 7
    assert places["lamps.left.power"] == Place("a.yaml", 3, 17)
    assert places.key("lamps.left") == Place("a.yaml", 3, 3)
    assert places["spare.0.for"] == Place("a.yaml", 5, 23)
    assert places.key("spare.0") == Place("a.yaml", 5, 5)
    assert list(places)[:2] == ["name", "lamps"]
    assert len(places) == 8


def test_the_nearest_place_of_what_is_left_out_is_its_mapping() -> None:
    _, places = bind(Rig, parse_tree(GOOD, "a.yaml"))
    assert isinstance(places, Places)
    assert places.nearest("lamps.left.for") == Place("a.yaml", 3, 3)
    assert places.nearest("lamps.left.power.nothing") == Place("a.yaml", 3, 10)
    assert places.nearest("nothing.at.all") == Place("a.yaml", 1, 1)


def test_all_problems_come_at_once_and_sorted_by_line() -> None:
    text = "nam: x\nlamps:\n  left: {power: 7, kind: flod}\n  right: {}\nspare: 3\ncount: 010\nlit: on\nsteps: 9\n"
    found = problems(text)
    assert [(p.line, p.column) for p in found] == [
        (1, 1), (1, 1), (3, 17), (3, 26), (4, 3), (5, 8), (6, 8), (7, 6), (8, 8)
    ]  # fmt: skip
    assert all(p.source == text.splitlines()[p.line - 1] for p in found)


def test_an_unknown_key_gets_the_one_that_was_meant() -> None:
    problem = only(GOOD + "cuont: 3\n")
    assert (problem.line, problem.column) == (6, 1)
    assert 'Did you mean "count"?' in problem.message
    assert problem.expected == "name, lamps, spare, count, lit or steps"
    problem = only(GOOD.replace("for:", "fro:"))
    assert 'Did you mean "for"?' in problem.message


def test_names_of_python_are_not_keys() -> None:
    assert "no key" in only(GOOD.replace("for:", "for_:")).message


def test_an_unknown_value_gets_the_one_that_was_meant() -> None:
    problem = only(GOOD.replace("{power: 7 W}", "{power: 7 W, kind: Spott}"))
    assert 'Did you mean "spot"?' in problem.message
    assert problem.expected == "flood or spot"


def test_a_missing_key_stands_at_its_mapping_with_an_example() -> None:
    problem = only(GOOD.replace("{power: 7 W}", "{kind: spot}"))
    assert (problem.line, problem.column) == (3, 3)
    assert problem.message == "lamps.left.power is missing: power of the lamp."
    assert problem.example == "power: 24 W"


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("lamps:\n", "mapping"),
        ("lamps: [a]\n", "mapping"),
        ("lamps: {left: 7 W}\n", "mapping"),
        ("lamps: {left: {power: [7 W]}}\n", "list"),
        ("lamps: {left: {power: {a: 7 W}}}\n", "mapping"),
        ("lamps: {left: {power: 7 W, kind: [spot]}}\n", "one word"),
        ("lamps: {left: {power: 7 W, kind: }}\n", "no value"),
        ("lamps: {left: {power: 7 W, kind: ?}}\n", "filled in"),
        ("lamps: {le ft: {power: 7 W}}\n", "name"),
        ("lamps: {2nd: {power: 7 W}}\n", "name"),
        ("lamps: {}\nspare: {a: 1}\n", "list"),
        ("lamps: {}\nspare:\n", "list"),
        ("lamps: {}\nname: [x]\n", "value"),
    ],
)
def test_a_wrong_shape_says_what_is_wanted(text: str, word: str) -> None:
    head = "" if "name:" in text else "name: x\n"
    assert word in only(head + text).message


def test_x_keys_are_free_notes_everywhere() -> None:
    text = "x-a: [1, {b: 2}]\nname: x\nlamps:\n  x-spare: nothing\n  left: {power: 7 W, x-b: 3}\n"
    rig, _ = bind(Rig, parse_tree(text, "a.yaml"))
    assert list(rig.lamps) == ["left"]


def test_a_rule_can_complain_about_several_places() -> None:
    found = problems(GOOD.replace("for: 2 s", "for: 2 s, kind: spot"))
    assert [(p.column, p.message) for p in found] == [(13, "Too bright."), (18, "A spot has no for.")]


def test_problems_of_the_tree_and_of_the_model_come_together() -> None:
    found = problems(GOOD + "name: y\ncount: x\n")
    assert [p.line for p in found] == [6, 7]


def test_binding_partly_returns_what_it_found() -> None:
    bound = bind_partly(Rig, parse_tree(GOOD + "count: x\n", "a.yaml"))
    assert bound.model is None
    assert len(bound.problems) == 1
    assert bound.data["name"] == "x"


def test_bounds_name_the_bound_and_the_value() -> None:
    problem = only(GOOD.replace("2 s", "0 s"))
    assert problem.message == '"0 s" must be above 0 s.'
    assert "-1 W" in only(GOOD.replace("7 W", "-1 W")).message
    assert "at least 0 W" in only(GOOD.replace("7 W", "1 W ± 2 W")).message
    assert "it reaches from -1 W to 3 W" in only(GOOD.replace("7 W", "1 W ± 2 W")).message
    assert only(GOOD + "steps: 5\n").message == "5 must be at most 4."
    assert only(GOOD + "count: 0\n").message == "0 must be at least 1."

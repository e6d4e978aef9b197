"""A new dive file: valid YAML, and refused exactly where something has to be filled in."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from schedgen.board.load import board_names, load_board
from schedgen.dive.board_rules import board_troubles
from schedgen.dive.read import ReadDive
from schedgen.dive.starter import starter_text

ANSWERS = {
    "dive": "Razor Sound, first drop", "trigger": "water", "planned": "2027-05-11T07:15:00Z", "latitude": "57.9",
    "longitude": "-7.5", "temperature": "9 degC", "salinity": "35.1", "sun": "no", "mass": "16 kg", "volume": "50 L",
    "density": "7200 kg/m3", "frontal_area": "0.2 m2", "rated_depth": "600 m", "cell": "nmc-21700-5000", "series": "3",
    "parallel": "4", "power": "4 W", "lead": "3 s", "trail": "4 min", "level": "50 %", "every": "2 s", "for": "100 ms",
    "from": "bottom", "until": "bottom + 2 h", "kind": "burn wire", "at": "bottom + 5 h", "fire": "8 min",
    "not_before": "start + 2 h", "latest": "start + 9 h", "wait": "24 h", "depth": "240 m",
}  # fmt: skip
PLACE = re.compile(r"(\w+): \?")


@pytest.fixture(params=board_names())
def starter(request: pytest.FixtureRequest) -> str:
    return starter_text(load_board(request.param))


def live(text: str) -> str:
    """The text without its comments, columns kept."""
    return "\n".join(re.sub(r"(^| )#.*", "", line) for line in text.split("\n"))


def test_every_question_mark_is_refused_by_name_and_nothing_else(starter: str, read: Callable[[str], ReadDive]) -> None:
    wanted = {
        (number, match.end())
        for number, line in enumerate(live(starter).split("\n"), 1)
        for match in PLACE.finditer(line)
    }
    assert len(wanted) > 30
    problems = read(starter).problems
    assert {(problem.line, problem.column) for problem in problems} == wanted
    assert len(problems) == len(wanted)
    assert all("filled in" in problem.message for problem in problems)


def test_a_filled_starter_reads(starter: str, read: Callable[[str], ReadDive]) -> None:
    filled = PLACE.sub(lambda match: f"{match[1]}: {ANSWERS[match[1]]}", live(starter))
    found = read(filled)
    assert found.problems == ()
    board = load_board(found.board)
    assert board_troubles(found.sections, board) == []


def test_no_comment_offers_a_key_that_the_reader_lacks(starter: str, read: Callable[[str], ReadDive]) -> None:
    """Every commented-out key is a key of the language: none is refused when its # is taken off."""
    filled = PLACE.sub(lambda match: f"{match[1]}: {ANSWERS[match[1]]}", live(starter)).split("\n")
    lines = starter.split("\n")
    shown = [
        (index, line)
        for index, line in enumerate(lines)
        if re.match(r" +# (\w+|- \{\w+): ", line) and "instead" not in line
    ]
    assert len(shown) > 15
    for index, line in shown:
        tried = [*filled[:index], re.sub(r"# ", "", line, count=1), *filled[index + 1 :]]
        messages = [problem.message for problem in read("\n".join(tried)).problems]
        assert not [message for message in messages if "no key" in message], (line, messages)


def test_it_uses_the_outputs_of_its_board(starter: str) -> None:
    assert "wired_to: OUT1" in starter
    assert "wired_to: REL1" in starter

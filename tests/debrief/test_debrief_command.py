"""`debrief` from a board and from a saved journal: planned against happened, the fit, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from flown import KEPT_STEP_V, readings
from hypothesis import given, settings
from hypothesis import strategies as st
from memory import remember

from schedgen.commands import main
from schedgen.errors import Differs, FileProblems
from schedgen.link.client import Client
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.last_dive import last_dive
from schedgen.link.messages import STATES
from schedgen.link.ports import VirtualPort
from schedgen.link.virtual import VirtualBoard
from schedgen.load import LoadedDive, load
from schedgen.measured.happened import flown_plan, happened, readings_to_fit
from schedgen.measured.journal import Journal, Reading
from schedgen.measured.journal_file import load_journal, write_journal


@pytest.fixture(scope="module")
def history(loaded: LoadedDive) -> tuple[Reading, ...]:
    return readings(loaded, 1.15)


def fly(board: VirtualBoard, loaded: LoadedDive, history: tuple[Reading, ...], **changed: Any) -> None:
    """Let the board remember the demo, flown to its end and stood down."""
    cells = [round(one.volts * 1000 / 3) for one in history]
    values: dict[str, Any] = {"elapsed_s": loaded.plan().end_s, "cells_mv": cells, "tries": 8, "lowest_mv": 3810}
    remember(board, loaded.settings().block, **values | changed)


@pytest.fixture
def board(loaded: LoadedDive, history: tuple[Reading, ...], monkeypatch: pytest.MonkeyPatch) -> VirtualBoard:
    """A board that has flown the demo with loads 15 % above the plan."""
    board = VirtualBoard(Memory(blank_image(Nameplate.of(loaded.board))))
    fly(board, loaded, history)
    monkeypatch.setattr("schedgen.link.ports.open_port", lambda name, baud=0, make=None: VirtualPort(board, name))
    return board


def debrief(capsys: pytest.CaptureFixture[str], *words: str | Path) -> tuple[int, Any, str]:
    capsys.readouterr()
    code = main(["debrief", *(str(word) for word in words), "--json"])
    captured = capsys.readouterr()
    return code, json.loads(captured.out) if captured.out else None, captured.err


def journal_of(loaded: LoadedDive, **changed: Any) -> Journal:
    values: dict[str, Any] = {
        "board": "halyard-4809", "name": "", "code": loaded.settings().code, "state": "over",
        "elapsed_s": loaded.plan().end_s, "resets": 0, "tries": 8, "lowest_v": 11.43,
        "first_firing_s": loaded.plan().release_s, "choice": None, "faults": (), "step_v": KEPT_STEP_V, "readings": (),
    }  # fmt: skip
    return Journal(**values | changed)


def test_the_board_tells_and_the_fit_finds_the_fifteen_percent(
    capsys: Any, folder: Path, board: VirtualBoard, tmp_path: Path
) -> None:
    code, record, err = debrief(capsys, folder / "dive.yaml", "--port", "virtual:x", "--save", tmp_path / "j.yaml")
    assert code == 0, err
    assert record["fit"]["sought"] == "loads"
    assert record["fit"]["value"] == pytest.approx(1.15, abs=0.03)
    assert record["fit"]["half_width"] < 0.06
    assert record["fit"]["paste"]
    assert all(one["as_planned"] is not False for one in record["happened"])
    again = debrief(capsys, folder / "dive.yaml", "--journal", tmp_path / "j.yaml")
    assert again[1]["fit"] == record["fit"]


def test_the_text_says_what_cannot_be_told_and_offers_lines_to_paste(
    capsys: Any, folder: Path, board: VirtualBoard
) -> None:
    assert main(["debrief", str(folder / "dive.yaml"), "--port", "virtual:x"]) == 0
    said = capsys.readouterr().out
    for words in ("as planned", "Held: capacity", "Cannot be told apart", "To paste into the dive file", "  camera:"):
        assert words in said


def test_what_differs_is_said_and_gives_exit_code_1(
    capsys: Any, folder: Path, board: VirtualBoard, loaded: LoadedDive, history: tuple[Reading, ...]
) -> None:
    board.resets = 3
    fly(board, loaded, history, early_minutes=120, clock_failed=1)
    code, record, _ = debrief(capsys, folder / "dive.yaml", "--port", "virtual:x")
    assert code == 1
    differs = {one["what"] for one in record["happened"] if one["as_planned"] is False}
    assert differs == {"resets", "first firing", "faults"}
    told = {one["what"]: one["happened"] for one in record["happened"]}
    assert "2 h early" in told["first firing"]


def test_the_journal_of_another_dive_is_not_compared(
    capsys: Any, folder: Path, board: VirtualBoard, tmp_path: Path
) -> None:
    text = (folder / "dive.yaml").read_text(encoding="utf-8")
    other = tmp_path / "dive.yaml"
    other.write_text(text.replace("at: bottom + 9 h", "at: bottom + 8 h"), encoding="utf-8")
    flown = load(folder / "dive.yaml").settings().code
    code, record, err = debrief(capsys, other, "--port", "virtual:x", "--save", tmp_path / "j.yaml")
    assert (code, record) == (1, None)
    assert flown in err
    assert (tmp_path / "j.yaml").is_file()  # what the board told is not lost


def test_a_board_that_has_flown_nothing_says_so(capsys: Any, folder: Path, board: VirtualBoard) -> None:
    board.memory.image[:] = blank_image(board.plate)
    assert last_dive(Client(VirtualPort(board))) is None
    code, _, err = debrief(capsys, folder / "dive.yaml", "--port", "virtual:x")
    assert code == 1
    assert "tells of no dive" in err


def test_readings_that_the_plan_does_not_explain_are_left_out(loaded: LoadedDive) -> None:
    told = tuple(Reading(at, 12.0) for at in range(3600, 200_000, 3600))
    plan = loaded.plan()
    on_time, why = readings_to_fit(plan, journal_of(loaded, readings=told))
    assert (len(on_time.readings), why) == (len(told), "")
    early, why = readings_to_fit(plan, journal_of(loaded, readings=told, first_firing_s=plan.release_s - 7200))
    assert max(one.at_s for one in early.readings) <= plan.release_s - 7200
    assert "first firing" in why
    shed, why = readings_to_fit(plan, journal_of(loaded, readings=told, state="surface only"))
    assert shed.readings == ()
    assert "shed" in why


def test_a_release_that_was_shifted_on_deck_is_the_plan_that_counts(loaded: LoadedDive) -> None:
    from schedgen.plan.changes import combinations

    plan = loaded.plan()
    choice = next(k for k, one in enumerate(combinations(plan)) if one[0] == 2 and one[1] == 70)
    told = journal_of(loaded, choice=choice, first_firing_s=plan.release_s + 3600)
    flown = flown_plan(plan, told)
    assert flown.release_s == plan.release_s + 3600
    lines = {one.what: one for one in happened(flown, loaded.simulate(), told, plan)}
    assert lines["first firing"].as_planned
    assert lines["field changes"].happened == "release 1 h later"
    with pytest.raises(Differs, match="combination 99"):
        flown_plan(plan, journal_of(loaded, choice=99))


def test_a_board_gives_all_its_readings_in_their_order(board: VirtualBoard, history: tuple[Reading, ...]) -> None:
    told = last_dive(Client(VirtualPort(board)))
    assert told is not None
    assert [one.at_s for one in told.readings] == [one.at_s for one in history]
    assert [one.volts for one in told.readings] == pytest.approx([one.volts for one in history], abs=1e-9)
    assert told.step_v == pytest.approx(KEPT_STEP_V)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.integers(1, 1 << 23), st.integers(1, 20_000)), max_size=40),
    st.integers(0, 1 << 23), st.none() | st.integers(0, 1 << 23), st.none() | st.integers(0, 31),
    st.text(st.sampled_from("aZ09 _-#:'\"\\{}"), max_size=8), st.sampled_from(STATES),
)  # fmt: skip
def test_a_saved_journal_reads_back_the_same(
    tmp_path_factory: pytest.TempPathFactory, told: list[tuple[int, int]], elapsed: int, fired: int | None,
    choice: int | None, name: str, state: str,
) -> None:  # fmt: skip
    journal = Journal(
        "halyard-4809", name.strip(), "7K3QF2", state, elapsed, 3, 2, 10.5, fired, choice, ("the crystal stopped",),
        0.03, tuple(Reading(at, millivolts / 1000) for at, millivolts in told),
    )  # fmt: skip
    path = tmp_path_factory.mktemp("journals") / "j.yaml"
    path.write_text(write_journal(journal), encoding="utf-8")
    assert load_journal(path) == journal


def test_a_spoiled_journal_file_is_told_at_its_line(tmp_path: Path, loaded: LoadedDive) -> None:
    path = tmp_path / "j.yaml"
    path.write_text(write_journal(journal_of(loaded)).replace("tries: 8", "tries: many"), encoding="utf-8")
    with pytest.raises(FileProblems) as caught:
        load_journal(path)
    assert caught.value.problems[0].source == "tries: many"

"""The boards and cells that come with the project: they load, from anywhere, and say what the manual says."""

from __future__ import annotations

from pathlib import Path

import pytest
from crccheck.crc import Crc16CcittFalse

from schedgen.board import where
from schedgen.board.identity import crc16, identity_text
from schedgen.board.load import (
    board_names,
    cell_inside,
    cell_names,
    library_text,
    load_board,
    load_cell,
    read_board,
)
from schedgen.board.model import Board
from schedgen.errors import FileProblems, UsageError
from schedgen.files.tree import parse_tree

BOARDS = {
    "halyard-4809": ("ATmega4809", "OUT1 OUT2 OUT3 OUT4 PWM1 PWM2 REL1 REL2"),
    "thole-1608": ("ATmega1608", "OUT1 OUT2 OUT3 PWM1 PWM2 REL1"),
    "cleat-328p": ("ATmega328P", "OUT1 OUT2 OUT3 PWM1 PWM2 REL1"),
}
"""As the user's manual has them."""


@pytest.mark.parametrize("name", BOARDS)
def test_a_board_has_the_part_and_outputs_of_the_manual(name: str) -> None:
    board = load_board(name)
    part, outputs = BOARDS[name]
    assert (board.board, board.part, board.output_names) == (name, part, tuple(outputs.split()))
    kinds = {"OUT": "switched", "PWM": "level", "REL": "release"}
    assert all(output.kind == kinds[label[:3]] for label, output in board.outputs.items())


def test_the_library_is_complete_and_nothing_else_is_in_it() -> None:
    assert board_names() == sorted(BOARDS)
    assert cell_names() == ["lfp-26650-3300", "lfp-32700-6000", "nmc-18650-3000", "nmc-21700-5000"]


def test_every_release_and_output_pulls_to_its_safe_level() -> None:
    for name in board_names():
        assert all(output.pull == output.safe_pull for output in load_board(name).outputs.values())


def test_one_board_has_no_water_contact_and_talks_slowly() -> None:
    assert {name: load_board(name).water_contact is None for name in BOARDS} == {
        "halyard-4809": False, "thole-1608": False, "cleat-328p": True,
    }  # fmt: skip
    assert [load_board(name).serial.baud for name in BOARDS] == [115200, 115200, 38400]
    assert [load_board(name).eeprom.size.nominal for name in BOARDS] == [256, 256, 1024]


def test_quantities_come_as_intervals_in_base_units() -> None:
    board = load_board("halyard-4809")
    efficiency, idle = board.rails["five"].efficiency, board.rails["five"].idle
    assert efficiency is not None
    assert idle is not None
    assert (efficiency.low, efficiency.high) == pytest.approx((0.87, 0.93))
    assert (idle.low, idle.high) == pytest.approx((60e-6, 180e-6))
    assert board.clock.tolerance.nominal == pytest.approx(2e-5)
    assert board.clock.curvature is not None
    assert board.clock.curvature.nominal == pytest.approx(-0.034e-6)
    assert board.pack_sense.ratio == pytest.approx(100 / 780)


def test_the_board_type_is_the_checksum_of_the_text_that_is_documented() -> None:
    for name in BOARDS:
        board = load_board(name)
        assert board.board_type == Crc16CcittFalse.calc(identity_text(board).encode("ascii"))
    assert len({load_board(name).board_type for name in BOARDS}) == len(BOARDS)


def test_the_checksum_has_its_published_check_value() -> None:
    # catalogue of parametrised CRC algorithms (G. Cook): CRC-16/CCITT-FALSE, "123456789"
    assert crc16(b"123456789") == 0x29B1


def test_the_board_type_is_fixed_for_the_boards_in_use() -> None:
    # golden: a change here makes settings on boards already built invalid, so it must be meant
    assert {name: load_board(name).board_type for name in BOARDS} == {
        "halyard-4809": 10994, "thole-1608": 33100, "cleat-328p": 18548,
    }  # fmt: skip


def test_the_board_type_changes_with_the_wiring_and_not_with_the_figures() -> None:
    text = library_text("thole-1608")

    def type_of(old: str, new: str) -> int:
        from schedgen.board.load import board_from_tree

        assert text.count(old) == 1
        return board_from_tree(parse_tree(text.replace(old, new), "x.yaml"))[0].board_type

    own = load_board("thole-1608").board_type
    assert type_of("OUT2: {pin: PA5,", "OUT2: {pin: PA7,") != own
    assert type_of("active: low, pull: up", "active: high, pull: down") != own
    assert type_of("rail: pack, limit: 4 A", "rail: pack, limit: 5 A") == own
    assert type_of("idle: 40 uA .. 120 uA", "idle: 40 uA .. 90 uA") == own


def test_unknown_names_get_a_guess() -> None:
    with pytest.raises(FileProblems) as caught:
        load_board("haliard-4809")
    assert 'There is no board "haliard-4809". Did you mean "halyard-4809"?' in caught.value.problems[0].message
    with pytest.raises(FileProblems) as caught:
        load_cell("nmc-21700-500")
    assert 'Did you mean "nmc-21700-5000"?' in caught.value.problems[0].message
    with pytest.raises(UsageError, match="Did you mean"):
        library_text("cleet-328p")


def test_a_board_is_found_by_path_next_to_the_dive(tmp_path: Path) -> None:
    folder = tmp_path / "Köder station"
    folder.mkdir()
    (folder / "my board.yaml").write_text(library_text("cleat-328p"), encoding="utf-8")
    assert load_board("my board.yaml", folder).part == "ATmega328P"
    board, places = read_board(folder / "my board.yaml")
    assert (board.board, places["outputs.PWM1.pin"].column) == ("cleat-328p", 15)


def test_a_path_that_is_not_there_is_a_problem_and_not_a_crash(tmp_path: Path) -> None:
    with pytest.raises(FileProblems):
        load_board("nowhere.yaml", tmp_path)
    with pytest.raises(FileProblems):
        load_cell(tmp_path)


def test_a_file_that_changed_is_read_again(tmp_path: Path) -> None:
    path = tmp_path / "b.yaml"
    text = library_text("cleat-328p")
    path.write_text(text, encoding="utf-8")
    assert load_board(path).outputs["PWM1"].limit.nominal == 1.0
    path.write_text(text.replace("rail: lamp, limit: 1 A", "rail: lamp, limit: 1.15 A"), encoding="utf-8")
    assert load_board(path).outputs["PWM1"].limit.nominal == 1.15


def test_a_cell_can_be_written_out_inside_another_file() -> None:
    inner = "\n".join(f"    {line}" for line in library_text("nmc-18650-3000").splitlines())
    tree = parse_tree(f"pack:\n  cell:\n{inner}\n", "dive.yaml")
    cell = cell_inside(tree, ("pack", "cell"))
    assert cell.cell == "nmc-18650-3000"
    bad = parse_tree(f"pack:\n  cell:\n{inner.replace('capacity: 3 Ah', 'capacity: 3')}\n", "dive.yaml")
    with pytest.raises(FileProblems) as caught:
        cell_inside(bad, ("pack", "cell"))
    problem = caught.value.problems[0]
    assert (problem.file, problem.source.strip(), problem.column) == ("dive.yaml", "capacity: 3", 15)


def test_the_data_folder_inside_the_package_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "site" / "schedgen"
    (package / "_data" / "boards").mkdir(parents=True)
    (tmp_path / "site" / "boards").mkdir()
    monkeypatch.setattr(where, "__file__", str(package / "board" / "where.py"))
    where.data_folder.cache_clear()
    try:
        assert where.data_folder("boards") == package / "_data" / "boards"
        (package / "_data" / "boards").rmdir()
        where.data_folder.cache_clear()
        assert where.data_folder("boards") == tmp_path / "site" / "boards"
        where.data_folder.cache_clear()
        with pytest.raises(UsageError, match="firmware_templates"):
            where.data_folder("firmware_templates")
    finally:
        where.data_folder.cache_clear()


def test_the_page_beside_the_boards_names_every_key_of_a_board() -> None:
    page = (where.data_folder("boards") / "README.md").read_text(encoding="utf-8")
    keys = [name for name in Board.model_fields if name not in ("format", "board", "notes")]
    assert [key for key in keys if f"`{key}`" not in page] == []

"""`virtual:FILE`: made on the first upload, kept between programs, whole at every moment."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from bench_rig import BOARD_TYPE, NEW, OLD, PLATE

from schedgen.errors import LinkError, PortMissing, UsageError
from schedgen.link import deck
from schedgen.link.eeprom import blank_image
from schedgen.link.ports import open_port


def test_a_missing_file_is_made_for_the_board_of_the_dive_and_keeps_what_it_gets(tmp_path: Path) -> None:
    name = f"virtual:{tmp_path / 'Brett auf der Brücke.bin'}"
    port = open_port(name, make=PLATE)
    deck.upload(port, NEW, BOARD_TYPE)
    port.close()
    held = deck.readback(open_port(name))
    assert (held.code, held.identity.board) == (NEW.code, "halyard-4809")
    deck.arm(open_port(name), NEW.code)
    assert deck.readback(open_port(name)).identity.armed
    deck.disarm(open_port(name))
    assert [path.name for path in tmp_path.iterdir()] == ["Brett auf der Brücke.bin"]  # no leftovers


def test_the_file_is_the_eeprom_then_the_user_row_then_the_plate(tmp_path: Path) -> None:
    file = tmp_path / "board.bin"
    deck.upload(open_port(f"virtual:{file}", make=PLATE), NEW, BOARD_TYPE)
    image = file.read_bytes()
    assert len(image) == 256 + 64 + 32
    assert image[0] == 1  # sequence number
    assert image[1 : 1 + len(NEW.block)] == NEW.block


def test_a_file_whose_eeprom_has_no_known_size_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "board.bin"
    deck.upload(open_port(f"virtual:{file}", make=PLATE), NEW, BOARD_TYPE)
    image = file.read_bytes()
    file.write_bytes(image[: 256 + 32] + image[-32:])
    with pytest.raises(LinkError, match="of a kind unknown"):
        open_port(f"virtual:{file}")


def test_reading_from_a_missing_file_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(PortMissing, match="no virtual board") as caught:
        open_port(f"virtual:{tmp_path / 'none.bin'}")
    assert "Upload" in caught.value.next_step
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("content", [b"", b"hello", bytes(320), b"\xff" * 1088])
def test_another_file_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "letter.txt"
    file.write_bytes(content)
    with pytest.raises(LinkError, match=r"letter\.txt: This is not the image of a virtual board"):
        open_port(f"virtual:{file}", make=PLATE)
    assert file.read_bytes() == content


def test_a_folder_is_no_board(tmp_path: Path) -> None:
    with pytest.raises(LinkError) as caught:
        open_port(f"virtual:{tmp_path}", make=PLATE)
    assert caught.value.exit_code == 3


def test_a_folder_that_does_not_exist_is_named(tmp_path: Path) -> None:
    with pytest.raises(PortMissing, match=r"no folder .*nowhere"):
        open_port(f"virtual:{tmp_path / 'nowhere' / 'b.bin'}", make=PLATE)


@pytest.mark.parametrize("name", ["", "  ", "virtual:"])
def test_a_port_without_a_name_is_a_wrong_command(name: str) -> None:
    with pytest.raises(UsageError):
        open_port(name)


def test_a_program_that_dies_while_saving_leaves_the_old_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "board.bin"
    deck.upload(open_port(f"virtual:{file}", make=PLATE), OLD, BOARD_TYPE)
    whole = file.read_bytes()

    def die(*paths: str) -> None:
        raise KeyboardInterrupt

    port = open_port(f"virtual:{file}")
    monkeypatch.setattr(os, "replace", die)
    with pytest.raises(KeyboardInterrupt):
        deck.upload(port, NEW, BOARD_TYPE)
    monkeypatch.undo()
    assert file.read_bytes() == whole
    assert [path.name for path in tmp_path.iterdir()] == ["board.bin"]
    deck.upload(open_port(f"virtual:{file}"), NEW, BOARD_TYPE)
    assert deck.readback(open_port(f"virtual:{file}")).code == NEW.code


def test_reading_writes_nothing(tmp_path: Path) -> None:
    file = tmp_path / "board.bin"
    file.write_bytes(blank_image(PLATE))
    file.chmod(0o400)
    stamp = file.stat().st_mtime_ns
    assert deck.readback(open_port(f"virtual:{file}")).code is None
    assert file.stat().st_mtime_ns == stamp

"""Settings as files: the same bytes every time, Intel HEX that other programs read, whole files or none."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intelhex import IntelHex
from settings_dives import OUTPUTS, counted_plan

from schedgen.board.load import load_board
from schedgen.errors import UsageError
from schedgen.settings import decode, encode, encode_for, render, write
from schedgen.settings.eeprom import layout_of
from schedgen.settings.fields import LAYOUT_VERSION
from schedgen.settings.render import intel_hex
from schedgen.settings.slot import Slot, newest_slot

PLAN = counted_plan()
BOARD = load_board("halyard-4809")
MADE = encode_for(PLAN, BOARD)
FILES = render(PLAN, BOARD, MADE)


def test_the_files_are_those_of_the_design() -> None:
    code = MADE.code
    assert list(FILES) == ["dive_settings.h", f"{code}.bin", f"{code}-eeprom.hex", "manifest.json"]
    assert FILES[f"{code}.bin"] == MADE.block
    assert decode(FILES[f"{code}.bin"], BOARD.output_names) == MADE.dive


def test_the_board_of_the_library_gives_outputs_and_capacity() -> None:
    assert BOARD.output_names == OUTPUTS
    assert encode(PLAN, OUTPUTS, 256) == MADE


def test_the_eeprom_image_holds_the_block_in_slot_a_and_is_erased_elsewhere(tmp_path: Path) -> None:
    path = tmp_path / "eeprom.hex"
    path.write_bytes(FILES[f"{MADE.code}-eeprom.hex"])
    image = IntelHex(str(path))
    assert (image.minaddr(), image.maxaddr()) == (0, 255)
    data = image.tobinstr()
    assert newest_slot(data, layout_of(256)) == Slot(1, MADE.block)
    assert set(data[len(MADE.block) + 5 :]) == {0xFF}


def test_binutils_reads_the_same_bytes(tmp_path: Path) -> None:
    path, binary = tmp_path / "eeprom.hex", tmp_path / "eeprom.bin"
    path.write_bytes(FILES[f"{MADE.code}-eeprom.hex"])
    subprocess.run(["objcopy", "-I", "ihex", "-O", "binary", str(path), str(binary)], check=True)
    image = IntelHex(str(path)).tobinstr()
    assert binary.read_bytes() == image
    shown = subprocess.run(["objdump", "-s", str(path)], check=True, capture_output=True, text=True).stdout
    rows = re.findall(r"^ ([0-9a-f]{4}) ((?:[0-9a-f]+ ){1,4})", shown, re.MULTILINE)
    assert [int(address, 16) for address, _ in rows] == list(range(0, 256, 16))
    assert bytes.fromhex("".join(text.replace(" ", "") for _, text in rows)) == image


def records(text: bytes) -> list[bytes]:
    return [bytes.fromhex(line[1:].decode("ascii")) for line in text.splitlines()]


@settings(deadline=None, max_examples=50)
@given(st.binary(min_size=1, max_size=300), st.integers(0, 2000))
def test_every_intel_hex_record_has_its_count_address_and_checksum(data: bytes, address: int) -> None:
    # Intel Hexadecimal Object File Format Specification, revision A, 6 January 1988: count, offset, type, data, and the
    # two's complement of the sum of all bytes; the last record is 00000001FF.
    made = intel_hex(data, address)
    *body, last = records(made)
    assert made.endswith(b":00000001FF\n")
    assert last == bytes.fromhex("00000001FF")
    gathered = b""
    for record in body:
        assert sum(record) % 256 == 0
        assert record[0] == len(record) - 5
        assert int.from_bytes(record[1:3], "big") == address + len(gathered)
        assert record[3] == 0
        gathered += record[4:-1]
    assert gathered == data


def test_a_known_intel_hex_record_comes_out() -> None:
    # A common worked example: ":0300300002337A1E".
    assert intel_hex(bytes.fromhex("02337A"), 0x30) == b":0300300002337A1E\n:00000001FF\n"


def test_the_manifest_says_sizes_and_digests_and_nothing_that_changes() -> None:
    told = json.loads(FILES["manifest.json"])
    assert (told["code"], told["board"], told["layout_version"]) == (MADE.code, "halyard-4809", LAYOUT_VERSION)
    assert told["board_type"] == PLAN.board_type
    listed = {name: (one["bytes"], one["sha256"]) for name, one in told["files"].items()}
    digests = {name: (len(data), hashlib.sha256(data).hexdigest()) for name, data in FILES.items()}
    del digests["manifest.json"]
    assert listed == digests
    assert set(told) == {"dive", "code", "board", "board_type", "layout_version", "files"}


def test_text_is_ascii_with_line_feeds_only() -> None:
    for name, data in FILES.items():
        if not name.endswith(".bin"):
            assert data.isascii(), name
            assert b"\r" not in data
            assert data.endswith(b"\n")
            assert b"\t" not in data
            assert not re.search(rb" +\n", data), name


def test_another_process_renders_the_same_bytes() -> None:
    source = (
        "import hashlib, test_render\n"
        "print({name: hashlib.sha256(data).hexdigest() for name, data in test_render.FILES.items()})\n"
    )
    root = Path(__file__).resolve().parents[2]
    paths = os.pathsep.join([str(root), str(Path(__file__).parent)])
    environment = {**os.environ, "PYTHONPATH": paths, "PYTHONHASHSEED": "7", "TZ": "Pacific/Auckland", "LC_ALL": "C"}
    done = subprocess.run([sys.executable, "-c", source], env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == str({name: hashlib.sha256(data).hexdigest() for name, data in FILES.items()})


def test_files_are_written_into_a_new_folder(tmp_path: Path) -> None:
    folder = tmp_path / "a dive für später" / "settings"
    paths = write(FILES, folder)
    assert paths == [folder / name for name in FILES]
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == FILES


def test_writing_again_replaces_whole_files(tmp_path: Path) -> None:
    write({"a.bin": b"old" * 100, "b.bin": b"kept"}, tmp_path)
    write({"a.bin": b"new"}, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"a.bin": b"new", "b.bin": b"kept"}


def test_a_full_disk_leaves_the_old_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write({"a.bin": b"old", "b.bin": b"old"}, tmp_path)
    calls = []

    def full(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match="No space left on device"):
        write({"a.bin": b"new", "b.bin": b"new"}, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"a.bin": b"old", "b.bin": b"old"}


def test_a_folder_that_is_a_file_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "taken").write_bytes(b"")
    with pytest.raises(UsageError, match="cannot be written"):
        write(FILES, tmp_path / "taken")

"""Checksums, COBS and Intel HEX against published values: ours where the project has one, else the library it uses."""

import io
from typing import Any

import crccheck.crc
import pytest
from cobs import cobs
from intelhex import HexRecordError, IntelHex
from published import Entry, chosen, entry, ids

from schedgen.link.frames import cobs_decode, cobs_encode, crc16

CHECKSUMS = chosen("crc.")
SHORT = [found for found in chosen("cobs.") if "hex" in found.inputs]
RUNS = chosen("cobs.run_")
RECORDS = chosen("ihex.")
COVERS = [*ids(CHECKSUMS + SHORT + RUNS + RECORDS), "cobs.max_overhead"]
OURS = {"crc.CRC-16_IBM-3740": 0xFFFF, "crc.CRC-16_XMODEM": 0x0000}
"""Checksums that the frame function gives, by its start value; the first is the one on the line."""


def library(published: Entry) -> Any:
    """The class of `crccheck` for the entry's checksum."""
    wanted = "".join(letter for letter in published.id.removeprefix("crc.") if letter.isalnum()).lower()
    (found,) = [getattr(crccheck.crc, name) for name in dir(crccheck.crc) if name.lower() == wanted]
    return found


@pytest.mark.parametrize("published", CHECKSUMS, ids=ids(CHECKSUMS))
def test_checksum(published: Entry) -> None:
    """The reference library for all, our frame checksum for two of them; the note gives three more messages each."""
    cases = {b"123456789": int(published.expected, 16)}
    for part in published.note.split(";"):
        words = part.replace("->", " ").split()
        cases[b"" if words[0] == "empty" else bytes.fromhex(words[0])] = int(words[1], 16)
    assert len(cases) == 4
    for data, value in cases.items():
        assert library(published).calc(data) == value
        if published.id in OURS:
            assert crc16(data, OURS[published.id]) == value


@pytest.mark.parametrize("published", SHORT, ids=ids(SHORT))
def test_cobs(published: Entry) -> None:
    plain, encoded = bytes.fromhex(published.inputs["hex"]), bytes.fromhex(published.expected)
    assert cobs_encode(plain) == encoded == cobs.encode(plain)
    assert cobs_decode(encoded) == plain


@pytest.mark.parametrize("published", RUNS, ids=ids(RUNS))
def test_cobs_of_long_runs(published: Entry) -> None:
    first = int(published.id.split("_")[1][:2], 16)
    count = int(published.inputs["bytes"].split("(")[1].split()[0])
    plain = bytes((first + k) % 256 for k in range(count))
    encoded = cobs_encode(plain)
    expected = published.expected
    assert len(encoded) == expected["len"]
    assert encoded.hex().upper().startswith(expected["head"])
    assert encoded.hex().upper().endswith(expected["tail"])
    assert cobs_decode(encoded) == plain


def test_cobs_adds_no_more_than_its_bound() -> None:
    published = entry("cobs.max_overhead")
    plain = b"\x01" * published.inputs["n_bytes"]
    assert len(cobs_encode(plain)) - len(plain) == published.expected


@pytest.mark.parametrize("published", RECORDS, ids=ids(RECORDS))
def test_intel_hex_record(published: Entry) -> None:
    """The entry checks the reference only: the library that writes our images must read such records as published."""
    record, expected = published.inputs["record"], published.expected
    raw = bytes.fromhex(record[1:])
    assert raw[0] == expected["reclen"]
    assert raw[1:3].hex().upper() == expected["offset"]
    assert raw[3] == expected["type"]
    assert f"{-sum(raw[:-1]) % 256:02X}" == expected["checksum"]
    image = IntelHex()
    ending = "" if expected["type"] == 1 else "\n:00000001FF"
    if not expected["valid"]:
        with pytest.raises(HexRecordError):
            image.loadhex(io.StringIO(record + ending + "\n"))
        return
    image.loadhex(io.StringIO(record + ending + "\n"))
    if expected["type"] == 0:
        start = int(expected["offset"], 16)
        assert image.tobinstr(start=start, size=expected["reclen"]) == raw[4:-1]

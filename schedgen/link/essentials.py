"""The essentials record: what a board flies when both slots are bad, and whether it is armed. Pure.

Fields and widths come from the table in `schedgen.settings.fields`; a CRC-16/CCITT-FALSE over the fields follows, high
byte first.
"""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.errors import BlockError
from schedgen.link.frames import crc16
from schedgen.settings.bits import BitReader, BitWriter
from schedgen.settings.code import code_number, to_crockford
from schedgen.settings.eeprom import ESSENTIALS_BYTES
from schedgen.settings.fields import ESSENTIALS, HEADER, LAYOUT_VERSION

_CRC_SIZE = 2


@dataclass(frozen=True, slots=True)
class Essentials:
    """A valid essentials record. Times are elapsed seconds; `output` counts from 0, None without a primary to fire.

    `keep` has bit n set where output n survives shedding.
    """

    armed: bool
    code: int
    not_before_s: int
    at_s: int
    latest_s: int
    without_water: bool
    output: int | None
    fire_s: int
    tries: int
    pause_s: int
    keep: int

    @property
    def dive_code(self) -> str:
        """The dive code as people read it."""
        return to_crockford(self.code)


def pack_essentials(block: bytes, armed: bool) -> bytes:
    """Return the record of 20 bytes that goes with a settings block. Raises `BlockError` where it is none."""
    header = BitReader(block).record(HEADER)
    values = header | {"armed": int(armed), "code": code_number(block)}
    writer = BitWriter()
    writer.record(ESSENTIALS, values)
    body = writer.bytes()
    return body + crc16(body).to_bytes(_CRC_SIZE, "big")


def unpack_essentials(record: bytes) -> Essentials:
    """Return what a record says. Raises `BlockError` for any bytes that are not a whole, valid record."""
    body, crc = record[:-_CRC_SIZE], record[-_CRC_SIZE:]
    if len(record) != ESSENTIALS_BYTES or crc16(body) != int.from_bytes(crc, "big"):
        raise BlockError("not an essentials record: its checksum does not match")
    values = BitReader(body).record(ESSENTIALS)
    if values["layout_version"] != LAYOUT_VERSION:
        raise BlockError(f"not an essentials record: layout version {values['layout_version']}, not {LAYOUT_VERSION}")
    return Essentials(
        armed=bool(values["armed"]),
        code=values["code"],
        not_before_s=values["not_before"],
        at_s=values["at"],
        latest_s=values["latest"],
        without_water=bool(values["without_water"]),
        output=values["primary_output"] if values["primary_present"] else None,
        fire_s=values["primary_fire"],
        tries=values["primary_tries"],
        pause_s=values["primary_pause"],
        keep=values["keep"],
    )

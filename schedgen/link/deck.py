"""What is done to a board on the bench and on deck: upload, readback, arm, disarm, rename.

Each function takes an open port and leaves it open. What needs no board is to be checked before the port is opened
(`check_upload`).
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from schedgen.errors import BlockError, BoardRefused, Differs, UsageError, WrongBoard
from schedgen.link.client import Client, Progress, no_progress
from schedgen.link.essentials import Essentials, unpack_essentials
from schedgen.link.holdings import given_name_in, type_of
from schedgen.link.identity import SLOT_NAMES, Identity
from schedgen.link.last_dive import last_dive
from schedgen.link.messages import CHUNK
from schedgen.link.ports import Port
from schedgen.measured.journal import Journal
from schedgen.settings.code import LENGTH as CODE_LENGTH
from schedgen.settings.code import dive_code, from_crockford
from schedgen.settings.eeprom import ESSENTIALS_BYTES, ROW_BYTES, SLOT_EXTRA
from schedgen.settings.fields import LAYOUT_VERSION
from schedgen.settings.slot import Slot, next_sequence, pack_slot, unpack_slot

_CRC_SIZE = 4


class HasBlock(Protocol):
    """Something with a settings block: `schedgen.settings.encode.Settings`."""

    @property
    def block(self) -> bytes:
        """The block."""
        ...


@dataclass(frozen=True, slots=True)
class UploadResult:
    """A verified upload: the board holds these very bytes and they are what counts.

    `block` is the block as it was read back. `before` is the board as it was found, `after` as it is now. `written` is
    how many bytes went to the board: fewer than the slot holds where an unfinished upload was continued, 0 where the
    board held these settings already.
    """

    before: Identity
    after: Identity
    code: str
    slot: str
    sequence: int
    written: int
    block: bytes = b""

    @property
    def unchanged(self) -> bool:
        """Whether the board held these settings already."""
        return self.written == 0


@dataclass(frozen=True, slots=True)
class ReadbackResult:
    """What a board holds. `slots` are slot A and slot B, None for one that is not valid; `raw` their bytes as they are.

    `block` and `code` are of the slot that counts, None where neither does; `essentials` None where that record is not
    valid.
    """

    identity: Identity
    slots: tuple[Slot | None, Slot | None]
    raw: tuple[bytes, bytes]
    block: bytes | None
    code: str | None
    essentials: Essentials | None


@dataclass(frozen=True, slots=True)
class Found:
    """A board as it was found: who it is (given name included), the block that counts, and its last dive.

    `block` and `last` are None where there is none, or where its firmware is of another version.
    """

    identity: Identity
    block: bytes | None
    last: Journal | None


def check_upload(settings: HasBlock, board_type: int) -> None:
    """Check all of an upload that needs no board. Raises `BlockError` where the block is not for this board type."""
    inside = type_of(settings.block)
    if inside is None:
        raise BlockError("These settings cannot be read back, so they are not uploaded.", "Report this as a defect.")
    if inside != board_type:
        raise BlockError(
            f"The settings are for board type {inside:#06x}, the dive file's board is {board_type:#06x}.",
            "Render the dive again.",
        )


def upload(port: Port, settings: HasBlock, board_type: int, progress: Progress = no_progress) -> UploadResult:
    """Put the settings on the board and return only when they were read back whole and count.

    Only pieces that differ from what the spare slot holds are written, so that an unfinished upload goes on where it
    was. `progress` is called with bytes done and in all. Raises `WrongBoard` and `BoardRefused` (armed) before anything
    is written, `Differs` where the readback is not what was sent, and the other kinds of `LinkError`.
    """
    check_upload(settings, board_type)
    block = settings.block
    client = Client(port)
    before = client.identify()
    _check_board(before, block, board_type)
    total = 2 * (len(block) + SLOT_EXTRA)
    progress(0, total)
    written = 0
    if before.active is not None and before.code == dive_code(block) and _reads_back(client, before, block):
        slot, sequence = before.active, before.sequences[before.active]
    else:
        slot = 0 if before.active is None else 1 - before.active
        sequence = next_sequence(before.sequences[1 - slot]) if before.active is not None else 1
        written = _write(client, slot, pack_slot(sequence, block), lambda done: progress(done, total))
    progress(total // 2, total)
    held = _verify(client, slot, pack_slot(sequence, block), lambda done: progress(total // 2 + done, total))
    after = client.identify()
    if after.active != slot or after.code != dive_code(block):
        raise Differs(
            f"The board holds the new settings and says that {after.code or 'nothing'} counts, not {dive_code(block)}.",
            "Repeat the upload; if it happens again, do not fly this board.",
        )
    read = held[1:-_CRC_SIZE]
    return UploadResult(before, after, dive_code(read), SLOT_NAMES[slot], sequence, written, read)


def look(port: Port) -> Found:
    """Return what stands on the board now. Changes nothing; raises `LinkError`."""
    client = Client(port)
    identity = client.identify()
    if identity.layout != LAYOUT_VERSION:
        return Found(identity, None, None)
    row = client.read_area("row", ROW_BYTES)
    block = None
    if identity.active is not None:
        slot = _slot_in(client.read_area(f"slot {SLOT_NAMES[identity.active]}", identity.slot_size), identity)
        block = None if slot is None else slot.block
    return Found(replace(identity, given_name=given_name_in(row) or ""), block, last_dive(client))


def readback(port: Port, progress: Progress = no_progress) -> ReadbackResult:
    """Return all that the board holds: identity, both slots, what counts, essentials. Changes nothing.

    `progress` is called with bytes done and in all. Raises `LinkError`.
    """
    client = Client(port)
    identity = client.identify()
    _check_layout(identity)
    total = 2 * identity.slot_size + ROW_BYTES
    raw = []
    for index, name in enumerate(SLOT_NAMES):
        progress(index * identity.slot_size, total)
        raw.append(client.read_area(f"slot {name}", identity.slot_size))
    row = client.read_area("row", ROW_BYTES)
    record = client.read_area("essentials", ESSENTIALS_BYTES)
    progress(total, total)
    slots = (_slot_in(raw[0], identity), _slot_in(raw[1], identity))
    counts = None if identity.active is None else slots[identity.active]
    block = None if counts is None else counts.block
    code = None if block is None else dive_code(block)
    if code != identity.code:
        raise Differs(
            f"The board says that {identity.code or 'nothing'} counts, and its memory holds {code or 'nothing'} there.",
            "Repeat the command; if it happens again, do not fly this board.",
        )
    return ReadbackResult(
        identity=replace(identity, given_name=given_name_in(row) or ""),
        slots=slots,
        raw=(raw[0], raw[1]),
        block=block,
        code=code,
        essentials=_essentials_in(record),
    )


def arm(port: Port, code: str) -> Identity:
    """Arm the settings with this dive code, and return the board as it then is.

    Raises `UsageError` where `code` is no dive code, `BoardRefused` where it is not the one that counts, `Differs`
    where the board does not say afterwards that it is armed with it, and the other kinds of `LinkError`.
    """
    number = check_code(code)
    client = Client(port)
    client.identify()
    client.request("arm", code=number)
    after = client.identify()
    record = _essentials_in(client.read_area("essentials", ESSENTIALS_BYTES))
    if not after.armed or record is None or not record.armed or record.code != number:
        raise Differs("The board does not confirm that it is armed.", "Repeat the command; do not rely on this board.")
    return after


def disarm(port: Port) -> Identity:
    """Disarm the board, and return it as it then is. Raises `Differs` where it stays armed, and `LinkError`."""
    client = Client(port)
    client.identify()
    client.request("disarm")
    after = client.identify()
    if after.armed:
        raise Differs("The board is still armed.", "Repeat the command; keep clear of the release until then.")
    return after


def rename(port: Port, name: str) -> Identity:
    """Give the board a name of at most 8 ASCII characters (empty: none), and return it with that name.

    Raises `OutOfRange` for another name, `BoardRefused` while armed, and `LinkError`.
    """
    client = Client(port)
    client.identify()
    client.request("name", given_name=name)
    row = client.read_area("row", ROW_BYTES)
    if (given_name_in(row) or "") != name:
        raise Differs("The board did not keep its new name.", "Repeat the command.")
    return replace(client.identify(), given_name=name)


def check_code(code: str) -> int:
    """The number of a dive code as a person typed it. Raises `UsageError`."""
    typed = code.strip()
    if len(typed) != CODE_LENGTH:
        raise UsageError(
            f"A dive code has {CODE_LENGTH} characters, {typed!r} has {len(typed)}.",
            "Type the code that schedgen readback shows.",
        )
    return from_crockford(typed)


def _check_board(identity: Identity, block: bytes, board_type: int) -> None:
    """Refuse a board that must not get these settings, before a byte is written."""
    if identity.board_type != board_type:
        raise WrongBoard(
            f"This board is {identity.board}, type {identity.board_type:#06x}; the dive is for type {board_type:#06x}.",
            "Plug in the board that the dive file names, or write this board into the dive file. Nothing was written.",
        )
    _check_layout(identity)
    if len(block) + SLOT_EXTRA > identity.slot_size:
        raise WrongBoard(
            f"The settings are {len(block)} bytes, a slot of this board holds {identity.slot_size - SLOT_EXTRA}.",
            "Take the board that the dive file names. Nothing was written.",
        )
    if identity.armed and identity.state != "armed":
        raise BoardRefused(
            f"The board's dive {identity.code or 'unknown'} has started ({identity.state}); it takes no new settings.",
            "If the dive is over or called off, disarm it first: schedgen disarm. Nothing was written.",
        )
    if identity.armed:
        raise BoardRefused(
            f"The board is armed with dive {identity.code or 'unknown'} and takes no new settings.",
            "Disarm it first: schedgen disarm. Nothing was written.",
        )


def _check_layout(identity: Identity) -> None:
    if identity.layout != LAYOUT_VERSION:
        age = "older" if identity.layout < LAYOUT_VERSION else "newer"
        step = "Make new firmware with schedgen compile" if age == "older" else "Use the schedgen it was made with"
        raise WrongBoard(
            f"The board's firmware is {age} than this program: it reads layout {identity.layout} of the settings, "
            f"this program writes {LAYOUT_VERSION}.",
            f"{step}. Nothing was written.",
        )


def _write(client: Client, slot: int, wanted: bytes, progress: Callable[[int], None]) -> int:
    """Write what differs in the spare slot, commit it; return how many bytes were written, the CRC's included."""
    body = wanted[:-_CRC_SIZE]
    held = client.read_area(f"slot {SLOT_NAMES[slot]}", len(body))
    written = 0
    for at in range(0, len(body), CHUNK):
        piece = body[at : at + CHUNK]
        if held[at : at + CHUNK] != piece:
            client.request("write", slot=slot, offset=at, length=len(piece), data=piece)
            written += len(piece)
        progress(at + len(piece))
    client.request("commit", slot=slot, crc=zlib.crc32(body))
    return written + _CRC_SIZE


def _reads_back(client: Client, identity: Identity, block: bytes) -> bool:
    """Whether the slot that counts holds exactly this block (its code being the same is not enough)."""
    assert identity.active is not None
    return client.read_area(f"slot {SLOT_NAMES[identity.active]}", len(block), offset=1) == block


def _verify(client: Client, slot: int, wanted: bytes, progress: Callable[[int], None]) -> bytes:
    """Read the whole slot back, compare, return what was read. Raises `Differs` naming the first byte not as sent."""
    held = bytearray()
    for at in range(0, len(wanted), CHUNK):
        held += client.read_area(f"slot {SLOT_NAMES[slot]}", min(CHUNK, len(wanted) - at), offset=at)
        progress(len(held))
    if bytes(held) != wanted:
        first = next(index for index, byte in enumerate(wanted) if held[index] != byte)
        raise Differs(
            f"What the board holds is not what was sent: byte {first} of slot {SLOT_NAMES[slot]} is "
            f"{held[first]:#04x}, sent {wanted[first]:#04x}.",
            "Repeat the upload; if it happens again, do not fly this board.",
        )
    return bytes(held)


def _slot_in(raw: bytes, identity: Identity) -> Slot | None:
    try:
        slot = unpack_slot(raw)
    except BlockError:
        return None
    return slot if type_of(slot.block) == identity.board_type else None


def _essentials_in(record: bytes) -> Essentials | None:
    try:
        return unpack_essentials(record)
    except BlockError:
        return None

"""What is said on the bench lead: ONE table of requests and replies. Encoding, decoding and the C side come from it.

The protocol, complete enough to write the other side from
=========================================================

**Line.** 8N1, 115200 baud (38400 on a board that runs from its trimmed internal oscillator). The computer asks, the
board answers; the board never speaks first. Frames are those of `frames.py`: COBS of sequence, kind, payload and
CRC-16/CCITT-FALSE (high byte first), closed by a zero, at most 60 bytes. A zero with nothing before it is an empty
frame and is ignored; the computer sends one before its first frame and before each repetition, which ends whatever
noise the board has received. 100 ms without a byte end an unfinished frame too. Damaged and over-long frames are
dropped without an answer.

**Kinds.** A request is 1 to 62, never 10 or 13 (newlines and ``?`` itself are left out, so that ``?`` between
newlines is never a frame). The reply has the request's number + 128. A refusal has kind 255 and carries the
request's number and a reason. Frames of kind 128 and above are ignored by the board.

**Fields** follow each other without gaps, numbers low byte first. `text` is printable ASCII, padded with zeros.
A `data` field comes last and is as long as the `length` field before it says, at most 32 bytes. A frame whose
payload is not exactly as long as its kind asks for is damaged and dropped like any other: a CRC without final
inversion does not notice a zero lost or added at the end, so this check belongs to the error detection. An unknown
kind is refused `bad request`, an impossible value `out of range`. A field that stands in a request and in its reply
comes back unchanged, and the computer drops a reply where it does not.

**Sequence.** Sequence 0 is for `identify` alone, which begins a session: it is always executed, and the board forgets
its last reply. Then any number from 1 to 255, each new request one higher (1 after 255), a repetition with the same
number. A request whose sequence equals that of the last one answered (and is not 0) gets the last reply again and is
NOT executed; a refusal counts as a reply. The token in `identify` comes back in its reply, so that a late answer to
somebody else is not taken for this one. After a reset the board has no last reply.

**Slots.** 0 is A, 1 is B. A slot holds sequence number, block, CRC-32 (low byte first) over both; the block's first
byte is its own length. A slot is valid when the CRC is right, the block is readable and its board type is the
board's. The newest valid slot counts (sequence numbers compared with wrap-around; of equals, A); while armed, only
one with the armed dive code. To upload: `write` in pieces of at most 32 bytes to the slot that does NOT count,
sequence number and block; then `commit` with the CRC-32. The board takes the CRC over what its EEPROM really holds,
as far as the block's own length goes, refuses `bad checksum` where it differs, else writes the four CRC bytes, the
last of the upload, and says `unreadable settings` where the block then makes no sense to it or is for another board:
such a slot counts for nothing. A `write` to the slot that counts, or past the room for sequence and block, is refused
`out of range`. A `commit` of what is already committed is answered as done and writes nothing.

**Arming.** `arm` with the dive code of the settings that count copies them to the other slot, reads both back,
refuses `memory failed` unless they are identical, and writes the essentials record. Arming again with the same code
is answered as done. `arm` ends a pulse and what is played. While armed, only `identify`, `read`, `arm`, `disarm` and
`start` are obeyed; the rest is refused `armed`. `disarm` is always obeyed. `start` starts the clock of an armed board
whose trigger is `command`.

**Pulse.** One output on for a time, only while not armed. A release output also needs the dive code and at
most 10 s. Level 0 switches off at once. Only a level output takes a level between 0 and 100. A second pulse while
one runs is refused `busy` (level 0 is not). The reply comes at once, not at the end of the pulse. Arming ends it.

**Measuring.** `measure` takes 27 readings of the pack at once, one after the other, a running pulse going on meanwhile,
and answers with all of them: mV at the battery sense, two bytes each, low byte first, without the calibration in the
row. Nothing is averaged or corrected on the board.

**Last dive.** What is known of it stands in the board's memory: journal and voltage history (`journal.py`), the
essentials record, and the settings. The computer reads and interprets them; the board only tells its memory.

**Playing.** `play` with the dive code that counts shows one elapsed second of the settings on the bench, with the loads
attached: outputs go to where they are at that second (field changes as written), but a release output stays at its safe
level and the status light is lit in its place; the water contact counts as wet. The answer tells the level of every
output at that second, in percent (0: off; a flash pattern counts as on; a release output stands for the status light),
and the pack voltage just before the outputs changed, which is that of the second shown before. Nothing is armed and
nothing is written to memory. The computer asks for second after second as fast as it likes; flash patterns go on in
real time between two requests. It ends with a second at or after `end`, with 0x800000 or more (obeyed with any code,
also when nothing is played), with `arm` and `disarm`, when the bench lead is gone, and when 10 s pass without another
`play`: then every output goes to its safe level. While it goes on, `write`, `commit`, `pulse`, `name` and `measure` are
refused `busy`; while a pulse goes on, it is. Without the bench lead it does not begin.

**Plain text.** ``?`` as the first byte after a delimiter, a newline or 100 ms of silence, then a newline (CR or LF), is
answered with one sentence and CR LF once the line has been silent for 100 ms: the bytes of a frame may look the same
but are never followed by a silence. Silence between ``?`` and the newline does not matter.

**Row.** Bytes 0 to 19 are the essentials record (`essentials.py`), 20 and 21
the battery-sense calibration (signed, low byte first, in 1/65536), 22 to 29 the given name, 30 and 31 the CRC-16 of
bytes 20 to 29, high byte first. Name and calibration count only where it fits. To change the essentials record the
board first writes 255 into byte 0 (no layout version has that), then bytes 1 to 19, then byte 0: a torn record is
never taken for a whole one.
"""

from __future__ import annotations

from schedgen.link.message import CHUNK as CHUNK
from schedgen.link.message import REPLY as REPLY
from schedgen.link.message import Field, Message
from schedgen.link.message import Value as Value
from schedgen.link.message import Values as Values
from schedgen.link.message import decode as decode
from schedgen.link.message import encode as encode
from schedgen.link.message import is_whole as is_whole

PROTOCOL_VERSION = 2
NAME_SIZE = 20
"""Bytes of the board's name (of its board file), padded with zeros."""
GIVEN_NAME_SIZE = 8
"""Bytes of the name that a user gives to one board, padded with zeros."""
REFUSED = 0xFF
NO_CODE = 0xFFFFFFFF
"""Stands for "no dive code": a slot that does not count, or a pulse that needs none."""
NO_SLOT = 0xFF
SILENCE_S = 0.1
"""A pause of this many seconds ends an unfinished frame."""
PULSE_STEPS_A_S = 64
"""Steps in which the length of a pulse is told, in a second."""
PULSE_RELEASE_S = 10
"""Longest pulse of a release output, in seconds."""

READINGS = 27
"""Readings in one answer to `measure`: as many as fit."""
OUTPUTS = 8
"""Levels in one answer to `play`; those of outputs that the board lacks are 0."""
PLAY_SILENCE_S = 10
"""`play` ends after this many seconds without another."""
PLAY_STOP_S = 0xFFFFFF
"""As the elapsed second of `play`: end it."""

STATES = (
    "on bench",
    "armed",
    "on deck",
    "descending",
    "on bottom",
    "releasing",
    "rising",
    "at surface",
    "over",
    "surface only",
)
"""States of the board by number."""

PARTS = ("ATmega328P", "ATmega1608", "ATmega1609", "ATmega3208", "ATmega3209", "ATmega4808", "ATmega4809")
"""Parts by number."""

FAULTS = {
    "clock": "the crystal did not start or stopped",
    "settings": "no slot holds valid settings for the armed dive",
    "essentials": "the essentials record is damaged",
    "journal": "the journal is damaged",
    "reduced": "reduced programme after many resets",
    "sense": "the battery reading is impossible",
    "hold": "the release is held after a power-on reset",
}
"""Faults by bit, bit 0 first: short name and what is wrong."""

REASONS = {
    1: "armed",
    2: "wrong code",
    3: "bad checksum",
    4: "no bench lead",
    5: "bad request",
    6: "out of range",
    7: "busy",
    8: "no settings",
    9: "memory failed",
    10: "not armed",
    11: "unreadable settings",
}
"""Why a request is refused, by number."""
REASON_NUMBERS = {text: number for number, text in REASONS.items()}


def _code(meaning: str) -> Field:
    return Field("code", 4, meaning)


_ADDRESS = Field("address", 2, "first byte, counted from the beginning of the EEPROM; the user row follows it")
_SLOT = Field("slot", 1, "0 is A, 1 is B", largest=1)
_OFFSET = Field("offset", 2, "first byte, counted from the start of the slot")
_LENGTH = Field("length", 1, "bytes of data, asked for, sent or written", largest=CHUNK)
_STATE = Field("state", 1, "index into STATES", largest=len(STATES) - 1)
_OUTPUT = Field("output", 1, "index in the board's order", largest=7)
_LEVEL = Field("level", 1, "percent; 0 switches off", largest=100)
_ELAPSED = Field("elapsed", 3, "elapsed second to be shown, 0x800000 or more to stop")
_NAME = Field("given_name", GIVEN_NAME_SIZE, "the board's given name; empty takes it away", "text")

_PAIRS: tuple[tuple[str, int, str, float, tuple[Field, ...], tuple[Field, ...]], ...] = (
    (
        "identify",
        1,
        "who are you, and what do you hold?",
        0.05,
        (Field("token", 2, "any number; comes back"),),
        (
            Field("token", 2, "as in the request"),
            Field("protocol", 1, "version of this protocol"),
            Field("layout", 1, "layout version of the settings block that the board understands"),
            Field("board_type", 2, "computed from pins and polarity"),
            Field("part", 1, "index into PARTS", largest=len(PARTS) - 1),
            Field("eeprom_size", 2, "bytes"),
            Field("slot_size", 2, "bytes"),
            Field("board", NAME_SIZE, "name of the board file", "text"),
            _STATE,
            Field("active", 1, "slot that counts, 255 for none"),
            Field("sequence_a", 1, "sequence number of slot A"),
            Field("code_a", 4, "dive code of slot A, 0xFFFFFFFF where it is not valid"),
            Field("sequence_b", 1, "sequence number of slot B"),
            Field("code_b", 4, "dive code of slot B, 0xFFFFFFFF where it is not valid"),
            Field("armed", 1, "1 while armed", largest=1),
            Field("resets", 2, "resets since the pack was connected"),
            Field("pack_mv", 2, "pack voltage in mV"),
            Field("elapsed", 3, "seconds since start, without meaning where no dive is under way"),
            Field("faults", 2, "bits, see FAULTS"),
        ),
    ),
    (
        "read",
        2,
        "read part of the memory (slots, essentials, name, journal, voltage history)",
        0.05,
        (_ADDRESS, _LENGTH),
        (_ADDRESS, _LENGTH, Field("data", 0, "what stands there", "data")),
    ),
    (
        "write",
        3,
        "write part of the slot that does not count",
        0.2,
        (_SLOT, _OFFSET, _LENGTH, Field("data", 0, "bytes to write", "data")),
        (_SLOT, _OFFSET, _LENGTH),
    ),
    (
        "commit",
        4,
        "make the written slot count",
        0.3,
        (_SLOT, Field("crc", 4, "CRC-32 of sequence and block")),
        (_SLOT, _code("dive code of the settings that now count")),
    ),
    (
        "arm",
        5,
        "arm the settings that count",
        1.5,
        (_code("dive code of the settings that count"),),
        (_code("dive code that is armed"),),
    ),
    ("disarm", 6, "disarm", 0.3, (), ()),
    (
        "start",
        7,
        "start the clock of an armed board whose trigger is command",
        0.3,
        (_code("dive code that is armed"),),
        (_code("dive code that is under way"),),
    ),
    (
        "pulse",
        8,
        "switch one output on for a time",
        0.05,
        (
            _OUTPUT,
            _LEVEL,
            Field("steps", 2, "its length in 1/64 s, 1 or more unless level is 0"),
            _code("dive code for a release output, else 0xFFFFFFFF"),
        ),
        (_OUTPUT, _LEVEL),
    ),
    ("name", 9, "give the board a name", 0.2, (_NAME,), (_NAME,)),
    (
        "measure",
        11,
        "read the pack voltage many times",
        0.1,
        (),
        (Field("readings", 2 * READINGS, "readings in mV, not calibrated, two bytes each, low byte first", "data"),),
    ),
    (
        "play",
        12,
        "show one second of the settings that count on the bench, the status light in place of the release",
        0.3,
        (_ELAPSED, _code("dive code of the settings that count")),
        (
            _ELAPSED,
            Field("pack_mv", 2, "pack voltage in mV, with what was on before"),
            Field("levels", OUTPUTS, "level of each output in percent", "data"),
        ),
    ),
)

REQUESTS: dict[str, Message] = {
    name: Message(name, number, meaning, asked, works) for name, number, meaning, works, asked, _ in _PAIRS
}
REPLIES: dict[str, Message] = {
    name: Message(name, number + REPLY, f"answer to {name}", answered) for name, number, _, _, _, answered in _PAIRS
} | {
    "refused": Message(
        "refused",
        REFUSED,
        "the request was understood and is not obeyed",
        (Field("request", 1, "number of the request"), Field("reason", 1, "see REASONS")),
    )
}
BY_NUMBER: dict[int, Message] = {m.number: m for m in (*REQUESTS.values(), *REPLIES.values())}

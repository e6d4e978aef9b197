"""The numbers of the protocol as C preprocessor lines, for the firmware: made from the table in `messages.py`."""

from __future__ import annotations

from schedgen.link.frames import FRAME_SIZE, PAYLOAD_SIZE
from schedgen.link.message import Message
from schedgen.link.messages import (
    BY_NUMBER,
    CHUNK,
    FAULTS,
    GIVEN_NAME_SIZE,
    NAME_SIZE,
    NO_CODE,
    NO_SLOT,
    PARTS,
    PLAY_SILENCE_S,
    PROTOCOL_VERSION,
    PULSE_RELEASE_S,
    PULSE_STEPS_A_S,
    REASONS,
    REFUSED,
    REPLY,
    SILENCE_S,
    STATES,
)


def c_constants() -> str:
    """Return the numbers of this page as C preprocessor lines, for the firmware's generated header."""
    lines = [
        f"#define LINK_PROTOCOL_VERSION {PROTOCOL_VERSION}u",
        f"#define LINK_FRAME_SIZE {FRAME_SIZE}u",
        f"#define LINK_PAYLOAD_SIZE {PAYLOAD_SIZE}u",
        f"#define LINK_CHUNK {CHUNK}u",
        f"#define LINK_NAME_SIZE {NAME_SIZE}u",
        f"#define LINK_GIVEN_NAME_SIZE {GIVEN_NAME_SIZE}u",
        f"#define LINK_REPLY 0x{REPLY:02X}u",
        f"#define LINK_NO_CODE 0x{NO_CODE:08X}ul",
        f"#define LINK_NO_SLOT 0x{NO_SLOT:02X}u",
        f"#define LINK_SILENCE_MS {round(SILENCE_S * 1000)}u",
        f"#define LINK_PULSE_RELEASE_STEPS {PULSE_RELEASE_S * PULSE_STEPS_A_S}u",
        f"#define LINK_PLAY_SILENCE_S {PLAY_SILENCE_S}u",
    ]
    for prefix, names in (("STATE", STATES), ("PART", PARTS)):
        lines += [f"#define LINK_{prefix}_{_c_name(name)} {number}u" for number, name in enumerate(names)]
    lines += [f"#define LINK_REASON_{_c_name(text)} {number}u" for number, text in REASONS.items()]
    lines += [
        f"#define LINK_FAULT_{_c_name(name)} 0x{1 << bit:04X}u /* {text} */"
        for bit, (name, text) in enumerate(FAULTS.items())
    ]
    for message in BY_NUMBER.values():
        lines += _c_message(message)
    return "\n".join(lines) + "\n"


def _c_message(message: Message) -> list[str]:
    """Number, offset and width of each field, and the payload's size without a closing `data` field."""
    stem = f"LINK_{'REPLY' if message.is_reply and message.number != REFUSED else 'ASK'}_{_c_name(message.name)}"
    if message.number == REFUSED:
        stem = "LINK_REFUSED"
    lines = [f"/* {message.meaning} */", f"#define {stem} 0x{message.number:02X}u"]
    at = 0
    for field in message.fields:
        name = f"{stem}_{_c_name(field.name)}"
        lines.append(f"#define {name}_AT {at}u /* {field.width or 'rest'}: {field.meaning} */")
        if field.kind == "number" and field.largest is not None:
            lines.append(f"#define {name}_TOP {field.largest}u")
        at += field.width
    lines.append(f"#define {stem}_SIZE {at}u")
    return lines


def _c_name(text: str) -> str:
    return text.upper().replace(" ", "_")

"""Faults of memory: power cut at every write of an upload, an arming, a journal entry; flipped bits; losses. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from random import Random

from schedgen.errors import BlockError
from schedgen.firmware.rehearse import speech
from schedgen.firmware.rehearse.rig import HOLD_S, JOURNAL_S, Case, MemoryCheck, Rig, case
from schedgen.firmware.rehearse.scenario import Action, Record
from schedgen.firmware.rehearse.verdict import TICK_S, Allowed
from schedgen.link.essentials import unpack_essentials
from schedgen.link.messages import CHUNK, Value
from schedgen.settings.code import code_number, dive_code, from_crockford
from schedgen.settings.eeprom import ERASED, ESSENTIALS_BYTES
from schedgen.settings.slot import newest_slot, pack_slot, unpack_slot

HALF = ("erased", "torn")
TEARS = ("before", *HALF, "after")
_BENCH_S = 60.0
_PACE_S = 0.25
_QUIET = Allowed(fires=False, dark_until_s=1e9)


def upload_actions(rig: Rig, slot: int = 1, sequence: int = 2, from_s: float = 3.0) -> list[Action]:
    """What `upload` says to a board that holds the rig's settings in slot A: pieces, then commit."""
    import zlib

    body = pack_slot(sequence, rig.other.block)[:-4]
    actions: list[Action] = [(0.0, "pin", *rig.hands.lead(True)), (from_s, "say", speech.identify().hex())]
    number = 0
    for offset in range(0, len(body), CHUNK):
        number += 1
        piece = body[offset : offset + CHUNK]
        values: dict[str, Value] = {"slot": slot, "offset": offset, "length": len(piece), "data": piece}
        actions.append((from_s + number * _PACE_S, "say", speech.ask("write", number, values).hex()))
    number += 1
    values = {"slot": slot, "crc": zlib.crc32(body)}
    actions.append((from_s + number * _PACE_S, "say", speech.ask("commit", number, values).hex()))
    return actions


def cut_commit(rig: Rig, random: Random) -> Iterator[Case]:
    """The power cut at every write of an upload with its commit: old settings or new, never a mixture."""
    yield from _cuts(rig, random, "power cut in an upload", upload_actions(rig), rig.writes_commit, armed=False)


def cut_arming(rig: Rig, random: Random) -> Iterator[Case]:
    """The power cut at every write of an arming."""
    actions: list[Action] = [
        (0.0, "pin", *rig.hands.lead(True)),
        (3.0, "say", speech.identify().hex()),
        (3.5, "say", speech.arm(rig.settings.code).hex()),
    ]
    yield from _cuts(rig, random, "power cut in an arming", actions, rig.writes_arm, armed=True)


def _cuts(rig: Rig, random: Random, kind: str, actions: list[Action], writes: int, armed: bool) -> Iterator[Case]:
    places = _places(writes, random)
    codes = (rig.settings.code,) if armed else (rig.settings.code, rig.other.code)
    for number, how in places:
        cut: list[Action] = [(2.5, "cut", number, how, 1.0)]
        one = case(
            rig, kind, f"at write {number}, left {how}", [*actions, *cut], _QUIET, begin=False, start_s=0.0,
            end_s=_BENCH_S, seed=random.randrange(1 << 30),
        )  # fmt: skip
        scenario = replace(one.scenario, eeprom=unarmed(rig).hex(), row=bytes([ERASED] * len(rig.row)).hex())
        yield replace(one, scenario=scenario, memory=MemoryCheck(codes))


def _places(writes: int, random: Random) -> list[tuple[int, str]]:
    """Every write, each not done, half done and done, in any order."""
    places = [(number, how) for number in range(1, writes + 1) for how in ("before", random.choice(HALF), "after")]
    random.shuffle(places)
    return places


def unarmed(rig: Rig) -> bytes:
    """An EEPROM that holds the rig's settings in slot A and nothing else; the row at its end erased too."""
    slot = pack_slot(1, rig.settings.block)
    return slot.ljust(rig.layout.size, bytes([ERASED]))


def cut_entry(rig: Rig, random: Random) -> Iterator[Case]:
    """The power cut at every write of a journal entry: one on the way, and those before the tries."""
    firing = rig.plan.primary or rig.plan.backup
    tries = [] if firing is None else [rig.at_s + n * (firing.fire_s + firing.pause_s) for n in range(firing.tries)]
    for at in (5 * JOURNAL_S, *tries):
        for number, how in _places(rig.writes_entry, random):
            yield _cut_journal(rig, "power cut in a journal entry", at - 2.0, number, how, random)


def cut_journal(rig: Rig, random: Random) -> Iterator[Case]:
    """The power cut at a write of the journal at any time of the dive."""
    while True:
        number, how = random.randint(1, 14), random.choice(TEARS)
        at = random.uniform(70, rig.plan.end_s - 600)
        yield _cut_journal(rig, "power cut at a write", at, number, how, random)


def _cut_journal(rig: Rig, kind: str, at: float, number: int, how: str, random: Random) -> Case:
    entries = 2 + number // rig.writes_entry
    before_release = rig.at_s - HOLD_S - entries * JOURNAL_S < at < rig.at_s + 5
    held = at + entries * JOURNAL_S + 3 + HOLD_S if before_release else 0.0
    limits = replace(rig.limits(2 * JOURNAL_S + 10, held), whole_try=False)
    return case(
        rig, kind, f"at write {number} from {at:.0f} s on, left {how}",
        [(at, "cut", number, how, 1.0)], limits, seed=random.randrange(1 << 30),
    )  # fmt: skip


def flipped_bits(rig: Rig, random: Random) -> Iterator[Case]:
    """One bit changes in a slot, the essentials or the journal, and a reset follows."""
    layout = rig.layout
    used = len(rig.settings.block) + 5
    while True:
        what = random.choice(("slot A", "slot B", "essentials", "journal"))
        start, length = {
            "slot A": (layout.slot_a, used),
            "slot B": (layout.slot_b, used),
            "journal": (layout.journal, 30),
            "essentials": (layout.row or 0, ESSENTIALS_BYTES),
        }[what]
        memory = "row" if what == "essentials" and layout.row is None else "eeprom"
        bit = 8 * start + random.randrange(8 * length)
        at = random.uniform(70, rig.at_s + 100)
        limits = replace(rig.limits(2 * JOURNAL_S + 10), whole_try=False)
        yield case(
            rig, "flipped bit", f"{what}, bit {bit - 8 * start}, at {at:.0f} s",
            [(at, "flip", memory, bit), (at + 0.5, "reset", "brown-out")], limits, seed=random.randrange(1 << 30),
        )  # fmt: skip


def both_slots_bad(rig: Rig, random: Random) -> Iterator[Case]:
    """Nothing left of both slots: the essentials fly."""
    while True:
        at = random.uniform(70, rig.at_s + 60)
        actions: list[Action] = []
        for start in rig.layout.slots:
            for _ in range(3):
                bit = 8 * (start + random.randrange(len(rig.settings.block))) + random.randrange(8)
                actions.append((at, "flip", "eeprom", bit))
        limits = rig.limits(2 * JOURNAL_S + 10)
        limits = replace(limits, whole_try=at < rig.at_s - 5, over_at_s=None)
        yield case(
            rig, "both slots bad", f"from {at:.0f} s on", [*actions, (at + 0.5, "reset", "software")], limits,
            seed=random.randrange(1 << 30),
        )  # fmt: skip


def journal_lost(rig: Rig, random: Random) -> Iterator[Case]:
    """No entry of the journal can be read, and a reset: elapsed restarts; the release comes by `at` from there.

    One bit of each entry is flipped, which its CRC-8 always tells; of many flipped bits it misses one in 256.
    """
    while True:
        at = random.uniform(70, rig.at_s - 20)
        actions: list[Action] = []
        for place in range(rig.layout.journal, rig.layout.journal + 30, 6):
            actions.append((at, "flip", "eeprom", 8 * place + random.randrange(48)))
        wet_again = 65.0 if rig.has_water else 0.0
        late = at + max(rig.at_s, wet_again) + JOURNAL_S + 10
        limits = replace(rig.limits(at + 20), no_later_s=late + TICK_S, beacon_at_s=(late + 200.0,), over_at_s=None)
        yield case(
            rig, "journal lost", f"at {at:.0f} s", [*actions, (at + 0.5, "reset", "brown-out")], limits,
            seed=random.randrange(1 << 30), more_s=600.0,
        )  # fmt: skip


def memory_wrong(rig: Rig, wanted: MemoryCheck, record: Record) -> list[str]:
    """What is wrong with the memories at the end: settings of neither dive, or armed with something else."""
    wrong = []
    image, row = bytes.fromhex(record.eeprom), bytes.fromhex(record.row)
    counts = newest_slot(image, rig.layout)
    if counts is None:
        wrong.append("no slot holds valid settings")
    elif dive_code(counts.block) not in wanted.codes:
        wrong.append(f"the settings that count are {dive_code(counts.block)}, not one of {', '.join(wanted.codes)}")
    place = image[rig.layout.row : rig.layout.row + ESSENTIALS_BYTES] if rig.layout.row is not None else row
    try:
        essentials = unpack_essentials(place[:ESSENTIALS_BYTES])
    except BlockError:
        return wrong
    if essentials.armed:
        if essentials.code not in [from_crockford(code) for code in wanted.codes]:
            wrong.append(f"armed with {essentials.dive_code}")
        held = [_code_in(image[start : start + rig.layout.slot_size]) for start in rig.layout.slots]
        if any(code != essentials.code for code in held):
            wrong.append("armed, and the two slots do not both hold the armed dive")
    return wrong


def _code_in(slot: bytes) -> int | None:
    try:
        return code_number(unpack_slot(slot).block)
    except BlockError:
        return None

"""`dive_settings.h`: compiles alone, says what the plan says, and is usable by somebody's own firmware."""

from __future__ import annotations

import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from c_programs import compiles_alone, refuses, run
from settings_dives import HOUR, OUTPUTS, counted_plan, make_plan, window

from schedgen.firmware.toolchain import find_avr_gcc
from schedgen.plan.model import Burst, ChooseLevel, Flash, Follow, Interlocks, Plan, ShiftRelease
from schedgen.settings.encode import encode
from schedgen.settings.fields import LAYOUT_VERSION
from schedgen.settings.header import Labels, dive_header

NAME = 'Höhle "7" \\ 50 % ?? */ // /* \N{SNOWMAN}'
LOADS = {"OUT1": "camera", "PWM1": "lights"}


def every_kind() -> Plan:
    """A dive with each kind of window, of follower and of change, and a combination that is not allowed."""
    windows = [
        window("camera", "OUT1", 60, 3 * HOUR),
        window("camera", "OUT1", 4 * HOUR, 4 * HOUR + 8 * 1800 + 360, burst=Burst(1800, 360, 9), stop_moves=True),
        window("beacon", "OUT2", 9 * HOUR, None, start_moves=True, flash=Flash(128, 6)),
        window("strobe", "OUT4", 9 * HOUR, 20 * HOUR, start_moves=True, stop_moves=True, flash=Flash(640, 64)),
        window("locator", "PWM2", 9 * HOUR, None, level=35, start_moves=True),
        window("locator", "PWM2", 10 * HOUR, None, level=99, burst=Burst(300, 20, 999)),
        window("lights", "PWM1", None, None, level=70, follow=Follow("OUT1", 3, 7), clip=None),
        window("stop", "OUT3", None, None, follow=Follow("OUT1", 8, 0, "stop")),
    ]
    return make_plan(
        windows,
        field_changes=(ShiftRelease(1800, -1, 1), ChooseLevel("PWM1", (70, 45))),
        allowed_changes=(False, True, True, True, True, True),
        backup=None,
    )


DIVES = {
    "the counted case": counted_plan(),
    "every kind": every_kind(),
    "nothing at all": make_plan([], primary=None, backup=None, trigger="command"),
    "one change": make_plan(
        [], field_changes=(ChooseLevel("PWM1", (70, 45, 30)),), allowed_changes=(True, False, True)
    ),
}


@pytest.fixture(params=DIVES.values(), ids=DIVES.keys())
def plan(request: pytest.FixtureRequest) -> Plan:
    made: Plan = request.param
    return made


@pytest.fixture
def folder(plan: Plan, tmp_path: Path) -> Path:
    text = dive_header(encode(plan, OUTPUTS), Labels(NAME, "halyard-4809", LOADS))
    (tmp_path / "dive_settings.h").write_text(text, encoding="ascii", newline="\n")
    return tmp_path


def test_the_header_compiles_alone_on_a_desk_computer(folder: Path) -> None:
    compiles_alone("gcc", folder / "dive_settings.h")


def test_the_header_compiles_alone_for_the_microcontrollers(folder: Path) -> None:
    compiler = find_avr_gcc()
    assert compiler is not None, "the test extra brings an avr-gcc"
    for part in ("atmega4809", "atmega328p"):
        compiles_alone(compiler, folder / "dive_settings.h", f"-mmcu={part}", "-Os")


PROGRAM = r"""
#define DIVE_WRITTEN_FOR_LAYOUT %(version)d
#include "dive_settings.h"
#include <stdio.h>

static const unsigned char block[DIVE_LENGTH_BYTES] = DIVE_BLOCK_BYTES;

#define N(name) printf(#name " %%lu\n", (unsigned long)(name));
#define OUTPUT(number, name, text, load) printf("output %%d %%s %%d %%s\n", number, text, DIVE_OUTPUT_##name, load);
#define CLIP(sm, s, em, e) printf("clip %%u %%lu %%u %%lu\n", sm, s, em, e);
#define WINDOW(kind, output, hl, level, sm, start, every, on, fe, fo, endless, count, em, stop) \
    printf("window %%d %%u %%u %%u %%u %%lu %%u %%u %%u %%u %%u %%u %%u %%lu\n", \
           kind, output, hl, level, sm, start, every, on, fe, fo, endless, count, em, stop);
#define FOLLOWER(output, leader, hl, level, mode, lead, trail, clip) \
    printf("follower %%u %%u %%u %%u %%d %%u %%u %%u\n", output, leader, hl, level, mode, lead, trail, clip);
#define CHANGE(change, step, earlier, later, output, n, a, b, c, d) \
    printf("change %%d %%u %%u %%u %%u %%u %%u %%u %%u %%u\n", change, step, earlier, later, output, n, a, b, c, d);
#define COMBINATION(a, b, allowed) printf("combination %%d %%d %%d\n", a, b, allowed);

int main(void)
{
    unsigned i;
    printf("%%s\n%%s\n%%s\n", DIVE_NAME, DIVE_CODE, DIVE_BOARD);
    N(DIVE_LENGTH_BYTES) N(DIVE_LAYOUT_VERSION) N(DIVE_BOARD_TYPE) N(DIVE_TRIGGER) N(DIVE_WITHOUT_WATER)
    N(DIVE_AT_S) N(DIVE_NOT_BEFORE_S) N(DIVE_LATEST_S) N(DIVE_END_S)
    N(DIVE_PRIMARY_PRESENT) N(DIVE_PRIMARY_OUTPUT) N(DIVE_PRIMARY_FIRE_S) N(DIVE_PRIMARY_TRIES) N(DIVE_PRIMARY_PAUSE_S)
    N(DIVE_BACKUP_PRESENT) N(DIVE_BACKUP_OUTPUT) N(DIVE_BACKUP_FIRE_S) N(DIVE_BACKUP_TRIES) N(DIVE_BACKUP_PAUSE_S)
    N(DIVE_BOTTOM_S) N(DIVE_RISE_S) N(DIVE_SHED_MV) N(DIVE_RELEASE_BELOW_MV) N(DIVE_SERIES) N(DIVE_KEEP)
    N(DIVE_CLIP_COUNT) N(DIVE_WINDOW_COUNT) N(DIVE_FOLLOWER_COUNT) N(DIVE_CHANGE_COUNT) N(DIVE_OUTPUT_COUNT)
    DIVE_OUTPUTS(OUTPUT)
    DIVE_CLIPS(CLIP)
    DIVE_WINDOWS(WINDOW)
    DIVE_FOLLOWERS(FOLLOWER)
    DIVE_CHANGES(CHANGE)
    DIVE_COMBINATIONS(COMBINATION)
    printf("crc %%08lX\n", DIVE_BLOCK_CRC32);
    for (i = 0; i < DIVE_LENGTH_BYTES; i++) { printf("%%02x", block[i]); }
    printf("\n");
    return 0;
}
"""


def test_a_program_that_includes_nothing_else_of_ours_finds_every_number_of_the_plan(plan: Plan, folder: Path) -> None:
    printed = run(PROGRAM % {"version": LAYOUT_VERSION}, folder)
    made = encode(plan, OUTPUTS)
    assert printed[:3] == [NAME, made.code, "halyard-4809"]
    assert printed[3:33] == numbers(plan, made.bytes_used)
    assert printed[33:41] == [f"output {i} {name} {i} {LOADS.get(name, '')}" for i, name in enumerate(OUTPUTS)]
    tables = clips(plan) + windows(plan) + followers(plan) + changes(plan) + combined(plan)
    assert printed[41:-2] == tables
    assert printed[-2] == f"crc {zlib.crc32(made.block):08X}"
    assert printed[-1] == made.block.hex()


def numbers(plan: Plan, length: int) -> list[str]:
    limits: Interlocks = plan.interlocks
    wanted = {
        "DIVE_LENGTH_BYTES": length,
        "DIVE_LAYOUT_VERSION": LAYOUT_VERSION,
        "DIVE_BOARD_TYPE": plan.board_type,
        "DIVE_TRIGGER": ["water", "button", "command"].index(plan.trigger),
        "DIVE_WITHOUT_WATER": int(limits.without_water),
        "DIVE_AT_S": plan.release_s,
        "DIVE_NOT_BEFORE_S": limits.not_before_s,
        "DIVE_LATEST_S": limits.latest_s,
        "DIVE_END_S": plan.end_s,
    }
    for which, firing in (("PRIMARY", plan.primary), ("BACKUP", plan.backup)):
        wanted |= {
            f"DIVE_{which}_PRESENT": int(firing is not None),
            f"DIVE_{which}_OUTPUT": OUTPUTS.index(firing.output) if firing else 0,
            f"DIVE_{which}_FIRE_S": firing.fire_s if firing else 0,
            f"DIVE_{which}_TRIES": firing.tries if firing else 1,
            f"DIVE_{which}_PAUSE_S": firing.pause_s if firing else 0,
        }
    own = [one for one in plan.windows if one.follow is None]
    wanted |= {
        "DIVE_BOTTOM_S": 73 * 60,
        "DIVE_RISE_S": (51 if plan.primary else 85) * 60,
        "DIVE_SHED_MV": 3100,
        "DIVE_RELEASE_BELOW_MV": 2950,
        "DIVE_SERIES": 3,
        "DIVE_KEEP": 0b1010,  # OUT2 and OUT4
        "DIVE_CLIP_COUNT": len({one.clip for one in plan.windows if one.clip}),
        "DIVE_WINDOW_COUNT": len(own),
        "DIVE_FOLLOWER_COUNT": len(plan.windows) - len(own),
        "DIVE_CHANGE_COUNT": len(plan.field_changes),
        "DIVE_OUTPUT_COUNT": 8,
    }
    return [f"{name} {value}" for name, value in wanted.items()]


def clips(plan: Plan) -> list[str]:
    cut = dict.fromkeys(one.clip for one in plan.windows if one.clip)
    return [f"clip {int(c.start_moves)} {c.start_s} {int(c.stop_moves)} {c.stop_s}" for c in cut]


def windows(plan: Plan) -> list[str]:
    lines = []
    for one in plan.windows:
        if one.follow is not None:
            continue
        endless = one.stop_s is None
        kind = 3 if one.flash else 2 if one.burst else int(endless)
        burst, flash = one.burst or Burst(0, 0, 0), one.flash or Flash(0, 0)
        count = 0 if endless else burst.count
        level = f"{int(one.level is not None)} {100 if one.level is None else one.level}"
        lines.append(
            f"window {kind} {OUTPUTS.index(one.output)} {level} {int(one.start_moves)} {one.start_s} "
            f"{burst.every_s} {burst.on_s} {flash.every_64} {flash.on_64} {int(endless)} {count} {int(one.stop_moves)} "
            f"{0xFFFFFFFF if one.stop_s is None else one.stop_s}"
        )
    return lines


def followers(plan: Plan) -> list[str]:
    lines = []
    cut = list(dict.fromkeys(one.clip for one in plan.windows if one.clip))
    for one in plan.windows:
        if one.follow is None:
            continue
        level = f"{int(one.level is not None)} {100 if one.level is None else one.level}"
        lines.append(
            f"follower {OUTPUTS.index(one.output)} {OUTPUTS.index(one.follow.leader)} {level} "
            f"{int(one.follow.mode == 'stop')} {one.follow.lead_s} {one.follow.trail_s} "
            f"{1 + cut.index(one.clip) if one.clip else 0}"
        )
    return lines


def changes(plan: Plan) -> list[str]:
    lines = []
    for change in plan.field_changes:
        if isinstance(change, ShiftRelease):
            lines.append(f"change 0 {change.step_s} {-change.first} {change.last} 0 0 0 0 0 0")
        else:
            levels = " ".join(str(value) for value in (*change.values, 0, 0, 0)[:4])
            lines.append(f"change 1 0 0 0 {OUTPUTS.index(change.output)} {len(change.values)} {levels}")
    return lines


def combined(plan: Plan) -> list[str]:
    choices = [range(c.first, c.last + 1) if isinstance(c, ShiftRelease) else c.values for c in plan.field_changes]
    if not choices:
        return []
    second = choices[1] if len(choices) > 1 else (0,)
    pairs = [(a, b) for a in choices[0] for b in second]
    return [f"combination {a} {b} {int(ok)}" for (a, b), ok in zip(pairs, plan.allowed_changes, strict=True)]


def test_a_firmware_written_for_another_layout_is_told_at_compile_time(folder: Path) -> None:
    said = refuses(f'#define DIVE_WRITTEN_FOR_LAYOUT {LAYOUT_VERSION + 1}\n#include "dive_settings.h"\n', folder)
    assert "make it again or adapt it" in said


def test_the_header_may_be_included_twice_and_beside_the_layout(folder: Path) -> None:
    from schedgen.settings.layout import layout_header

    (folder / "dive_layout.h").write_text(layout_header(), encoding="ascii", newline="\n")
    includes = [f'#include "{name}"' for name in ("dive_layout.h", "dive_settings.h", "dive_settings.h")]
    assert run("\n".join([*includes, "int main(void) { return 0; }", ""]), folder) == []


def test_every_number_says_its_range_and_meaning(folder: Path) -> None:
    lines = (folder / "dive_settings.h").read_text(encoding="ascii").splitlines()
    (line,) = [line for line in lines if line.startswith("#define DIVE_SHED_MV")]
    assert line.endswith("0 to 5110 mV in steps of 10 mV */")
    assert all("/*" in line for line in lines if line.startswith("#define DIVE_") and line.split()[1].endswith("_S"))


def test_the_header_begins_all_its_names_with_dive(folder: Path) -> None:
    for line in (folder / "dive_settings.h").read_text(encoding="ascii").splitlines():
        if line.startswith("#define "):
            assert line.split()[1].startswith("DIVE_")


def test_outputs_whose_macro_names_would_be_alike_get_different_ones(tmp_path: Path) -> None:
    names = ("a-b", "A_b", "a_b", "REL1", "REL2")
    plan = make_plan([window("camera", "OUT1", 60, 90)])
    renamed = replace(plan.outputs["OUT1"], windows=(window("camera", "A_b", 60, 90),))
    plan = replace(plan, outputs={"A_b": renamed}, interlocks=replace(plan.interlocks, keep=()))
    text = dive_header(encode(plan, names), Labels())
    (tmp_path / "dive_settings.h").write_text(text, encoding="ascii", newline="\n")
    compiles_alone("gcc", tmp_path / "dive_settings.h")
    assert len({line for line in text.splitlines() if line.startswith("#define DIVE_OUTPUT_")}) == 6

"""The firmware reckons in 24 bits, the computer in more: the longest dives and the largest shifts, on a simulated part.

The part's own program reads the blocks and looks at single seconds; the plan (`schedgen.plan.evaluate`) says what every
output does then.
"""

from __future__ import annotations

import random
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from any_dive import random_plan

from schedgen.board.load import load_board
from schedgen.errors import BlockError
from schedgen.firmware.rehearse.scenario import Scenario, Target
from schedgen.firmware.rehearse.supervisor import Simulator
from schedgen.firmware.sources import sources_for, write_sources
from schedgen.firmware.toolchain import find_avr_tool
from schedgen.plan.changes import apply_changes
from schedgen.plan.evaluate import clockface, level_at
from schedgen.plan.model import Plan, Window
from schedgen.settings.encode import encode
from schedgen.settings.fields import ELAPSED_MOST
from schedgen.settings.meaning import combinations

HERE = Path(__file__).parent
FOREVER = 0x7FFFFF
HERTZ = 3_333_333
BLOCKS, SECONDS = 100, 12
PARTS = ("block.c", "bits.c", "schedule.c")


@dataclass(frozen=True)
class Case:
    """One second of one block: what the firmware is told, and the levels that the plan says."""

    seed: int
    block: int
    choice: int
    t: int
    shift: int
    cut: int
    levels: tuple[int, ...]

    @property
    def row(self) -> str:
        levels = ", ".join(map(str, self.levels))
        return f"{{{self.block}, {self.choice}, {self.t}, {self.shift}, {self.cut}, {{{levels}}}}}"


def long_plans(names: tuple[str, ...], board_type: int) -> Iterator[tuple[int, Plan, bytes]]:
    """Dives whose seconds need all bits."""
    for seed in range(3_000_000, 3_010_000):
        plan = random_plan(seed)
        if plan.end_s < ELAPSED_MOST // 2:
            continue
        plan = replace(plan, first_edge_s=0, board_type=board_type)
        try:
            yield seed, plan, encode(plan, names).block
        except BlockError:
            continue


def edges_of(window: Window, chance: random.Random) -> Iterator[int]:
    """Where a window begins and ends, and one of its bursts does."""
    for second in (window.start_s, window.stop_s):
        if second is not None:
            yield second
    if window.burst is not None and window.start_s is not None:
        begin = window.start_s + chance.randrange(window.burst.count) * window.burst.every_s
        yield from (begin, begin + window.burst.on_s)


def seconds_of(plan: Plan, chance: random.Random, first: int | None) -> list[int]:
    """Seconds around edges, at the ends of what can be said, and any others."""
    edges = [second for window in plan.windows for second in edges_of(window, chance)]
    near = [chance.choice(edges) + chance.choice((-1, 0, 1)) for _ in range(SECONDS // 2)] if edges else []
    ends = [0, ELAPSED_MOST - 1, plan.end_s - 1, (first or plan.release_s) + 1]
    wanted = near + ends + [chance.randint(0, plan.end_s) for _ in range(SECONDS)]
    return [t for t in wanted if 0 <= t < ELAPSED_MOST][:SECONDS]


def cases_of(seed: int, number: int, plan: Plan, names: tuple[str, ...]) -> Iterator[Case]:
    """Seconds of one dive, flown as planned or with an early firing command, with or without a field change."""
    chance = random.Random(seed)
    choices = combinations(plan.field_changes)
    choice = chance.randrange(len(choices)) if choices else 0
    chosen = apply_changes(plan, choices[choice]) if choices else plan
    fires = chosen.primary or chosen.backup
    first = None
    if fires is not None and chance.random() < 0.7:
        first = chance.randint(0, max(0, min(fires.at_s, chance.choice((1000, ELAPSED_MOST)))))
    for t in seconds_of(chosen, chance, first):
        face = clockface(chosen, t, first)
        levels = tuple(level_at(chosen, name, t, first) for name in names)
        yield Case(seed, number, choice, t, face.shift, min(face.cut, FOREVER), levels)


def program(folder: Path, blocks: list[bytes], cases: list[Case]) -> bytes:
    """The test's program with the project's own sources."""
    board = load_board("halyard-4809", Path.cwd())
    write_sources(sources_for(board, "port_megaavr0"), folder)
    lines = [
        '#include "state.h"',
        *(f"static const uint8_t block_{n}[] = {{{', '.join(map(str, block))}}};" for n, block in enumerate(blocks)),
        f"static const uint8_t *const blocks[] = {{{', '.join(f'block_{n}' for n in range(len(blocks)))}}};",
        "struct a_case { uint8_t block, choice; int32_t t, shift, cut; uint8_t levels[BOARD_OUTPUTS]; };",
        f"static const struct a_case cases[] = {{{', '.join(case.row for case in cases)}}};",
        f"#define CASES {len(cases)}U",
    ]
    (folder / "cases.h").write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")
    options = ["-mmcu=atmega4809", "-Os", "-std=gnu99", f"-DF_CPU={HERTZ}UL", "-include", "port_config.h", "-I."]
    sources = [*PARTS, str(HERE / "extreme_blocks.c")]
    gcc, objcopy = str(find_avr_tool("gcc")), str(find_avr_tool("objcopy"))
    subprocess.run([gcc, *options, "-mrelax", *sources, "-o", "extreme.elf"], cwd=folder, check=True)
    subprocess.run([objcopy, "-O", "binary", "extreme.elf", "extreme.bin"], cwd=folder, check=True)
    return (folder / "extreme.bin").read_bytes()


def test_the_longest_dives_and_the_largest_shifts_fit_into_24_bits(tmp_path: Path) -> None:
    board = load_board("halyard-4809", Path.cwd())
    names = board.output_names
    blocks: list[bytes] = []
    cases: list[Case] = []
    for seed, plan, block in long_plans(names, board.board_type):
        cases += cases_of(seed, len(blocks), plan, names)
        blocks.append(block)
        if len(blocks) == BLOCKS:
            break
    assert any(abs(case.shift) > ELAPSED_MOST // 2 for case in cases)
    assert sum(any(case.levels) for case in cases) > len(cases) // 3
    flash = program(tmp_path, blocks, cases)
    target = Target("atmega4809", HERTZ, flash.hex(), "", 3.3, {}, "PA1", {})
    with Simulator(target) as simulator:
        record = simulator.play(Scenario("ff" * 256, "ff" * 64, 60.0, ()))
    said = bytes.fromhex("".join(text for _, text in record.said))
    assert said[4:] == b"k"
    wrong, first = int.from_bytes(said[:2], "big"), int.from_bytes(said[2:4], "big")
    assert wrong == 0, cases[first]

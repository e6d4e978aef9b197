"""The plan is the specification: the core in C does, second by second, what the Plan says."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from any_dive import random_plan
from host_rig import Rig

from schedgen.errors import BlockError
from schedgen.plan.assemble import on_times
from schedgen.plan.changes import apply_changes, choices_of
from schedgen.plan.model import OnTime, Plan, ShiftRelease
from schedgen.settings.code import code_number
from schedgen.settings.encode import encode
from schedgen.settings.meaning import combinations

SHORT_S = 4000
"""Dives of this length are compared in every second, longer ones at and around each edge."""
Step = tuple[int, int]
"""Elapsed second, level from there on."""


def effective(plan: Plan, on_water: bool) -> tuple[Plan, int | None]:
    """The plan as its interlocks let it run, and the second of the first firing command (None: nothing fires)."""
    limits = plan.interlocks
    firing = plan.primary or plan.backup
    if firing is None:
        return plan, None
    at = max(limits.not_before_s, min(firing.at_s, limits.latest_s), plan.first_edge_s, 60 if on_water else 0)
    backup = plan.backup
    if backup is not None:
        start = max(backup.at_s, limits.not_before_s, plan.first_edge_s, 60 if on_water else 0)
        backup = replace(backup, at_s=start)
    return replace(plan, backup=backup), at


def steps_of(times: tuple[OnTime, ...], dimmable: bool, until: int) -> list[Step]:
    """Level changes that a list of on-times gives; a flash pattern longer than a second counts flash by flash."""
    steps: list[Step] = []
    for one in times:
        level = one.level if dimmable else 100
        stop = until if one.stop_s is None else min(one.stop_s, until)
        every = one.flash.every_64 if one.flash is not None else 0
        if one.flash is not None and every % 64 == 0 and one.flash.on_64 % 64 == 0 and one.stop_s is None:
            start = one.start_s
            while start < stop:
                steps += [(start, level), (min(start + one.flash.on_64 // 64, stop), 0)]
                start += every // 64
        else:
            steps += [(one.start_s, level), (stop, 0)]
    changes: dict[int, int] = {}
    for second, level in steps:
        changes[second] = level if level else changes.get(second, 0)
    out: list[Step] = []
    for second in sorted(changes):
        if second < until and (out[-1][1] if out else 0) != changes[second]:
            out.append((second, changes[second]))
    return out


def without_flashes(plan: Plan) -> Plan:
    """The plan with steady windows in place of flash patterns, for comparing edges to the second."""
    outputs = {
        name: replace(one, windows=tuple(replace(w, flash=None) for w in one.windows))
        for name, one in plan.outputs.items()
    }
    return replace(plan, outputs=outputs)


def note_edges(rig: Rig, zero: int, until: int, seen: dict[str, list[Step]]) -> None:
    """Add what the outputs did since this was last asked."""
    for edge in rig.host.edges():
        second = edge.second - zero
        steps = seen[rig.names[edge.output]]
        if second >= until:
            continue
        if steps and steps[-1][0] == second:
            steps.pop()
        if (steps[-1][1] if steps else 0) != edge.level:
            steps.append((second, edge.level))


def fly_and_compare(rig: Rig, plan: Plan, block: bytes, chosen: Plan, seed: int) -> int:
    """Fly `block` and compare all edges with those of `chosen`; returns how many there were."""
    zero = rig.begin(plan, block)
    until = chosen.end_s + 300
    start = rig.host.host.second - zero
    compared = 0
    seen: dict[str, list[Step]] = {name: [] for name in rig.names}
    while rig.host.host.second - zero < until:
        rig.host.seconds(min(20_000, until - (rig.host.host.second - zero)))
        note_edges(rig, zero, until, seen)
    assert rig.host.host.wrong == 0, seed
    flown, first = effective(chosen, rig.board.water_contact is not None and not chosen.interlocks.without_water)
    dimmable = {name: output.kind == "level" for name, output in rig.board.outputs.items()}
    for name in rig.names:
        times = on_times(flown, name, first) if name in flown.outputs else ()
        if rig.board.outputs[name].kind == "release":
            times = _tries(flown, name, first)
        expected = [step for step in steps_of(times, dimmable[name], until) if step[0] >= start]
        got = [step for step in seen[name] if step[0] >= start]
        assert got == expected, (seed, name, first, start)
        compared += len(expected)
    return compared


def _tries(plan: Plan, output: str, first: int | None) -> tuple[OnTime, ...]:
    for firing in (plan.primary, plan.backup):
        if firing is not None and firing.output == output and first is not None:
            at = first if firing is (plan.primary or plan.backup) else firing.at_s
            shift = min(0, first - plan.release_s)
            return tuple(OnTime(a, b) for a, b in replace(firing, at_s=at).all_tries(plan.end_s + shift))
    return ()


def dives(count: int, seed: int, longest: int) -> list[tuple[int, Plan, bytes]]:
    """Dives that fit a slot of 112 bytes, with their blocks."""
    found = []
    while len(found) < count:
        seed += 1
        plan = without_flashes(random_plan(seed, most_windows=4))
        if plan.end_s > longest:
            continue
        limits = replace(plan.interlocks, shed_v=0.0, release_below_v=0.0)  # the pack stays full here
        plan = replace(plan, first_edge_s=60 if plan.trigger == "water" else 0, interlocks=limits)
        found.append((seed, plan))
    return found


@pytest.mark.parametrize("part", range(4))
def test_every_edge_of_generated_dives_is_the_plans(halyard: Rig, part: int) -> None:
    compared = flown = 0
    for seed, plan in dives(550, 10_000 * part, 100_000):
        plan = replace(plan, board_type=halyard.board.board_type)
        try:
            block = encode(plan, halyard.names).block
        except BlockError:
            continue  # more than 107 bytes: no board of this kind can hold it
        compared += fly_and_compare(halyard, plan, block, plan, seed)
        flown += 1
    assert flown > 500
    assert compared > 5000


def fitting(rig: Rig, plans: list[tuple[int, Plan]], most: int) -> list[tuple[int, Plan, bytes]]:
    """Those that the board can hold, at most so many, with their blocks."""
    found = []
    for seed, plan in plans:
        made = replace(plan, board_type=rig.board.board_type)
        try:
            found.append((seed, made, encode(made, rig.names).block))
        except BlockError:
            continue
        if len(found) == most:
            break
    return found


def test_every_edge_is_the_plans_when_low_voltage_asks_for_the_release_early(halyard: Rig) -> None:
    early = 0
    for seed, made in dives(400, 500_000, 60_000):
        firing = made.primary or made.backup
        if firing is None or firing.at_s < 3000 or firing.at_s > made.end_s - 100:
            continue
        random_at = random.Random(seed).randint(100, firing.at_s - 1000)
        limits = replace(
            made.interlocks, release_below_v=3.0, series=3, keep=halyard.names, not_before_s=0, latest_s=made.end_s
        )
        plan = replace(made, interlocks=limits, board_type=halyard.board.board_type)
        if plan.backup is not None:
            plan = replace(plan, backup=replace(plan.backup, at_s=made.end_s))
        try:
            block = encode(plan, halyard.names).block
        except BlockError:
            continue
        zero = halyard.begin(plan, block)
        halyard.host.seconds(random_at)
        halyard.host.host.pack_mv = 8000
        seen: dict[str, list[Step]] = {name: [] for name in halyard.names}
        until = plan.end_s + 300
        while halyard.host.host.second - zero < until:
            halyard.host.seconds(min(20_000, until - (halyard.host.host.second - zero)))
            note_edges(halyard, zero, until, seen)
        halyard.host.host.pack_mv = 12_000
        fired = plan.primary or plan.backup
        assert fired is not None
        first = seen[fired.output][0][0]
        assert random_at + 60 + 170 <= first + 60, seed
        assert first <= random_at + 60 + 200, seed
        for name in plan.outputs:
            dimmable = halyard.board.outputs[name].kind == "level"
            expected = [step for step in steps_of(on_times(plan, name, first), dimmable, until) if step[0] >= 61]
            assert [step for step in seen[name] if step[0] >= 61] == expected, (seed, name, first)
        early += 1
    assert early > 60


def test_every_edge_is_the_plans_with_each_field_change(halyard: Rig) -> None:
    changed = 0
    for seed, plan, block in fitting(halyard, dives(700, 900_000, 60_000), 250):
        choices = combinations(plan.field_changes)
        wanted = [index for index, allowed in enumerate(plan.allowed_changes) if allowed]
        if not wanted or plan.trigger == "button":
            continue
        index = random.Random(seed).choice(wanted)
        shift = sum(
            v * c.step_s for c, v in zip(plan.field_changes, choices[index], strict=True) if hasattr(c, "step_s")
        )
        if plan.release_s + shift > plan.end_s + shift or (plan.primary is None and shift):
            continue
        changed += fly_and_compare_changed(halyard, plan, block, index, seed)
    assert changed > 40


def fly_and_compare_changed(rig: Rig, plan: Plan, block: bytes, index: int, seed: int) -> int:
    choices = combinations(plan.field_changes)
    chosen = apply_changes(plan, choices[index])
    begin = rig.begin

    def begin_changed(_: Plan, given: bytes) -> int:
        rig.load(given)
        rig.arm(given)
        choose(rig, plan, index)
        host = rig.host.host
        if plan.trigger == "water":
            host.wet = 1
            rig.host.seconds(60)
            return host.second - 60
        rig.ask("start", code=code_number(given))
        host.wet = 1
        return host.second - rig.elapsed

    rig.begin = begin_changed  # type: ignore[method-assign]
    try:
        fly_and_compare(rig, plan, block, chosen, seed)
    finally:
        rig.begin = begin  # type: ignore[method-assign]
    return 1


def choose(rig: Rig, plan: Plan, index: int) -> None:
    """Press the buttons until the combination is chosen, and confirm it."""
    sizes = [len(choices_of(change)) for change in plan.field_changes]
    unchanged = [-change.first if isinstance(change, ShiftRelease) else 0 for change in plan.field_changes]
    slow, fast = (index, 0) if len(sizes) == 1 else divmod(index, sizes[1])
    for _ in range((slow - unchanged[0]) % sizes[0]):
        rig.press(1, 0.5)
    if len(sizes) > 1:
        for _ in range((fast - unchanged[1]) % sizes[1]):
            rig.press(2, 0.5)
    rig.press(3, 0.5)

"""Judging a run with a fault: each thing that must not happen is found."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from random import Random

import pytest
from rehearse_dives import DIVES

from schedgen.firmware.rehearse.compare import Seen, expected_edges
from schedgen.firmware.rehearse.fault_deck import choose
from schedgen.firmware.rehearse.fault_memory import memory_wrong, unarmed
from schedgen.firmware.rehearse.fault_resets import edges_of, resets_of
from schedgen.firmware.rehearse.faults import KINDS, cases
from schedgen.firmware.rehearse.rig import Case, MemoryCheck, Rig
from schedgen.firmware.rehearse.scenario import Record
from schedgen.firmware.rehearse.short_dive import shortened
from schedgen.firmware.rehearse.verdict import Allowed, judge
from schedgen.link.essentials import pack_essentials
from schedgen.load import load
from schedgen.plan.changes import choices_of, combinations, unchanged
from schedgen.settings import encode
from schedgen.settings.slot import pack_slot


@pytest.fixture(scope="module")
def rig() -> Rig:
    loaded = load(DIVES["halyard-4809"])
    plan = shortened(loaded.plan())
    later = replace(plan, interlocks=replace(plan.interlocks, latest_s=plan.interlocks.latest_s + 60))
    both = [encode(one, loaded.board.output_names, 256) for one in (plan, later)]
    plain = Rig(plan, loaded.board, both[0], both[1], b"", b"\xff" * 64, 9, 9, 2)
    slot = pack_slot(1, both[0].block)
    image = slot.ljust(112, b"\xff") * 2 + b"\xff" * 32
    return replace(plain, eeprom=image, row=pack_essentials(both[0].block, True).ljust(64, b"\xff"))


def as_planned(rig: Rig, shift: float = 0.3, without: str = "") -> dict[str, Seen]:
    until = rig.plan.end_s + 100.0
    return {
        name: [] if name == without or name not in rig.plan.outputs else
        [(edge.at_s + shift, edge.level) for edge in expected_edges(rig.plan.outputs[name].on_times, until)]
        for name in rig.board.outputs
    }  # fmt: skip


def wrong(rig: Rig, seen: dict[str, Seen], allowed: Allowed) -> list[str]:
    return judge(rig.plan, seen, rig.plan.end_s + 90.0, allowed, Record())


def test_a_run_as_planned_ends_well(rig: Rig) -> None:
    assert wrong(rig, as_planned(rig), replace(rig.limits(), exact=True)) == []


@pytest.mark.parametrize(("shift", "says"), [(-800.0, "before"), (400.0, "later than")], ids=["too early", "too late"])
def test_a_release_outside_its_limits_is_found(rig: Rig, shift: float, says: str) -> None:
    seen = as_planned(rig)
    seen["REL1"] = [(at + shift, level) for at, level in seen["REL1"]]
    assert any(says in text for text in wrong(rig, seen, rig.limits()))


def test_a_release_that_never_comes_is_found(rig: Rig) -> None:
    assert "never fired" in wrong(rig, as_planned(rig, without="REL1"), rig.limits())[0]


def test_a_release_where_nothing_may_fire_is_found(rig: Rig) -> None:
    assert "fired at" in wrong(rig, as_planned(rig), Allowed(fires=False))[0]


def test_a_release_in_the_workshop_is_found(rig: Rig) -> None:
    allowed = replace(rig.limits(), forbidden=((1510.0, 1520.0),))
    assert any("must not be" in text for text in wrong(rig, as_planned(rig), allowed))


def test_a_beacon_that_is_dark_at_the_surface_is_found(rig: Rig) -> None:
    assert any("OUT2 (beacon) was not on" in text for text in wrong(rig, as_planned(rig, without="OUT2"), rig.limits()))


def test_a_try_cut_short_is_found(rig: Rig) -> None:
    seen = as_planned(rig)
    seen["REL1"] = [(at - 20 * (level == 0), level) for at, level in seen["REL1"]]
    assert any("no try ran" in text for text in wrong(rig, seen, rig.limits()))


def test_what_is_on_after_the_end_is_found(rig: Rig) -> None:
    seen = as_planned(rig)
    seen["OUT1"] = [*seen["OUT1"], (rig.plan.end_s + 40.0, 100), (rig.plan.end_s + 41.0, 0)]
    assert any("after the end" in text for text in wrong(rig, seen, rig.limits()))


def test_mixed_memories_are_found(rig: Rig) -> None:
    blank = "ff" * 64
    good = Record(eeprom=unarmed(rig).hex(), row=blank)
    assert memory_wrong(rig, MemoryCheck((rig.settings.code,)), good) == []
    assert memory_wrong(rig, MemoryCheck((rig.other.code,)), good)
    armed = pack_essentials(rig.settings.block, True).hex().ljust(128, "f")
    assert "two slots" in memory_wrong(rig, MemoryCheck((rig.settings.code,)), replace(good, row=armed))[0]
    assert "no slot" in memory_wrong(rig, MemoryCheck((rig.settings.code,)), replace(good, eeprom="ff" * 256))[0]


def test_every_kind_of_fault_has_a_turn_and_the_seed_decides(rig: Rig) -> None:
    def first(seed: int, count: int) -> list[tuple[str, str]]:
        return [(one.kind, one.about) for one, _ in zip(cases(rig, seed), range(count), strict=False)]

    assert len({kind for kind, _ in first(1, len(KINDS))}) == len(KINDS)
    assert first(3, 60) == first(3, 60)
    assert first(3, 60) != first(4, 60)


def many(rig: Rig) -> list[Case]:
    """As many as the issue asks for."""
    return list(islice(cases(rig, 1), 1000))


def test_every_write_of_an_upload_an_arming_and_an_entry_is_cut_before_in_and_after_it(rig: Rig) -> None:
    def cuts(kind: str, before: str = "") -> set[tuple[str, ...]]:
        found = [one.about for one in many(rig) if one.kind == kind and before in one.about]
        return {(about.split(" from ")[0].split(",")[0], about.rsplit(" ", 1)[1]) for about in found}

    for kind, writes in (("power cut in an upload", 9), ("power cut in an arming", 9)):
        found = cuts(kind)
        assert {f"at write {number}" for number in range(1, writes + 1)} == {write for write, _ in found}
        for number in range(1, writes + 1):
            ways = {how for write, how in found if write == f"at write {number}"}
            assert {"before", "after"} < ways
            assert ways & {"torn", "erased"}
    tries = cuts("power cut in a journal entry", f" from {rig.at_s - 2:.0f} s on")
    assert {
        ("at write 1", "before"),
        ("at write 1", "after"),
        ("at write 2", "before"),
        ("at write 2", "after"),
    } < tries


def test_every_edge_has_a_reset_of_each_kind_and_every_pattern_too(rig: Rig) -> None:
    abouts = [one.about for one in many(rig) if one.kind == "reset at an edge"]
    assert len(edges_of(rig)) > 20
    for edge in edges_of(rig):
        kinds = {about.split(" at ")[0] for about in abouts if about.endswith(f", edge at {edge:.0f} s")}
        assert kinds == set(resets_of(rig)), edge
    spans = [one.about for one in many(rig) if one.kind == "reset in a pattern"]
    for what in ("flash pattern of OUT2", "lead of PWM1", "trail of PWM2", "try 1 on REL1", "pause 2 of REL1"):
        kinds = {about.split(" at ")[0] for about in spans if about.endswith(f"in the {what}")}
        assert kinds == set(resets_of(rig)), what


def test_presses_for_a_field_change_choose_what_the_case_says(rig: Rig) -> None:
    seen = set()
    for number in range(60):
        choice, offered, keys = choose(rig, Random(number))
        values = [choices_of(change) for change in rig.plan.field_changes]
        places = [found.index(now) for found, now in zip(values, unchanged(rig.plan), strict=True)]
        places = [places[0] + keys.count("a"), places[1] + keys.count("b")]
        assert choice == tuple(found[place % len(found)] for place, found in zip(places, values, strict=True))
        assert offered == rig.plan.allowed_changes[combinations(rig.plan).index(choice)]
        seen.add(choice)
    assert len(seen) > 8


def test_what_is_on_after_a_stand_down_is_found(rig: Rig) -> None:
    allowed = replace(rig.limits(), dark_after_s=rig.plan.events["surface"].late + 100.0)
    assert any(text.startswith("OUT2 was on at") for text in wrong(rig, as_planned(rig), allowed))

"""Judging a run with a fault: each thing that must not happen is found."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rehearse_dives import DIVES

from schedgen.firmware.rehearse.compare import Seen, expected_edges
from schedgen.firmware.rehearse.fault_memory import memory_wrong, unarmed
from schedgen.firmware.rehearse.faults import KINDS, cases
from schedgen.firmware.rehearse.rig import MemoryCheck, Rig
from schedgen.firmware.rehearse.scenario import Record
from schedgen.firmware.rehearse.short_dive import shortened
from schedgen.firmware.rehearse.verdict import Allowed, judge
from schedgen.link.essentials import pack_essentials
from schedgen.load import load
from schedgen.settings import encode
from schedgen.settings.slot import pack_slot


@pytest.fixture(scope="module")
def rig() -> Rig:
    loaded = load(DIVES["halyard-4809"])
    plan = shortened(loaded.plan())
    later = replace(plan, interlocks=replace(plan.interlocks, latest_s=plan.interlocks.latest_s + 60))
    both = [encode(one, loaded.board.output_names, 256) for one in (plan, later)]
    plain = Rig(plan, loaded.board, both[0], both[1], b"", b"\xff" * 64, 9, 9)
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


def test_every_write_of_an_upload_and_an_arming_is_cut_in_every_way(rig: Rig) -> None:
    cuts = [
        one.about for one, _ in zip(cases(rig, 1), range(1200), strict=False) if one.kind.startswith("power cut in an ")
    ]
    assert len(cuts) == len(set(zip(cuts, range(len(cuts)), strict=True))) == 2 * 9 * 4

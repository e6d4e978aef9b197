"""The shortened dive: valid settings of its own, with the same windows, patterns and tries."""

from __future__ import annotations

from pathlib import Path

import pytest
from rehearse_dives import DIVES

from schedgen.firmware.rehearse.short_dive import AT_S, shortened
from schedgen.load import load
from schedgen.plan.evaluate import outputs_at
from schedgen.settings import decode, encode


@pytest.mark.parametrize("path", DIVES.values(), ids=DIVES)
def test_a_short_dive_is_a_dive(path: Path) -> None:
    loaded = load(path)
    plan = loaded.plan()
    short = shortened(plan)
    settings = encode(short, loaded.board.output_names, round(loaded.board.eeprom.size.nominal))
    assert decode(settings.block).at_s == short.release_s == AT_S
    assert short.interlocks.not_before_s <= AT_S < short.interlocks.latest_s < short.end_s < 7000
    assert [len(one.windows) for one in short.outputs.values()] == [len(one.windows) for one in plan.outputs.values()]
    assert [w.flash for w in short.windows] == [w.flash for w in plan.windows]
    assert short.primary is not None
    assert plan.primary is not None
    assert short.primary.tries == plan.primary.tries
    for name, output in short.outputs.items():
        for on in output.on_times:
            assert outputs_at(short, on.start_s)[name] == on.level

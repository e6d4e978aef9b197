"""Wishes on a dive with a flat pack, against the closed form; on the committed dives, against brute force."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path

import gsw
import pytest

from schedgen.errors import UsageError
from schedgen.fit.fit import Fit, fit
from schedgen.fit.search import joined
from schedgen.fit.trial import Bench
from schedgen.fit.wishes import wish_of
from schedgen.load import LoadedDive, load, load_text

from .conftest import DEMO, DIVES

USABLE_WH = 3.6 * 5 * 15 * 0.8
"""Flat 3.6 V x 5 Ah x 15 cells, 20 % kept."""
RELEASE_WH = 4 * 4 * 120 / 3600
"""4 W for 2 min: the try, and three more in the 20 h until `end`."""
BEACON_WH = 1 * (20 + 3 / 60 + 49 / 3600)
"""1 W from the release to `end`: 20 h of waiting after the latest surfacing, 3 min 49 s after the release."""
CAMERA_WH = 10 * 2
LIGHTS_WH = 20 * 0.5 * 2


def granted(made: tuple[LoadedDive, str, Path], *pairs: tuple[str, str], sink_speed: str | None = None) -> Fit:
    loaded, text, path = made
    wishes = [wish_of(option, name, loaded.dive, sink_speed) for option, name in pairs]
    return fit(loaded, text, wishes, lambda new: load_text(new, path), path.name)


def of_file(path: Path) -> tuple[LoadedDive, str, Path]:
    return load(path), path.read_text(encoding="utf-8"), path


def seconds(text: str) -> float:
    """A duration as the dive file writes it, in seconds."""
    size = {"d": 86400, "h": 3600, "min": 60, "s": 1}
    return sum(float(number) * size[unit] for number, unit in re.findall(r"([\d.]+) (d|h|min|s)\b", text))


def test_the_longest_camera_time_is_the_closed_form(flat: Callable) -> None:
    """10 W for as long as what beacon, lights and release leave: within 0.1 %."""
    found = granted(flat(), ("most", "camera"))
    hand_s = (USABLE_WH - BEACON_WH - LIGHTS_WH - RELEASE_WH) / 10 * 3600
    assert found.proven
    assert seconds(found.answers[0].after) == pytest.approx(hand_s, rel=1e-3)
    assert found.answers[0].beyond[0].stops[0].startswith("reserve-short")


def test_the_latest_release_is_the_closed_form(flat: Callable) -> None:
    """The camera on until an hour before the release: 10 W x (at - 1 h - bottom) takes what the others leave."""
    made = flat(
        ('until: "bottom + 2 h"', "until: release - 1 h"),
        ("from: bottom + 26 h, until: bottom + 28 h", "from: bottom + 2 h, until: bottom + 4 h"),
    )
    found = granted(made, ("latest", "release"))
    bottom_s = made[0].plan().events["bottom"].early
    hand_s = (USABLE_WH - BEACON_WH - LIGHTS_WH - RELEASE_WH) / 10 * 3600 + 3600 + bottom_s
    assert found.proven
    assert seconds(found.answers[0].after) == pytest.approx(hand_s, rel=1e-3)


def test_where_energy_does_not_bind_the_interlock_does(flat: Callable) -> None:
    """The last try must end by `latest`, 60 h: at 60 h less 2 min."""
    found = granted(flat(), ("latest", "release"))
    assert seconds(found.answers[0].after) == 60 * 3600 - 120
    assert found.answers[0].beyond[0].stops[0].startswith("release-too-late")


def test_the_brightest_lights_are_the_closed_form(flat: Callable) -> None:
    """20 W x level x 26 h takes what the others leave: 33.7 %, so 33 % in whole percent."""
    found = granted(flat(("from: bottom + 26 h", "from: bottom + 2 h")), ("most", "lights"))
    hand = (USABLE_WH - BEACON_WH - CAMERA_WH - RELEASE_WH) / (20 * 26) * 100
    assert 33.3 < hand < 34.0
    assert found.proven
    assert found.answers[0].after == "lights at 33 %"
    assert "level: 33 %" in found.text


def test_the_fewest_cells_are_the_closed_form(flat: Callable) -> None:
    """A string gives 3 x 3.6 V x 5 Ah x 0.8 = 43.2 Wh; 60.6 Wh are needed, so two strings of three."""
    assert 43.2 < CAMERA_WH + LIGHTS_WH + BEACON_WH + RELEASE_WH < 86.4
    found = granted(flat(), ("fewest", "cells"))
    assert found.proven
    assert found.answers[0].after == "6 cells"
    assert "weigh it again" in found.answers[0].remark


def test_the_least_ballast_is_the_closed_form(flat: Callable) -> None:
    """Weight in water = drag: m (1 - rho/7200) = rho V - 46 kg + rho Cd A v^2 / (2 g), by the density
    of TEOS-10 (gsw) half-way down. The program takes the mean speed from rest, which 100 m make 0.5 % slower."""
    found = granted(flat(), ("least", "ballast"), sink_speed="0.8 m/s")
    salinity = gsw.SA_from_SP(35, 50, -9.84, 5)
    rho = gsw.rho(salinity, gsw.CT_from_t(salinity, 25, 50), 50)
    g = gsw.grav(5, 0)
    mass = (rho * 51.5e-3 - 46 + rho * 1.0 * 0.16 * 0.8**2 / (2 * g)) / (1 - rho / 7200)
    assert found.met
    assert float(found.answers[0].after.split()[0]) == pytest.approx(mass, rel=1e-2)
    assert "sinks at" in found.answers[0].beyond[0].stops[0]


def test_a_second_wish_takes_nothing_from_the_first(flat: Callable) -> None:
    found = granted(flat(), ("fewest", "cells"), ("most", "camera"))
    hand_s = (USABLE_WH * 2 / 5 - BEACON_WH - LIGHTS_WH - RELEASE_WH) / 10 * 3600
    assert found.answers[0].after == "6 cells"
    assert seconds(found.answers[1].after) == pytest.approx(hand_s, rel=1e-3)
    other = granted(flat(), ("most", "camera"), ("fewest", "cells"))
    assert other.answers[1].after == "15 cells"
    assert other.proven


def test_a_wish_that_cannot_be_met_names_what_binds(flat: Callable) -> None:
    found = granted(flat(("rated_depth: 2000 m", "rated_depth: 90 m")), ("most", "camera"), ("latest", "release"))
    assert not found.met
    assert len(found.answers) == 1
    assert [stop.partition(":")[0] for stop in found.answers[0].binds] == ["depth-rating"]
    assert found.patch == ""


def test_the_rest_of_the_file_is_kept(flat: Callable) -> None:
    made = flat()
    found = granted(made, ("most", "camera"))
    old, new = made[1].splitlines(), found.text.splitlines()
    changed = [pair for pair in zip(old, new, strict=True) if pair[0] != pair[1]]
    assert len(changed) == 1
    assert changed[0][1].endswith('"}   # to be lengthened')
    assert made[2].read_text(encoding="utf-8") == made[1], "the user's file is never written"


def test_what_nobody_can_wish_is_refused(flat: Callable) -> None:
    loaded = flat()[0]
    for option, name in (("most", "winch"), ("latest", "camera"), ("fewest", "strings"), ("least", "ballast")):
        with pytest.raises(UsageError):
            wish_of(option, name, loaded.dive)
    with pytest.raises(UsageError, match="not a speed"):
        wish_of("least", "ballast", loaded.dive, "fast")


def test_wishes_on_the_demo_are_proven() -> None:
    for option, name in (("most", "lights"), ("latest", "release"), ("fewest", "cells")):
        assert granted(of_file(DEMO), (option, name)).proven, name


@pytest.mark.parametrize("name", ["shelf-sea-day", "deep-night", "lake"])
def test_no_later_release_on_a_grid_of_minutes_passes(name: str) -> None:
    made = of_file(DIVES / f"{name}.yaml")
    wish = wish_of("latest", "release", made[0].dive)
    found = granted(made, ("latest", "release"))
    best_s = seconds(found.answers[0].after)
    assert found.proven
    knob = wish.knobs(made[0])[0]
    bench = Bench(made[0], scores=(wish.score,))
    later = range(int(best_s) // 60 * 60 + 60, knob.high + 1, 60)
    assert [at for at in later if bench.trial(knob.edits(at)).passes] == []


def test_no_camera_times_on_a_grid_beat_what_was_found() -> None:
    """The shelf-sea dive: every whole minute for the bursts with every 20 min for the first window's end."""
    made = of_file(DIVES / "shelf-sea-day.yaml")
    wish = wish_of("most", "camera", made[0].dive)
    found = granted(made, ("most", "camera"))
    assert found.proven
    first, second = wish.knobs(made[0])
    bench = Bench(made[0], scores=(wish.score,))
    best_s = seconds(found.answers[0].after)
    tried = 0
    for a in range(-(-first.low // 60) * 60, first.high + 1, 20 * 60):
        for b in range(60, second.high + 1, 60):
            edits = joined([first, second], (a, b))
            trial = bench.trial(edits)
            tried += 1
            assert not trial.passes or trial.scores[0] <= best_s, (a, b)
            if not trial.passes and trial.stops[0].startswith("reserve-short"):
                break  # longer bursts only take more
    assert tried > 50


def test_it_says_how_many_field_changes_are_left() -> None:
    found = granted(of_file(DEMO), ("fewest", "cells"))
    now, before, count = found.offered
    assert (before, count) == (14, 14)
    changed = load_text(found.text, DEMO)
    assert now == sum(changed.plan().allowed_changes)


def test_without_scipy_it_says_what_to_install(flat: Callable, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "scipy.optimize", None)
    with pytest.raises(UsageError, match="needs the library scipy"):
        granted(flat(), ("most", "camera"))

"""What alone clears a finding: the edit made in the text clears it, and one a little smaller does not."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from schedgen.errors import FileProblems
from schedgen.fit.clear import Clearing, clearings
from schedgen.fit.edits import Edit, changed_text
from schedgen.judge.explain import chosen
from schedgen.load import LoadedDive, load_text

Made = tuple[LoadedDive, str, Path]


def cleared(made: Made, name: str) -> dict[str, Clearing]:
    """What clears NAME, by path; each tried again as text of the file, with a whole check."""
    loaded, text, path = made
    finding = chosen(loaded.check(), name)[0]
    found = {one.path: one for one in clearings(loaded, finding, valid=lambda edit: _reads(made, edit))}
    assert found
    for one in found.values():
        again = load_text(changed_text(text, [one.edit], str(path)), path).check()
        assert not [f for f in again.findings if f.name == name and f.severity == "stop"], one
    return found


def _reads(made: Made, edit: Edit) -> bool:
    try:
        load_text(changed_text(made[1], [edit], str(made[2])), made[2])
    except FileProblems:
        return False
    return True


@pytest.fixture
def short(flat: Callable[..., Made]) -> Made:
    """One string gives 43.2 Wh of the 60.6 Wh that are needed (see test_fit)."""
    return flat(("parallel: 5", "parallel: 1"))


def test_a_reserve_is_cleared_by_what_the_closed_form_says(short: Made) -> None:
    """17.4 Wh too many. By hand: two strings; a wait shorter by 17 h, which also saves three tries, 0.4 Wh;
    the release cannot do it alone; the camera has 2 h, so it would have to take 8.7 W less."""
    found = cleared(short, "reserve-short")
    assert found["pack.parallel"].new == "2"
    watts = float(found["loads.camera.power"].new.split()[0])
    assert watts == pytest.approx(10 - (60.597 - 43.2) / 2, rel=5e-3)
    hours = found["recovery.wait"].edit.value.nominal / 3600
    assert hours == pytest.approx(20 - 17.397 + 0.4, rel=1e-2)
    assert "release.primary.power" not in found


def test_a_little_less_does_not_clear_it(short: Made) -> None:
    loaded, text, path = short
    one = {c.path: c for c in clearings(loaded, chosen(loaded.check(), "reserve-short")[0])}["loads.camera.power"]
    watts = float(one.new.split()[0])
    less = text.replace("power: 10 W", f"power: {watts * 1.01:.4g} W")
    assert "reserve-short" in {f.name for f in load_text(less, path).check().findings}


def test_a_rating_is_cleared_by_the_rule_itself(flat: Callable[..., Made]) -> None:
    """A rating of 1.1 x the deepest bottom is asked: 110 m for 100 m; or a bottom at 95.5 m for a rating of 105 m."""
    made = flat(("rated_depth: 2000 m", "rated_depth: 105 m"))
    found = cleared(made, "depth-rating")
    assert found["vehicle.rated_depth"].edit.value.nominal == pytest.approx(110, rel=2e-3)
    assert found["site.depth"].edit.value.nominal == pytest.approx(105 / 1.1, rel=2e-3)


def test_a_time_is_moved_to_the_second(flat: Callable[..., Made]) -> None:
    """`not_before` must be 30 min after the latest splash on a fast clock: 1800 s and a second for the clock."""
    made = flat(("not_before: start + 3 h", "not_before: start + 10 min"))
    found = cleared(made, "release-interlock")
    assert found["release.not_before"].edit.value.offset_s in (1800, 1801)

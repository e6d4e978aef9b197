"""Edits in the text: the value changes, and nothing else; what cannot be changed in place is refused."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.dive.read import read_dive
from schedgen.errors import UsageError
from schedgen.files.tree import parse_tree
from schedgen.fit.edits import Edit, changed_model, changed_text, patch

TEXT = """# first
site: {depth: 100 m, water: [{depth: 0 m}, {depth: "12 m"}]}   # keep: {me: 1}
loads:
  camera:
    power: '7.4 W'  # as measured
    note: &n plain
    other: *n
    long: >-
      one
      two
"""


@pytest.mark.parametrize(
    ("path", "old", "new"),
    [
        ("site.depth", "depth: 100 m,", "depth: 99.5 m,"),
        ("site.water.1.depth", '"12 m"', '"99.5 m"'),
        ("loads.camera.power", "'7.4 W'", "'99.5 m'"),
        ("site.water.0.salinity", "{depth: 0 m}", "{depth: 0 m, salinity: 99.5 m}"),
        ("site.air", "}]}", "}], air: 99.5 m}"),
    ],
)
def test_only_the_value_changes(path: str, old: str, new: str) -> None:
    assert TEXT.count(old) == 1
    expected = TEXT.replace(old, new.replace("99.5 m", "99.5 m"))
    assert changed_text(TEXT, [Edit(path, "99.5 m", None)], "x.yaml") == expected


def test_line_ends_of_windows_stay() -> None:
    text = TEXT.replace("\n", "\r\n")
    made = changed_text(text, [Edit("site.depth", "5 m", None)], "x.yaml")
    assert made == text.replace("depth: 100 m", "depth: 5 m")


@pytest.mark.parametrize("path", ["loads.camera.other", "loads.camera.note", "loads.camera.long", "loads.fan.power",
                                  "loads.camera", "loads.camera.count", "site.water.7.depth"])  # fmt: skip
def test_what_cannot_be_changed_in_place_is_refused_with_its_line(path: str) -> None:
    with pytest.raises(UsageError, match=r"x\.yaml:\d+: .* cannot be changed in place"):
        changed_text(TEXT, [Edit(path, "5 W", None)], "x.yaml")


def test_the_patch_is_one_that_patch_takes(tmp_path: Path) -> None:
    new = changed_text(TEXT, [Edit("site.depth", "5 m", None)], "x.yaml")
    (tmp_path / "x.yaml").write_text(TEXT, encoding="utf-8")
    text = patch(TEXT, new, "x.yaml")
    applied = subprocess.run(
        ["git", "apply", "-"], input=text, text=True, cwd=tmp_path, capture_output=True, check=False
    )
    assert applied.returncode == 0, applied.stderr
    assert (tmp_path / "x.yaml").read_text(encoding="utf-8") == new
    assert patch(TEXT, TEXT, "x.yaml") == ""


@settings(deadline=None, max_examples=40)
@given(st.integers(min_value=1, max_value=90_000))
def test_model_and_text_say_the_same(seconds: int) -> None:
    """The edit in the model is what reading the edited text gives."""
    from schedgen.dive.times import parse_when
    from schedgen.files.quantity import write_duration

    demo = (Path(__file__).parents[2] / "schedgen" / "dive" / "demo.yaml").read_text(encoding="utf-8")
    when = f"bottom + {write_duration(seconds)}"
    edit = Edit("schedule.0.until", when, parse_when(when))
    read = read_dive(parse_tree(changed_text(demo, [edit], "demo.yaml"), "demo.yaml"))
    plain = read_dive(parse_tree(demo, "demo.yaml"))
    assert read.dive is not None
    assert changed_model(plain.dive, [edit]) == read.dive

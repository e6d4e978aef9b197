"""Floats that lose volume with depth make the package heavier on the bottom, and slower up."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import gsw
import pytest

from schedgen.load import load
from schedgen.plan.model import Plan

FLOATS = "  floats: [{volume: 18 L, mass: 9 kg, rated_depth: 2000 m, shrinks: SHARE}]\n"


def plan(tmp_path: Path, share: str) -> Plan:
    text = resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")
    path = tmp_path / "dive.yaml"
    path.write_text(text.replace("\npack:\n", f"{FLOATS.replace('SHARE', share)}\npack:\n"), encoding="utf-8")
    return load(path).plan()


def test_a_float_that_shrinks_costs_the_water_it_no_longer_displaces(tmp_path: Path) -> None:
    """18 L that lose 1 % by 2000 m lose 0.135 L by 1480 m (nominal depth), at 1034.6 kg/m3 there about 1.37 N."""
    stiff, soft = plan(tmp_path, "0 %").fall, plan(tmp_path, "1 %").fall
    here, rated = gsw.p_from_z(-1480.0, 57.31), gsw.p_from_z(-2000.0, 57.31)
    absolute = gsw.SA_from_SP(34.95, here, -9.84, 57.31)
    density = gsw.rho_t_exact(absolute, 4.17, here)
    lost_n = 0.018 * 0.01 * here / rated * density * gsw.grav(57.31, here)
    assert soft.net_weight_n[1] - stiff.net_weight_n[1] == pytest.approx(lost_n, rel=2e-3)
    assert soft.up_s[1] > stiff.up_s[1]
    assert soft.down_s[1] < stiff.down_s[1]


def test_the_least_lift_takes_the_softest_float(tmp_path: Path) -> None:
    """At 4 % the loss of lift (5.4 N) outweighs the denser water below (3.6 N): it is least on the bottom."""
    exact, spread = plan(tmp_path, "4 %").fall, plan(tmp_path, "4 % ± 1 %").fall
    assert spread.net_lift_n[0] < exact.net_lift_n[0]
    assert spread.net_lift_n[1] == pytest.approx(exact.net_lift_n[1])


def test_a_float_softer_than_the_law_allows_is_refused_at_its_place(tmp_path: Path) -> None:
    from schedgen.errors import FileProblems

    with pytest.raises(FileProblems) as refused:
        plan(tmp_path, "8 %")
    (problem,) = refused.value.problems
    assert "5 %" in problem.message
    assert problem.line > 1

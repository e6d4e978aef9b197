"""No published value is left lying: each is run by a test module of this folder, or named here with the reason."""

import importlib.util
from pathlib import Path

import pytest
from published import FILE, entries

HERE = Path(__file__).parent

NOT_OURS = {
    "sw.eos80.soundspeed_40_40_10000": "nothing in the project uses the speed of sound",
    "sw.eos80.theta_40_40_10000_0": "nothing in the project uses potential temperature of EOS-80",
    "sw.eos80.lapse_40_40_10000": "nothing in the project uses the adiabatic lapse rate",
    **{
        f"bat.pybamm.ECM_Example.{case}": "a demonstration set whose tables and heat model only that package has"
        for case in ("C5.25C", "1C.25C", "C5.0C", "1C.0C", "C5.-20C")
    },
    "bat.cold.electrode_impedance_20_to_m20": "single electrodes of another chemistry, not a cell's resistance",
    **{name: "the settings block is bit-packed; nothing is LEB128" for name in entries() if name.startswith("leb128.")},
    "sto.sdhc_limit": "names of card classes; nothing in the project depends on them",
    "sto.stills": "the dive file knows bitrates only, no interval photographs",
}
"""Entries that no test runs, each with its reason."""


def covered_by(path: Path) -> list[str]:
    """The list COVERS of a test module of this folder; empty when it has none."""
    if "\nCOVERS" not in path.read_text(encoding="utf-8"):
        return []
    found = importlib.util.spec_from_file_location(f"covers_{path.stem}", path)
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return list(module.COVERS)


@pytest.fixture(scope="module")
def covered() -> dict[str, list[str]]:
    return {path.name: covered_by(path) for path in sorted(HERE.glob("test_*.py"))}


def test_every_published_value_is_run_or_named_with_a_reason(covered: dict[str, list[str]]) -> None:
    run = {name for names in covered.values() for name in names}
    left = [name for name in entries() if name not in run and name not in NOT_OURS]
    assert not left, f"{len(left)} published values are run by no test: {left}"


def test_nothing_is_claimed_that_is_not_published(covered: dict[str, list[str]]) -> None:
    for module, names in covered.items():
        unknown = [name for name in names if name not in entries()]
        assert not unknown, f"{module} claims {unknown}, which {FILE.name} does not have"


def test_reasons_are_for_values_that_no_test_runs(covered: dict[str, list[str]]) -> None:
    run = {name for names in covered.values() for name in names}
    assert not run & set(NOT_OURS)
    assert set(NOT_OURS) <= set(entries())


def test_every_entry_has_a_source_and_a_tolerance() -> None:
    for found in entries().values():
        assert found.source, found.id
        assert found.verified_by, found.id
        assert found.tolerance, found.id

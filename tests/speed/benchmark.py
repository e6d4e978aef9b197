"""Prints how fast the program is; no test times anything. Run it in the project's environment.

Ratios compare like with like in the same environment: a whole `check` with a bare import of the libraries it needs, and
the electrical part with the Thevenin model of PyBaMM, solved again in the same process (`pip install '.[speed]'` first;
without it that line says so). The aims stand beside: those of the whole program, not of one computer.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "schedgen" / "dive" / "demo.yaml"
IMPORTS = "import numpy, pydantic, yaml, jinja2"
PULSES = [(3000.0, 0.75), (600.0, 3.0)] * 12
"""12 h of pulses: seconds and watts for one 5 Ah cell."""


def durations(work: Callable[[], Any], times: int) -> list[float]:
    """Durations of several calls [s], shortest first, after one that does not count."""
    work()
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return sorted(taken)


def median_s(work: Callable[[], Any], times: int) -> float:
    """Median duration of several calls [s]."""
    return statistics.median(durations(work, times))


def process(arguments: list[str], compiled: Path) -> Callable[[], Any]:
    """A call that runs Python with arguments in a fresh process, quiet. Both sides get the same environment, and both
    find their modules compiled in `compiled` after the first call, as an installed program does."""
    settings = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(compiled)}
    settings.pop("PYTHONDONTWRITEBYTECODE", None)
    return lambda: subprocess.run([sys.executable, *arguments], env=settings, cwd=ROOT, capture_output=True, check=True)


def long_dive(folder: Path) -> Path:
    """The demo dive with a recovery wait that makes it last 72 h."""
    text = DEMO.read_text(encoding="utf-8")
    if "wait: 48 h" not in text:
        raise SystemExit("the demo no longer waits 48 h: look at long_dive")
    path = folder / "seventy-two-hours.yaml"
    path.write_text(text.replace("wait: 48 h", "wait: 61 h 30 min"), encoding="utf-8")
    return path


def busy(plan: Any) -> int:
    """Number of edges of a plan."""
    return sum(len(output.edges) for output in plan.outputs.values())


def whole_check(folder: Path, times: int) -> None:
    """A whole `check` against a bare import."""
    bare = median_s(process(["-c", IMPORTS], folder), times)
    check = median_s(process(["-m", "schedgen", "check", str(DEMO)], folder), times)
    ratio = check / bare
    print(
        f"check, whole process       {check * 1e3:8.0f} ms   {ratio:.2f} x a bare import, {bare * 1e3:.0f} ms; aim 4 x"
    )


def simulation(folder: Path, times: int, runs: int) -> None:
    """All cases of a 72 h dive, and many sampled runs of it."""
    import schedgen
    from schedgen.simulate import simulate, simulate_many

    loaded = schedgen.load(long_dive(folder))
    plan = loaded.plan()
    parts = (loaded.dive, loaded.board, loaded.cell, plan)
    hours = plan.events["end"].late / 3600
    taken = durations(lambda: simulate(*parts), times)
    one = statistics.median(taken)
    cases = len(simulate(*parts).cases)
    print(
        f"simulation, {hours:.1f} h dive   {one * 1e3:8.1f} ms   best {taken[0] * 1e3:.1f} ms; aim 20 ms, with heat 30"
    )
    print(f"                                      {cases} cases with heat, {busy(plan)} edges")
    begin = time.perf_counter()
    simulate_many(*parts, runs=runs, seed=1)
    many = time.perf_counter() - begin
    print(f"{runs:6} sampled runs       {many:10.2f} s    aim 10 s for 10000 on two free cores")


def pulsed_pack(runs: int) -> tuple[Any, ...]:
    """Arguments of the electrical engine for the pulse profile, `runs` runs side by side, of a cell with constants."""
    from schedgen.physics.cell import CellTables, Curves
    from schedgen.simulate.engine import Draw, Pack

    ohm = [[0.03, 0.03]]
    curves = Curves([0, 1], [3.0, 4.2], [0, 1], [25], ohm, [[0.02, 0.02]], 30.0, [25], [1], [1])
    ones = np.ones(runs)
    pack = Pack(CellTables(curves), 1, ones, ones * 18000.0, ones, ones * 0.0, ones * 2.5, ones * 0.9999)
    parts = [max(1, round(watts * seconds / 4.0 / 18000.0 / 0.01)) for seconds, watts in PULSES]
    length = np.concatenate([np.full(n, s / n) for (s, _), n in zip(PULSES, parts, strict=True)])
    watts = np.concatenate([np.full(n, w) for (_, w), n in zip(PULSES, parts, strict=True)])
    shape = (len(length), runs)
    watt = np.broadcast_to(watts[:, None], shape).copy()
    zero = np.zeros(shape)
    draw = Draw(watt, watt, zero, zero, np.ones(shape), zero, False)
    true_s = np.broadcast_to(length[:, None], shape).copy()
    time_s = np.concatenate([np.zeros((1, runs)), np.cumsum(true_s, axis=0)])
    return pack, draw, time_s, true_s, np.full((shape[0] + 1, runs), 25.0)


def electrical(times: int) -> None:
    """The electrical part over a 12 h pulse profile: one run, many side by side, and PyBaMM's Thevenin model."""
    from schedgen.simulate.engine import solve

    side = 160
    single, many = pulsed_pack(1), pulsed_pack(side)
    one = median_s(lambda: solve(*single), times)
    each = median_s(lambda: solve(*many), times) / side
    print(f"12 h of pulses, one run    {one * 1e3:8.2f} ms   {each * 1e6:.0f} us a run with {side} side by side")
    try:
        import pybamm
    except ImportError:
        print("against PyBaMM's Thevenin model: not compared, pybamm is not here (pip install '.[speed]')")
        return
    theirs = median_s(thevenin(pybamm), 5)
    print(f"PyBaMM Thevenin, re-solved {theirs * 1e3:6.1f} ms   one run of ours {theirs / one:.1f} x faster (aim 1 x), "
          f"side by side {theirs / each:.0f} x (aim 100 x)")  # fmt: skip


def thevenin(pybamm: Any) -> Callable[[], Any]:
    """A call that solves PyBaMM's Thevenin model again over the pulse profile, model and parameters built before."""
    model = pybamm.equivalent_circuit.Thevenin()
    values = model.default_parameter_values
    values.update({"Cell capacity [A.h]": 5.0, "Initial SoC": 0.9999, "R0 [Ohm]": 0.03, "R1 [Ohm]": 0.02,
                   "C1 [F]": 1500.0, "Lower voltage cut-off [V]": 2.5, "Upper voltage cut-off [V]": 4.4})  # fmt: skip
    steps = [f"Discharge at {watts} W for {seconds / 60:g} minutes" for seconds, watts in PULSES]
    simulation = pybamm.Simulation(model, experiment=pybamm.Experiment(steps), parameter_values=values)
    return lambda: simulation.solve()


def answers(folder: Path, runs: int) -> None:
    """Chances of the demo, its 32 combinations of field changes, and the longest camera time that passes."""
    import schedgen
    from schedgen.fit.fit import fit
    from schedgen.fit.wishes import wish_of
    from schedgen.load import load_text

    text = DEMO.read_text(encoding="utf-8")
    if "from: -2, to: 4" not in text:
        raise SystemExit("the demo no longer shifts from -2 to 4: look at answers")
    wide = folder / "thirty-two.yaml"
    wide.write_text(
        text.replace("from: -2, to: 4", "from: -3, to: 12").replace("latest: start + 14 h", "latest: start + 20 h"),
        encoding="utf-8",
    )
    dive, many = schedgen.load(DEMO), schedgen.load(wide)
    wish = wish_of("most", "camera", dive.dive)
    many.simulate()

    _, taken = timed(lambda: dive.chances(runs))
    print(f"{runs:6} chances        {taken:14.2f} s    aim 5 s for 10000 on two free cores")
    judged, taken = timed(many.choices)
    print(f"field changes          {taken:12.2f} s    aim 2 s; {len(judged)} combinations judged")
    found, taken = timed(lambda: fit(dive, text, [wish], lambda new: load_text(new, DEMO)))
    print(
        f"fit, most camera       {taken:12.2f} s    aim 15 s; {found.tried} candidates, {found.answers[0].after},"
        f" {'proven' if found.proven else 'NOT PROVEN'}"
    )


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """What a call gives, and how long it takes [s]."""
    begin = time.perf_counter()
    return work(), time.perf_counter() - begin


def main() -> None:
    """Runs every measurement."""
    options = argparse.ArgumentParser(description="Prints the program's speed and the ratios it aims at.")
    options.add_argument("--times", type=int, default=9, help="calls behind each median")
    options.add_argument("--runs", type=int, default=10_000, help="sampled runs")
    chosen = options.parse_args()
    sys.path.insert(0, str(ROOT))
    with tempfile.TemporaryDirectory() as folder:
        whole_check(Path(folder) / "compiled", chosen.times)
        simulation(Path(folder), 3 * chosen.times, chosen.runs)
        answers(Path(folder), chosen.runs)
        electrical(3 * chosen.times)


if __name__ == "__main__":
    main()

"""Pack and temperatures a second way: short fixed steps through one run, one value at a time.

Electrical: open-circuit voltage and resistances by linear look-up in the cell's file (resistance: in its logarithm over
temperature), one relaxation branch, constant powers, currents and conductances at once. Thermal: cells, camera and
wall exchange heat with the air inside, whose balance is solved in every step; films by the library `ht`. The program
does both otherwise: all steps at once by iteration, and exact steps of a network without the air.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu, Nu_vertical_plate_Churchill
from second_reading import triple

STEP_S = 20.0
LATE_STEP_S = 600.0
STEFAN = 5.670374419e-8
AIR = (1.513e-5, 0.0259, 0.7075, 1 / 293.15)
"""Dry air of 20 degC: kinematic viscosity, conductivity, Prandtl number, expansion (text-book tables, from memory)."""
WALLS = {"acetal": (0.31, 1410.0, 1470.0, 0.90), "titanium": (6.7, 4430.0, 526.0, 0.60),
         "acrylic": (0.19, 1180.0, 1470.0, 0.50)}  # fmt: skip
"""Conductivity, density, specific heat, share of sunlight absorbed: as the program's table, which names its sources."""


@dataclass(frozen=True)
class Draw:
    """Something that draws on the pack: W, A or S at the pack while on; `windows` in elapsed s, inf for no end."""

    account: str
    kind: str
    value: float
    windows: tuple[tuple[float, float], ...]
    lit: float = 1.0
    """Share of the time a flash is lit."""
    surge: tuple[float, float] | None = None
    """Value while starting, and for how many elapsed s."""
    heats: str = "air"
    """Where its heat goes: `camera`, `air` inside the housing, or `outside`."""
    useful: float = 1.0
    """Share that arrives behind its converter; the rest heats the air inside."""


class Cell:
    """A cell's tables as its file has them."""

    def __init__(self, data: Any) -> None:
        ocv = data["open_circuit"]
        self.charge = [float(x) / 100 for x in ocv["charge_percent"]]
        self.volts = [float(x) for x in ocv["volts"]]
        self.knots = [float(x) / 100 for x in data["resistance"]["charge_percent"]]
        self.tau = triple(data["relaxation"]["time_constant"])[1]
        self.rows, self.celsius = [], [float(k.split()[0]) for k in data["resistance"]["milliohms"]]
        for table in ("resistance", "relaxation"):
            self.rows.append([[float(x) / 1e3 for x in row] for row in data[table]["milliohms"].values()])
        cold = data["cold_capacity"]["rows"]
        self.cold_c = [float(k.split()[0]) for k in cold]
        self.kind = [triple(row["nominal"])[1] for row in cold.values()]
        self.poor = [triple(row["pessimistic"])[1] for row in cold.values()]
        self.data = data

    def open_circuit(self, felt: float) -> float:
        return _linear(self.charge, self.volts, min(max(felt, 0.0), 1.0))

    def ohms(self, felt: float, celsius: float) -> tuple[float, float]:
        """Series and relaxation resistance."""
        felt = min(max(felt, 0.0), 1.0)
        j = min(max(bisect_right(self.celsius, celsius) - 1, 0), len(self.celsius) - 2)
        part = (celsius - self.celsius[j]) / (self.celsius[j + 1] - self.celsius[j])
        found = []
        for rows in self.rows:
            low, high = (math.log(_linear(self.knots, rows[i], felt)) for i in (j, j + 1))
            found.append(math.exp(low + (high - low) * part))
        return found[0], found[1]

    def reach(self, celsius: float, pessimism: float) -> float:
        """Share of the charge that the cold leaves within reach."""
        kind, poor = (float(np.interp(celsius, self.cold_c, table)) for table in (self.kind, self.poor))
        return kind + (poor - kind) * pessimism


def _linear(x: list[float], y: list[float], at: float) -> float:
    i = min(max(bisect_right(x, at) - 1, 0), len(x) - 2)
    return y[i] + (y[i + 1] - y[i]) * (at - x[i]) / (x[i + 1] - x[i])


@dataclass(frozen=True)
class Setting:
    """Everything else of a run. Events in elapsed s; `scale` true seconds for each of them."""

    cell: Cell
    series: int
    parallel: int
    capacity_ah: float
    charge: float
    reserve: float
    pessimism: float
    resistance: float
    cut_v: float
    scale: float
    splash: float
    bottom: float
    release: float
    surface: float
    end: float
    depth: float
    rows: list[tuple[float, float]]
    """Depth and temperature of the water."""
    air_c: float
    sun_w_m2: float
    housing: dict[str, Any]
    coldest_row: tuple[float, float]
    """Temperature and salinity of the coldest row as written."""
    cameras: int
    tries_end: float
    """Elapsed s at which the tries that are ordered are over."""
    fan_level: tuple[tuple[float, float], ...] = ()
    fan_share: float = 0.0


@dataclass
class Outcome:
    """What a run comes to; energies Wh."""

    @property
    def margin(self) -> float:
        return self.usable - self.needed

    usable: float = 0.0
    reserve: float = 0.0
    cold_loss: float = 0.0
    needed: float = 0.0
    peak_at: float = 0.0
    charge_at_end: float = 0.0
    by_load: dict[str, float] = field(default_factory=dict)
    by_phase: dict[str, float] = field(default_factory=dict)
    lowest_v: float = math.inf
    lowest_at: float = 0.0
    firing_v: float = math.inf
    peak_a: float = 0.0
    peak_c: float = 0.0
    hours_after_surface: float = 0.0
    coldest: float = math.inf
    hottest: float = -math.inf
    camera_c: float = -math.inf
    camera_at: float = 0.0
    empty_at: float = math.inf
    ranges: dict[str, dict[str, tuple[float, float]]] = field(default_factory=dict)
    """Lowest and highest temperature by phase and node."""


def grid(setting: Setting, draws: list[Draw], last: float) -> Any:
    """Every edge, surge end and event, with steps of at most STEP_S between until `end`, longer ones after."""
    marks = {0.0, setting.splash, setting.bottom, setting.release, setting.surface, setting.end, last}
    for draw in draws:
        for start, stop in draw.windows:
            marks |= {start, min(stop, last)}
            if draw.surge is not None:
                marks.add(min(start + draw.surge[1], last))
    ordered = sorted(mark for mark in marks if 0.0 <= mark <= last)
    times = [0.0]
    for low, high in pairwise(ordered):
        count = max(1, math.ceil((high - low) / (STEP_S if low < setting.end else LATE_STEP_S)))
        times += [low + (high - low) * (i + 1) / count for i in range(count)]
    return np.array(times)


def on(draw: Draw, middle: Any) -> Any:
    """True in the steps in which a draw is on."""
    found = np.zeros(len(middle), dtype=bool)
    for start, stop in draw.windows:
        found |= (middle > start) & (middle < stop)
    return found


def values(draw: Draw, middle: Any) -> Any:
    """Its value in every step while lit, surges included."""
    found = np.where(on(draw, middle), draw.value, 0.0)
    if draw.surge is not None:
        for start, stop in draw.windows:
            found[(middle > start) & (middle < min(start + draw.surge[1], stop))] = draw.surge[0]
    return found


def film_outside(setting: Setting, water: bool) -> float:
    """W/(m2 K) of the tube lying in still water (1 K warmer) or air (15 K warmer, with radiation)."""
    size = triple(setting.housing["outer_diameter"])[1]
    if water:
        nu, conductivity, prandtl, expansion = water_properties(*setting.coldest_row)
        warmer = 1.0
    else:
        (nu, conductivity, prandtl, expansion), warmer = AIR, 15.0
    grashof = 9.80665 * abs(expansion) * warmer * size**3 / nu**2
    film = float(Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof)) * conductivity / size
    return film if water else film + 0.9 * STEFAN * 4 * 293.15**3


def water_properties(celsius: float, salinity: float) -> tuple[float, float, float, float]:
    """Kinematic viscosity by the ITTC's table (from memory), conductivity 0.57, specific heat; expansion by gsw."""
    import gsw

    at = [0.0, 5.0, 10.0, 15.0, 20.0]
    fresh, sea = [1.787, 1.5182, 1.3059, 1.1386, 1.0034], [1.8284, 1.5614, 1.3538, 1.1883, 1.0537]
    share = salinity / 35.0
    nu = float(np.interp(celsius, at, fresh) * (1 - share) + np.interp(celsius, at, sea) * share) * 1e-6
    specific = 4205.0 - 215.0 * share
    return nu, 0.57, nu * 1015.0 * specific / 0.57, float(gsw.alpha_wrt_t_exact(salinity, celsius, 0.0))


def temperatures(setting: Setting, draws: list[Draw], times: Any) -> tuple[Any, Any, Any]:
    """Cells, camera and wall at all times, degC: implicit steps of three nodes around the air inside."""
    house = setting.housing
    size, length, wall = (triple(house[key])[1] for key in ("outer_diameter", "length", "wall"))
    conductivity, density, specific, absorbs = WALLS[house["material"]]
    bore, count = size - 2 * wall, setting.series * setting.parallel
    area = math.pi * size * length + math.pi / 2 * size**2
    cell = setting.cell.data
    mantle = count * math.pi * triple(cell["diameter"])[1] * triple(cell["length"])[1] * 0.5
    grashof = 9.80665 * AIR[3] * 10.0 * 0.1**3 / AIR[0] ** 2
    radiation = 0.9 * STEFAN * 4 * 293.15**3
    still = float(Nu_vertical_plate_Churchill(AIR[2], grashof)) * AIR[1] / 0.1 + radiation
    blown = 0.664 * math.sqrt(2.0 * setting.fan_share * 0.1 / AIR[0]) * AIR[2] ** (1 / 3) * AIR[1] / 0.1 + radiation
    half_wall = math.log(size / bore) / (2 * math.pi * conductivity * length) / 2
    outward = [1 / (half_wall + 1 / (film_outside(setting, water) * area)) for water in (False, True)]
    heat = np.array(
        [count * triple(cell["mass"])[1] * 1000.0, 300.0 * setting.cameras, area * wall * density * specific]
    )
    sun = setting.sun_w_m2 * absorbs * size * length
    middle = 0.5 * (times[1:] + times[:-1])
    camera, air, amps = (np.zeros(len(middle)) for _ in range(3))
    volts = setting.series * setting.cell.open_circuit(0.5)
    for draw in draws:
        watts = values(draw, middle) * draw.lit * {"power": 1.0, "current": volts, "conductance": volts**2}[draw.kind]
        amps += watts / volts if draw.kind != "conductance" else 0.0
        inside = watts * (draw.useful if draw.heats != "outside" else 0.0)
        camera += inside if draw.heats == "camera" else 0.0
        air += watts * (1 - draw.useful) + (inside if draw.heats == "air" else 0.0)
    ohm = sum(setting.cell.ohms(0.5, 10.0)) * setting.resistance * setting.series / setting.parallel
    fan = np.zeros(len(middle), dtype=bool)
    for start, stop in setting.fan_level:
        fan |= (middle > start) & (middle < stop)
    outside = ambient(setting, middle)
    state = _settled(
        outward[0], still * np.array([mantle, 0.03 * setting.cameras, math.pi * bore * length]), sun, setting
    )
    found = [state]
    steps = np.diff(times) * setting.scale
    for k, seconds in enumerate(steps):
        films = np.array([still * mantle, (max(still, blown) if fan[k] else still) * 0.03 * setting.cameras,
                          still * math.pi * bore * length])  # fmt: skip
        shared = films / films.sum()
        matrix = np.diag(films) - np.outer(films, shared)
        leak = outward[1] if middle[k] > setting.splash else outward[0]
        matrix[2, 2] += leak
        given = np.array([amps[k] ** 2 * ohm, camera[k], leak * outside[k]]) + shared * air[k]
        if not setting.splash <= middle[k] < setting.surface:
            given[2] += sun
        state = np.linalg.solve(np.diag(heat / seconds) + matrix, heat / seconds * state + given)
        found.append(state)
    course = np.array(found)
    return course[:, 0], course[:, 1], course[:, 2]


def _settled(leak: float, films: Any, sun: float, setting: Setting) -> Any:
    """On deck with everything off: all as warm as the wall, which the sun warms."""
    return np.full(3, setting.air_c + sun / leak)


def ambient(setting: Setting, moment: Any) -> Any:
    """Temperature around: air before splash, then the water at an even speed down and up."""
    down = (moment - setting.splash) / max(setting.bottom - setting.splash, 1.0)
    up = (setting.surface - moment) / max(setting.surface - setting.release, 1.0)
    depth = np.clip(np.minimum(down, up), 0.0, 1.0) * setting.depth
    at, celsius = zip(*setting.rows, strict=True)
    return np.where(moment < setting.splash, setting.air_c, np.interp(depth, at, celsius))


def stored(setting: Setting, low: float, high: float, celsius: float) -> float:
    """Wh at open circuit between two charges at one temperature."""
    reach = setting.cell.reach(celsius, setting.pessimism)
    charges = low + (high - low) * (np.arange(200) + 0.5) / 200
    mean = np.mean([setting.cell.open_circuit(1 - (1 - z) / reach) for z in charges])
    return float(mean * (high - low) * setting.capacity_ah * setting.parallel * setting.series)


def run(setting: Setting, draws: list[Draw], lasting_h: float) -> Outcome:
    """One run from start until the pack is empty, at most `lasting_h` after `end`."""
    times = grid(setting, draws, setting.end + lasting_h * 3600)
    cells, camera, wall = temperatures(setting, draws, times)
    out = Outcome()
    out.ranges = by_phase(setting, times, {"cells": cells, "camera": camera, "housing": wall})
    during = times <= setting.end
    out.coldest, out.hottest = float(cells[during].min()), float(cells[during].max())
    hot = int(camera[during].argmax())
    out.camera_c, out.camera_at = float(camera[hot]), float(times[hot])
    lost = 1 - setting.cell.reach(out.coldest, setting.pessimism)
    out.usable = stored(setting, lost + setting.reserve, setting.charge, out.coldest)
    out.reserve = stored(setting, lost, lost + setting.reserve, out.coldest)
    out.cold_loss = lost * setting.capacity_ah * setting.parallel * setting.series * float(
        np.mean([setting.cell.open_circuit(lost * (i + 0.5) / 200) for i in range(200)]))  # fmt: skip
    _discharge(setting, draws, times, cells, out)
    return out


def by_phase(setting: Setting, times: Any, nodes: dict[str, Any]) -> dict[str, dict[str, tuple[float, float]]]:
    """Lowest and highest of each node while a phase lasts, both its ends included."""
    borders = (0.0, setting.splash, setting.bottom, setting.release, setting.surface, setting.end)
    found = {}
    for phase, (low, high) in zip(("deck", "descent", "bottom", "ascent", "surface"), pairwise(borders), strict=True):
        if high > low:
            during = (times >= low) & (times <= high)
            found[phase] = {name: (float(v[during].min()), float(v[during].max())) for name, v in nodes.items()}
    return found


def _table(draws: list[Draw], middle: Any, kind: str) -> tuple[Any, Any, Any]:
    """What is steadily on, what a flash adds while lit, and the share of the time it is lit."""
    base, flash, lit = np.zeros(len(middle)), np.zeros(len(middle)), np.ones(len(middle))
    for draw in draws:
        if draw.kind == kind and draw.lit == 1.0:
            base += values(draw, middle)
        elif draw.kind == kind:
            flash += values(draw, middle)
            lit[on(draw, middle)] = draw.lit
    return base, flash, lit


def _discharge(setting: Setting, draws: list[Draw], times: Any, cells: Any, out: Outcome) -> None:
    middle = 0.5 * (times[1:] + times[:-1])
    watt, flash, lit = _table(draws, middle, "power")
    ampere, _, _ = _table(draws, middle, "current")
    siemens, _, _ = _table(draws, middle, "conductance")
    parts = {draw: values(draw, middle) * draw.lit for draw in draws}
    firing = np.zeros(len(middle), dtype=bool)
    for draw in draws:
        if draw.account.startswith("release"):
            firing |= on(draw, middle) & (middle < setting.tries_end)
    factor = setting.resistance * setting.series / setting.parallel
    cut, capacity = setting.cut_v * setting.series, setting.capacity_ah * setting.parallel * 3600.0
    charge, relaxed = setting.charge, 0.0
    out.by_phase = dict.fromkeys(("deck", "descent", "bottom", "ascent", "surface"), 0.0)
    energy = dict.fromkeys(draws, 0.0)
    in_cells = 0.0
    for k, length in enumerate(np.diff(times)):
        true_s, celsius = length * setting.scale, 0.5 * (cells[k] + cells[k + 1])
        reach = setting.cell.reach(celsius, setting.pessimism)
        state = charge, relaxed
        for half in (True, False):  # a midpoint step: first to the middle, from there the whole way
            felt = 1 - (1 - state[0]) / reach
            emf, (fast, slow) = setting.cell.open_circuit(felt) * setting.series, setting.cell.ohms(felt, celsius)
            bright, i_lit = _solve(emf - state[1], fast * factor, watt[k] + flash[k], ampere[k], siemens[k])
            dark, i_dark = _solve(emf - state[1], fast * factor, watt[k], ampere[k], siemens[k])
            current = lit[k] * i_lit + (1 - lit[k]) * i_dark
            if half and (bright < cut or felt <= 0):
                out.empty_at = float(times[k])
                break
            if half and times[k] < setting.end:
                _extremes(out, bright, i_lit, float(times[k]), float(cells[k]), bool(firing[k]))
            part = true_s / 2 if half else true_s
            kept = math.exp(-part / setting.cell.tau)
            state = charge - current * part / capacity, relaxed * kept + slow * factor * current * (1 - kept)
        if out.empty_at < math.inf:
            break
        charge, relaxed = state
        if times[k] >= setting.end:
            continue
        out.charge_at_end = charge
        hours = true_s / 3600
        for draw in draws:
            volts = bright if draw.lit < 1 else lit[k] * bright + (1 - lit[k]) * dark
            energy[draw] += (
                parts[draw][k] * hours * {"power": 1.0, "current": volts, "conductance": volts**2}[draw.kind]
            )
        power = lit[k] * bright * i_lit + (1 - lit[k]) * dark * i_dark
        in_cells += (emf * current - power) * hours
        out.by_phase[_phase(setting, float(middle[k]))] += emf * current * hours
        felt = 1 - (1 - charge) / reach  # the end of the step too: a load may go off there
        volts_end, amps_end = _solve(
            setting.cell.open_circuit(felt) * setting.series - relaxed, setting.cell.ohms(felt, celsius)[0] * factor,
            watt[k] + flash[k], ampere[k], siemens[k],
        )  # fmt: skip
        _extremes(out, volts_end, amps_end, float(times[k + 1]), float(cells[k + 1]), bool(firing[k]))
    for draw, value in energy.items():
        out.by_load[draw.account] = out.by_load.get(draw.account, 0.0) + value
    out.by_load["lost in the pack"] = in_cells
    out.needed = sum(out.by_phase.values())
    out.hours_after_surface = max(0.0, (min(out.empty_at, float(times[-1])) - setting.surface) * setting.scale / 3600)


def _extremes(out: Outcome, volts: float, amps: float, at: float, celsius: float, firing: bool) -> None:
    if volts < out.lowest_v:
        out.lowest_v, out.lowest_at = volts, at
    if amps > out.peak_a:
        out.peak_a, out.peak_c, out.peak_at = amps, celsius, at
    if firing:
        out.firing_v = min(out.firing_v, volts)


def _solve(emf: float, ohm: float, watt: float, ampere: float, siemens: float) -> tuple[float, float]:
    """V of (emf - V) / ohm = watt / V + ampere + siemens V, the upper root."""
    a, b, c = 1 / ohm + siemens, ampere - emf / ohm, watt
    root = b * b - 4 * a * c
    volts = (-b + math.sqrt(max(root, 0.0))) / (2 * a)
    return volts, watt / volts + ampere + siemens * volts


def _phase(setting: Setting, moment: float) -> str:
    for name, event in (("deck", setting.splash), ("descent", setting.bottom), ("bottom", setting.release),
                        ("ascent", setting.surface)):  # fmt: skip
        if moment < event:
            return name
    return "surface"

"""Every figure of the three reports worked out a second way, by its path in the JSON report, with its tolerance.

A tolerance is absolute. Where it comes from: times of the fall 1 s (the integrators differ by 0.1 s, then whole
seconds), energies 0.2 % and 0.02 Wh (steps of 20 s against few long ones), voltages 3 mV, temperatures 0.6 K (films by
other tables of air and water), hours until empty 0.5 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import gsw
import numpy as np
from scipy.optimize import brentq
from second_circuit import Outcome
from second_dives import LIT, Scene, clock_error, parting, scene, worked
from second_fall import Water, package
from second_reading import triple

GRAVITY = 9.80665
Figures = dict[str, tuple[float, float]]
"""Path in the report: value, tolerance."""
FLASH_S = {"shelf-sea-day": 0.250, "deep-night": 0.125, "lake": 0.500}


@dataclass(frozen=True)
class Runs:
    """A dive's runs: as planned, in the two worst corners, and with loads stuck on."""

    scene: Scene
    nominal: Outcome
    energy: Outcome
    heat: Outcome
    stuck: dict[str, Outcome]
    fewer: Outcome
    enough: Outcome
    least: int


def runs_of(name: str, least: int, stuck_loads: tuple[str, ...]) -> Runs:
    """`least` is the count of strings that the report calls enough, `stuck_loads` those it names as stuck on."""
    at = scene(name)
    stuck = {load: worked(at, "energy", load, lasting_h=60.0) for load in stuck_loads}
    fewer = worked(at, "energy", parallel=least - 1) if least > 1 else Outcome()
    enough = worked(at, "energy", parallel=least)
    energy = worked(at, "energy", lasting_h=450.0)
    return Runs(at, worked(at, "nominal"), energy, worked(at, "heat"), stuck, fewer, enough, least)


def figures(runs: Runs) -> Figures:
    """All of a report."""
    return {
        **_events(runs.scene), **_energy(runs), **_storage(runs.scene), **_fall(runs.scene), **_waters(runs.scene),
        **_clock(runs.scene), **_release(runs), **_light(runs.scene), **_cold(runs), **_currents(runs), **_pack(runs),
        **_field_changes(runs.scene),
        **_temperatures(runs),
    }  # fmt: skip


def _events(at: Scene) -> Figures:
    keys = ("early_s", "nominal_s", "late_s")
    return {
        f"events.{name}.{key}": (second, 1.0)
        for name, event in at.events.items()
        for key, second in zip(keys, event.whole, strict=True)
    }


def _energy(runs: Runs) -> Figures:
    worst, path = runs.energy, "energy."
    hottest = max(runs.energy, runs.heat, key=lambda out: out.camera_c)
    found = {
        path + "usable_wh": worst.usable, path + "needed_wh": worst.needed, path + "reserve_wh": worst.reserve,
        path + "margin_wh": worst.margin,
        **{f"{path}by_load_wh.{load}": value for load, value in worst.by_load.items()},
        **{f"{path}by_phase_wh.{phase}": value for phase, value in worst.by_phase.items()},
    }  # fmt: skip
    return {
        **{key: (value, 0.02 + 0.002 * abs(value)) for key, value in found.items()},
        path + "lowest_voltage_v": (worst.lowest_v, 0.003),
        path + "lowest_voltage_at_s": (worst.lowest_at, 30.0),
        path + "endurance_after_surface_h": (worst.hours_after_surface, 0.005 * worst.hours_after_surface),
        "heat.camera.highest_c": (hottest.camera_c, 0.6),
        "heat.camera.at_s": (hottest.camera_at, 180.0),  # flat at its top
    }


def _storage(at: Scene) -> Figures:
    """On-time less `ready_after`, `close_before_off` and the 1 s pulse of a stop output; bitrate x time / 8."""
    seconds = sum(recorded(at))
    camera = at.dive["loads"]["camera"]
    written = seconds * triple(camera["bitrate"])[1] / 8 / 1e9
    return {
        "storage.camera.recorded_s": (seconds, 3.0),  # its windows hang on the bottom, see _events
        "storage.camera.written_gb": (written, 0.02),
        "storage.camera.card_gb": (triple(camera["card"])[1] / 1e9, 0.0),  # copied
    }


def recorded(at: Scene) -> list[float]:
    """Seconds of each recording."""
    camera = at.dive["loads"]["camera"]
    pulse = 1.0 if camera["stop"].startswith("OUT") else 0.0
    lost = triple(camera["ready_after"])[1] + triple(camera.get("close_before_off", "0 s"))[1] + pulse
    return [stop - start - lost for start, stop in at.windows["camera"]]


def _fall(at: Scene) -> Figures:
    fall = at.fall
    return {
        "fall.sink_speed_m_s": (fall.depth[1] / fall.down[1].seconds, 5e-4),
        "fall.rise_speed_m_s": (fall.depth[1] / fall.up[1].seconds, 5e-4),
        "fall.net_lift_n": (fall.up[1].least_force, 0.02),
        "fall.pressure_dbar": (fall.pressure[1], 0.1),
        "information.pressure.least_dbar": (fall.pressure[0], 0.1),
        "information.pressure.most_dbar": (fall.pressure[2], 0.1),
        "information.weight.least_heavy_n": (fall.down[2].force_at_end, 0.02),
        "information.weight.most_heavy_n": (fall.down[0].force_at_end, 0.02),
        "information.weight.least_lift_n": (fall.up[2].least_force, 0.02),
        "information.weight.most_lift_n": (fall.up[0].least_force, 0.02),
        "information.weight.landing_speed_m_s": (fall.down[0].last_speed, 5e-4),
    }


def _waters(at: Scene) -> Figures:
    """(rho V - m) g of the heavy package at the surface, in the site's warmth; then what stands out of the water."""
    site, vehicle, body = at.dive["site"], at.dive["vehicle"], package(at.dive, 1)
    warm, latitude, longitude = (
        triple(site["water"][0]["temperature"])[1],
        float(site["latitude"]),
        float(site["longitude"]),
    )
    g = float(gsw.grav(latitude, 0.0))

    def lift(salinity: float) -> float:
        density = float(gsw.rho_t_exact(gsw.SA_from_SP(salinity, 0.0, longitude, latitude), warm, 0.0))
        return (density * body.volume - body.mass) * g

    tube = math.pi / 4 * triple(vehicle["housing"]["outer_diameter"])[1] ** 2
    surface, length = Water(site, 1).density(0.0), triple(vehicle["housing"]["length"])[1]
    out = [min(length, way.least_force / (surface * GRAVITY * tube)) for way in (at.fall.up[2], at.fall.up[0])]
    centres = vehicle["centres"]
    upright = triple(centres["of_volume"])[0] > triple(centres["of_mass"])[2]
    found = {
        "information.waters.in_sea_water_n": (lift(35.0), 0.02),
        "information.waters.in_fresh_water_n": (lift(0.0), 0.02),
        "information.floating.least_out_m": (out[0], 2e-4),
        "information.floating.most_out_m": (out[1], 2e-4),
        "information.floating.upright": (float(upright), 0.0),
        "information.drift.radius_m": (triple(site["current"])[2] * triple(at.dive["recovery"]["wait"])[2], 1e-3),
    }
    floats = vehicle.get("floats", [])
    if floats:  # a flooded float lifts no more: rho V g at the bottom, cold and salty water
        bottom = Water(site, 1).density(triple(site["depth"])[2])
        loss = max(triple(each["volume"])[2] for each in floats) * bottom * GRAVITY
        found["information.float_lost.least_lift_n"] = (at.fall.up[2].least_force - loss, 0.03)
    return found


def _clock(at: Scene) -> Figures:
    error, path = clock_error(at.dive, at.board), "information.clock."
    late = {name: at.events[name].whole[2] for name in ("splash", "bottom", "release", "surface", "end")}
    return {
        path + "ppm": (error * 1e6, 1e-3),
        **{f"{path}{name}_s": (error * second, 1e-3) for name, second in late.items()},
    }


def _release(runs: Runs) -> Figures:
    at, primary = runs.scene, runs.scene.dive["release"]["primary"]
    series = int(at.dive["pack"]["series"])
    low = min(runs.energy.firing_v, runs.heat.firing_v)
    middle, full = max(low, runs.nominal.firing_v), triple(at.cell.data["full"])[1] * series
    least, _, most = parting(at.dive, (low, middle, full))
    return {
        "information.release.least_s": (least, 0.005 * least),
        "information.release.most_s": (most, 0.005 * most),
        "information.release.given_s": (triple(primary["fire"])[0] * int(primary["tries"]), 0.0),
        "information.release.lowest_v": (low, 0.003),
    }


def _light(at: Scene) -> Figures:
    """Lumens over the solid angle, Blondel and Rey with 0.2 s, then Allard in air of 0.8 a mile for 2e-7 lux."""
    beacon = at.dive["loads"]["beacon"]
    if beacon.get("colour", "white") != "white":
        return {}
    watts, flash = triple(beacon["power"])[1], FLASH_S[at.name]
    assert math.isclose(flash / LIT[at.name], round(flash / LIT[at.name]))

    def miles(lumens: float, steradians: float) -> float:
        candela = watts * lumens / steradians * flash / (0.2 + flash)
        return float(brentq(lambda d: 3.43e6 * 2e-7 * d**2 * 0.8**-d - candela, 1e-3, 40.0))

    found = miles(50, 4 * math.pi), miles(90, 2 * math.pi), miles(130, math.pi)
    return {
        f"information.light.{key}_nm": (d, 1e-4) for key, d in zip(("least", "nominal", "most"), found, strict=True)
    }


def _cold(runs: Runs) -> Figures:
    coldest = min(runs.energy.coldest, runs.heat.coldest, runs.nominal.coldest)
    cell, path = runs.scene.cell, "information.cold."
    kept = runs.energy.cold_loss, runs.nominal.cold_loss
    return {
        path + "coldest_c": (coldest, 0.2),
        path + "pessimistic_share": (cell.reach(coldest, 1.0), 0.003),
        path + "nominal_share": (cell.reach(coldest, 0.0), 0.003),
        path + "worst_kept_back_wh": (kept[0], 0.02 * kept[0]),
        path + "nominal_kept_back_wh": (kept[1], 0.01 + 0.03 * kept[1]),
    }


def _currents(runs: Runs) -> Figures:
    pack, out = runs.scene.dive["pack"], runs.energy
    strings, spread = int(pack["parallel"]), triple(runs.scene.cell.data["resistance_spread"])[1]
    best, others = 1 / (1 - spread), (strings - 1) / (1 + spread)
    rows = {float(k.split()[0]): triple(v)[1] for k, v in runs.scene.cell.data["rated_current_by_temperature"].items()}
    path = "information.current."
    found = {
        path + "peak_a": (out.peak_a, 0.002),
        path + "cell_a": (out.peak_a * best / (best + others), 0.001),
        path + "cell_rated_a": (float(np.interp(out.peak_c, list(rows), list(rows.values()))), 0.03),
        path + "trip_share": (out.peak_a / triple(pack["protection"]["trip_current"])[1], 2e-4),
    }
    if "fuse" in pack:  # 75 % of the rating for hours
        found[path + "fuse_share"] = (out.peak_a / (0.75 * triple(pack["fuse"])[1]), 3e-4)
    return found


def _pack(runs: Runs) -> Figures:
    """The least count that would do is held by its own run and by that with one string less."""
    pack, cell = runs.scene.dive["pack"], runs.scene.cell.data
    series, strings = int(pack["series"]), int(pack["parallel"])
    diameter, gap = triple(cell["diameter"])[1], triple(pack["layout"]["spacing"])[1]
    bore, path = triple(pack["layout"]["bore"])[1], "information.pack."
    cells = series * strings
    needed = (ratio(cells) - 1) * (diameter + gap) + diameter
    most = max(n for n in range(1, 60) if (ratio(n) - 1) * (diameter + gap) + diameter <= bore + 1e-9)
    return {
        path + "parallel": (strings, 0.0),  # copied
        path + "cells": (cells, 0.0),
        path + "bore_needed_m": (needed, 1e-5),
        path + "most_in_bore": (most, 0.0),
        path + "least_fits": (1.0, 0.0),  # fewer cells than `most`, see the test
    }


def _temperatures(runs: Runs) -> Figures:
    """Lowest of the case for energy, highest of that for heat."""
    found: Figures = {}
    for phase, nodes in runs.energy.ranges.items():
        for name, (low, _) in nodes.items():
            found[f"temperatures.{phase}.{name}.lowest_c"] = (low, 0.6)
            found[f"temperatures.{phase}.{name}.highest_c"] = (runs.heat.ranges[phase][name][1], 0.6)
    return found


def _field_changes(at: Scene) -> Figures:
    """Steps of the release from `from` to `to` (copied), each allowed when it lies after `not_before` and its last try
    before `latest`; the energy is no bound here: every step takes less than the margin of the worst case."""
    found: Figures = {}
    for change in at.dive.get("field_changes", []):
        step = triple(change["step"])[1]
        limits = [triple(at.dive["release"][key].split("+")[1])[1] for key in ("not_before", "latest")]
        for index, k in enumerate(range(int(change["from"]), int(change["to"]) + 1)):
            allowed = at.at + k * step >= limits[0] and at.tries_end + k * step <= limits[1]
            found[f"field_changes.{index}.values.0"] = (float(k), 0.0)
            found[f"field_changes.{index}.allowed"] = (float(allowed), 0.0)
    return found


def ratio(count: int) -> float:
    """Radius around `count` equal circles over theirs. Up to 19 from the published densities n / k^2; above, the best
    of three centres of a hexagonal lattice, by counting."""
    densities = {1: 1.0, 2: 0.5, 3: 0.6461709, 4: 0.6862915, 5: 0.6852103, 6: 0.6666667, 7: 0.7777778, 8: 0.7325025,
                 9: 0.6894079, 10: 0.6877966, 11: 0.7145501, 12: 0.7390216, 13: 0.7244652, 14: 0.7472485, 15: 0.7338244,
                 16: 0.7511013, 17: 0.7403007, 18: 0.7609193, 19: 0.8031828}  # fmt: skip
    if count in densities:
        return math.sqrt(count / densities[count])
    points = np.array([(2 * i + j % 2, j * math.sqrt(3)) for i in range(-12, 13) for j in range(-12, 13)])
    centres = ((0.0, 0.0), (1.0, 0.0), (1.0, 1 / math.sqrt(3)))
    return float(min(np.sort(np.hypot(*(points - np.array(c)).T))[count - 1] for c in centres)) + 1


def planned(dive: Any) -> Any:
    """The planned start."""
    from datetime import datetime

    return datetime.fromisoformat(dive["start"]["planned"].split(" ±")[0])

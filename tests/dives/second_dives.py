"""Events, schedules and loads of the three dives a second way: arithmetic with the rules of the dive file, by hand.

Rules used: an event that happens at a true time d reads d (1 - e) to d (1 + e) on a clock with relative error e; a
window's `from` takes the early bound down to a whole second, its `until` the late bound up; `only` the time certainly
between; a release `at` the late bound up; `surface` early is the command, the shortest cut and the shortest rise, late
the end of the last try and the longest rise; `end` is late surface plus the wait.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import gsw
from second_circuit import Cell, Draw, Outcome, Setting, run
from second_fall import Fall, Water, fall_of
from second_reading import Triple, board_file, cell_file, dive_file, triple

INF = math.inf
AGEING = 5e-6
RETRY_S = 6 * 3600.0


def floor(x: float) -> int:
    return math.floor(x + 1e-6)


def ceil(x: float) -> int:
    return math.ceil(x - 1e-6)


@dataclass(frozen=True)
class Event:
    """On the controller's clock, and in true seconds."""

    clock: Triple
    true: Triple

    @property
    def whole(self) -> tuple[int, int, int]:
        return floor(self.clock[0]), round(self.clock[1]), ceil(self.clock[2])


def happening(true: Triple, e: float) -> Event:
    return Event((true[0] * (1 - e), true[1], true[2] * (1 + e)), true)


Windows = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Scene:
    """A dive as far as the clock goes. `windows` by load; `levels` the share of the power that a load then takes."""

    name: str
    dive: Any
    board: Any
    cell: Cell
    fall: Fall
    error: float
    events: dict[str, Event]
    at: int
    tries: Windows
    tries_end: float
    """End of the last try that is ordered; those every 6 h come after it."""
    cut: Triple
    windows: dict[str, Windows]


def clock_error(dive: Any, board: Any) -> float:
    """Tolerance, parabola over the temperatures between the coldest water and the deck in the sun (15 K), 5 ppm of
    ageing: tol + |B| (T - T0)^2 with the worst turnover."""
    rows = [triple(row["temperature"]) for row in dive["site"]["water"]]
    air = dive["site"]["air"]
    sun = 15.0 if air.get("sun") == "yes" else 0.0
    coldest = min(*(row[0] for row in rows), triple(air["temperature"])[0])
    warmest = max(*(row[2] for row in rows), triple(air["temperature"])[2] + sun)
    clock = board["clock"]
    turnover, bend = triple(clock["turnover"]), max(abs(x) for x in triple(clock["curvature"]))
    away = max(turnover[2] - coldest, warmest - turnover[0])
    return triple(clock["tolerance"])[1] + bend * away**2 + AGEING


def parting(dive: Any, volts: Triple) -> Triple:
    """Seconds of power that the primary needs with lowest, middle and highest voltage, from the user's own test."""
    primary, site = dive["release"]["primary"], dive["site"]
    low, middle, high = triple(primary["tested"]["parts_in"])
    scale = [triple(primary["measured_at"])[1] / v for v in volts]
    if primary["kind"] == "hot wire":  # heat goes with the square of the voltage
        return low * min(1.0, scale[2] ** 2), middle * scale[1] ** 2, high * max(1.0, scale[0] ** 2)
    if primary["kind"] == "motor":  # speed goes with the voltage
        return low * min(1.0, scale[2]), middle * scale[1], high * max(1.0, scale[0])
    waters = [Water(site, side) for side in (-1, 0, 1)]
    depth, pressure = triple(site["depth"])[1], waters[1].pressure(triple(site["depth"])[1])

    def at_bottom(index: int, what: str) -> float:
        import numpy as np

        return float(np.interp(depth, waters[index].depth, getattr(waters[index], what)))

    tested = primary["tested"]
    base = gsw.C_from_SP(float(tested["salinity"]), triple(tested["temperature"])[1], 0.0)
    salty = [at_bottom(i, "salinity") for i in range(3)]
    warm = [at_bottom(2 - i, "temperature") for i in range(3)]
    share = [float(gsw.C_from_SP(s, t, pressure)) / base for s, t in zip(salty, warm, strict=True)]
    slow, usual, fast = (u / c for u, c in zip(scale, share, strict=True))
    return low * min(1.0, fast), middle * math.sqrt(usual), high * max(1.0, slow)


def scene(name: str) -> Scene:
    dive = dive_file(name)
    board, cell = board_file(dive["board"]), Cell(cell_file(dive["pack"]["cell"]))
    fall, e = fall_of(dive), clock_error(dive, board)
    deck = triple(dive["start"].get("deck_time", "0 s"))
    down = tuple(way.seconds for way in fall.down)
    up = tuple(way.seconds for way in fall.up)
    splash = happening(deck, e)
    bottom = happening((deck[0] + down[0], deck[1] + down[1], deck[2] + down[2]), e)
    primary = dive["release"]["primary"]
    at = ceil(bottom.clock[2] + triple(primary["at"].split("+")[1])[1])
    fire, pause, tries = triple(primary["fire"])[1], triple(primary["pause"])[1], int(primary["tries"])
    last_end = at + tries * fire + (tries - 1) * pause
    series = int(dive["pack"]["series"])
    usual = triple(cell.data["nominal"])[1] * series
    full = triple(cell.data["full"])[1] * series
    needed = parting(dive, (triple(cell.data["cut_off"])[1] * series, usual, full))
    cut = (
        min(needed[0], last_end - at),
        min(needed[1], last_end - at),
        last_end - at,
    )  # within the first try, no pause
    assert needed[1] <= fire
    release = Event((at, at, at), (at / (1 + e), at, at / (1 - e)))
    surface = Event(
        (at + (cut[0] + up[0]) * (1 - e), at + cut[1] + up[1], last_end + up[2] * (1 + e)),
        (release.true[0] + cut[0] + up[0], at + cut[1] + up[1], last_end / (1 - e) + up[2]),
    )
    end = ceil(surface.clock[2] + triple(dive["recovery"]["wait"])[2] * (1 + e))
    events = {
        "start": happening((0.0, 0.0, 0.0), e), "splash": splash, "bottom": bottom, "release": release,
        "surface": surface, "end": Event((end, end, end), (end / (1 + e), end, end / (1 - e))),
    }  # fmt: skip
    fired = [(at + k * (fire + pause), at + k * (fire + pause) + fire) for k in range(tries)]
    again = last_end + RETRY_S
    while again < end:
        fired.append((again, min(again + fire, end)))
        again += RETRY_S
    windows = SCHEDULES[name]({key: event.whole for key, event in events.items()}, at)
    return Scene(name, dive, board, cell, fall, e, events, at, tuple(fired), last_end, cut, windows)


def bursts(start: int, until: int, every: int, length: int) -> Windows:
    """Whole bursts that end by `until`."""
    count = (until - start - length) // every + 1
    return tuple((start + k * every, start + k * every + length) for k in range(count))


def covering(windows: Windows, lead: int, trail: int, only: tuple[int, int] = (0, 10**9)) -> Windows:
    """`with`: each window widened, those that meet joined, then cut to `only`."""
    joined: list[list[float]] = []
    for start, stop in sorted((max(0.0, a - lead), b + trail) for a, b in windows):
        if joined and start <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], stop)
        else:
            joined.append([start, stop])
    cut = ((max(a, only[0]), min(b, only[1])) for a, b in joined)
    return tuple((a, b) for a, b in cut if a < b)


def shelf(ev: dict[str, tuple[int, int, int]], at: int) -> dict[str, Windows]:
    """Lines 1 to 5 of shelf-sea-day.yaml."""
    first = (0 + 120, ev["bottom"][2] + 20 * 60)  # splash + 2 min .. bottom + 20 min
    camera = (first, *bursts(ev["bottom"][0] + 3600, at - 600, 1200, 300))
    return {
        "camera": camera,
        "lights": covering(camera, 2, 0, (ev["bottom"][2], ev["surface"][0])),
        "fan": covering(camera, 0, 180),
        "beacon": ((at, INF),),
    }


def deep(ev: dict[str, tuple[int, int, int]], at: int) -> dict[str, Windows]:
    """Lines 1 to 6 of deep-night.yaml."""
    first = (ev["bottom"][0], ev["bottom"][2] + 30 * 60)
    camera = (first, *bursts(ev["bottom"][0] + 3600, at - 900, 2700, 600))
    return {
        "camera": camera,
        "lights": covering(camera, 3, 0, (ev["splash"][2], ev["surface"][0])),
        "fan": covering(camera, 0, 300),
        "beacon": ((at, INF),),
        "locator": ((at, INF),),
    }


def lake(ev: dict[str, tuple[int, int, int]], at: int) -> dict[str, Windows]:
    """Lines 1 to 5 of lake.yaml."""
    first = (ev["splash"][0], ev["bottom"][2] + 40 * 60)
    camera = (first, *bursts(ev["bottom"][0] + 7200, at - 600, 1800, 600))
    return {
        "camera": camera,
        "lights": covering(camera, 1, 0, (ev["splash"][2], ev["surface"][0])),
        "beacon": ((at, INF),),
        "locator": ((at, INF),),
    }


SCHEDULES: dict[str, Callable[[dict[str, tuple[int, int, int]], int], dict[str, Windows]]] = {
    "shelf-sea-day": shelf,
    "deep-night": deep,
    "lake": lake,
}
LIT = {"shelf-sea-day": 16 / 192, "deep-night": 8 / 128, "lake": 32 / 256}
"""Share of the time that the beacon is lit, in steps of 1/64 s: 250 ms of 3 s, 125 ms of 2 s, 500 ms of 4 s."""
LEVEL = {
    "shelf-sea-day": {"lights": 0.60, "fan": 0.50},
    "deep-night": {"lights": 16 / 30, "fan": 0.60},  # power_at: 16 W at 50 %, whose tolerance is also 5 %
    "lake": {"lights": 0.75},
}


def worst(value: Triple, side: str, index: int) -> float:
    """The nominal value, or in a worst corner the bound `index`."""
    return value[1] if side == "nominal" else value[index]


def draws(at: Scene, side: str, stuck: str = "") -> list[Draw]:
    """Every consumer of a dive in a corner: nominal, energy or heat."""
    dive, board = at.dive, at.board
    scale = true_scale(at, side)
    found = []
    for name, load in dive["loads"].items():
        watts = worst(triple(load["power"]), side, 2)
        share, efficiency = LEVEL[at.name].get(name, 1.0), 1.0
        rail = board["rails"][board["outputs"][load["wired_to"]]["rail"]]
        if rail["kind"] != "direct":
            efficiency = worst(triple(rail["efficiency"]), side, 0)
        surge = None
        if "surge" in load:
            surge = (
                worst(triple(load["surge"]["power"]), side, 2) / efficiency,
                triple(load["surge"]["for"])[1] / scale,
            )
        windows, lit = at.windows[name], LIT[at.name] if name == "beacon" else 1.0
        if name == stuck:
            windows, share, lit, surge = ((0.0, INF),), 1.0, 1.0, None
        heats = "camera" if name == "camera" else "air" if name == "fan" else "outside"
        found.append(Draw(name, "power", watts * share / efficiency, windows, lit, surge, heats, efficiency))
    primary = dive["release"]["primary"]
    power = worst(triple(primary["power"]), side, 2)
    if primary["kind"] == "motor":
        found.append(Draw("release primary", "power", power, at.tries, heats="outside"))
    else:  # a wire is a resistor straight on the pack
        ohm = triple(primary["measured_at"])[1] ** 2 / power
        found.append(Draw("release primary", "conductance", 1 / ohm, at.tries, heats="outside"))
    return found + board_draws(at, side)


def board_draws(at: Scene, side: str) -> list[Draw]:
    """Controller awake 2 % of the time and always while a flash or the release runs, rails, divider."""
    board, name = at.board, "controller and rails"
    asleep, awake = (worst(triple(board["supply"][key]), side, 2) for key in ("asleep", "awake"))
    idle = sum(worst(triple(rail["idle"]), side, 2) for rail in board["rails"].values() if "idle" in rail)
    sense = triple(board["pack_sense"]["top"])[1] + triple(board["pack_sense"]["bottom"])[1]
    usual = 0.02 * awake + 0.98 * asleep
    return [
        Draw(name, "current", usual + idle, ((0.0, INF),)),
        Draw(name, "current", awake - usual, ((float(at.at), INF),)),  # from the release on the beacon flashes
        Draw(name, "conductance", 1 / sense, ((0.0, INF),)),
    ]


def true_scale(at: Scene, side: str) -> float:
    """True seconds for each elapsed one: a slow clock is the worst."""
    return 1.0 if side == "nominal" else 1 / (1 - at.error)


def setting(at: Scene, side: str, parallel: int | None = None) -> Setting:
    """The rest of a run in a corner."""
    dive, pack, scale = at.dive, at.dive["pack"], true_scale(at, side)
    pick = 1 if side == "nominal" else 2
    splash, bottom = at.events["splash"].true[pick] / scale, at.events["bottom"].true[pick] / scale
    up = at.fall.up[pick].seconds
    cut = at.cut[1] if side == "nominal" else at.events["surface"].true[2] - at.events["release"].true[2] - up
    charge = triple(pack["charge"])
    if "charged" in pack:
        months = months_on_the_shelf(dive)
        loss = triple(at.cell.data["self_discharge"])
        charge = tuple(c * (1 - k) ** months for c, k in zip(charge, reversed(loss), strict=True))  # type: ignore[assignment]
    health = worst(triple(pack["health"]), side, 0)
    water = {"nominal": 1, "energy": 0, "heat": 2}[side]
    air, sun = dive["site"]["air"], dive["site"]["air"].get("sun") == "yes"
    rows = [(triple(row["depth"])[1], triple(row["temperature"])[water]) for row in dive["site"]["water"]]
    coldest = min(dive["site"]["water"], key=lambda row: triple(row["temperature"])[1])
    depth = triple(dive["site"]["depth"])
    return Setting(
        cell=at.cell, series=int(pack["series"]), parallel=parallel or int(pack["parallel"]),
        capacity_ah=triple(at.cell.data["capacity"])[1] * health, charge=worst(charge, side, 0),
        reserve=triple(pack["reserve"])[2], pessimism=1.0 if side == "energy" else 0.0,
        resistance=(1.0 if side == "nominal" else 1.15) * (1 + 2.5 * (1 - health)),
        cut_v=max(triple(at.cell.data["cut_off"])[1], triple(pack["protection"]["low_cut"])[2]),
        scale=scale, splash=splash, bottom=bottom, release=float(at.at), surface=at.at + (cut + up) / scale,
        end=at.events["end"].clock[1], depth={"nominal": depth[1], "energy": depth[2], "heat": depth[0]}[side],
        rows=rows, air_c=triple(air["temperature"])[water],
        sun_w_m2={"nominal": 800.0, "energy": 0.0, "heat": 1100.0}[side] if sun else 0.0,
        housing=dive["vehicle"]["housing"],
        coldest_row=(triple(coldest["temperature"])[1], float(coldest["salinity"])),
        cameras=int(dive["loads"]["camera"].get("count", 1)),
        tries_end=at.tries_end, fan_level=at.windows.get("fan", ()), fan_share=LEVEL[at.name].get("fan", 0.0),
    )  # fmt: skip


def months_on_the_shelf(dive: Any) -> float:
    """From `charged` to the planned start, in months of 30.4375 days."""
    from datetime import datetime

    planned = datetime.fromisoformat(dive["start"]["planned"].split(" ±")[0])
    return (planned - datetime.fromisoformat(dive["pack"]["charged"])).total_seconds() / (30.4375 * 86400)


def worked(at: Scene, side: str, stuck: str = "", parallel: int | None = None, lasting_h: float = 0.0) -> Outcome:
    """A run of a dive in a corner, perhaps with one load stuck on or another count of strings."""
    chosen = setting(at, side, parallel)
    if stuck == "fan":
        chosen = replace(chosen, fan_level=((0.0, INF),), fan_share=1.0)
    return run(chosen, draws(at, side, stuck), lasting_h)

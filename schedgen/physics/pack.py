"""A pack of cells in series and parallel: voltage under load, converters, protection, a lost string, a rested pack.

Every function takes plain floats or numpy arrays (one element a run) and does the same arithmetic. Positive
current is discharge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from schedgen.errors import OutOfRange
from schedgen.physics.cell import CellTables, N, charge_after, charge_felt, decay, relaxed

SHORTEST_REST_S = 1800.0
"""A pack rested for less says too little about its charge [s]. Common practice, from memory."""
FUSE_CONTINUOUS = 0.75
"""Share of its rating that a fuse carries for hours at 25 degC [1]. Common practice, from memory."""

HYSTERESIS_V = {"nmc": 0.005, "lfp": 0.010}
"""Volts by which a cell's rested voltage depends on whether it was charged or discharged last, either way [V].
From memory."""


def terminal_voltage(
    emf_v: N, resistance_ohm: N | float, power_w: N | float, current_a: N | float = 0.0, conductance_s: N | float = 0.0
) -> tuple[N, N]:
    """Voltage of a source behind a resistance that feeds a constant power, a constant current and a resistor at once.

    V = (E' + sqrt(E'^2 - 4 R' P)) / 2 [V] with E' = (E - R I) / (1 + R G), R' = R / (1 + R G); `emf_v` E [V],
    `resistance_ohm` R > 0, `power_w` P >= 0, `current_a` I >= 0, `conductance_s` G >= 0 [S].

    Returns (voltage, headroom). Headroom is E'^2 - 4 R' P [V2]; when it is negative, or the voltage not above 0,
    the source cannot feed that power at all, and the voltage given is the one at the greatest power it can give,
    E'/2: the caller must look. Source: Kirchhoff's laws; the upper of the two solutions is the stable one.

    >>> volts, headroom = terminal_voltage(12.0, 0.1, 23.8)
    >>> round(volts, 6), headroom > 0
    (11.798276, True)
    >>> terminal_voltage(3.0, 1.0, 5.0)
    (1.5, -11.0)
    """
    share = 1.0 / (1.0 + resistance_ohm * conductance_s)
    open_v = (emf_v - resistance_ohm * current_a) * share
    headroom: N = open_v * open_v - 4.0 * resistance_ohm * share * power_w
    voltage: N = 0.5 * (open_v + (headroom * (headroom > 0.0)) ** 0.5)
    return voltage, headroom


def current_for_power(emf_v: N, resistance_ohm: N | float, power_w: N | float) -> tuple[N, N]:
    """Current of a constant power behind a resistance: I = (E - sqrt(E^2 - 4 R P)) / (2 R) [A].

    Returns (current, headroom) with headroom E^2 - 4 R P [V2]: negative when there is no solution, and then the
    current is the one at the greatest power, E / (2 R). Source: as `terminal_voltage`.

    >>> current, headroom = current_for_power(12.0, 0.1, 23.8)
    >>> round(current * (12.0 - 0.1 * current), 9)
    23.8
    """
    voltage, headroom = terminal_voltage(emf_v, resistance_ohm, power_w)
    current: N = (emf_v - voltage) / resistance_ohm
    return current, headroom


def greatest_power(emf_v: N, resistance_ohm: N | float) -> N:
    """Greatest power that a source behind a resistance can give: E^2 / (4 R) [W]. Source: matched load.

    >>> greatest_power(12.0, 0.5)
    72.0
    """
    power: N = emf_v * emf_v / (4.0 * resistance_ohm)
    return power


def pack_resistance(cell_ohm: N, series: int, parallel: N | float) -> N:
    """Resistance of a pack of equal cells: R S / P [ohm]. Source: series and parallel of resistors.

    >>> round(pack_resistance(0.030, 2, 6), 6)
    0.01
    """
    resistance: N = cell_ohm * series / parallel
    return resistance


@dataclass(frozen=True, slots=True)
class Label:
    """What is printed on a pack: capacity [Ah], nominal voltage [V], energy [Wh] and number of cells."""

    capacity_ah: float
    voltage_v: float
    energy_wh: float
    cells: int


def label(series: int, parallel: int, cell_ah: float, cell_v: float) -> Label:
    """Label values of a pack of equal cells. Source: definition.

    >>> label(2, 6, 3.0, 3.6)
    Label(capacity_ah=18.0, voltage_v=7.2, energy_wh=129.6, cells=12)
    """
    _positive("series", series)
    _positive("parallel", parallel)
    capacity, voltage = parallel * cell_ah, series * cell_v
    return Label(capacity, voltage, capacity * voltage, series * parallel)


def strings_left(parallel: int, lost: int = 1) -> int:
    """Parallel strings after `lost` of them went open [1]. Source: definition. Raises `OutOfRange` when none is left.

    >>> strings_left(5)
    4
    """
    if parallel - lost < 1:
        raise OutOfRange(f"a pack of {parallel} in parallel has nothing left when {lost} is lost; at least 1 must be")
    return parallel - lost


def largest_current_share(parallel: int, spread: float) -> float:
    """Largest share of the pack's current that one cell can carry [share].

    One cell has R (1 - s), the others R (1 + s): (1/(1-s)) / (1/(1-s) + (P-1)/(1+s)). `spread` s is 0 to 0.5.
    Source: current divides inversely to resistance. Raises `OutOfRange`.

    >>> largest_current_share(2, 0.0)
    0.5
    >>> round(largest_current_share(5, 0.15), 4)
    0.2527
    """
    if not 0.0 <= spread <= 0.5:
        raise OutOfRange(f"resistance spread {spread:g} is outside 0 to 0.5")
    _positive("parallel", parallel)
    strong, weak = 1.0 / (1.0 - spread), 1.0 / (1.0 + spread)
    return strong / (strong + (parallel - 1) * weak)


def converter_input_power(load_w: N, efficiency: N | float, idle_a: N | float = 0.0, pack_v: N | float = 0.0) -> N:
    """Power that a switching converter takes from the pack: P / eta + I_idle V [W].

    `load_w` >= 0; `efficiency` eta 0 to 1 (at load); `idle_a` [A] is what the converter draws from the pack all the
    time, at `pack_v`. Source: definition of efficiency.

    >>> round(converter_input_power(9.0, 0.9, 0.001, 12.0), 6)
    10.012
    """
    power: N = load_w / efficiency + idle_a * pack_v
    return power


def linear_input_current(load_w: N, rail_v: N | float, idle_a: N | float = 0.0) -> N:
    """Current that a linear regulator takes from the pack, whatever the pack's voltage: P / V_rail + I_idle [A].

    Source: Kirchhoff's current law.

    >>> round(linear_input_current(0.33, 3.3, 0.000005), 6)
    0.100005
    """
    current: N = load_w / rail_v + idle_a
    return current


def rail_headroom(pack_v: N, rail_v: N | float, dropout_v: N | float) -> N:
    """Volts that a step-down or linear rail has to spare: V_pack - V_rail - dropout [V]; negative: it sags.

    Source: definition of dropout.

    >>> rail_headroom(6.0, 5.0, 0.5)
    0.5
    """
    headroom: N = pack_v - rail_v - dropout_v
    return headroom


def trip_use(current_a: N, trip_a: N | float) -> N:
    """Share of the protection's trip current that is used [share]: I / I_trip; above 1 it trips. Source: definition.

    >>> trip_use(15.0, 20.0)
    0.75
    """
    use: N = current_a / trip_a
    return use


def fuse_use(current_a: N, rating_a: N | float) -> N:
    """Share of what a fuse carries for hours that is used [share]: I / (0.75 I_rated) at 25 degC.

    Above 1 it may open in time. Source: common practice, from memory (75 % of the rating, continuous).

    >>> fuse_use(7.5, 10.0)
    1.0
    """
    use: N = current_a / (FUSE_CONTINUOUS * rating_a)
    return use


def mean_power(steps: Sequence[tuple[float, float]]) -> float:
    """Time average of a duty: sum of P t over sum of t [W]; `steps` are (power [W], seconds). Source: definition.

    >>> mean_power([(3.0, 3000.0), (12.0, 600.0)])
    4.5
    """
    total = sum(seconds for _, seconds in steps)
    if total <= 0.0:
        raise OutOfRange(f"a duty lasts longer than 0 s; this one lasts {total:g} s")
    return sum(power * seconds for power, seconds in steps) / total


def affordable_power(capacity_ah: float, voltage_v: float, hours: float) -> float:
    """Constant power that empties a pack in a time: C V / t [W]. Source: definition.

    >>> round(affordable_power(17.0, 8.0, 12.0), 1)
    11.3
    """
    if hours <= 0.0:
        raise OutOfRange(f"hours must be above 0, not {hours:g}")
    return capacity_ah * voltage_v / hours


def parallel_for_capacity(needed_ah: float, cell_ah: float) -> int:
    """Least number of cells in parallel that hold `needed_ah` [Ah]: ceil(C / C_cell). Source: definition.

    >>> parallel_for_capacity(17.0, 3.0)
    6
    """
    if needed_ah <= 0.0 or cell_ah <= 0.0:
        raise OutOfRange(f"capacities must be above 0 Ah, not {needed_ah:g} and {cell_ah:g} Ah")
    return math.ceil(needed_ah / cell_ah - 1e-9)


@dataclass(frozen=True, slots=True)
class PackModel:
    """Equal cells as one source. Values may be floats or arrays of runs (except `tables` and `series`).

    `capacity_ah` is one cell's label capacity times health [Ah]; `parallel` the strings that work;
    `resistance_factor` multiplies both resistances (age, spread).
    """

    tables: CellTables
    series: int
    parallel: float
    capacity_ah: float
    resistance_factor: float = 1.0

    def at(self, charge: N, temperature_c: N | float, cold_share: N | float = 1.0) -> tuple[N, N, N]:
        """Open-circuit voltage [V], series and relaxation resistance [ohm] of the pack at a charge [share].

        `cold_share`: see `charge_felt`. Raises `OutOfRange` when the charge felt is outside 0 to 1.
        """
        open_v, series_ohm, relax_ohm = self.tables.at(charge_felt(charge, cold_share), temperature_c)
        scale = self.resistance_factor * self.series / self.parallel
        return open_v * self.series, series_ohm * scale, relax_ohm * scale

    @property
    def pack_capacity_ah(self) -> float:
        """Capacity of the pack [Ah]."""
        return self.capacity_ah * self.parallel


@dataclass(frozen=True, slots=True)
class Step:
    """A stretch of constant power [W] or of constant current [A]; one of the two is None."""

    seconds: float
    power_w: float | None = None
    current_a: float | None = None


@dataclass(frozen=True, slots=True)
class Discharge:
    """What `discharge` returns: equally long lists, and the energy delivered [Wh]."""

    time_s: list[float]
    charge: list[float]
    voltage_v: list[float]
    current_a: list[float]
    energy_wh: float


def discharge(
    pack: PackModel,
    steps: Sequence[Step],
    temperature_c: float,
    charge: float = 1.0,
    cut_off_v: float = 0.0,
    step_s: float = 10.0,
) -> Discharge:
    """Discharge of a pack at one temperature, in short steps; ends early at `cut_off_v` (of the pack) or when empty.

    A plain reference integrator: current constant within a step (a constant power is solved at its middle), the
    relaxation branch exact. Returns lists with one point at the end of each step, and one just after each change
    of load. Source: the equations above. Raises `OutOfRange` for a charge or temperature outside the tables.

    >>> from schedgen.physics.cell import Curves
    >>> flat = Curves([0, 1], [3, 4], [0, 1], [25], [[0.1, 0.1]], [[0.05, 0.05]], 60.0, [25], [1], [1])
    >>> run = discharge(PackModel(CellTables(flat), 1, 1, 1.0), [Step(1800.0, current_a=1.0)], 25.0)
    >>> round(run.charge[-1], 6), round(run.voltage_v[-1], 4)
    (0.5, 3.35)
    """
    tau = pack.tables.time_constant_s
    now, relax_v, energy = 0.0, 0.0, 0.0
    run = Discharge([], [], [], [], 0.0)

    def note(voltage: float, current: float) -> None:
        for values, value in zip(
            (run.time_s, run.charge, run.voltage_v, run.current_a), (now, charge, voltage, current), strict=True
        ):
            values.append(value)

    def load(step: Step, at_charge: float, at_relax_v: float) -> tuple[float, float]:
        open_v, ohm, _ = pack.at(at_charge, temperature_c)
        if step.power_w is None:
            current = step.current_a or 0.0
            return open_v - at_relax_v - current * ohm, current
        current, headroom = current_for_power(open_v - at_relax_v, ohm, step.power_w)
        voltage = open_v - at_relax_v - current * ohm
        return (voltage, current) if headroom >= 0.0 else (0.0, current)

    for step in steps:
        note(*load(step, charge, relax_v))
        left_s = step.seconds
        while left_s > 1e-9:
            part = min(step_s, left_s)
            _, current = load(step, charge, relax_v)
            half = charge_after(charge, current, part / 2, pack.pack_capacity_ah)
            if half <= 0.0:
                return Discharge(run.time_s, run.charge, run.voltage_v, run.current_a, energy)
            _, _, relax_ohm = pack.at(half, temperature_c)
            half_v = relaxed(relax_v, current, relax_ohm, decay(part / 2, tau))
            voltage, current = load(step, half, half_v)
            after = charge_after(charge, current, part, pack.pack_capacity_ah)
            if after < 0.0 or voltage < cut_off_v:
                return Discharge(run.time_s, run.charge, run.voltage_v, run.current_a, energy)
            relax_v = relaxed(relax_v, current, relax_ohm, decay(part, tau))
            charge, now, left_s = after, now + part, left_s - part
            energy += voltage * current * part / 3600.0
            note(*load(step, charge, relax_v))
    return Discharge(run.time_s, run.charge, run.voltage_v, run.current_a, energy)


def rest_uncertainty(tables: CellTables, rested_s: float, capacity_ah: float, hysteresis_v: float) -> float:
    """Volts by which a rested cell's voltage may differ from its open-circuit voltage, either way [V].

    hysteresis + what is left of the relaxation after C/2: I R1 exp(-t / 30 min), R1 at half charge and 25 degC;
    the slow diffusion tail is longer than the table's branch, so 30 min stands for it. Source: both rules from
    memory. Raises `OutOfRange` when rested for less than 30 min.

    >>> from schedgen.physics.cell import Curves
    >>> line = CellTables(Curves([0, 1], [3, 4], [0, 1], [25], [[0.1, 0.1]], [[0.02, 0.02]], 60.0, [25], [1], [1]))
    >>> round(rest_uncertainty(line, 3600.0, 5.0, 0.005), 5)
    0.01177
    """
    if rested_s < SHORTEST_REST_S:
        raise OutOfRange(
            f"a pack rested for {rested_s / 60:.0f} min says too little about its charge; at least 30 min are needed"
        )
    return hysteresis_v + 0.5 * capacity_ah * tables.relaxation_resistance(0.5, 25.0) * decay(rested_s, 1800.0)


def charge_from_rest(
    tables: CellTables,
    rest_v: tuple[float, float, float],
    series: int,
    rested_s: float,
    capacity_ah: float,
    hysteresis_v: float = 0.005,
) -> tuple[float, float, float]:
    """Charge of a pack from its rested voltage: (low, nominal, high) [share].

    `rest_v` is (low, nominal, high) of the pack [V]; `rested_s` [s], at least 30 min; `capacity_ah` of one cell;
    `hysteresis_v` a cell, about 0.005 for nmc and 0.010 for lfp (from memory). The open-circuit table stands for
    every temperature (its change is under 0.3 mV/K, from memory). A bound that passes the table's end is that end,
    since no cell holds more than full or less than empty; the nominal must lie inside.
    Raises `OutOfRange`. Source: inverse of the open-circuit table.

    >>> from schedgen.physics.cell import Curves
    >>> line = CellTables(Curves([0, 1], [3, 4], [0, 1], [25], [[0.1, 0.1]], [[0.02, 0.02]], 60.0, [25], [1], [1]))
    >>> [round(share, 3) for share in charge_from_rest(line, (10.47, 10.5, 10.53), 3, 7200.0, 5.0)]
    [0.484, 0.5, 0.516]
    """
    _positive("series", series)
    spread = rest_uncertainty(tables, rested_s, capacity_ah, hysteresis_v)
    low, nominal, high = (volts / series for volts in rest_v)
    empty_v, full_v = tables.open_circuit(0.0), tables.open_circuit(1.0)
    if low - spread > full_v or high + spread < empty_v or not empty_v - spread <= nominal <= full_v + spread:
        raise OutOfRange(
            f"a rested pack of {rest_v[1]:g} V is {nominal:.3f} V a cell over {series} in series; "
            f"this cell's table goes from {empty_v:.3f} to {full_v:.3f} V"
        )

    def inside(volts: float) -> float:
        return tables.charge_at(min(max(volts, empty_v), full_v))

    return inside(low - spread), inside(nominal), inside(high + spread)


def _positive(name: str, value: float) -> None:
    if value < 1:
        raise OutOfRange(f"{name} must be at least 1, not {value:g}")

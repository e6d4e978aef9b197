"""What a simulation gives back: cases, each with an account and a trace. Plain values, nothing computed here.

Times are seconds of the controller's elapsed clock (`*_s`), energies Wh, voltages V at the pack's terminals (or at a
power bank's output) unless the name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CONTROLLER = "controller and rails"
"""Key of `by_load_wh` for the controller, the rails' idle draw and the battery divider."""
PRIMARY = "release primary"
BACKUP = "release backup"
IN_CELLS = "lost in the pack"
"""Key of `by_load_wh` for what the cells' own resistance (and a power bank's converter) takes."""


@dataclass(frozen=True, slots=True)
class LoadHeat:
    """Highest temperature of a load, degC, and when, elapsed s."""

    highest_c: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Account:
    """What a case comes to. Energies in Wh at the cells' open-circuit voltage, losses included.

    `usable_wh` is what may be spent before the reserve at the dive's lowest cell temperature, `needed_wh` what the
    dive takes from start until its `end`, `margin_wh` = usable - needed; `reserve_wh` is the reserve itself and
    `cold_loss_wh` what the cold keeps back. `by_load_wh` adds up to `needed_wh` while the pack holds.
    """

    usable_wh: float
    needed_wh: float
    reserve_wh: float
    margin_wh: float
    cold_loss_wh: float
    lowest_voltage_v: float
    """Lowest voltage from start to `end`, surges and flashes at their peak, release firing included."""
    lowest_voltage_at_s: float
    lowest_release_voltage_v: float | None
    """Lowest voltage at the release outputs while one of them fires (behind its rail); None: nothing fires."""
    lowest_release_voltage_at_s: float | None
    lowest_firing_voltage: Mapping[str, float]
    """The same for each actuator: keys `PRIMARY`, `BACKUP`."""
    lowest_output_v: Mapping[str, float]
    """Lowest pack voltage while each output is on, by output name (for dropout and rail limits)."""
    shed_at_s: float | None
    """First second at which the voltage of a cell, as the board reads it with cameras and lights off and no release
    firing, has been below `shed` for 3 min."""
    release_below_at_s: float | None
    empty_at_s: float | None
    """When the pack stopped feeding (cut-off or low cut reached, or nothing left), also after `end`; None: never,
    because nothing draws on it any more."""
    endurance_after_surface_h: float
    """True hours from this case's surfacing until the pack is empty; 0 when it is empty before."""
    by_load_wh: Mapping[str, float]
    by_phase_wh: Mapping[str, float]
    average_w: Mapping[str, float]
    """Mean power by phase, W."""
    peak_current_a: float
    peak_current_at_s: float
    peak_cell_current_a: float
    peak_cell_current_c: float
    """Cell temperature at the moment of the peak."""
    peak_output_a: Mapping[str, float]
    """Largest current of each output at its own rail, surge included, A."""
    peak_rail_a: Mapping[str, float]
    """Largest current of each rail, all its outputs together, A."""
    longest_low_current_s: float
    """Longest unbroken time below the power bank's keep-alive current before `end`; 0 without a power bank."""
    longest_low_current_at_s: float | None
    cell_temperature_c: tuple[float, float]
    """Lowest and highest of the cells from start to `end`."""
    heat: Mapping[str, LoadHeat] = field(default_factory=dict)
    """Per load, where a temperature is computed."""
    end_charge: float = 0.0
    """Charge left at `end`, as a share of label x health."""
    end_s: float = 0.0
    """The `end` of this case, elapsed s."""
    surface_s: float = 0.0
    """Surfacing in this case, elapsed s."""


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """The course of one case: arrays of one length over `time_s`, elapsed s.

    Row i holds from time_s[i] until time_s[i + 1]: voltage, current and powers are those just after time_s[i] (mean of
    a flash pattern), charge and temperatures those at time_s[i]. `phase` holds the phase names. `charge` is a share of
    label x health, temperatures degC, pressure dbar, `load_w` watts at the pack per load.
    """

    time_s: Floats
    phase: tuple[str, ...]
    voltage_v: Floats
    current_a: Floats
    power_w: Floats
    charge: Floats
    pack_c: Floats
    housing_c: Floats
    pressure_dbar: Floats
    load_w: Mapping[str, Floats]
    load_c: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Case:
    """One case: its name, the value of every uncertain input, what came out."""

    name: str
    corner: Mapping[str, float]
    account: Account
    trace: Trace


@dataclass(frozen=True, slots=True)
class Results:
    """All cases. `worst` takes each figure from the worst of the worst corners; `worst_case` says which one gave
    the energy margin."""

    cases: Mapping[str, Case]
    worst: Account
    worst_case: str
    assumptions: tuple[str, ...] = ()
    not_checked: tuple[str, ...] = ()

    @property
    def nominal(self) -> Account:
        """The nominal account."""
        return self.cases["nominal"].account

    def _repr_html_(self) -> str:
        """What a notebook shows."""
        from schedgen.report.notebook import results_html

        return results_html(self)

    @property
    def heat(self) -> Mapping[str, LoadHeat]:
        """Highest temperature of each load in the worst case."""
        return self.worst.heat

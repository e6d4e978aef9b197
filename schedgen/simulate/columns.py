"""The course of a case as arrays with named units, for those who go on from there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from schedgen.simulate.results import Floats, Trace


class Column(NamedTuple):
    """Values (rows,) of one thing over the course, and their unit (SI symbols, `share` for a fraction of 1)."""

    values: Floats
    unit: str

    def __str__(self) -> str:
        """Least, greatest and unit: `10.9 .. 12.4 V`."""
        if not len(self.values):
            return f"no values [{self.unit}]"
        return f"{np.min(self.values):.4g} .. {np.max(self.values):.4g} {self.unit}"


def columns(trace: Trace) -> Mapping[str, Column]:
    """Name to column, all of one length: row i holds from time i until time i + 1, as `Trace` says.

    `time` is elapsed s on the controller's clock; `power of NAME` watts at the pack, `temperature of NAME` degC.
    """
    out = {
        "time": Column(trace.time_s, "s"),
        "voltage": Column(trace.voltage_v, "V"),
        "current": Column(trace.current_a, "A"),
        "power": Column(trace.power_w, "W"),
        "charge": Column(trace.charge, "share"),
        "temperature of the pack": Column(trace.pack_c, "degC"),
        "temperature of the housing": Column(trace.housing_c, "degC"),
        "pressure": Column(trace.pressure_dbar, "dbar"),
    }
    out |= {f"power of {name}": Column(values, "W") for name, values in trace.load_w.items()}
    out |= {f"temperature of {name}": Column(values, "degC") for name, values in trace.load_c.items()}
    return out

"""The course of a case as rows of a CSV file: one at every change and at least one a minute."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from schedgen.simulate.results import Trace

COLUMNS = (
    "elapsed_s",
    "phase",
    "voltage_v",
    "current_a",
    "power_w",
    "charge_pct",
    "pack_c",
    "housing_c",
    "pressure_dbar",
)
"""Columns before those of the loads; the file's form is fixed."""
MINUTE_S = 60.0


def header(trace: Trace) -> tuple[str, ...]:
    """Names of all columns: `COLUMNS`, then one of watts for each load."""
    return (*COLUMNS, *trace.load_w)


def csv_rows(trace: Trace) -> Iterator[tuple[float | str, ...]]:
    """Rows in the order of `header`. Between two changes voltage, current and powers hold; charge, temperatures and
    pressure go on evenly."""
    marks = np.arange(np.ceil(trace.time_s[0] / MINUTE_S) * MINUTE_S, trace.time_s[-1], MINUTE_S)
    times = np.unique(np.concatenate((trace.time_s, marks)))
    at = np.clip(np.searchsorted(trace.time_s, times, side="right") - 1, 0, len(trace.time_s) - 1)
    held = [trace.voltage_v[at], trace.current_a[at], trace.power_w[at]]
    even = [
        np.interp(times, trace.time_s, values)
        for values in (100.0 * trace.charge, trace.pack_c, trace.housing_c, trace.pressure_dbar)
    ]
    loads = [values[at] for values in trace.load_w.values()]
    for i, moment in enumerate(times):
        yield (
            float(moment),
            trace.phase[at[i]],
            *(float(column[i]) for column in held),
            *(float(column[i]) for column in even),
            *(float(column[i]) for column in loads),
        )


def csv_text(trace: Trace) -> str:
    """The whole file, with a header line. Times to 1 ms, volts to 0.1 mV, everything else to four figures after the
    point; lines end in a newline."""
    lines = [",".join(_quoted(name) for name in header(trace))]
    for row in csv_rows(trace):
        moment, phase, *values = row
        lines.append(",".join((f"{moment:.3f}".rstrip("0").rstrip("."), str(phase), *(f"{v:.4f}" for v in values))))
    return "\n".join(lines) + "\n"


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"' if any(c in name for c in ',"\n') else name

"""Temperatures through the phases of the dive, from the coldest worst case to the warmest."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from schedgen.plan.model import PHASES

if TYPE_CHECKING:
    from schedgen.judge.subject import Subject
    from schedgen.simulate.results import Floats, Trace

CELLS = "cells"
HOUSING = "housing"
Ranges = Mapping[str, Mapping[str, tuple[float, float]]]
"""By phase, by node (`cells`, each camera, `housing`) lowest of the case for energy, highest of that for heat, degC."""


def temperatures(subject: Subject) -> Ranges:
    """Lowest and highest temperature [degC] of each node in each phase that has a length; empty where the file does
    not describe the housing, or without a simulation."""
    if subject.results is None or subject.dive.vehicle.housing is None:
        return {}
    cold, hot = (subject.run.cases[name].trace for name in ("energy", "heat"))
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for phase in PHASES:
        in_cold, in_hot = _within(cold, phase), _within(hot, phase)
        if in_cold.any() and in_hot.any():
            warm = _nodes(hot)
            found[phase] = {
                name: (float(values[in_cold].min()), float(warm[name][in_hot].max()))
                for name, values in _nodes(cold).items()
            }
    return found


def _nodes(trace: Trace) -> dict[str, Floats]:
    return {CELLS: trace.pack_c, **trace.load_c, HOUSING: trace.housing_c}


def _within(trace: Trace, phase: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """True for every moment of the trace at which a step of the phase begins or ends."""
    steps = np.array([name == phase for name in trace.phase[:-1]], dtype=bool)
    return np.concatenate((steps, [False])) | np.concatenate(([False], steps))

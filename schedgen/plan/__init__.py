"""Dive and board to Plan: events as intervals, and per output the exact windows and edges. Knows neither YAML nor C."""

from __future__ import annotations

from schedgen.plan.changes import apply_changes, combinations
from schedgen.plan.compile import compile_plan
from schedgen.plan.evaluate import level_at, outputs_at

__all__ = ["apply_changes", "combinations", "compile_plan", "level_at", "outputs_at"]

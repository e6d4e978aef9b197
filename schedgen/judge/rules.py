"""The register of rules: each is a function of a Subject that yields findings, and names what it decides."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

from schedgen.judge.names import FINDINGS
from schedgen.judge.subject import Outcome, Subject

Rule = Callable[[Subject], Iterator[Outcome]]


@dataclass(frozen=True, slots=True)
class Registered:
    """A rule with the names that it decides. `simulated`: it needs the results of a simulation."""

    names: tuple[str, ...]
    decide: Rule
    simulated: bool


_rules: list[Registered] = []


def decides(*names: str, simulated: bool = False) -> Callable[[Rule], Rule]:
    """Register the function below as the rule for these names of the table."""
    for name in names:
        if name not in FINDINGS:
            raise ValueError(f"{name} is not in the table of findings")

    def register(rule: Rule) -> Rule:
        _rules.append(Registered(names, rule, simulated))
        return rule

    return register


@cache
def all_rules() -> tuple[Registered, ...]:
    """All rules of the package, in the order of the table of findings."""
    from schedgen.judge import (  # noqa: F401  (each registers its rules)
        buoyancy,
        camera,
        clock,
        electrical,
        energy,
        heat,
        lights,
        notes,
        recovery,
        release,
        release_strength,
        volts,
        water,
        windows,
    )

    order = {name: index for index, name in enumerate(FINDINGS)}
    return tuple(sorted(_rules, key=lambda rule: order[rule.names[0]]))

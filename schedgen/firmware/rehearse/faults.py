"""Runs with faults: each kind has its turns, all from the seed: a number and a seed give the same run. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import repeat
from random import Random
from typing import Any

from schedgen.firmware.rehearse import fault_deck, fault_memory, fault_outside, fault_resets
from schedgen.firmware.rehearse.rig import Case, Rig

Kind = Callable[[Rig, Random], Iterator[Case]]
COUNTED: tuple[Kind, ...] = (
    fault_resets.edge_resets,
    fault_resets.pattern_resets,
    fault_memory.cut_commit,
    fault_memory.cut_arming,
    fault_memory.cut_entry,
)
"""Kinds that try a counted number of places one by one. All of them have had their turn after `ROUNDS` rounds."""
ENDLESS: tuple[Kind, ...] = (
    fault_resets.random_resets,
    fault_resets.bouncing_plug,
    fault_resets.storms,
    fault_memory.cut_journal,
    fault_memory.flipped_bits,
    fault_memory.both_slots_bad,
    fault_memory.journal_lost,
    fault_resets.crystal,
    fault_resets.clock_off,
    fault_outside.flat_pack,
    fault_outside.noisy_pack,
    fault_outside.open_sense,
    fault_outside.dry,
    fault_outside.dries_later,
    fault_outside.flooded_lead,
    fault_outside.noise,
    fault_outside.buttons,
    fault_outside.workshop,
    fault_outside.postponed,
    fault_deck.deck_buttons,
    fault_deck.stand_down,
    fault_deck.field_changes,
    fault_deck.deck_lead,
    fault_deck.talking_lead,
    fault_deck.deck_noise,
    fault_deck.deck_resets,
)
"""Kinds that draw place and time from the seed; one that does not fit the board or the dive has no cases at all."""
KINDS = (*COUNTED, *ENDLESS)
ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Failure:
    """A run that did not end well."""

    number: int
    kind: str
    about: str
    wrong: tuple[str, ...]
    replay: str
    """The command line that runs it again."""


@dataclass
class Faults:
    """All runs with faults."""

    tried: int = 0
    failures: list[Failure] = field(default_factory=list)
    by_kind: dict[str, int] = field(default_factory=dict)

    @property
    def survived(self) -> int:
        """Runs that ended well."""
        return self.tried - len(self.failures)

    def as_json(self) -> dict[str, Any]:
        """What `--json` prints of them."""
        return {
            "tried": self.tried,
            "survived": self.survived,
            "failures": [
                {"kind": one.kind, "about": one.about, "wrong": list(one.wrong), "replay": one.replay}
                for one in self.failures
            ],
            "by_kind": self.by_kind,
        }


def cases(rig: Rig, seed: int) -> Iterator[Case]:
    """Round after round without end: one case of each kind, then the counted kinds' other ones of the round."""
    counted = [list(kind(rig, Random(f"{seed} {kind.__name__}"))) for kind in COUNTED]
    running = [iter(found) for found in counted]
    running += [kind(rig, Random(f"{seed} {kind.__name__}")) for kind in ENDLESS]
    more = [-(-len(found) // ROUNDS) - 1 for found in counted]
    turns = [*running, *(one for each, times in zip(running, more, strict=False) for one in repeat(each, times))]
    while turns:
        for one in list(turns):
            found = next(one, None)
            if found is not None:
                yield found
            elif one in turns:
                turns = [other for other in turns if other is not one]

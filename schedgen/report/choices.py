"""What the two buttons may choose on deck, and why the other combinations are missing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from schedgen.judge.buttons import Choice


MOST_NAMED = 4
"""Combinations that are named before it says how many more there are; JSON has them all."""


def choice_texts(choices: Sequence[Choice]) -> list[str]:
    """How many combinations are offered, then why the others are missing, those with the same first reason together.

    Empty without field changes.
    """
    if not choices:
        return []
    offered = [choice for choice in choices if choice.allowed]
    if len(offered) == len(choices):
        return [f"all {len(choices)} combinations are offered: none brings a stop"]
    texts = [f"{len(offered)} of {len(choices)} combinations are offered"]
    texts[0] += f": {_names(offered)}" if offered else ""
    missing: dict[str, list[Choice]] = {}
    for choice in choices:
        if not choice.allowed:
            missing.setdefault(_kind(choice.reasons[0]), []).append(choice)
    for alike in missing.values():
        first = alike[0]
        such = f" (so for {first.words})" if len(alike) > 1 else ""
        texts.append(f"missing: {_names(alike)}. {first.reasons[0]}{such}{_others(first)}")
    return texts


def _names(choices: Sequence[Choice]) -> str:
    named = "; ".join(choice.words for choice in choices[:MOST_NAMED])
    more = len(choices) - MOST_NAMED
    return f"{named}; and {more} more" if more > 0 else named


def _kind(reason: str) -> str:
    """The finding's name, or the first words of a sentence about the release's times."""
    return reason.partition(":")[0] if ": " in reason else reason.partition(" would ")[0]


def _others(choice: Choice) -> str:
    names = [_kind(reason) for reason in choice.reasons[1:]]
    return f"; and {', '.join(dict.fromkeys(names))}" if names else ""


def choice_records(choices: Sequence[Choice]) -> list[dict[str, Any]]:
    """The same as plain values for JSON: `values` one for each field change, in the file's order."""
    return [
        {"values": list(choice.values), "words": choice.words, "allowed": choice.allowed, "why": list(choice.reasons)}
        for choice in choices
    ]

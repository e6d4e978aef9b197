"""Rules between a dive and its board, each a trouble with its place in the dive file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.dive.rules import Sections
from schedgen.files.trouble import Trouble, did_you_mean, listing

if TYPE_CHECKING:
    from schedgen.board.model import Board

Where = tuple[str | int, ...]


def board_troubles(sections: Sections, board: Board) -> list[Trouble]:
    """Outputs that the board lacks, outputs of the wrong kind, levels where there are none."""
    troubles: list[Trouble] = []
    for name, load in sections.loads.items():
        if load.wired_to is not None:
            troubles += _wired(board, load.wired_to, ("loads", name, "wired_to"), ("switched", "level"), name)
        if load.stop is not None and load.stop.output is not None:
            troubles += _wired(
                board, load.stop.output, ("loads", name, "stop"), ("switched",), f"the stop pulse of {name}"
            )
    if sections.release is not None:
        for key, actuator in (("primary", sections.release.primary), ("backup", sections.release.backup)):
            if actuator is not None and actuator.wired_to is not None:
                where: Where = ("release", key, "wired_to")
                troubles += _wired(board, actuator.wired_to, where, ("release",), f"the {key} release")
    return troubles + _levels(sections, board)


def _wired(board: Board, output: str, where: Where, kinds: tuple[str, ...], user: str) -> list[Trouble]:
    fitting = [name for name, one in board.outputs.items() if one.kind in kinds]
    expected = (
        f"an output of {board.board} for this: {listing(fitting)}" if fitting else f"a board with a {kinds[0]} output"
    )
    if output not in board.outputs:
        if where[-1] == "stop":
            expected += "; or after 15 min, or on power loss"
        guess = did_you_mean(output, board.outputs)
        return [
            Trouble(
                f"{board.board} has no output {output}. {guess}".strip(), expected, fitting[0] if fitting else "",
                "Write an output that the board has.", where,
            )
        ]  # fmt: skip
    kind = board.outputs[output].kind
    if kind in kinds:
        return []
    message = f"{output} is a {kind} output; it cannot serve {user}."
    return [Trouble(message, expected, fitting[0] if fitting else "", "Wire it to an output of the right kind.", where)]


def _levels(sections: Sections, board: Board) -> list[Trouble]:
    troubles = []
    uses: list[tuple[str, Where]] = [
        (line.load, ("schedule", index, "level"))
        for index, line in sections.schedule.items()
        if line.level is not None and line.load
    ]
    uses += [
        (change.level, ("field_changes", index, "level"))
        for index, change in sections.field_changes.items()
        if change.level is not None
    ]
    graded = [name for name, one in board.outputs.items() if one.kind == "level"]
    for name, where in uses:
        load = sections.loads.get(name)
        output = board.outputs.get(load.wired_to) if load else None
        if load is not None and output is not None and output.kind == "switched":
            troubles.append(
                Trouble(
                    f"{name} is wired to {load.wired_to}, which is only switched on and off: it has no level.",
                    f"no level, or an output with levels: {listing(graded)}", "",
                    f"Delete the level, or wire {name} to {graded[0] if graded else 'another board'}.", where, True,
                )
            )  # fmt: skip
    return troubles

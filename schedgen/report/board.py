"""What the deck commands print: an upload, what a board holds, armed and disarmed."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from schedgen.report.letters import large
from schedgen.report.tables import table
from schedgen.report.words import count

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.link.deck import Found, ReadbackResult, UploadResult
    from schedgen.link.identity import Identity
    from schedgen.load import LoadedDive
    from schedgen.measured.journal import Journal
    from schedgen.report.check import Subject
    from schedgen.settings import DecodedDive, Settings
    from schedgen.settings.compare import Difference

Paint = Callable[..., str]

ARM_CAUTION = "From now on keep clear of the release, and of the lights' beams, whenever the trigger may come."


def spaced(code: str) -> str:
    """A dive code in large letters: `7 K 3 Q F 2`."""
    return "  ".join(code)


def identity_lines(identity: Identity) -> list[str]:
    """Who the board is and how it is."""
    faults = ", ".join(identity.faults) or "none"
    state = f"pack {identity.pack_v:.2f} V; resets {identity.resets}; faults {faults}"
    return [
        f"Board    {identity.called}, {identity.part}, {identity.state}",
        f"Holds    dive {identity.code or 'none'}; {state}",
    ]


def identity_record(identity: Identity) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "board": identity.board,
        "name": identity.given_name or None,
        "part": identity.part,
        "state": identity.state,
        "armed": identity.armed,
        "code": identity.code,
        "elapsed_s": identity.elapsed_s,
        "pack_v": identity.pack_v,
        "resets": identity.resets,
        "faults": list(identity.faults),
    }


def found_lines(found: Found, subject: Subject, settings: Settings, paint: Paint) -> list[str]:
    """The board as it was found, what it holds now and what it will hold."""
    identity = found.identity
    lines = [*identity_lines(identity), *last_lines(found.last)]
    if identity.armed:
        lines.append(paint("Armed    the trigger starts the dive that it holds", "bold", "yellow"))
    return [*lines, *_now_lines(found, subject, settings), *_accepted_lines(subject)]


def last_lines(last: Journal | None) -> list[str]:
    """The last dive of a board in one line; nothing where it tells of none."""
    if last is None:
        return []
    from schedgen.settings.schedule import duration

    tries, resets = count(last.tries, "release try", "release tries"), count(last.resets, "reset")
    return [f"Last     dive {last.code}: {last.state}, {duration(last.elapsed_s)} after start; {tries}, {resets}"]


def _now_lines(found: Found, subject: Subject, settings: Settings) -> list[str]:
    """What the board holds and will hold: line by line where both are known."""
    from schedgen.settings import decode
    from schedgen.settings.compare import differences

    board, wanted = subject.loaded.board, settings.dive
    name = subject.loaded.dive.dive
    lines = [f"Now      dive {found.identity.code or 'none'}", f"Will be  dive {settings.code}, {name}"]
    if found.block is None or found.identity.board_type != board.board_type:
        return lines
    loads = {load.wired_to: name for name, load in subject.loaded.dive.loads.items()}
    changed = differences(decode(found.block, board.output_names), wanted, loads)
    if not changed:
        return [*lines, "         the same as now"]
    lines.append(f"         {count(len(changed), 'line differs', 'lines differ')}:")
    for one in changed:
        lines += [
            f"  {one.what}",
            f"    now      {one.held or '(nothing)'}",
            f"    will be  {one.wanted or '(nothing)'}",
        ]
    return lines


def _accepted_lines(subject: Subject) -> list[str]:
    taken = [finding for finding in subject.judgement.findings if finding.severity == "stop" and finding.accepted]
    return [f"Accepted {one.name}{'@' + one.load if one.load else ''}: {one.reason}" for one in taken]


def dry_run_lines(subject: Subject, settings: Settings, paint: Paint) -> list[str]:
    """What an upload would put on a board, without one."""
    from schedgen.settings.schedule import schedule

    loaded = subject.loaded
    loads = {load.wired_to: name for name, load in loaded.dive.loads.items()}
    board = f"{loaded.board.board}, type {loaded.board.board_type:#06x}, {round(loaded.board.serial.baud)} bit/s"
    return [
        f"Board    {board}: not asked",
        f"Will be  dive {settings.code}, {loaded.dive.dive}; {len(settings.block)} bytes",
        *_accepted_lines(subject),
        "",
        *table([[said.what, said.text] for said in schedule(settings.dive, loads)]),
        "",
        "Nothing was sent. Next: the same command without --dry-run.",
    ]


def dry_run_record(subject: Subject, settings: Settings) -> dict[str, Any]:
    """The same as plain values for JSON."""
    board = subject.loaded.board
    return {
        "verified": False,
        "sent": False,
        "code": settings.code,
        "bytes": len(settings.block),
        "board": board.board,
        "board_type": board.board_type,
        "accepted": [one.name for one in subject.judgement.findings if one.severity == "stop" and one.accepted],
    }


def upload_lines(result: UploadResult, settings: Settings, port: str, paint: Paint) -> list[str]:
    """What was written, and the dive code in large letters once it is verified."""
    if result.unchanged:
        done = f"the board held these settings already, in slot {result.slot}"
    else:
        done = f"{result.written} bytes written to slot {result.slot}, number {result.sequence}"
    return [
        f"Written  {done}",
        f"Readback {len(settings.block)} bytes, the same as sent; decoded, they say what the plan says",
        "",
        *(f"  {paint(line, 'bold')}" for line in large(result.code)),
        "",
        f"  {paint(spaced(result.code), 'bold')}   {paint('verified', 'green')}",
        "",
        f"Next: schedgen arm {result.code} --port {shlex.quote(port)}, when everything else is done.",
    ]


def upload_record(result: UploadResult, settings: Settings, found: Found) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "verified": True,
        "code": result.code,
        "slot": result.slot,
        "sequence": result.sequence,
        "bytes": len(settings.block),
        "written": result.written,
        "before": identity_record(found.identity),
        "last_dive": None if found.last is None else found.last.code,
        "after": identity_record(result.after),
    }


@dataclass(frozen=True)
class Shown:
    """A readback with what is needed to show it: output names, and the dive it is compared with."""

    result: ReadbackResult
    held: DecodedDive | None
    wanted: DecodedDive | None
    loads: dict[str, str]

    @classmethod
    def of(cls, result: ReadbackResult, board: Board | None, loaded: LoadedDive | None) -> Shown:
        """Decode what was read. Output names come from `board` when its type is the one read back."""
        from schedgen.settings import decode

        held = None
        if result.block is not None:
            fits = board is not None and board.board_type == result.identity.board_type
            held = decode(result.block, board.output_names) if board is not None and fits else decode(result.block)
        wanted = loaded.settings().dive if loaded is not None else None
        loads = {load.wired_to: name for name, load in loaded.dive.loads.items()} if loaded is not None else {}
        return cls(result, held, wanted, loads)

    @property
    def differences(self) -> tuple[Difference, ...]:
        """What the board says otherwise than the dive file; empty without one."""
        from schedgen.settings.compare import differences

        if self.wanted is None or self.held is None:
            return ()
        return differences(self.held, self.wanted, self.loads)

    @property
    def differs(self) -> bool:
        """True when there is a dive file and the board does not hold exactly its settings."""
        return self.wanted is not None and (self.held is None or bool(self.differences))


def readback_lines(shown: Shown, paint: Paint) -> list[str]:
    """Board, dive code, the schedule that it will obey, and the comparison."""
    from schedgen.settings.schedule import schedule

    result = shown.result
    lines = identity_lines(result.identity)
    essentials = result.essentials
    if essentials is not None and essentials.armed:
        lines.append(paint("Armed    the trigger starts this dive", "bold", "yellow"))
    if shown.held is None:
        lines.append("It holds no valid settings. Next: schedgen upload FILE --port PORT")
        return lines
    lines += ["", f"  {paint(spaced(result.code or ''), 'bold')}", ""]
    lines += table([[said.what, said.text] for said in schedule(shown.held, shown.loads)])
    if shown.wanted is not None:
        lines += ["", *_comparison(shown, paint)]
    return lines


def _comparison(shown: Shown, paint: Paint) -> list[str]:
    if not shown.differs:
        return [paint("The same", "green") + " as the dive file, line by line."]
    lines = [paint("Different", "bold", "red") + " from the dive file:"]
    for difference in shown.differences:
        lines.append(f"  {difference.what}")
        lines.append(f"    board      {difference.held or '(nothing)'}")
        lines.append(f"    dive file  {difference.wanted or '(nothing)'}")
    lines.append("Next: upload the dive file, or find the file that this board was loaded from.")
    return lines


def readback_record(shown: Shown) -> dict[str, Any]:
    """The same as plain values for JSON."""
    from schedgen.settings.schedule import edges, schedule

    record: dict[str, Any] = {"board": identity_record(shown.result.identity), "code": shown.result.code}
    held = shown.held
    if held is not None:
        record["schedule"] = [
            {"what": said.what, "text": said.text, "start_s": said.start_s, "stop_s": said.stop_s}
            for said in schedule(held, shown.loads)
        ]
        record["edges"] = [{"at_s": edge.at_s, "output": edge.output, "level": edge.level} for edge in edges(held)]
    if shown.wanted is not None:
        record["differs"] = shown.differs
        record["differences"] = [
            {"what": difference.what, "board": difference.held, "dive_file": difference.wanted}
            for difference in shown.differences
        ]
    return record


def armed_lines(identity: Identity, dive: DecodedDive, port: str, paint: Paint) -> list[str]:
    """The armed board, what starts the dive and what happens then."""
    from schedgen.settings.schedule import duration

    starts = {
        "water": "when the water contact has been wet for 60 s",
        "button": "when a button is pressed as the card says",
        "command": "at the start command",
    }[dive.trigger]
    limits = dive.interlocks
    return [
        *(paint(line, "bold") for line in large(identity.code or "")),
        "",
        f"{paint('ARMED', 'bold', 'yellow')}  {spaced(identity.code or '')}   {identity.called}",
        f"Starts   {starts}.",
        f"Then     {_first_edge(dive)}.",
        "Until    the start the light blinks the words of the card, and the buttons may change what the file allows.",
        f"Release  {duration(dive.at_s)} after that; never before {duration(limits.not_before_s)}; "
        f"by {duration(limits.latest_s)} at the latest.",
        f"Caution  {ARM_CAUTION}",
        f"To stop  schedgen disarm --port {shlex.quote(port)}, or hold both buttons for 5 s before the splash.",
    ]


def _first_edge(dive: DecodedDive) -> str:
    """What the board does first, and when."""
    from schedgen.settings.schedule import duration, edges

    first = next((edge for edge in edges(dive) if edge.level), None)
    if first is None:
        return "no output switches"
    return f"{first.output} goes on first, {duration(first.at_s)} after the start"


def armed_record(identity: Identity, dive: DecodedDive) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "armed": True,
        "board": identity_record(identity),
        "trigger": dive.trigger,
        "at_s": dive.at_s,
        "not_before_s": dive.interlocks.not_before_s,
        "latest_s": dive.interlocks.latest_s,
    }


def disarmed_lines(identity: Identity, paint: Paint) -> list[str]:
    """The board after disarming."""
    return [
        f"{paint('Disarmed', 'bold')}  {identity.called} is {identity.state}; it keeps dive {identity.code or 'none'}.",
        "No trigger starts anything until it is armed again.",
    ]


def disarmed_record(identity: Identity) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {"armed": False, "board": identity_record(identity)}

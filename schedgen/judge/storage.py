"""What each camera writes to its card."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.judge.subject import Subject


@dataclass(frozen=True, slots=True)
class Use:
    """What one camera writes at most: seconds recorded, GB written, GB of its card (None: not given).

    `most_byte` is the same in bytes, `longest_file_byte` the longest recording without a break, `segments` its files.
    Where `count` says that several alike hang on one output, this is each one's own.
    """

    recorded_s: float
    written_gb: float
    card_gb: float | None
    most_byte: float
    longest_file_byte: float
    segments: int


def most_recorded_s(subject: Subject, name: str) -> list[float]:
    """The longest that each stretch of the camera may record [s], at least 0."""
    load = subject.dive.loads[name]
    ready = load.ready_after.low if load.ready_after is not None else 0.0
    rule = load.stop
    close = 0.0
    if rule is not None and rule.kind == "output":
        close = 1.0 + (load.close_before_off.low if load.close_before_off is not None else 0.0)
    longest = float("inf")
    if rule is not None and rule.kind == "after" and rule.after_s is not None:
        longest = rule.after_s
    end = subject.plan.events["end"].late
    return [max(0.0, min(longest, min(s.stop_s, end) - s.start_s - ready - close)) for s in subject.spans(name)]


def use(subject: Subject, name: str) -> Use | None:
    """What a camera writes; None where its bitrate is not given."""
    from schedgen.physics.storage import files, written

    load = subject.dive.loads[name]
    if load.bitrate is None:
        return None
    each = most_recorded_s(subject, name)
    longest = max(each, default=0.0)
    most = written(load.bitrate.high, sum(each))
    return Use(
        recorded_s=sum(each),
        written_gb=most / 1e9,
        card_gb=load.card.low / 1e9 if load.card is not None else None,
        most_byte=most,
        longest_file_byte=written(load.bitrate.high, longest),
        segments=files(longest, load.bitrate.high),
    )

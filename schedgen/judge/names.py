"""The names of all findings: how severe each is, whether it can be accepted, and when it comes.

This is the table of the dive file's page "Findings", and `bench-disagrees` beside it, held here once. `accept` knows
its names from here, and a test holds that every one of them is decided by a rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from schedgen.judge.finding import Severity

Final = Literal["never", "sometimes", "always"]
"""`always`: no `accept` takes it on, it could hurt someone or lose the package. `sometimes`: the rule decides."""


@dataclass(frozen=True, slots=True)
class Named:
    """One line of the table: the finding's usual severity, whether it can be accepted, and when it comes."""

    severity: Severity
    final: Final
    when: str
    lesser: tuple[Severity, ...] = ()
    """Other severities that the same name may come with."""


def _stop(when: str, final: Final = "never", *lesser: Severity) -> Named:
    return Named("stop", final, when, lesser)


def _caution(when: str) -> Named:
    return Named("caution", "never", when)


def _note(when: str) -> Named:
    return Named("note", "never", when)


FINDINGS: dict[str, Named] = {
    "reserve-short": _stop("the worst case leaves less than the reserve"),
    "voltage-too-low": _stop(
        "the worst case sags below what a board, a converter or the release needs, release firing included", "sometimes"
    ),
    "beacon-too-short": _stop("less than recovery.wait of beacon after the primary's latest surfacing"),
    "backup-surfacing": _stop("primary fails, backup acts late: less than recovery.wait of beacon then"),
    "early-release": _stop("the worst case crosses shed or release_below before at"),
    "protection-trip": _stop("worst surge above the protection's trip (caution from 70 %)", "sometimes", "caution"),
    "cell-overcurrent": _stop("a cell above its rated current at its temperature", "always"),
    "cell-too-cold": _stop("outside the cell's rated discharge temperatures"),
    "output-overloaded": _stop("a load above its output's or rail's limit, surge included"),
    "supply-mismatch": _stop("the pack's voltage or a power bank's output leaves the board's or a rail's range"),
    "pack-turns-itself-off": _stop(
        "a power bank sees less than its keep-alive current for longer than it allows", "always"
    ),
    "string-loss": _caution("with one parallel string lost, release and beacon are not covered"),
    "load-stuck-on": _caution("with the named load stuck on, release and beacon are not covered"),
    "armed-idle": _caution("armed for longer than start.armed_for eats the reserve; with the figure per day"),
    "release-before-bottom": _stop("the release may fire before the late bottom", "always"),
    "release-too-late": _stop("a try of any permitted shift ends after latest"),
    "release-interlock": _stop(
        "not_before earlier than the late splash plus 30 min on a clock at its fast end;"
        " latest before not_before or the late bottom",
        "always",
    ),
    "postponed-drop": _caution("no water contact, and at or latest could pass on deck"),
    "release-alone": _caution("nothing parts the ballast if the primary fails"),
    "backup-before-primary": _stop("the backup may act before the primary's last try"),
    "release-shares": _caution("what primary and backup share (pack, controller, actuator, link)"),
    "release-output-floats": _stop("the release output has no declared pull to its safe level", "always"),
    "release-too-weak": _stop(
        "the firing time needed at the lowest voltage, coldest water and least salinity exceeds fire x tries"
    ),
    "wire-in-fresh-water": _stop(
        "an electrolytic release, or a dissolving link whose time was not measured there, in water too fresh for it"
    ),
    "trigger-in-fresh-water": _caution("a water contact in water too fresh to close it"),
    "sinks-after-release": _stop(
        "net lift after release not positive in the worst case (caution under 5 % of mass)", "sometimes", "caution"
    ),
    "floats-with-ballast": _stop("it would not sink, or not faster than 0.2 m/s"),
    "hard-landing": _caution("sinks faster than 1.5 m/s"),
    "depth-rating": _stop(
        "deeper than a rated depth; the rating under 1.1 x the deepest bottom; under 1.25 x", "sometimes", "caution"
    ),
    "antenna-awash": _caution("floats with the antenna lower than asked"),
    "camera-cut-while-recording": _stop(
        "power goes while the camera records, or sooner than close_before_off after it stopped"
    ),
    "camera-window-too-short": _stop("nothing recorded after ready_after and close_before_off"),
    "camera-in-the-dark": _caution("camera on deeper than daylight reaches with no lights"),
    "card-full": _stop(
        "more written than the card holds (caution from 90 %; 4 GiB segments noted)", "never", "caution", "note"
    ),
    "lights-in-air": _stop(
        "lights on before the late splash or after the early surfacing; the fix names the first good time"
    ),
    "too-hot": _stop("a load above its heat limit on deck, in water or at the surface in the sun"),
    "fan-missing": _caution("a camera runs without its fan"),
    "beacon-late": _stop("beacon or locator not on by the early surfacing"),
    "surfacing-in-the-dark": _caution("the surfacing window leaves recovery.prefer"),
    "flash-like-distress": _caution("a white flash of 50 to 70 a minute"),
    "clock-too-coarse": _stop("the clock's error over the dive exceeds a margin it has to hold"),
    "deck-time-unknown": _caution(
        "a deck time wider than the shortest margin (none at all without a water trigger is a file error)"
    ),
    "window-outside-dive": _stop("edges in the wrong order, doubled or missing"),
    "window-overlap": _stop("edges in the wrong order, doubled or missing"),
    "window-empty": _stop("what leaves no valid settings", "always"),
    "settings-too-big": _stop("what leaves no valid settings", "always"),
    "counter-range": _stop("what leaves no valid settings", "always"),
    "bench-disagrees": _caution("the bench record named by bench found another board, wiring or power, or no load"),
    "stuck-on-bottom": _note("the pull of soft sediment is not modelled"),
    "transport-limit": _note("pack and cell watt-hours against the 100 Wh and 20 Wh air-transport thresholds"),
    "guessed-input": _note("once, with the list, the one that matters most first"),
    "accept-unused": _note("an accept that matches nothing"),
}
"""Name to line of the table, in the table's order."""


def names() -> tuple[str, ...]:
    """All names of findings in the table's order."""
    return tuple(FINDINGS)


def never_acceptable() -> frozenset[str]:
    """Names that no `accept` can take on."""
    return frozenset(name for name, named in FINDINGS.items() if named.final == "always")

"""The table of findings and the rules that decide them."""

from __future__ import annotations

import pytest

from schedgen.files.place import Place
from schedgen.judge import accept
from schedgen.judge.names import FINDINGS, names, never_acceptable
from schedgen.judge.rules import all_rules, decides

TABLE = """
reserve-short stop | voltage-too-low stop (!) | beacon-too-short stop | backup-surfacing stop | early-release stop
protection-trip stop (!) | cell-overcurrent stop ! | cell-too-cold stop | output-overloaded stop | supply-mismatch stop
pack-turns-itself-off stop ! | string-loss caution | load-stuck-on caution | armed-idle caution
release-before-bottom stop ! | release-too-late stop | release-interlock stop ! | postponed-drop caution
release-alone caution | backup-before-primary stop | release-shares caution | release-output-floats stop !
release-too-weak stop | wire-in-fresh-water stop | trigger-in-fresh-water caution | sinks-after-release stop (!)
floats-with-ballast stop | hard-landing caution | depth-rating stop (!) | antenna-awash caution
camera-cut-while-recording stop | camera-window-too-short stop | camera-in-the-dark caution | card-full stop
lights-in-air stop | too-hot stop | fan-missing caution | beacon-late stop | surfacing-in-the-dark caution
flash-like-distress caution | clock-too-coarse stop | deck-time-unknown caution | window-outside-dive stop
window-overlap stop | window-empty stop ! | settings-too-big stop ! | counter-range stop ! | stuck-on-bottom note
transport-limit note | guessed-input note | accept-unused note | bench-disagrees caution
"""
"""The page "Findings" of the language: name, severity, ! final, (!) final in some cases. `sinks-after-release` is
final as a stop and milder as a caution, `depth-rating` likewise. `bench-disagrees` came later."""
FINAL = {"": "never", "!": "always", "(!)": "sometimes"}


def test_the_table_is_that_of_the_language() -> None:
    entries = [entry.split() for line in TABLE.strip().splitlines() for entry in line.split("|")]
    assert {words[0]: (words[1], FINAL["".join(words[2:])]) for words in entries} == {
        name: (named.severity, named.final) for name, named in FINDINGS.items()
    }


def test_every_name_is_decided_by_some_rule_and_no_other_name() -> None:
    decided = [name for rule in all_rules() for name in rule.names]
    assert sorted([*decided, *accept.DECIDES]) == sorted(names())


def test_a_rule_for_a_name_that_is_not_in_the_table_is_refused() -> None:
    with pytest.raises(ValueError, match="no-such-finding"):
        decides("no-such-finding")


def test_what_can_never_be_accepted_is_a_stop() -> None:
    assert {FINDINGS[name].severity for name in never_acceptable()} == {"stop"}


def test_a_finding_of_a_severity_that_its_name_never_has_is_refused(subject) -> None:
    with pytest.raises(ValueError, match="never a note"):
        subject().finding("reserve-short", Place("a.yaml"), "what", "do", severity="note")

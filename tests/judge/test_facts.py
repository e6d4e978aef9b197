"""What the report says besides findings."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from schedgen.judge.facts import TOPICS, Facts, clean_topics, facts
from schedgen.judge.guesses import effect_wh, guessed_inputs, value_at
from schedgen.judge.idle import armed_w, may_stay_armed_s
from schedgen.judge.names import FINDINGS

from .conftest import Judged, with_worst
from .test_findings import button, parallel


def facts_of(judged: Judged) -> Facts:
    made = judged.subject
    return facts(made.parts, made.plan, made.results, judged.judgement)


def test_with_a_button_it_may_stay_on_deck_until_the_longest_deck_time(judged: Callable) -> None:
    # planned 07:15 and at most 30 min on deck
    assert (
        facts_of(judged(*button("20 min .. 30 min"))).deck_limit
        == "until 2027-05-11 07:45, 30 min after start; then disarm"
    )


def test_with_a_water_trigger_only_the_pack_limits_the_deck(judged: Callable) -> None:
    # planned 07:15 with armed_for 12 h; armed it takes 4.55 mW, so 0.02 Wh last 4.4 h
    text = facts_of(judged()).deck_limit
    assert "until 2027-05-11 19:15 (armed_for); then disarm" in text
    small = facts_of(judged(change=with_worst(margin_wh=0.02))).deck_limit
    assert "until 2027-05-11 11:38 (then the reserve is touched); then disarm" in small
    assert "nothing above the reserve" in facts_of(judged(*parallel(2))).deck_limit


def test_armed_power_is_that_of_the_board_alone(judged: Callable) -> None:
    """Worked by hand for the halyard at 12.6 V: 40 uA asleep, 6 mA awake for 2 % of the time, 186 uA idle in its
    rails, and 12.6 V over 780 kohm are 16.2 uA: 362 uA in all, 4.55 mW."""
    made = judged().subject
    assert armed_w(made) == pytest.approx(12.6 * (40e-6 * 0.98 + 6e-3 * 0.02 + 186e-6 + 12.6 / 780e3), rel=1e-9)
    assert may_stay_armed_s(made) == pytest.approx(made.run.worst.margin_wh * 3600 / armed_w(made))


def test_drift_is_current_times_wait(judged: Callable) -> None:
    # 0.15 m/s + 30 % for 48 h
    assert facts_of(judged()).drift_m == pytest.approx(0.195 * 48 * 3600)
    assert facts_of(judged(("  current: 0.15 m/s ± 30 %\n", ""))).drift_m is None


def test_light_at_the_surfacing_is_told_in_words(judged: Callable) -> None:
    assert facts_of(judged()).daylight == "in daylight"
    dark = facts_of(judged(("T07:15:00", "T16:30:00"))).daylight
    assert dark.endswith("darkness")
    mixed = facts_of(judged(("T07:15:00", "T20:15:00"))).daylight
    assert "civil dawn 04:18" in mixed


def test_what_is_written_is_bitrate_times_recorded_time(judged: Callable) -> None:
    """Of each time it is on, 20 s to get ready and 9 s to close are taken off."""
    made = judged()
    spans = [(on.stop_s or 0) - on.start_s for on in made.subject.on_times("camera")]
    use = facts_of(made).storage["camera"]
    assert use.recorded_s == sum(length - 29 for length in spans)
    assert use.written_gb == pytest.approx(use.recorded_s * 50e6 / 8 / 1e9)
    assert use.card_gb == 256
    assert facts_of(judged(("    card: 256 GB\n", ""))).storage == {}


def test_every_topic_is_of_findings_and_every_stop_and_caution_has_a_topic() -> None:
    listed = [name for topic in TOPICS.values() for name in topic]
    assert len(listed) == len(set(listed))
    # without a bench record nothing was looked at, so that nothing may be called clean
    others = {name for name, named in FINDINGS.items() if named.severity != "note"} - {"bench-disagrees"}
    assert set(listed) == others


def test_a_topic_is_clean_when_all_of_it_was_decided_and_nothing_was_found(judged: Callable) -> None:
    clean = clean_topics(judged().judgement)
    assert "depth ratings" in clean
    assert "a string lost or a load stuck on" not in clean
    assert "depth ratings" not in clean_topics(judged(("rated_depth: 2000 m", "rated_depth: 1500 m")).judgement)
    assert "heat" in clean
    assert "heat" not in clean_topics(judged(("    heat_limit: 55 degC\n", "")).judgement)


def test_the_guess_that_costs_most_comes_first(judged: Callable) -> None:
    guesses = (
        ("lights: {wired_to: PWM1, power: 22 W}", "lights: {wired_to: PWM1, power: about 22 W}"),
        ("power: 1.2 W", "power: about 1.2 W"),
    )
    made = judged(*guesses)
    assert [guess.path for guess in guessed_inputs(made.subject)] == ["loads.lights.power", "loads.fan.power"]
    assert facts_of(made).matters_most == "loads.lights.power"
    found = made.one("guessed-input")
    assert "2 inputs guessed: loads.lights.power" in found.message
    assert "loads.fan.power" in found.message
    assert "lights" in made.line_of(found)


def test_a_guessed_health_outweighs_a_guessed_load(judged: Callable) -> None:
    made = judged(("  health: 93 % ± 3 %\n", ""), ("power: 1.2 W", "power: about 1.2 W"))
    assert guessed_inputs(made.subject)[0].path == "pack.health"


def test_a_guess_costs_half_its_width_times_what_hangs_on_it(judged: Callable) -> None:
    made = judged(("power: 1.2 W", "power: about 1.2 W")).subject
    account = made.run.nominal
    assert effect_wh(made, "loads.fan.power", account) == pytest.approx(0.3 * account.by_load_wh["fan"])
    assert effect_wh(made, "vehicle.frontal_area", account) == 0.0


def test_values_are_found_by_their_path(judged: Callable) -> None:
    dive = judged().subject.dive
    assert value_at(dive, "loads.camera.surge.for").nominal == 4.0
    assert value_at(dive, "site.water.1.salinity").nominal == 35.25
    assert value_at(dive, "schedule.0.from").base == "splash"
    assert value_at(dive, "loads.nothing.power") is None
    assert value_at(dive, "site.water.9.salinity") is None

"""The three dives give their committed reports to the letter, on any computer."""

import json
import re

import pytest
from golden import DIVES, FORMS, committed, report

ELSEWHERE = {"TZ": "Pacific/Kiritimati", "LC_ALL": "C", "LANG": "de_DE.UTF-8", "COLUMNS": "57"}
"""Surroundings unlike those in which the reports were made: none of it may show."""


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("dive", DIVES)
def test_report_is_the_committed_one(dive: str, form: str) -> None:
    assert report(dive, form, **ELSEWHERE) == committed(dive, form)


@pytest.mark.parametrize("dive", DIVES)
def test_the_committed_dives_may_be_dropped(dive: str) -> None:
    found = json.loads(committed(dive, "json"))
    assert found["verdict"] == "go"
    assert found["not_checked"] == []
    assert not any(finding["severity"] == "stop" for finding in found["findings"])


@pytest.mark.parametrize("dive", DIVES)
def test_reports_are_ascii_in_short_lines_and_without_a_number_that_is_none(dive: str) -> None:
    text = committed(dive, "txt")
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 108  # the two lines of caution are the longest
    assert not re.search(r"\b(nan|inf)\b", text, re.IGNORECASE)


@pytest.mark.parametrize("dive", DIVES)
def test_text_and_json_tell_the_same(dive: str) -> None:
    text, found = committed(dive, "txt"), json.loads(committed(dive, "json"))
    energy = found["energy"]
    assert f"{energy['margin_wh']:.1f} Wh left of {energy['usable_wh']:.0f} Wh usable" in text
    assert f"lowest {energy['lowest_voltage_v']:.2f} V" in text
    assert f"{found['fall']['sink_speed_m_s']:.2f} m/s" in text
    assert text.startswith(f"GO   {found['code']}   {found['name']}\n")
    for finding in found["findings"]:
        assert f"line {finding['line']}: {finding['name']}" in text

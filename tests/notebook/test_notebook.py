"""What a notebook shows, and the page of worked examples, run as it stands."""

from __future__ import annotations

import doctest
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from schedgen.files.place import Place
from schedgen.judge.finding import Finding, Judgement
from schedgen.load import LoadedDive, load, load_text
from schedgen.report.notebook import POINTS_MOST, figure
from schedgen.simulate.columns import Column

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "schedgen" / "dive" / "demo.yaml"
PAGE = ROOT / "schedgen" / "notebook.md"
EVIL = '<script>alert("x")</script> & <b>'


KNOWN = frozenset(
    "div p strong table caption thead tbody tr th td ul li pre svg title polyline text".split()  # noqa: SIM905
)


class Strict(HTMLParser):
    """Counts elements and refuses one that is not closed in order, a script, or anything from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in KNOWN, tag
        for name, value in attrs:
            assert name == "xmlns" or not (value or "").startswith(("http", "//", "javascript")), (name, value)
            assert not name.startswith("on"), name
        self.seen.append(tag)
        self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def read(html: str) -> Strict:
    parser = Strict()
    parser.feed(html)
    parser.close()
    assert parser.open == []
    return parser


@pytest.fixture(scope="module")
def demo() -> LoadedDive:
    return load(DEMO)


def test_the_page_of_worked_examples_runs() -> None:
    """All blocks in one session; the fences are taken off first."""
    text = PAGE.read_text(encoding="utf-8")
    blocks = re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    assert len(blocks) >= 7
    session = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, "notebook.md", str(PAGE), 0)
    assert len(session.examples) > 30
    said: list[str] = []
    ran = doctest.DocTestRunner(verbose=False).run(session, out=said.append)
    assert not ran.failed, "".join(said)


def test_each_object_shows_well_formed_tables(demo: LoadedDive) -> None:
    for shown, word in (
        (demo, demo.settings().code),
        (demo.simulate(), "string-lost"),
        (demo.check(), "transport-limit"),
        (demo.chances(200), "Wilson 1927"),
    ):
        seen = read(shown._repr_html_())
        assert "table" in seen.seen
        assert word in seen.text, word
    assert "svg" in read(demo._repr_html_()).seen
    assert "svg" in read(demo.simulate()._repr_html_()).seen


def test_texts_of_the_user_are_escaped(demo: LoadedDive) -> None:
    text = DEMO.read_text(encoding="utf-8").replace("dive: Hollow Bank, bait station 3", f"dive: '{EVIL}'")
    assert EVIL in read(load_text(text, DEMO)._repr_html_()).text
    finding = Finding("too-hot", "stop", Place("x", 3, 1), EVIL, EVIL, load=EVIL, accepted=True, reason=EVIL)
    seen = read(Judgement((finding,), "go", (EVIL,))._repr_html_())
    assert seen.text.count(EVIL) == 5
    first = demo.simulate()
    named = replace(first, cases={EVIL: first.cases["nominal"]}, worst_case=EVIL)
    assert read(named._repr_html_()).text.count(EVIL) == 3


def test_columns_are_arrays_of_one_length_with_units(demo: LoadedDive) -> None:
    trace = demo.simulate().cases["heat"].trace
    course = demo.course("heat")
    assert {column.unit for column in course.values()} == {"s", "V", "A", "W", "share", "degC", "dbar"}
    assert all(isinstance(c.values, np.ndarray) and len(c.values) == len(trace.time_s) for c in course.values())
    assert course["voltage"].values is trace.voltage_v
    assert str(course["voltage"]).endswith(" V")
    assert str(Column(np.array([]), "V")) == "no values [V]"
    with pytest.raises(KeyError):
        demo.course("no such case")


def test_a_figure_keeps_the_lowest_voltage_however_long_the_course(demo: LoadedDive) -> None:
    trace = demo.simulate().cases["energy"].trace
    count = 20_000
    volts = np.full(count, 12.0)
    volts[777] = 7.25
    long = replace(trace, time_s=np.arange(count) * 60.0, voltage_v=volts)
    drawn = read(figure(long, "x"))
    assert "7.25 V" in drawn.text
    points = re.search(r'points="([^"]*)"', figure(long, "x"))
    assert points is not None
    assert len(points[1].split()) <= 2 * POINTS_MOST
    assert figure(replace(trace, time_s=np.zeros(1), voltage_v=np.zeros(1)), "x") == ""


def test_the_picture_of_a_dive_is_an_svg(demo: LoadedDive) -> None:
    assert "<svg" in demo.picture()._repr_svg_()

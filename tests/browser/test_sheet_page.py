"""The sheet in a real browser: on screen, on paper, by keyboard, without scripts, with hostile texts."""

from __future__ import annotations

import re
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Browser
from report_dives import HOSTILE_NAME, demo_text, hostile_text

from schedgen.commands import main

NARROW = 400
OVERFLOW = """() => {
  const out = [];
  for (const one of document.querySelectorAll('main *')) {
    const box = one.getBoundingClientRect();
    if (box.width && box.right > document.documentElement.clientWidth + 1 && !one.closest('.scroll, .readout, .u-wrap'))
      out.push(one.tagName + '.' + one.className + ' ' + (one.textContent || '').slice(0, 30));
  }
  return out;
}"""


def made(folder: Path, name: str, text: str, *options: str) -> Path:
    dive, page = folder / f"{name}.yaml", folder / f"{name}.html"
    dive.write_text(text, encoding="utf-8")
    assert main(["sheet", str(dive), "--out", str(page), *options]) in (0, 1)
    return page


@pytest.fixture(scope="session")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The demo's sheet, that of a no-go, that of a hostile file, that after the splash."""
    folder = tmp_path_factory.mktemp("sheets")
    return {
        "demo": made(folder, "demo", demo_text()),
        "no-go": made(folder, "no-go", demo_text().replace("latest: start + 14 h", "latest: start + 8 h")),
        "hostile": made(folder, "hostile", hostile_text()),
        "splashed": made(folder, "splashed", demo_text(), "--splashed", "2027-04-19T07:30:00+01:00"),
    }


@pytest.mark.parametrize("name", ["demo", "no-go", "hostile", "splashed"])
def test_renders_without_a_complaint_and_asks_for_nothing(watched, sheets: dict[str, Path], name: str) -> None:  # type: ignore[no-untyped-def]
    watched.page.goto(sheets[name].as_uri())
    watched.page.wait_for_selector(".u-over")
    assert watched.complaints == []
    assert watched.requests == [sheets[name].as_uri()]


@pytest.mark.parametrize("name", ["demo", "no-go", "hostile", "splashed"])
@pytest.mark.parametrize("width", [1280, NARROW])
def test_nothing_sticks_out_at_either_width(watched, sheets: dict[str, Path], name: str, width: int) -> None:  # type: ignore[no-untyped-def]
    watched.page.set_viewport_size({"width": width, "height": 900})
    watched.page.goto(sheets[name].as_uri())
    watched.page.wait_for_selector(".u-over")
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width
    assert watched.page.evaluate(OVERFLOW) == []


def test_the_four_answers_are_seen_without_scrolling(watched, sheets: dict[str, Path]) -> None:  # type: ignore[no-untyped-def]
    for width, height in ((1280, 900), (NARROW, 800)):
        watched.page.set_viewport_size({"width": width, "height": height})
        watched.page.goto(sheets["demo"].as_uri())
        for box in watched.page.query_selector_all(".answer"):
            place = box.bounding_box()
            assert place["y"] + place["height"] <= height


@pytest.mark.parametrize("name", ["demo", "no-go", "splashed"])
def test_contrast_meets_aa(watched, sheets: dict[str, Path], name: str, contrast: str) -> None:  # type: ignore[no-untyped-def]
    watched.page.goto(sheets[name].as_uri())
    watched.page.wait_for_selector(".u-over")
    assert watched.page.evaluate(contrast) == []


def test_the_contrast_script_sees_a_poor_text(watched, contrast: str) -> None:  # type: ignore[no-untyped-def]
    watched.page.set_content("<p style='color:#999;background:#fff'>faint</p><p style='color:#333'>plain</p>")
    assert [text.split()[1] for text in watched.page.evaluate(contrast)] == ["faint"]


def test_everything_is_named_for_those_who_listen(watched, sheets: dict[str, Path]) -> None:  # type: ignore[no-untyped-def]
    watched.page.goto(sheets["demo"].as_uri())
    watched.page.wait_for_selector(".u-over")
    assert watched.page.get_attribute("html", "lang") == "en"
    unnamed = watched.page.evaluate(
        """() => [...document.querySelectorAll('button, select, input, [role=region], section[tabindex]')]
            .filter(one => !(one.getAttribute('aria-label') || one.textContent.trim() || one.labels?.length))
            .map(one => one.outerHTML)"""
    )
    assert unnamed == []
    levels = watched.page.evaluate("() => [...document.querySelectorAll('h1,h2,h3,h4')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert len(watched.page.evaluate("() => { const ids = [...document.querySelectorAll('[id]')].map(e => e.id);"
                                     "return ids.filter((id, k) => ids.indexOf(id) !== k); }")) == 0  # fmt: skip


def test_the_cursor_zoom_and_cases_work_by_keyboard_alone(watched, sheets: dict[str, Path]) -> None:  # type: ignore[no-untyped-def]
    page = watched.page
    page.goto(sheets["demo"].as_uri())
    page.wait_for_selector(".u-over")

    def tab_to(name: str) -> None:
        for _ in range(40):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.dataset.name || ''") == name:
                return
        raise AssertionError(f"no {name} by keyboard")

    def value(name: str) -> str:
        return str(page.evaluate("n => [...document.querySelectorAll('.readout dt')].find(d => d.textContent === n)"
                                 ".nextSibling.textContent", name))  # fmt: skip

    tab_to("case")
    before = value("charge")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.evaluate("document.querySelector('[data-name=case]').value") != "nominal"
    tab_to("button descent")
    page.keyboard.press("Enter")
    assert page.get_attribute('[data-name="button descent"]', "aria-pressed") == "true"
    tab_to("time")
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    assert value("phase") == "going down"
    elapsed = value("elapsed")
    page.keyboard.press("ArrowRight")
    assert value("elapsed") != elapsed
    assert value("depth").endswith(" m")
    assert before.endswith(" %")
    page.keyboard.press("+")
    assert page.get_attribute('[data-name="button descent"]', "aria-pressed") == "false"
    assert watched.complaints == []


def test_the_cursor_reads_the_values_of_the_simulation(watched, sheets: dict[str, Path]) -> None:  # type: ignore[no-untyped-def]
    from schedgen.load import load
    from schedgen.simulate.csv import csv_rows

    page = watched.page
    page.goto(sheets["demo"].as_uri())
    page.wait_for_selector(".u-over")
    page.evaluate("""() => { const s = document.querySelector('[data-name=time]'); s.value = 7200;
        s.dispatchEvent(new Event('input')); }""")
    cells = page.evaluate("""() => Object.fromEntries([...document.querySelectorAll('.readout dt')]
        .map(d => [d.textContent, d.nextSibling.textContent]))""")
    trace = load(sheets["demo"].with_suffix(".yaml")).simulate().cases["nominal"].trace
    row = next(row for row in csv_rows(trace) if row[0] == 7200)
    assert cells["pack"] == f"{row[2]:.2f} V"
    assert float(cells["charge"].split()[0]) == pytest.approx(float(row[5]), abs=0.06)
    assert cells["clock UTC+01:00"] == "19 Apr 08:40"
    assert cells["elapsed"] == "2 h 0 min 0 s"
    assert cells["phase"] == "on the bottom"


def test_moving_the_mouse_reads_on_and_dragging_zooms(watched, sheets: dict[str, Path]) -> None:  # type: ignore[no-untyped-def]
    page = watched.page
    page.goto(sheets["demo"].as_uri())
    over = page.wait_for_selector(".u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    before = page.inner_text(".readout")
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 20)
    page.mouse.move(box["x"] + box["width"] * 0.6, box["y"] + 20)
    assert page.inner_text(".readout") != before
    assert page.get_attribute('[data-name="button dive"]', "aria-pressed") == "true"
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.8, box["y"] + 25, steps=4)
    page.mouse.up()
    assert page.get_attribute('[data-name="button dive"]', "aria-pressed") == "false"
    assert watched.complaints == []


def test_is_read_in_full_where_scripts_are_off(browser: Browser, sheets: dict[str, Path]) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(sheets["demo"].as_uri())
    for word in ("GO", "YB5XDQ", "When things happen", "Hour by hour", "Vent first."):
        assert word in page.inner_text("main"), word
    svg = page.query_selector(".still svg")
    assert svg is not None
    assert svg.is_visible()
    assert not page.is_visible("#explore")
    context.close()


def test_nothing_of_a_users_text_runs(watched, sheets: dict[str, Path]) -> None:  # type: ignore[no-untyped-def]
    page = watched.page
    page.goto(sheets["hostile"].as_uri())
    page.wait_for_selector(".u-over")
    page.hover(".notes")
    page.wait_for_timeout(100)
    assert watched.complaints == []
    assert page.inner_text("h1") == HOSTILE_NAME
    assert "🐟🌊" in page.inner_text(".notes")
    assert page.query_selector("main img, .notes b") is None


def squeezed(text: str) -> str:
    """Letters alone: a hyphen that ends a line comes out of a PDF as another sign; arrows come from the style."""
    return re.sub(r"[\s\u0002\ufffe\u00ad\u2192-]+", "", text)


@pytest.mark.parametrize("form", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["demo", "no-go", "hostile"])
def test_prints_with_no_page_overflowing_and_no_row_cut(  # type: ignore[no-untyped-def]
    watched, sheets: dict[str, Path], form: str, name: str, tmp_path: Path
) -> None:
    page = watched.page
    page.goto(sheets[name].as_uri())
    page.wait_for_selector(".u-over")
    page.emulate_media(media="print")
    millimetres = {"A4": 210, "Letter": 215.9}[form]
    page.set_viewport_size({"width": round((millimetres - 24) * 96 / 25.4), "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate(
        "document.documentElement.clientWidth"
    )
    rows = page.evaluate(
        "() => [...document.querySelectorAll('tr, .ticks li, .answer, .plain li')].map(r => r.textContent)"
    )
    file = tmp_path / "sheet.pdf"
    page.pdf(path=str(file), format=form, print_background=True)
    document = pypdfium2.PdfDocument(file)
    texts = []
    for number in range(len(document)):
        one = document[number]
        width, height = one.get_size()
        words = one.get_textpage()
        for index in range(words.count_chars()):
            if words.get_text_range(index, 1).isspace():
                continue
            left, bottom, right, top = words.get_charbox(index)
            assert left >= 30, (number, words.get_text_range(index, 12))
            assert right <= width - 30, (number, words.get_text_range(index, 12))
            assert bottom >= 14
            assert top <= height - 30
        texts.append(squeezed(words.get_text_range()))
        words.close()
        one.close()
    document.close()
    assert len(texts) <= 16
    if name != "hostile":  # a PDF gives letters of other scripts back in another order
        cut = [row for row in rows if squeezed(row) and not any(squeezed(row) in text for text in texts)]
        assert cut == []

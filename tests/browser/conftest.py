"""A real browser without a window: Debian's Chromium, driven by Playwright. It never reaches a network."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))

ARGUMENTS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The browser; installed by `tests/run`."""
    chromium = shutil.which("chromium")
    assert chromium, "these tests need chromium: apt-get install chromium"
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        yield one
        one.close()


@dataclass
class Watched:
    """A page, and everything that it complained of or asked for."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


@pytest.fixture
def watched(browser: Browser) -> Iterator[Watched]:
    """A fresh page of 1280 pixels with its complaints written down."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    one = Watched(page)
    page.on("console", lambda message: one.complaints.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: one.complaints.append(str(error)))
    page.on("request", lambda request: one.requests.append(request.url))
    page.on("dialog", lambda dialog: (one.complaints.append(f"dialog: {dialog.message}"), dialog.dismiss()))
    yield one
    context.close()


CONTRAST = r"""() => {
  const channel = c => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const colour = text => (text.match(/[\d.]+/g) || []).map(Number);
  const under = element => {
    for (let one = element; one; one = one.parentElement) {
      const [r, g, b, a = 1] = colour(getComputedStyle(one).backgroundColor);
      if (a > 0.99) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const poor = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const element = walk.currentNode.parentElement, words = walk.currentNode.textContent.trim();
    if (!words || element.closest("script, style, svg")) continue;
    const box = element.getBoundingClientRect(), style = getComputedStyle(element);
    if (!box.width || style.visibility === "hidden") continue;
    const size = parseFloat(style.fontSize), bold = Number(style.fontWeight) >= 700;
    const need = size >= 24 || (bold && size >= 18.66) ? 3 : 4.5;
    const [a, b] = [light(colour(style.color)), light(under(element))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < need) poor.push(ratio.toFixed(2) + " " + words.slice(0, 40));
  }
  return poor;
}"""
"""Texts whose contrast is under WCAG 2.2 AA (1.4.3): 4.5 : 1, large text 3 : 1."""


@pytest.fixture(scope="session")
def contrast() -> str:
    """The script that lists texts of poor contrast."""
    return CONTRAST

"""A real browser for the pages: one headless Chromium for a whole test process, and what to ask of a page."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

WIDTHS = (390, 768, 1440)
SCHEMES = ("light", "dark")
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# Boxes that stick out of the page, but for what scrolls in a box of its own.
STICKING_OUT = """() => [...document.querySelectorAll('body *')].filter(e => {
  const r = e.getBoundingClientRect();
  if (!r.width || !r.height || getComputedStyle(e).position === 'absolute') return false;
  for (let p = e.parentElement; p; p = p.parentElement)
    if (getComputedStyle(p).overflowX !== 'visible' && p !== document.body) return false;
  return r.right > innerWidth + 1 || r.left < -1;
}).map(e => e.outerHTML.slice(0, 120))"""

# Contrast of each text's colour to what is behind it, by the formula of WCAG 2 (relative luminance).
WEAK_TEXT = """() => {
  const OTHERS = '.cell-text, .on-part, title, desc, option';  // on a shape, or not seen
  const rgb = c => (c.match(/[\\d.]+/g) || []).map(Number);
  const light = ([r, g, b]) => [r, g, b].map(v => v / 255)
    .map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = e => {
    for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c.length === 3 || c[3] === 1) return c;
    }
    return [255, 255, 255];
  };
  const weak = new Set();
  for (const e of document.querySelectorAll('body *')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || !e.getClientRects().length || e.matches(OTHERS)) continue;
    const style = getComputedStyle(e);
    const ink = rgb(e instanceof SVGElement ? style.fill : style.color);
    const [a, b] = [light(ink), light(behind(e))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) weak.add(`${ratio.toFixed(2)} ${e.tagName} ${e.className.baseVal ?? e.className}`);
  }
  return [...weak];
}"""


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Headless Chromium; where there is none the test is left out, unless one has to be there."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("NEEDS_BROWSER"):
            pytest.fail("no chromium on the path, and NEEDS_BROWSER is set")
        pytest.skip("no chromium on the path")
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=found, args=QUIET)
        yield chromium
        chromium.close()


@dataclass
class Looked:
    """A page that was opened, and what it said or asked for meanwhile."""

    page: Page
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def sound(self) -> None:
        """It said nothing on the console, asked for nothing, and nothing sticks out at its width."""
        assert self.said == []
        assert self.asked == []
        wide, window = self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide <= window
        assert self.page.evaluate(STICKING_OUT) == []


@contextmanager
def looking(browser: Browser, file: Path, **how: Any) -> Iterator[Looked]:
    """Open a file; ``how`` as :meth:`playwright.sync_api.Browser.new_context` takes it."""
    context = browser.new_context(**how)
    page = context.new_page()
    looked = Looked(page)
    page.on("console", lambda message: looked.said.append(message.text))
    page.on("pageerror", lambda error: looked.said.append(str(error)))
    page.on("request", lambda request: looked.asked.append(request.url))
    page.goto(file.as_uri())
    assert looked.asked == [file.as_uri()]
    looked.asked.clear()
    try:
        yield looked
    finally:
        context.close()

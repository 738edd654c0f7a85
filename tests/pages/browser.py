"""A browser to look at made pages with: opened from disk, with what went wrong kept."""

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

# A browser that asks nothing of anyone: no updates, no background requests.
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
HEIGHTS = {390: 844, 768: 1024, 1440: 900}
LEAST_CONTRAST = 4.5  # WCAG 2.2, success criterion 1.4.3


def _program() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium, started once; skipped where it is not installed, unless NEEDS_BROWSER is set."""
    program = _program()
    if program is None:
        if os.environ.get("NEEDS_BROWSER"):
            pytest.fail("NEEDS_BROWSER is set and there is no chromium on the path")
        pytest.skip("no chromium on the path")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=ARGUMENTS)
        try:
            yield chromium
        finally:
            chromium.close()


@dataclass
class Seen:
    """A page that is open, and what it did that a page from disk must not do."""

    page: Page
    complaints: list[str] = field(default_factory=list)

    def evaluate(self, script: str) -> Any:
        """What a script finds in the page."""
        return self.page.evaluate(script)


@contextmanager
def opened(
    browser: Browser, file: Path, width: int = 1440, *, dark: bool = False, script: bool = True
) -> Iterator[Seen]:
    """A file opened at a width; console messages, errors and requests but for the file are kept."""
    context = browser.new_context(
        viewport={"width": width, "height": HEIGHTS.get(width, 900)},
        color_scheme="dark" if dark else "light",
        java_script_enabled=script,
    )
    address = file.resolve().as_uri()
    try:
        page = context.new_page()
        seen = Seen(page)
        page.on("console", lambda message: seen.complaints.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: seen.complaints.append(f"error: {error}"))
        page.on(
            "request",
            lambda request: (
                None
                if request.url.split("#")[0] == address
                else seen.complaints.append(f"request: {request.url}")
            ),
        )
        page.goto(address)
        yield seen
    finally:
        context.close()


# Elements that stick out to the right of the window, those inside a box that scrolls left out.
STICKING_OUT = """() => {
  const inside = (e) => {
    for (let p = e.parentElement; p; p = p.parentElement)
      if (['auto', 'scroll', 'hidden'].includes(getComputedStyle(p).overflowX)) return true;
    return false;
  };
  return [...document.querySelectorAll('body *')]
    .filter((e) => !e.closest('svg') || e.tagName === 'svg')
    .filter((e) => e.getBoundingClientRect().right > innerWidth + 1 && !inside(e))
    .map((e) => `${e.tagName} ${e.className} ${e.textContent.slice(0, 40)}`);
}"""

# Contrast ratio (WCAG 2.2, 1.4.3) of every element with text of its own to the ground behind it; texts on a
# shape are left out, for what is behind them no element tells.
CONTRAST = """() => {
  const rgb = (text) => {
    const [r, g, b, a] = text.match(/[0-9.]+/g).map(Number);
    return { c: [r, g, b], a: a === undefined ? 1 : a };
  };
  const light = (c) => {
    const [r, g, b] = c.map((v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (e) => {
    for (let p = e; p; p = p.parentElement) {
      const found = rgb(getComputedStyle(p).backgroundColor);
      if (found.a > 0) return found.c;
    }
    return [255, 255, 255];
  };
  const OTHERS = 'title, desc, script, style, option, .cell-text, .on-part';
  const own = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  return [...document.querySelectorAll('body *')]
    .filter((e) => own(e) && e.checkVisibility() && !e.closest(OTHERS))
    .map((e) => {
      const ink = rgb(getComputedStyle(e)[e.closest('svg') ? 'fill' : 'color']).c;
      const [a, b] = [light(ink), light(ground(e))].sort((x, y) => y - x);
      return [(a + 0.05) / (b + 0.05),
        `${e.tagName} ${e.getAttribute('class')} ${e.textContent.slice(0, 30)}`];
    });
}"""


def assert_sound(seen: Seen) -> None:
    """Nothing sticks out of the page, every text can be read, and nothing was said or asked for."""
    wide, window = seen.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= window
    assert seen.evaluate(STICKING_OUT) == []
    assert [told for ratio, told in seen.evaluate(CONTRAST) if ratio < LEAST_CONTRAST] == []
    assert seen.complaints == []

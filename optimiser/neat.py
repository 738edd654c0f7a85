"""Texts with the signs of print, for pages and paper; what goes to a terminal stays plain."""

from __future__ import annotations

import re

_SIGNS = (
    (re.compile(r"(?<![\w.)\]-])-(?=\d)"), "\N{MINUS SIGN}"),
    (re.compile("'"), "\N{RIGHT SINGLE QUOTATION MARK}"),
    (re.compile(r"^-$"), "\N{EN DASH}"),
    (re.compile(r">= "), "≥\N{NO-BREAK SPACE}"),
    (re.compile(r"<= "), "≤\N{NO-BREAK SPACE}"),
    (re.compile(r"\+/- "), "±\N{NO-BREAK SPACE}"),
    (re.compile(r"(?<=\d) (?=(?:mm|deg|MPa|N|m)\b|%)"), "\N{NO-BREAK SPACE}"),
)


def neat(text: str) -> str:
    """A text with the signs of print: a proper minus, bounds, and no break between a figure and its unit."""
    for found, sign in _SIGNS:
        text = found.sub(sign, text)
    return text

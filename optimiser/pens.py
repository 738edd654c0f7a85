"""Pens of the pictures as a style sheet: a colour, width and dash for each role and each layer.

It uses the page's own ``--ink``, ``--paper``, ``--quiet`` and ``--text``.
"""

from __future__ import annotations

from importlib.resources import files

PENS = (files("optimiser") / "pages" / "pens.css").read_text(encoding="utf-8")

"""Fixtures of the pages' tests."""

from __future__ import annotations

from tests.pages.browser import browser

__all__ = ["browser"]

"""What tests of several folders share: one browser, for there can be one of its kind in a process."""

from tests.pages.browser import browser

__all__ = ["browser"]

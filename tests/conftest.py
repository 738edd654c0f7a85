"""What tests of several folders share: one browser, compiled kernels, and whose commands they start."""

from __future__ import annotations

import os

import pytest

from kinematics.states import warm_up
from tests.pages.browser import browser
from tests.search.farm import environment

__all__ = ["browser"]


def pytest_configure(config: pytest.Config) -> None:
    """Start this checkout's commands, and compile its kernels before several processes do it all at once."""
    os.environ.update(environment())
    if not hasattr(config, "workerinput"):
        warm_up()

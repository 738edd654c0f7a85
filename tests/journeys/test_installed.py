"""What is installed is all of the house: other tests run from the checkout and would not miss a file."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

import pytest

from tests.search.farm import HOUSE

PACKAGES = ("kinematics", "goals", "optimiser")


def test_every_file_of_the_packages_is_installed() -> None:
    try:
        known = files("shimwright") or []
    except PackageNotFoundError:
        pytest.skip("not installed")
    installed = {str(path) for path in known}
    if not any(name.startswith("kinematics") for name in installed):
        pytest.skip("installed as a link to this checkout")
    own = {
        path.relative_to(HOUSE).as_posix()
        for package in PACKAGES
        for path in (HOUSE / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert Path("optimiser/pages") in {Path(name).parent for name in own}
    assert own - installed == set(), "not installed, or installed before it was there"

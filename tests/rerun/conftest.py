"""Searches of this folder's tests run in the test's own process."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from optimiser import workers
from tests.rerun.bench import Here, wait_here


@pytest.fixture(scope="module")
def one_process() -> Iterator[None]:
    """Searches do their work here: what is found is the same, and no process has to be started."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("optimiser.coordinator.make_executor", lambda problem, _: Here(problem))
        for module in ("coordinator", "sampling"):
            patch.setattr(f"optimiser.{module}.wait", wait_here)
        yield
    workers._problem = None

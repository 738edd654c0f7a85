"""A place where someone listens and never answers: a scheduler that was stopped, or no scheduler at all."""

from __future__ import annotations

import socket
import threading
import time

import pytest

import optimiser.cluster as cluster
from optimiser.cluster import Access, ClusterError, ClusterExecutor
from tests.search.catalogues import random_problem


def test_a_place_that_says_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT", 1.0)
    told: list[str] = []

    def join(address: str) -> None:
        try:
            ClusterExecutor(Access(address), random_problem(1))
        except ClusterError as error:
            told.append(str(error))

    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"127.0.0.1:{silent.getsockname()[1]}"
        # not in this thread: where it is not given up it waits for ever
        waits = threading.Thread(target=join, args=(address,), daemon=True)
        began = time.monotonic()
        waits.start()
        waits.join(30.0)
    assert told == ["--cluster: no scheduler answers at that address within 1 s"]
    assert time.monotonic() - began < 30.0

"""How the kernel's functions are compiled, and where the result is kept.

Compiled code is kept on disk, so that only the first run on a machine waits for it. Where no place can be
written (a read-only installation without a home folder) every process compiles for itself instead.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from numba import njit


def compiled(function: Callable[..., Any]) -> Any:
    """Compile with division as numpy has it and strict arithmetic, kept on disk where that can be."""
    try:
        return njit(error_model="numpy", cache=True)(function)
    except RuntimeError:
        return njit(error_model="numpy")(function)


def piece(function: Callable[..., Any]) -> Any:
    """A small function that is taken whole into every compiled one that calls it."""
    return njit(error_model="numpy", forceinline=True)(function)

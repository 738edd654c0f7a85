"""Compilation works where nothing can be kept on disk."""

from __future__ import annotations

from typing import Any

from kinematics.compiling import compiled


def test_a_function_whose_code_cannot_be_kept_is_compiled_all_the_same() -> None:
    # code without a file has no place beside it, which is what a read-only installation comes to
    space: dict[str, Any] = {}
    exec("def third(x):\n    return x / 3.0", space)
    assert compiled(space["third"])(6.0) == 2.0


def test_division_by_zero_is_as_numpy_has_it() -> None:
    def inverse(x: float) -> float:
        return 1.0 / x

    assert compiled(inverse)(0.0) == float("inf")

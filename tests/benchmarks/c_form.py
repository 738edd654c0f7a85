"""``ceiling.c`` built and called: the kernel's equations as plain C, where a compiler is at hand."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from pathlib import Path

from kinematics import kernel
from kinematics.arrays import Floats, Marks

SOURCE = Path(__file__).with_name("ceiling.c")
COMMON = ("-O3", "-march=native")
BUILDS = {
    # the ceiling: the compiler may reorder, contract and take reciprocals as it likes
    "vector C": (*COMMON, "-ffast-math"),
    # no sum is reordered, nothing contracted; without taking numbers to be finite gcc vectorises no pass
    "ordered C": (
        *COMMON,
        "-fno-math-errno",
        "-fno-trapping-math",
        "-ffp-contract=off",
        "-fno-signed-zeros",
        "-ffinite-math-only",
    ),
    # IEEE arithmetic to the letter, but for errno and traps
    "strict C": (*COMMON, "-fno-math-errno", "-fno-trapping-math", "-ffp-contract=off"),
    "scalar C": (*COMMON, "-ffast-math", "-fno-tree-vectorize", "-fno-tree-slp-vectorize"),
}


class Ceiling:
    """One build of the C text."""

    def __init__(self, name: str, folder: Path) -> None:
        compiler = shutil.which("cc")
        assert compiler is not None
        self.library = folder / f"{name.replace(' ', '_')}.so"
        flags = [*BUILDS[name], f"-DLANES={kernel.LANES}", "-shared", "-fPIC"]
        subprocess.run(
            [compiler, *flags, "-o", self.library, SOURCE, "-lm"], check=True, timeout=120
        )
        self._solve = ctypes.CDLL(str(self.library)).solve_states

    def solve(
        self, geometry: Floats, travel: Floats, rack: Floats, by_travel: bool,
        states: Floats, marks: Marks,
    ) -> None:  # fmt: skip
        """As :func:`kinematics.kernel.solve_states`, struts with the rod held; whole blocks of lanes only."""
        lanes = geometry.shape[1]
        if lanes % kernel.LANES:
            raise ValueError(f"{lanes} lanes are no multiple of {kernel.LANES}")

        def at(array: Floats | Marks) -> ctypes.c_void_p:
            return ctypes.c_void_p(array.ctypes.data)

        self._solve(
            at(geometry), ctypes.c_long(lanes), at(travel), ctypes.c_long(travel.size), at(rack),
            ctypes.c_int(by_travel), at(states), at(marks),
        )  # fmt: skip


def compiler_at_hand() -> bool:
    return shutil.which("cc") is not None

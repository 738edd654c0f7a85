"""Whether the kernel's passes were compiled to packed instructions, read from their machine code.

Run as a program in a process of its own, because compiled code that was kept on disk cannot be looked into:

    NUMBA_CACHE_DIR=$(mktemp -d) python -m tests.benchmarks.machine_code
"""

from __future__ import annotations

import json
import re
import sys

from kinematics import kernel
from kinematics.states import warm_up

PASSES = ("_newton", "_second_step", "_third_step", "_look", "_fill")
ARITHMETIC = r"v?(?:add|sub|mul|div|sqrt|fn?m(?:add|sub)\d+)"
PACKED = re.compile(rf"^\s+{ARITHMETIC}pd\s|^\s+f(?:add|sub|mul|div|sqrt|mla)\s+v\d", re.M)
SINGLE = re.compile(rf"^\s+{ARITHMETIC}sd\s|^\s+f(?:add|sub|mul|div|sqrt|madd)\s+d\d", re.M)


def counts() -> dict[str, tuple[int, int]]:
    """Packed and single arithmetic instructions of each pass."""
    warm_up()
    (text,) = kernel.solve_states.inspect_asm().values()
    found = dict.fromkeys(PASSES, (0, 0))
    for body in re.split(r"^(?=_ZN\S+:)", text, flags=re.M):
        label = body.split(":", 1)[0]
        for name in PASSES:
            if re.match(rf"_ZN10kinematics6kernel{len(name)}{name}B", label):
                packed, single = len(PACKED.findall(body)), len(SINGLE.findall(body))
                # where a pass was compiled more than once, the worst is told
                worse = found[name] == (0, 0) or packed < found[name][0]
                found[name] = (packed, single) if worse else found[name]
    return found


if __name__ == "__main__":
    json.dump(counts(), sys.stdout)

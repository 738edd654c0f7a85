"""Names for the array types that pass between modules."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Marks = NDArray[np.int8]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
AnyArray = NDArray[Any]
# A figure of one thing, or of as many as an array has.
Value = float | Floats

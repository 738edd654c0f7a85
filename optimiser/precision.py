"""With how many decimals a figure is printed: the one rule, for every table, sheet and page.

The last digit is no finer than a tenth of what the figure is uncertain by, which leaves the uncertainty one
or two digits, as is the habit of JCGM 100:2008, 7.2.6. What a figure is uncertain by is its spread over cars
as built, with the coverage factor of all ± figures; where that is not known, half of the difference that a
builder would notice in it stands for it. JSON keeps every digit.

What a person sets (toe, the stop, a slot, a stack) is printed as it is set, and a figure beside its bound
gets as many digits more as show on which side of it the figure lies.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import floor, isfinite, log10

from goals.duties import COVERAGE
from kinematics.measures import MEASURES

Bound = Sequence[float | None]
Band = Sequence[float]
# A figure in a row of them: its value, its bounds, its band over cars as built where that is known.
Shown = tuple[float | None, Sequence[Bound], Band | None]

# Of a normal spread, standard deviations from the 5 to the 95 percent quantile.
BAND_WIDTH = 2.0 * 1.6448536269514722
# Steps in which a person sets what is a measure too: decimals of rack at the stop in mm, of toe in deg.
AS_SET = {"stop_travel": 1, "toe": 2}
# What a figure is taken to be uncertain by, of the difference that a builder would notice in it.
NOTICED = 0.5
MOST_DECIMALS = 9
# A spread may be far less than anyone would notice: so many decimals more than without it, at most.
MOST_FINER = 1
# Figures are good to about this: a value that near is on the bound.
GRAIN = 1e-9


# Said where figures are printed.
DIGITS = "figures: the last digit is no finer than a tenth of what the figure may be off by"


def fixed(value: float, places: int) -> str:
    """A number with so many decimals, to tens where -1; never a negative zero. '-' for none."""
    if not isfinite(value):
        return "-"
    text = f"{round(value, places):.{max(places, 0)}f}" if places < 0 else f"{value:.{places}f}"
    return text.lstrip("-") if not text.strip("-0.") else text


def places_for(uncertain: float) -> int:
    """The most decimals whose last digit is no finer than a tenth of an uncertainty."""
    # a hair less, so that 0.1 is not told from 0.1 by rounding
    return floor(1.0 - log10(uncertain) + 1e-9)


def usual_places(measure: str) -> int:
    """A measure's decimals where its spread is not known; the catalogue's name."""
    if measure in AS_SET:
        return AS_SET[measure]
    known = MEASURES.get(measure)
    return 2 if known is None else max(0, places_for(NOTICED * known.scale))


def uncertainty(band: Band) -> float:
    """What a figure with a 5 to 95 percent band is uncertain by, with the coverage factor of files."""
    return COVERAGE * (band[1] - band[0]) / BAND_WIDTH


def places(measure: str, value: float | None, bounds: Sequence[Bound], band: Band | None) -> int:
    """Decimals of one figure of a measure."""
    found = usual_places(measure)
    if band is not None and measure not in AS_SET and uncertainty(band) > 0.0:
        found = min(places_for(uncertainty(band)), found + MOST_FINER)
    return found if value is None else telling_side(value, bounds, found)


def row_places(measure: str, row: Iterable[Shown]) -> int:
    """Decimals of several cars' figures of a measure, alike in all of them so that they can be compared."""
    known = [(value, bounds, band) for value, bounds, band in row if value is not None]
    found = max((places(measure, *shown) for shown in known), default=usual_places(measure))
    # 1.249 shows that it is under 1.25 with one decimal and with three, not with two
    while found < MOST_DECIMALS and not all(_tells_side(v, b, found) for v, b, _ in known):
        found += 1
    return found


def telling_side(value: float, bounds: Sequence[Bound], least: int) -> int:
    """``least`` decimals, or as many more as show on which side of every bound a value lies."""
    found = least
    while found < MOST_DECIMALS and not _tells_side(value, bounds, found):
        found += 1
    return found


def _tells_side(value: float, bounds: Sequence[Bound], decimals: int) -> bool:
    if not isfinite(value):
        return True
    shown = float(fixed(value, decimals))
    edges = (edge for bound in bounds for edge in bound if edge is not None)
    return all(side_of(shown, edge) == side_of(value, edge) for edge in edges)


def side_of(value: float, edge: float) -> int:
    """On which side of a bound a value lies: -1, 0 on it, 1."""
    return 0 if abs(value - edge) <= GRAIN else (1 if value > edge else -1)


def not_nothing(size: float, least: int) -> int:
    """``least`` decimals, or as many more as show that a size is there at all."""
    found = least
    while isfinite(size) and 0.0 < abs(size) < 0.5 * 10.0**-found and found < MOST_DECIMALS:
        found += 1
    return found


def as_set(value: float, least: int, most: int = 3) -> str:
    """What a person sets: with ``least`` decimals, and more where it was told with more."""
    found = least
    while isfinite(value) and found < most and abs(round(value, found) - value) > 0.5 * 10.0**-most:
        found += 1
    return fixed(value, found)

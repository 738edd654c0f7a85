"""A map of the tyre's least clearance over rack and travel, one candidate at a time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

import numpy as np

from kinematics.measures.clearance import gaps
from kinematics.scene import At
from optimiser.chart import Axis, Chart
from optimiser.drawn import Drawn, Figure, asked, stations, told
from optimiser.evaluate import tyre_nearest
from optimiser.picture import Label, Stroke, stroke
from optimiser.precision import telling_side
from optimiser.wording import short

COLUMNS, ROWS = 11, 9
# Gaps beyond the limit at which the next shade begins, mm.
SHADES = (0.0, 2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 50.0)
LEAST_CELL = 20.0  # px: narrower ones carry no figure


def clearance_maps(key: str, duty: str, cars: Sequence[Drawn]) -> Iterator[Figure]:
    """A map for each car that tells of obstacles."""
    for car in cars:
        nearest = tyre_nearest(car.scene)
        if nearest is not None:
            yield _map(key, duty, car, str(nearest["to"]))


def _map(key: str, duty: str, car: Drawn, nearest: str) -> Figure:
    """Left wheel; a symmetric car's right one is its mirror with the rack the other way."""
    scene = car.scene
    stop, past = float(scene.stop[0]), scene.frame.overtravel
    way = float(scene.turn_sign[0])
    racks = stations(-stop - past, stop + past, COLUMNS)
    low, high = scene.frame.travel
    travels = stations(low, high, ROWS)
    found = [
        [float(g) for g in gaps(scene, "left", [At(t, rack=way * u) for u in racks])[:, 0]]
        for t in travels
    ]
    limits = [d.minimum for d in asked(car.wanted, "tyre_clearance") if d.minimum is not None]
    limit = max(limits, default=0.0)
    half_u, half_t = (racks[1] - racks[0]) / 2.0, (travels[1] - travels[0]) / 2.0
    chart = Chart(
        Axis.exactly("rack, mm, left turn positive", racks[0] - half_u, racks[-1] + half_u),
        Axis.exactly("travel, mm, bump positive", low - half_t, high + half_t),
    )
    least = float(np.nanmin(np.array(found)))
    for t, row in zip(travels, found, strict=True):
        for u, gap in zip(racks, row, strict=True):
            if np.isfinite(gap):
                _cell(chart, (u - half_u, u + half_u), (t - half_t, t + half_t), gap, limit, least)
    words = f"{car.words}, left wheel: least {told(least, 1)} mm, nearest is {nearest}"
    title = "Least clearance of the tyre"
    caption = (
        "Left wheel, mm to the nearest obstacle, over travel and rack, to past the stop by play and give. "
        f"Nearest of all: {nearest}. "
        + (f"The limit is {short(limit)} mm; what is under it is red." if limits else "")
    )
    picture = chart.picture(title, words + ".")
    return Figure(
        f"{key}-clearance-{car.layer}", duty, "clearance", car.layer, title, caption, picture
    )


def _cell(
    chart: Chart,
    across: tuple[float, float],
    up: tuple[float, float],
    gap: float,
    limit: float,
    least: float,
) -> None:
    shade = bisect_right(SHADES, gap - limit)
    left, bottom = chart.at(across[0], up[0])
    right, top = chart.at(across[1], up[1])
    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    chart.shapes.append(stroke(corners, f"heat{shade}", closed=True))
    if gap == least:
        inner = [
            (left + 1, bottom - 1),
            (right - 1, bottom - 1),
            (right - 1, top + 1),
            (left + 1, top + 1),
        ]
        chart.texts.append(Stroke(tuple(inner), "worst", closed=True))
    if right - left >= LEAST_CELL:
        # a cell that is red reads as less than the limit, and no other does
        places = telling_side(gap, [(limit, None)], 1 if gap < 10.0 else 0)
        place = ((left + right) / 2.0, (top + bottom) / 2.0 + 4.0)
        chart.texts.append(Label(place, told(gap, places), f"cell-text on{shade}", "middle"))

"""Which of two figures of a measure is better, by what a duty asks of it; no judgement where it asks nothing.

A limit comes first: a figure that holds is better than one that fails. Then a target: nearer to what is
wanted is better. Else the limit's margin: more in hand, or less that is lacking. Differences that a builder
would not notice, and figures that each lie in the other's 5 to 95 percent band, are alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from kinematics.measures import MEASURES
from optimiser.wording import distance, measure_of

Record = dict[str, Any]
Verdict = Literal["better", "worse", "alike"]
Band = Sequence[float] | None

BETTER: Verdict = "better"
WORSE: Verdict = "worse"
ALIKE: Verdict = "alike"
OPPOSITE: dict[Verdict, Verdict] = {BETTER: WORSE, WORSE: BETTER, ALIKE: ALIKE}
# What is asked of a figure: entries of its record that have to be equal for two to be judged together.
ASKED = ("bounds", "wanted", "tolerance", "at", "in_hand")


def asked(entry: Record) -> bool:
    """Whether a measure's entry has a limit or a target."""
    return bool(entry.get("bounds")) or "wanted" in entry


def ask_alike(one: Record, other: Record) -> bool:
    """Whether the same is asked of both entries."""
    return all(one.get(name) == other.get(name) for name in ASKED)


def judge(
    key: str, one: Record, other: Record, bands: tuple[Any, Any] = (None, None)
) -> Verdict | None:
    """How the second of two entries of one measure stands to the first.

    Args:
        key: the measure's key in a duty's record.
        one, other: entries of ``measures`` of a ledger's record.
        bands: each one's 5 to 95 percent band, of a curve's points a list of them; None where not known.

    None where nothing is asked of the figure, or not the same of both.
    """
    if not asked(one) or not ask_alike(one, other):
        return None
    if one.get("limit") != other.get("limit"):
        return BETTER if other["limit"] else WORSE
    noticed = MEASURES[measure_of(key)].scale
    if isinstance(one["value"], list) or isinstance(other["value"], list):
        return _of_points(one, other, bands, noticed)
    return judge_figures(one["value"], other["value"], one, noticed, bands)


def judge_figures(
    one: float | None,
    other: float | None,
    ask: Record,
    noticed: float,
    bands: tuple[Band, Band] = (None, None),
) -> Verdict:
    """How the second of two figures stands to the first, both held against one ask.

    Args:
        one, other: figures in the measure's unit; None where there is none, which is worse than any.
        ask: ``bounds`` and ``wanted`` as a measure's entry has them.
        noticed: a difference that a builder would notice, in the unit.
        bands: each one's 5 to 95 percent band.
    """
    if one is None or other is None:
        return ALIKE if one is other else (BETTER if one is None else WORSE)
    holds = [_holds(value, ask) for value in (one, other)]
    if holds[0] != holds[1]:
        return BETTER if holds[1] else WORSE
    # what nobody would notice, or what errors of measuring and setting may make of it, tells nothing
    if abs(one - other) <= noticed or _within(one, other, bands):
        return ALIKE
    gain = _off(one, ask, holds[0]) - _off(other, ask, holds[1])
    if abs(gain) <= noticed:
        return ALIKE
    return BETTER if gain > 0.0 else WORSE


def _holds(value: float, ask: Record) -> bool:
    return all(distance(value, bound) >= 0.0 for bound in ask.get("bounds", ()))


def _off(value: float, ask: Record, holds: bool) -> float:
    """How far a figure is from the target, or past the limit, in its unit; less is better."""
    if "wanted" in ask and holds:
        return abs(value - float(ask["wanted"]))
    bounds = ask.get("bounds")
    if not bounds:
        return abs(value - float(ask["wanted"]))
    return -min(distance(value, bound) for bound in bounds)


def _within(one: float, other: float, bands: tuple[Band, Band]) -> bool:
    """Whether each figure lies in the other's band."""
    own, others = bands
    if own is None or others is None:
        return False
    return own[0] <= other <= own[1] and others[0] <= one <= others[1]


def _of_points(one: Record, other: Record, bands: tuple[Any, Any], noticed: float) -> Verdict:
    """Of a curve: alike where every point is; else by the root of the mean square of the misses."""
    each = list(zip(one["value"], other["value"], one["wanted"], strict=True))
    own = [b or [None] * len(each) for b in bands]
    alike = [
        judge_figures(a, b, {"wanted": w}, noticed, (own[0][i], own[1][i])) == ALIKE
        for i, (a, b, w) in enumerate(each)
    ]
    if all(alike):
        return ALIKE
    missing = [sum(value is None for value in entry["value"]) for entry in (one, other)]
    if missing[0] != missing[1]:
        return BETTER if missing[0] > missing[1] else WORSE
    sums = [0.0, 0.0]
    for a, b, w in each:
        if a is not None and b is not None:
            sums = [sums[0] + (a - w) ** 2, sums[1] + (b - w) ** 2]
    gain = (sums[0] / len(each)) ** 0.5 - (sums[1] / len(each)) ** 0.5
    if abs(gain) <= noticed:
        return ALIKE
    return BETTER if gain > 0.0 else WORSE


def judge_merits(
    one: float | None, other: float | None, grain: float = 0.0005, tied: bool | None = None
) -> Verdict:
    """The same of two merits, of which less is better and none is worst; ``tied`` ones are alike."""
    if one is None or other is None:
        return ALIKE if one is other else (BETTER if one is None else WORSE)
    if tied or abs(one - other) < grain:
        return ALIKE
    return BETTER if other < one else WORSE

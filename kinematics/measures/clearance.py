"""Measures of space: how near the rolling tyre comes to anything, and the tie rod to the inside of the wheel.

Both are figures of single states whose least over the envelope counts. Wheel, spacer, tyre and every hard
point are each lane's own, so whatever a part or a setting moves is seen here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from kinematics import tyre
from kinematics.arrays import Floats, Ints
from kinematics.bar_link import carried_by_arm, carried_by_knuckle
from kinematics.measures.bar import bar_states
from kinematics.measures.catalogue import Measure, Stage
from kinematics.measures.envelope import envelope, least_over_envelope, where_least
from kinematics.obstacles import MOVING, Obstacles, Packed, Piece, Spot, place_columns
from kinematics.scene import FEW, At, Scene, Side
from kinematics.segments import segment_distance

LINK_LENGTH = "antiroll_bar.link_length"


@dataclass(frozen=True)
class Closest:
    """Where the tyre of one lane comes nearest to an obstacle.

    ``gap`` in mm; ``travel`` in mm from ride height; ``rack`` in mm from the centre, left turn positive.
    """

    obstacle: str
    gap: float
    side: Side
    travel: float
    rack: float


def gaps(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
    """Gap of the tyre to the nearest obstacle at each state, (s, n) mm, negative where it touches.

    Infinite where nothing but a tie rod inside the rim is declared; not-a-number where no obstacle is
    declared or a state is not reached.
    """
    return gaps_and_nearest(scene, side, places)[0]


def gaps_and_nearest(scene: Scene, side: Side, places: Sequence[At]) -> tuple[Floats, Ints]:
    """Gaps as :func:`gaps`, and the number of the piece of the obstacles that is nearest, -1 for none."""
    obstacles = scene.obstacles
    if obstacles is None or not obstacles.pieces:
        shape = (len(places), scene.lanes)
        return np.full(shape, np.nan), np.full(shape, -1, dtype=np.int64)
    return _least(scene, side, places, obstacles, obstacles.packed, rim_alone=False)


def rod_gaps(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
    """Gap of the tie rod's tubes to the inside of the wheel at each state, (s, n) mm.

    Not-a-number where no tube rides on the tie rod, the barrel's radius is not known, or a state is not
    reached.
    """
    obstacles = scene.obstacles
    if obstacles is None or not obstacles.rod_pieces:
        return np.full((len(places), scene.lanes), np.nan)
    return _least(scene, side, places, obstacles, obstacles.packed_rods, rim_alone=True)[0]


def _nearest_obstacle(scene: Scene, side: Side, at: At) -> str:
    """Which obstacle is nearest to the tyre in a state of one lane."""
    assert scene.obstacles is not None
    nearest = int(gaps_and_nearest(scene, side, [at])[1][0, 0])
    return _name(scene.obstacles, scene.obstacles.packed, nearest)


def _nearest_tube(scene: Scene, side: Side, at: At) -> str:
    """Which tube of the tie rod is nearest to the inside of the wheel in a state of one lane."""
    obstacles = scene.obstacles
    assert obstacles is not None
    found = _least(scene, side, [at], obstacles, obstacles.packed_rods, rim_alone=True)[1]
    return _name(obstacles, obstacles.packed_rods, int(found[0, 0]))


def _name(obstacles: Obstacles, packed: Packed, piece: int) -> str:
    return "" if piece < 0 else obstacles.names[int(packed.owners[piece])]


def _least(
    scene: Scene,
    side: Side,
    places: Sequence[At],
    obstacles: Obstacles,
    packed: Packed,
    rim_alone: bool,
) -> tuple[Floats, Ints]:
    """Least gaps (s, n) to the packed pieces, and which piece; see :func:`kinematics.tyre.least_gaps`."""
    key = ("gaps", side, rim_alone, tuple(places))
    return scene.remember(
        key, lambda: _least_found(scene, side, places, obstacles, packed, rim_alone)
    )


def _least_found(
    scene: Scene,
    side: Side,
    places: Sequence[At],
    obstacles: Obstacles,
    packed: Packed,
    rim_alone: bool,
) -> tuple[Floats, Ints]:
    states = scene.states(side, places)
    found = np.empty((len(places), scene.lanes))
    nearest = np.empty(found.shape, dtype=np.int64)
    columns = scene.columns(side)
    points = _hard_points(scene, side, places, packed.channels)
    tyre.least_gaps(
        np.ascontiguousarray(states.raw),
        np.ascontiguousarray(states.marks),
        columns,
        scene.corner_rack(side, places),
        scene.keep(
            ("carriers", side),
            lambda: place_columns(obstacles, columns, lambda name: scene.point(side, name)),
        ),
        wheels(scene),
        packed.kinds,
        packed.carriers,
        packed.named,
        packed.ends,
        packed.axes,
        packed.sizes,
        packed.radii,
        packed.runs,
        packed.rods,
        packed.used,
        points,
        rim_alone,
        found,
        nearest,
    )
    return found, nearest


def bar_gaps(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
    """Gap of the tubes on the anti-roll bar to those on the lower arm at each state, (s, n) mm.

    Not-a-number where not both are declared, or a state or the bar is not reached.
    """
    nothing = np.full((len(places), scene.lanes), np.nan)
    obstacles = scene.obstacles
    if obstacles is None:
        return nothing
    bars, arms = obstacles.tubes(obstacles.bars), obstacles.tubes(obstacles.arms)
    if not bars or not arms:
        return nothing
    states = scene.states(side, places)
    least = _least_of_pairs(scene, side, places, bars, arms)
    return np.where(states.reached, least, np.nan)


def _nearest_pair(scene: Scene, side: Side, at: At) -> str:
    """Which tube on the bar is nearest to which on the lower arm in a state of one lane."""
    obstacles = scene.obstacles
    assert obstacles is not None
    bars, arms = obstacles.tubes(obstacles.bars), obstacles.tubes(obstacles.arms)
    gaps = {
        (bar.owner, arm.owner): float(_least_of_pairs(scene, side, [at], (bar,), (arm,))[0, 0])
        for bar in bars
        for arm in arms
    }
    bar_owner, arm_owner = min(gaps, key=lambda pair: gaps[pair])
    return f"{obstacles.names[bar_owner]} and {obstacles.names[arm_owner]}"


def _least_of_pairs(
    scene: Scene,
    side: Side,
    places: Sequence[At],
    bars: Sequence[Piece],
    arms: Sequence[Piece],
) -> Floats:
    """Least gap of any of some tubes on the bar to any of some on the lower arm, (s, n) mm."""
    bar_places = [_ends(scene, side, places, piece) for piece in bars]
    arm_places = [_ends(scene, side, places, piece) for piece in arms]
    pairs = list(product(range(len(bars)), range(len(arms))))
    # few lanes take all pairs at once; of many, one pair is work enough and fills less memory
    each = len(pairs) if scene.lanes <= FEW else 1
    least = np.full((len(places), scene.lanes), np.inf)
    for start in range(0, len(pairs), each):
        some = pairs[start : start + each]
        tubes = np.array([[bars[b].radius, arms[a].radius] for b, a in some])[:, :, None, None]
        bar_ends = np.stack([bar_places[b] for b, _ in some], axis=2)
        arm_ends = np.stack([arm_places[a] for _, a in some], axis=2)
        gaps = segment_distance(*bar_ends, *arm_ends) - tubes[:, 0] - tubes[:, 1]
        # a bar out of reach is not-a-number, and stays so
        least = np.minimum(least, gaps.min(axis=0))
    return least


def _ends(scene: Scene, side: Side, places: Sequence[At], piece: Piece) -> Floats:
    """Both ends of a tube on the bar or the arm at each state, (2, 3, s, n) mm in body axes."""
    ends = (_place(scene, side, places, spot) for spot in (piece.first, piece.second))
    return np.stack(tuple(ends))


def _place(scene: Scene, side: Side, places: Sequence[At], spot: Spot) -> Floats:
    states = scene.states(side, places)
    if spot.carrier == tyre.TIE_ROD:
        return np.full((3, len(places), scene.lanes), np.nan)
    if spot.name is None:
        at = np.repeat(np.array(spot.at)[:, None], scene.lanes, axis=1)
        return carried_by_arm(scene.columns(side), states.raw, at)
    if spot.carrier == tyre.BODY:
        named = _hard_points(scene, side, places, (spot.name,))[:, 0]
        return np.broadcast_to(named, (3, len(places), scene.lanes))
    # what is left to hang on is the knuckle's
    return carried_by_knuckle(
        states.raw, scene.point(side, spot.name), scene.point(side, "knuckle_ball_joint")
    )


def _hard_points(scene: Scene, side: Side, places: Sequence[At], names: tuple[str, ...]) -> Floats:
    """Named points of every lane, (3, m, s, n) mm; (3, m, 1, n) where none moves with the state."""
    moves = not MOVING.isdisjoint(names)
    points = np.zeros((3, len(names), len(places) if moves else 1, scene.lanes))
    bar = bar_states(scene, side, places) if moves else None
    for number, name in enumerate(names):
        if bar is None or name not in MOVING:
            points[:, number] = scene.point(side, name)[:, None, :]
        elif name == "bar_end":
            points[:, number] = bar.end
        else:
            points[:, number] = bar.end + bar.link * scene.channels.get(LINK_LENGTH, side)
    return points


def wheels(scene: Scene) -> Floats:
    """The wheel of every lane, (n, ENTRIES), see :func:`kinematics.tyre.wheels`."""

    def entries() -> Floats:
        return tyre.wheels(
            scene.number("tyre.diameter"),
            scene.number("tyre.width"),
            scene.number("tyre.loaded_radius"),
            scene.number("tyre.shoulder"),
            scene.number("tyre.growth"),
            scene.number("tyre.bulge"),
            scene.number("wheel.barrel_radius"),
            0.5 * scene.number("wheel.width") + scene.number("wheel.lip"),
        ).T

    return np.ascontiguousarray(scene.keep("wheels", entries).T)


def closest(scene: Scene) -> Closest | None:
    """Where the tyre comes nearest over the envelope, for a scene of one lane; None where there is no gap.

    On a mirrored car the left wheel stands for both: then the rack is told for that wheel.
    """
    obstacles = scene.obstacles
    if obstacles is None or not obstacles.pieces:
        return None
    places = envelope(scene)
    found: Closest | None = None
    for side in scene.sides():
        distances, nearest = gaps_and_nearest(scene, side, places)
        state = int(np.nan_to_num(distances[:, 0], nan=np.inf).argmin())
        gap = float(distances[state, 0])
        if np.isfinite(gap) and (found is None or gap < found.gap):
            owner = int(obstacles.packed.owners[nearest[state, 0]])
            at = places[state]
            rack = float((scene.turn_sign * scene.rack_at(at))[0])
            found = Closest(obstacles.names[owner], gap, side, at.travel, rack)
    return found


MEASURES = (
    Measure(
        name="tyre_clearance",
        unit="mm",
        group="space",
        definition="Least gap between the rolling tyre on its rim and the declared obstacles over the whole "
        "envelope of travel and rack position and beyond the stop by the allowance; negative where they "
        "touch. Inside the rim the tie rod is left to rod_clearance.",
        source="solid geometry: signed distance of a rounded cylinder, hollow where the barrel is known",
        stage=Stage.ENVELOPE,
        figure=least_over_envelope(gaps),
        state=gaps,
        scale=1.0,
        where=where_least(gaps, _nearest_obstacle),
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"obstacles"}),
    ),
    Measure(
        name="rod_clearance",
        unit="mm",
        group="space",
        definition="Least gap between the tubes that ride on the tie rod and the inside of the rim's barrel "
        "with its inner edge over the same envelope; negative where they touch. Spokes are not known.",
        source="solid geometry: distance from a straight line to a hollow cylinder and its edge",
        stage=Stage.ENVELOPE,
        figure=least_over_envelope(rod_gaps),
        state=rod_gaps,
        scale=1.0,
        where=where_least(rod_gaps, _nearest_tube),
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"obstacles", "wheel", "wheel.barrel_radius"}),
    ),
    Measure(
        name="bar_clearance",
        unit="mm",
        group="space",
        definition="Least gap between the tubes that ride on the anti-roll bar (its arm, its link) and those "
        "on the lower arm over the same envelope; negative where they touch. No gate: a link's joint may "
        "well sit on the arm's own line.",
        source="distance between two straight pieces, see kinematics/segments.py",
        stage=Stage.ENVELOPE,
        figure=least_over_envelope(bar_gaps),
        state=bar_gaps,
        scale=1.0,
        where=where_least(bar_gaps, _nearest_pair),
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"obstacles", "antiroll_bar", "antiroll_bar.pivot"}),
    ),
)

"""What a part can change, as named channels: points (three numbers) and single numbers.

Every form of part effect comes down to a shift of some channels, so that a setting of a build is a sum.
"""

from __future__ import annotations

from goals.parts import Numbers, PointName, Station

ARM = ("arm_front", "arm_rear", "arm_ball_joint")
BODY = ("top_mount",)
KNUCKLE = ("knuckle_ball_joint", "strut_lower", "strut_upper", "hub_face")
STEERING = ("tie_rod_outer", "tie_rod_inner")
VECTORS = (*ARM, *BODY, *KNUCKLE, *STEERING)

# Height of the stack under the outer tie-rod joint: it is the stud's lever arm beside moving the joint.
STUD_LEVER = "tie_rod_stud.lever"

NUMBERS = (
    "rack.travel",
    "rack.per_turn",
    "wheel.offset",
    "wheel.width",
    "wheel.spacer",
    "wheel.barrel_radius",
    "wheel.lip",
    "tyre.width",
    "tyre.diameter",
    "tyre.loaded_radius",
    "tyre.shoulder",
    "tyre.growth",
    "tyre.bulge",
    "lowered_by",
    STUD_LEVER,
)

# Channels that leave the straight-ahead pose at a given toe as it is: the tie rod's own ends and the rack.
STEERING_ONLY = frozenset({*STEERING, "rack.travel", "rack.per_turn", STUD_LEVER})


def channel_of(point: PointName, station: Station) -> str:
    """The channel that a point name means for a part at a station.

    ``ball_joint`` is the arm's end for a lower arm and the knuckle's end for every other part.
    """
    if point is PointName.BALL_JOINT:
        return "arm_ball_joint" if station is Station.LOWER_ARM else "knuckle_ball_joint"
    return point.value


def numbers_of(numbers: Numbers | None) -> dict[str, float]:
    """Channel → number for what a ``sets`` or ``adds`` block names."""
    if numbers is None:
        return {}
    found: dict[str, float] = {}
    for section in ("rack", "wheel", "tyre"):
        block = getattr(numbers, section)
        if block is not None:
            for name, value in block.model_dump(exclude_none=True).items():
                found[f"{section}.{name}"] = float(value)
    if numbers.lowered_by is not None:
        found["lowered_by"] = numbers.lowered_by
    return found

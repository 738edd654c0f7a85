"""What a part can change, as named channels: points (three numbers) and single numbers.

Every form of part effect comes down to a shift of some channels, so that a setting of a build is a sum.
"""

from __future__ import annotations

from goals.parts import BarNumbers, Numbers, PointName, Station

ARM = ("arm_front", "arm_rear", "arm_ball_joint")
BODY = ("top_mount", "upper_front", "upper_rear", "arm_upper_ball_joint")
KNUCKLE = (
    "knuckle_ball_joint",
    "strut_lower",
    "strut_upper",
    "knuckle_upper_ball_joint",
    "hub_face",
)
STEERING = ("tie_rod_outer", "tie_rod_inner")
VECTORS = (*ARM, *BODY, *KNUCKLE, *STEERING)

# Height of the stack under the outer tie-rod joint: it is the stud's lever arm beside moving the joint.
STUD_LEVER = "tie_rod_stud.lever"

# Numbers that neither car nor parts need tell: not-a-number where they do not.
OPTIONAL = (
    "hub.bolts",
    "hub.pitch_circle",
    "hub.spigot",
    "hub.stud_length",
    "hub.stud_diameter",
    "hub.stud_pitch",
    "hub.engagement",
    "wheel.bolts",
    "wheel.pitch_circle",
    "wheel.bore",
    "wheel.pad",
    "strut.bump",
    "strut.droop",
    "wheel.barrel_radius",
    "tyre.shoulder",
    "tyre.bulge",
)

NUMBERS = (
    "rack.travel",
    "rack.per_turn",
    "wheel.offset",
    "wheel.width",
    "wheel.spacer",
    "wheel.lip",
    "tyre.width",
    "tyre.diameter",
    "tyre.loaded_radius",
    "tyre.growth",
    *OPTIONAL,
    "lowered_by",
    STUD_LEVER,
)

# What each station's stack leaves unfilled of its stud; only builds with such a stack have the channel.
UNFILLED = {station: f"{station.value}.unfilled" for station in Station}

# The anti-roll bar's; only a car with a bar has its numbers, only one whose bar's points are told has these.
BAR = ("bar_pivot", "bar_end", "bar_link")
BAR_NUMBERS = tuple(f"antiroll_bar.{name}" for name in BarNumbers.model_fields)

# Channels that leave the straight-ahead pose at a given toe as it is: the tie rod's own ends and the rack,
# and the anti-roll bar, which moves no wheel.
STEERING_ONLY = frozenset(
    {
        *STEERING,
        "rack.travel",
        "rack.per_turn",
        STUD_LEVER,
        *UNFILLED.values(),
        *BAR,
        *BAR_NUMBERS,
    }
)


# Those of them that a tie rod's ends and its length do not hang on.
BENEATH_THE_RODS = frozenset({"rack.travel", "rack.per_turn", *BAR, *BAR_NUMBERS})


def channel_of(point: PointName, station: Station) -> str:
    """The channel that a point name means for a part at a station.

    ``ball_joint`` is the arm's end for a lower arm and the knuckle's end for every other part;
    ``upper_ball_joint`` likewise with the upper arm.
    """
    if point is PointName.BALL_JOINT:
        return "arm_ball_joint" if station is Station.LOWER_ARM else "knuckle_ball_joint"
    if point is PointName.UPPER_BALL_JOINT:
        arm = station is Station.UPPER_ARM
        return "arm_upper_ball_joint" if arm else "knuckle_upper_ball_joint"
    return point.value


def numbers_of(numbers: Numbers | None) -> dict[str, float]:
    """Channel → number for what a ``sets`` or ``adds`` block names."""
    if numbers is None:
        return {}
    found: dict[str, float] = {}
    for section in ("rack", "wheel", "tyre", "hub", "strut", "antiroll_bar"):
        block = getattr(numbers, section)
        if block is not None:
            # the wheel's inside stands among its numbers, and is none
            given = block.model_dump(exclude_none=True, exclude={"barrel"})
            found |= {f"{section}.{name}": float(value) for name, value in given.items()}
    if numbers.lowered_by is not None:
        found["lowered_by"] = numbers.lowered_by
    return found

"""The kernel against the same mechanism built in MuJoCo: bodies, joints and loop closures.

The corner is described to MuJoCo as a builder would describe it: an arm on a hinge, a knuckle on the arm's
ball joint, a strut rod that slides in the knuckle and hangs by a ball in the body's top mount, a rack on a
slide, and a tie rod with a ball at each end. A double wishbone has an upper arm on a hinge in place of the
strut, its end held to the knuckle's. MuJoCo does the forward kinematics, says how far its two loop
closures are open, and gives their Jacobian; joints are then moved by MuJoCo's own integrator until the
loops are closed. None of our equations, angles or frames takes part.

Tolerance: MuJoCo works in double precision on the same millimetres, so the loops close to about 1e-12 mm,
and iteration stops below 1e-9 mm. Bodies' frames pass through unit quaternions, which costs some 1e-13 of a
length of 700 mm. Toward full lock the pose magnifies an open joint by one over the sine of the toggle
angle (at least 20 deg here), by less than 10. So 1e-7 mm is asked for, and 1e-7 deg, which over a wheel's
radius is about 5e-7 mm.
"""

from __future__ import annotations

import mujoco
import numpy as np
import pytest

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.states import solve
from tests.cars import AHEAD, INCLINED, LOWERED, MIDDLING, OFF_LINE, SMALL, Car, geometry
from tests.wishbones import ROADSTER, WISHBONES

CLOSED_MM = 1e-9
POINT_TOLERANCE_MM = 1e-7
ANGLE_TOLERANCE_DEG = 1e-7

STATES = tuple(
    (t, share) for t in (-60.0, -20.0, 0.0, 30.0, 60.0) for share in (-1.0, 0.0, 0.5, 1.0)
)

MODEL = """
<mujoco>
  <compiler angle="radian" autolimits="false"/>
  <option gravity="0 0 0" jacobian="dense"/>
  <default><geom type="sphere" size="1" mass="1" contype="0" conaffinity="0"/></default>
  <worldbody>
    {upper_body}
    <body name="arm" pos="{arm_rear}">
      <joint name="pivot" type="hinge" axis="{pivot}"/> <geom/>
      <body name="knuckle" pos="{ball_from_rear}">
        <joint name="ball_joint" type="ball"/> <geom/>
        <site name="ball_joint"/>
        <site name="wheel_centre" pos="{centre}"/>
        <site name="outboard" pos="{outboard}"/>
        <site name="rod_outer" pos="{rod_outer}"/>
        {upper_knuckle}
      </body>
    </body>
    <body name="rack" pos="{tie_rod_inner}">
      <joint name="rack" type="slide" axis="0 1 0"/> <geom/>
      <body name="tie_rod">
        <joint name="inner" type="ball"/> <geom/>
        <site name="rod_end" pos="{rod}"/>
      </body>
    </body>
  </worldbody>
  <equality>
    <connect site1="upper_knuckle" site2="upper_body"/>
    <connect site1="rod_end" site2="rod_outer"/>
  </equality>
</mujoco>
"""

STRUT = (
    '<site name="upper_body" pos="{top_mount}"/>',
    """<body name="strut_rod" pos="{top}">
          <joint name="strut" type="slide" axis="{strut}"/> <geom/>
          <site name="upper_knuckle"/>
        </body>""",
)
UPPER_ARM = (
    """<body name="upper_arm" pos="{upper_rear}">
      <joint name="upper_pivot" type="hinge" axis="{upper_pivot}"/> <geom/>
      <site name="upper_body" pos="{upper_ball_from_rear}"/>
    </body>""",
    '<site name="upper_knuckle" pos="{upper_ball}"/>',
)


def text(vector: Floats) -> str:
    return " ".join(repr(float(x)) for x in vector)


class Mechanism:
    """One car's left corner as MuJoCo bodies, at the measured pose to begin with."""

    def __init__(self, car: Car) -> None:
        p = car.vectors()
        toe, camber = np.radians(car.toe), np.radians(car.camber)
        spindle = np.array(
            [np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)]
        )
        ball = p["ball_joint"]
        centre = p["hub_face"] + car.inset * spindle - ball
        places = {
            "arm_rear": p["arm_rear"],
            "pivot": p["arm_front"] - p["arm_rear"],
            "ball_from_rear": ball - p["arm_rear"],
            "centre": centre,
            "outboard": centre + 1000.0 * spindle,
            "rod_outer": p["tie_rod_outer"] - ball,
            "tie_rod_inner": p["tie_rod_inner"],
            "rod": p["tie_rod_outer"] - p["tie_rod_inner"],
        }
        if "top_mount" in p:
            upper = STRUT
            places |= {
                "top_mount": p["top_mount"],
                "top": p["top_mount"] - ball,
                "strut": p["top_mount"] - p["strut_lower"],
            }
        else:
            upper = UPPER_ARM
            places |= {
                "upper_rear": p["upper_rear"],
                "upper_pivot": p["upper_front"] - p["upper_rear"],
                "upper_ball_from_rear": p["upper_ball_joint"] - p["upper_rear"],
                "upper_ball": p["upper_ball_joint"] - ball,
            }
        words = {name: text(vector) for name, vector in places.items()}
        body, knuckle = (part.format(**words) for part in upper)
        xml = MODEL.format(**words, upper_body=body, upper_knuckle=knuckle)
        self.model = mujoco.MjModel.from_xml_string(xml)
        self.data = mujoco.MjData(self.model)
        self.rack = int(self.model.joint("rack").dofadr[0])
        mujoco.mj_fwdPosition(self.model, self.data)
        self.level = self.site("wheel_centre")[2]

    def site(self, name: str) -> Floats:
        return np.array(self.data.site(name).xpos)

    def open_loops(self, travel: float, rack: float) -> tuple[Floats, Floats]:
        """How far loops, wheel height and rack are from where they should be, and the Jacobian of it."""
        model, data = self.model, self.data
        mujoco.mj_fwdPosition(model, data)
        loops = np.array(data.efc_pos)
        slopes = np.array(data.efc_J).reshape(loops.size, model.nv)
        wheel = np.zeros((3, model.nv))
        mujoco.mj_jacSite(model, data, wheel, None, model.site("wheel_centre").id)
        rack_row = np.zeros(model.nv)
        rack_row[self.rack] = 1.0
        height = self.site("wheel_centre")[2] - self.level - travel
        at = data.qpos[model.joint("rack").qposadr[0]] - rack
        return (
            np.concatenate([loops, [height, at]]),
            np.vstack([slopes, wheel[2], rack_row]),
        )

    def close(self, travel: float, rack: float) -> None:
        """Move the joints until every loop is closed (Newton; the tie rod's own spin is left alone)."""
        for _ in range(20):
            miss, slopes = self.open_loops(travel, rack)
            if np.abs(miss).max() < CLOSED_MM:
                return
            step = -np.linalg.lstsq(slopes, miss, rcond=None)[0]
            mujoco.mj_integratePos(self.model, self.data.qpos, step, 1.0)
        raise AssertionError("the mechanism did not close")

    def walk(self, travel: float, rack: float) -> None:
        """From the measured pose to a state in small steps, so that the linkage keeps its branch."""
        mujoco.mj_resetData(self.model, self.data)
        for share in np.linspace(0.0, 1.0, 7)[1:]:
            self.close(share * travel, share * rack)


@pytest.mark.parametrize("car", [MIDDLING, ROADSTER], ids=lambda car: car.name)
def test_the_model_is_one_mechanism(car: Car) -> None:
    """Nine joint freedoms, six loop equations: travel, rack, tie rod's spin and nothing else is free."""
    mechanism = Mechanism(car)
    miss, slopes = mechanism.open_loops(0.0, 0.0)
    assert mechanism.model.nv == 9
    assert np.linalg.matrix_rank(slopes[:-2], tol=1e-6) == 6
    assert np.linalg.matrix_rank(slopes, tol=1e-6) == 8
    # the measured pose is assembled
    assert np.abs(miss).max() < 1e-9


@pytest.mark.parametrize(
    "car",
    [MIDDLING, AHEAD, SMALL, LOWERED, INCLINED, OFF_LINE, *WISHBONES],
    ids=lambda car: car.name,
)
def test_points_and_angles_over_travel_and_rack(car: Car) -> None:
    mechanism = Mechanism(car)
    travel = np.array([t for t, _ in STATES])
    rack = np.array([share for _, share in STATES]) * car.rack_travel
    states = solve(geometry(car), travel, rack[:, None])
    assert states.reached.all()
    for s in range(len(STATES)):
        mechanism.walk(travel[s], rack[s])
        for row, site in (
            (k.BALL_JOINT, "ball_joint"),
            (k.ROD_OUTER, "rod_outer"),
            (k.CENTRE, "wheel_centre"),
        ):
            np.testing.assert_allclose(
                states.raw[row : row + 3, s, 0],
                mechanism.site(site),
                rtol=0.0,
                atol=POINT_TOLERANCE_MM,
            )
        spindle = (mechanism.site("outboard") - mechanism.site("wheel_centre")) / 1000.0
        toe = np.degrees(np.arctan2(spindle[0], spindle[1]))
        camber = np.degrees(np.arctan2(-spindle[2], np.hypot(spindle[0], spindle[1])))
        assert states.toe[s, 0] == pytest.approx(toe, abs=ANGLE_TOLERANCE_DEG)
        assert states.camber[s, 0] == pytest.approx(camber, abs=ANGLE_TOLERANCE_DEG)


def test_the_comparison_would_notice() -> None:
    """Control: a rod end 0.01 mm off in one of the two shows, so agreement is not for want of looking."""
    off = MIDDLING.moved(tie_rod_outer=(0.0, 0.0, 0.01))
    mechanism = Mechanism(off)
    mechanism.walk(60.0, 0.0)
    states = solve(geometry(MIDDLING), np.array([60.0]), np.zeros((1, 1)))
    assert abs(states.raw[k.CENTRE, 0, 0] - mechanism.site("wheel_centre")[0]) > 1e-5
    assert abs(states.raw[k.ROD_OUTER + 2, 0, 0] - mechanism.site("rod_outer")[2]) > 5e-3

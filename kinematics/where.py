"""Where a figure was decided: the state, or what it follows from where it is of no state."""

from __future__ import annotations

from dataclasses import dataclass

from kinematics.scene import At, Scene, Side


@dataclass(frozen=True)
class Where:
    """The state in which a figure of one lane was least or most, or at which alone it is taken.

    Attributes:
        side: whose wheel it is; None where it is of both, or of the whole car.
        travel: wheel travel in mm from ride height, bump positive.
        rack: mm from the centre, a left turn positive.
        until: the other end of the travel of a figure that is between two states, mm.
        of: which of several things, where there are several: an obstacle, an end of the strut's stroke.
        basis: what a figure that is of no state follows from; empty where there is a state.

    On a car whose sides are alike the left wheel stands for both: a right turn is then that of a wheel on
    the outside.
    """

    side: Side | None = None
    travel: float = 0.0
    rack: float = 0.0
    until: float | None = None
    of: str = ""
    basis: str = ""

    @classmethod
    def of_state(cls, scene: Scene, side: Side, at: At, of: str = "") -> Where:
        """One state of a scene of one lane."""
        rack = float((scene.turn_sign * scene.rack_at(at))[0])
        # adding nothing makes a negative zero a plain one
        return cls(side, at.travel + 0.0, rack + 0.0, of=of)

    def at(self, scene: Scene) -> At:
        """The state again, told by its rack displacement alone."""
        return At(self.travel, rack=float(scene.turn_sign[0]) * self.rack)

"""Names of the rows in the kernel's columns: what a lane's geometry is, and what a solved state is.

Millimetres, body-fixed ISO 8855 axes of a left corner unless the knuckle's own frame is named.
"""

# Rows of the geometry columns. A vector takes three rows from the one named.
CIRCLE_CENTRE = 0  # centre of the ball joint's circle about the arm's pivot axis
CIRCLE_COS = 3  # from that centre to the ball joint at angle zero
CIRCLE_SIN = 6  # the same turned by 90 degrees about the pivot axis
TOP_MOUNT = 9  # of a double wishbone: centre of the upper ball joint's circle
RACK_END = 12  # inner tie-rod joint, rack centred
STRUT_FOOT = (
    15  # knuckle frame, from ball joint square to the sliding axis, or to the upper ball joint
)
STRUT_AXIS = 18  # knuckle frame, unit vector up the sliding axis; nothing on a double wishbone
ROD_END = 21  # knuckle frame, ball joint to outer tie-rod joint
WHEEL_CENTRE = 24  # knuckle frame, ball joint to wheel centre
LOADED_RADIUS = 27
ROD_LENGTH = 28
BRANCH = 29  # +1 or -1
START = 30  # first guess of t
START_SLOPE = 31  # change of t per millimetre of wheel travel at that guess
RIDE_Z = 32  # wheel-centre height at travel zero, body axes
UPPER_COS = (
    33  # double wishbone: from the upper circle's centre to the upper ball joint at angle zero
)
UPPER_SIN = 36  # the same turned by 90 degrees about the upper arm's pivot axis
UPPER_BRANCH = 39  # +1 or -1: which of the upper arm's two poses
KIND = 40  # STRUT or WISHBONE, alike in all lanes of a call
GEOMETRY_ROWS = 41

# Kinds of corner.
STRUT = 0.0
WISHBONE = 1.0

# Rows of the state columns.
ARM_T = 0
AXIS = 1  # unit vector from ball joint to top mount or upper ball joint
SPINDLE = 4  # unit vector, outward
CENTRE = 7  # wheel centre
CONTACT = 10  # contact point
CONTACT_RATE_Y = 13  # lateral movement of the contact point per arm-parameter change
CONTACT_RATE_Z = 14
CENTRE_RATE_Z = 15  # the same of the wheel centre's height
TOGGLE_SINE = 16  # sine of the angle between tie rod and steering arm along the steering axis
BALL_JOINT = 17
ROD_OUTER = 20
STRUT_LENGTH = (
    23  # along the sliding axis, from square to the ball joint up to the top mount; strut only
)
FORWARD = 24  # unit vector, the knuckle frame's x axis
STATE_ROWS = 27

# Marks of a state.
REACHED = 0
ROD_OUT_OF_REACH = 1  # tie rod cannot meet steering arm: past over-centre
ARM_OUT_OF_REACH = (
    2  # no arm angle gives this wheel-centre height, or strut or upper arm cannot follow
)

"""Parts of a first robot file that wait behind '#': a lift, a guide, and tracking wheels."""

from __future__ import annotations

from collections.abc import Callable

Writes = Callable[[str, float], str]


def _point(of: Writes, *values: float) -> str:
    return "[" + ", ".join(of("length", value) for value in values) + "]"


def lift_text(of: Writes, height: float, cylinder: str) -> str:
    """Write a lift and a guide that a team can uncomment.

    Parameters
    ----------
    of : callable
        Writes a number of a kind in the team's unit [-].
    height : float
        Of the robot [m].
    cylinder : str
        The cylinder that the file lists as an example [-].

    Returns
    -------
    str
        Comment lines; the parts that ride the arm are named 'arm' in the file's parts [-].
    """
    z = 0.8 * height
    pivot, fixed, pin = _point(of, 0.0, z), _point(of, 0.05, z - 0.14), _point(of, 0.06, z)
    return f"""\
# A lift swung by a cylinder, and a straight guide: two more mechanisms. Raised arms store energy and pinch: support
# them before you reach in. Take away the '#' in front of every line below; each lift needs a cylinder of its own.
#  lift:
#    kind: lift
#    rides: arm   # the group of parts that is the arm
#    side: ahead
#    pivot: {pivot}   # [x, z], as are the pins
#    fixed_pin: {fixed}
#    arm_pin: {pin}
#    cylinder: {cylinder}
#    swing: 40 deg
#  slide:
#    kind: guide
#    length: {of("length", 0.06)}   # between its two bearing pads
#    load: {of("force", 10.0)}
#    load_offset: {of("length", 0.02)}
#    drive_offset: {of("length", 0.01)}
"""


def tracking_text(of: Writes) -> str:
    """Write tracking wheels and a gyro that a team can uncomment.

    Parameters
    ----------
    of : callable
        Writes a number of a kind in the team's unit [-].

    Returns
    -------
    str
        Comment lines [-].
    """
    wheel = f"diameter: {of('length', 0.06985)}, counts: 4096, down_force: {of('force', 12.0)}"
    return f"""\
# Tracking wheels and a gyro, with which the robot knows where it is. Take away the '#' in front of every line below.
#tracking:
#  wanted: {of("length", 0.06)}   # how near it must know its place, in 95 % of runs
#  wheels:
#    ahead: {{direction: forward, offset: {of("length", 0.025)}, {wheel}}}
#    across: {{direction: sideways, offset: {of("length", -0.06)}, {wheel}}}
#  gyro: {{drift: 1 deg/min}}
"""

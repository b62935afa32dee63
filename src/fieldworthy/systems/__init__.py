"""The subsystems of a robot, one folder each: what the file says, what is computed, what is judged, what is drawn.

`SYSTEMS` is what this package's entry point names; a further package names its own the same way.
"""

from __future__ import annotations

from fieldworthy.systems import (
    air,
    arm,
    balance,
    clamp,
    climb,
    drive,
    grabber,
    guide,
    intake,
    lift,
    limits,
    sorter,
    tracking,
)

SYSTEMS = (
    drive.SYSTEM,
    balance.SYSTEM,
    air.SYSTEM,
    intake.SYSTEM,
    sorter.SYSTEM,
    clamp.SYSTEM,
    grabber.SYSTEM,
    climb.SYSTEM,
    lift.SYSTEM,
    arm.SYSTEM,
    guide.SYSTEM,
    tracking.SYSTEM,
    limits.SYSTEM,
)
"""In the order in which their checks run and their pages stand."""

"""Pushes against a scale, and a locked wheel dragged with one.

Caution: motors that push without turning heat within seconds: push for a second, then wait. Tie the scale so that it
cannot spring away.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.files.kinds import Real
from fieldworthy.measure.drivebench import Trial
from fieldworthy.measure.model import DragTest, PushTest
from fieldworthy.measure.strand import Run, by_hand
from fieldworthy.physics.statics.support import STANDARD_GRAVITY


def push_test(given: PushTest, name: str, force_sd: float) -> Run:
    """Take a push of the robot against a scale."""
    added, slips = float(given.added), given.ends == "slips"

    def force(trial: Trial) -> Real:
        """Force on the scale [N]."""
        pace = trial.pace(added)
        if slips:
            return pace.grip
        return np.minimum(pace.line.stall_force, pace.line.force_limit) - pace.load.resistance

    return Run([by_hand(f"force of {name}", "force", [float(r) for r in given.readings], force_sd, force)])


def drag_test(given: DragTest, force_sd: float) -> Run:
    """Take a locked wheel that is dragged over the tiles."""
    weight, wheel = float(given.load) * STANDARD_GRAVITY, given.wheel

    def force(trial: Trial) -> Real:
        """Force on the scale [N]."""
        return trial.robot.catalogue.wheels[wheel].grip * weight

    return Run([by_hand(f"drag of '{wheel}'", "force", [float(r) for r in given.readings], force_sd, force)])

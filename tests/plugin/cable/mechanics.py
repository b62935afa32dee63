"""How far apart the plugs of a cable are, over cases."""

from __future__ import annotations

import numpy as np

from fieldworthy.vehicle.body import side_moved


def apart(cable, pose):
    """The straight way from plug to plug in a pose [m]."""
    start = _placed(cable.start, pose.moves.get(cable.start_rides))
    end = _placed(cable.end, pose.moves.get(cable.end_rides))
    return np.sqrt(sum(np.square(np.subtract(a, b)) for a, b in zip(start, end, strict=True)))


def _placed(point, move):
    """Where a plug is once a pose has moved the group that it rides."""
    x, z = side_moved(np.asarray(point[0])[None], np.asarray(point[2])[None], move)
    across = point[1] if move is None or move.shift is None else np.add(point[1], move.shift[1])
    return x[0], across, z[0]

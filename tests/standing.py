"""How a body stands, by the textbook: where it presses on the floor, how far inside its contacts, its axes."""

import numpy as np

from fieldworthy.physics.statics.support import edge_slack

G = 9.80665


def load_point(cg, acceleration, gravity=(0.0, 0.0, -G)):
    """Where gravity and inertia together press on the floor (zero-moment point; vukobratovic2004)."""
    c, a, g = (np.asarray(part, dtype=float) for part in (cg, acceleration, gravity))
    trailing = max(part.ndim - 1 for part in (c, a, g))
    c, a, g = (part.reshape(part.shape[:1] + (1,) * (trailing - part.ndim + 1) + part.shape[1:]) for part in (c, a, g))
    return c[:2] - (g[:2] - a) * (c[2] / g[2])


def stability_margin(support, point):
    """The least distance inside an edge (static stability margin; mcghee1968)."""
    return edge_slack(support, point).min(axis=0)


def principal_moments(inertia):
    """Eigenvalues of the tensor, smallest first."""
    return np.moveaxis(np.linalg.eigvalsh(np.moveaxis(inertia, (0, 1), (-2, -1))), -1, 0)

"""The limit of a staged hold found by trying speeds, a second way to the closed form."""

import numpy as np

from fieldworthy.physics.contact.timing import Stop, simulate


def hold_limit_by_events(upper, lower, path, phases=33):
    """Bisect for the upper stage's speed up to which every phase of the clock holds, as if slower were always safer."""
    values = [getattr(part, name) for part in (upper, lower, path) for name in part.__slots__]
    shape = np.broadcast_shapes(*(np.shape(value) for value in values))
    phase = np.linspace(0.0, 1.0, phases).reshape(-1, *(1,) * len(shape))
    k = np.asarray(lower.speed) / upper.speed
    low, high = np.zeros(shape), np.broadcast_to(1.01 * path.length / np.asarray(upper.sample_period), shape)
    for _ in range(40):
        v = 0.5 * (low + high)
        up = Stop(v, upper.sample_period, upper.latency, upper.deceleration)
        down = Stop(k * v, lower.sample_period, lower.latency, lower.deceleration)
        works = np.all(simulate(up, down, path, phase).held, axis=0)
        low, high = np.where(works, v, low), np.where(works, high, v)
    return low[()]

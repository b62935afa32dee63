"""The two elliptic functions of a pendulum in closed form, without a library to load."""

from __future__ import annotations

import numpy as np

from fieldworthy.physics._types import Array, Real


def carlson_rf(x: Real, y: Real, z: Real) -> Array:
    """Carlson's symmetric elliptic integral of the first kind.

    Parameters
    ----------
    x : Real
        First argument [-]; none is negative, at most one is 0.
    y : Real
        Second argument [-].
    z : Real
        Third argument [-].

    Returns
    -------
    Array
        R_F(x, y, z) [-].

    Notes
    -----
    Seven duplications bring the arguments together, then the fifth-order series; to rounding for arguments
    from 1e-8 to 1, and for one that is 0.

    References
    ----------
    dlmf: 19.26.18 and 19.36.1.
    """
    a, b, c = (
        np.asarray(x, dtype=np.float64),
        np.asarray(y, dtype=np.float64),
        np.asarray(z, dtype=np.float64),
    )
    for _ in range(7):
        ra, rb, rc = np.sqrt(a), np.sqrt(b), np.sqrt(c)
        shift = ra * rb + rb * rc + rc * ra
        a, b, c = 0.25 * (a + shift), 0.25 * (b + shift), 0.25 * (c + shift)
    mean = (a + b + c) / 3.0
    u, v = 1.0 - a / mean, 1.0 - b / mean
    w = -u - v
    e2, e3 = u * v - w * w, u * v * w
    series = 1.0 - e2 / 10.0 + e3 / 14.0 + e2 * e2 / 24.0 - 3.0 * e2 * e3 / 44.0
    return np.asarray(series / np.sqrt(mean))


def jacobi_cd(u: Real, m1: Real) -> Array:
    """Jacobi's function cd on its first quarter period, 0 beyond it.

    Parameters
    ----------
    u : Real
        Argument [-], not negative.
    m1 : Real
        Complementary parameter 1 - k^2 [-], above 0 up to 1; given instead of k^2 so that nothing cancels near 0.

    Returns
    -------
    Array
        cd(u | 1 - m1) [-], falling from 1 to 0.

    Notes
    -----
    Descending Landen transformation by arithmetic-geometric means, nine steps: enough for m1 above 1e-30.

    References
    ----------
    dlmf: 22.20(ii).
    """
    a = np.ones(np.broadcast_shapes(np.shape(u), np.shape(m1)))
    b, shrink = np.sqrt(np.asarray(m1)), []
    for _ in range(9):
        shrink.append((a - b) / (a + b))
        a, b = 0.5 * (a + b), np.sqrt(a * b)
    quarter = 0.5 * np.pi / a
    angle = 2.0 ** len(shrink) * a * np.minimum(u, quarter)
    for ratio in reversed(shrink):
        angle = 0.5 * (angle + np.arcsin(ratio * np.sin(angle)))
    cn = np.cos(angle)
    cd = cn / np.sqrt(m1 + (1.0 - m1) * cn * cn)
    return np.asarray(np.where(np.asarray(u) < quarter, np.maximum(cd, 0.0), 0.0))

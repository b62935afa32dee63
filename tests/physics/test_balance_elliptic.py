"""The two elliptic functions against SciPy's."""

import numpy as np
from scipy.special import ellipj, ellipk, elliprf

from fieldworthy.physics._elliptic import carlson_rf, jacobi_cd


def test_carlson_rf_agrees_with_scipy():
    x, y, z = 10.0 ** np.random.default_rng(1).uniform(-8.0, 0.0, (3, 2000))
    np.testing.assert_allclose(carlson_rf(x, y, z), elliprf(x, y, z), rtol=1e-14)
    np.testing.assert_allclose(carlson_rf(0.0, y, 1.0), elliprf(0.0, y, 1.0), rtol=1e-14)


def test_jacobi_cd_agrees_with_scipy():
    rng = np.random.default_rng(2)
    m = 1.0 - 10.0 ** rng.uniform(-8.0, -0.01, 2000)
    u = rng.uniform(0.0, 1.0, 2000) * ellipk(m)
    _, cn, dn, _ = ellipj(u, m)
    np.testing.assert_allclose(jacobi_cd(u, m), cn / dn, atol=1e-6)  # SciPy's own cn / dn loses digits at m near 1
    easy = m < 0.99
    np.testing.assert_allclose(jacobi_cd(u, m)[easy], (cn / dn)[easy], atol=1e-12)
    np.testing.assert_array_equal(jacobi_cd(ellipk(m) * 1.5, m), 0.0)

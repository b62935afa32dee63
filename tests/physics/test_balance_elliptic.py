"""The two elliptic functions against SciPy's."""

import numpy as np
import pytest
from scipy.special import ellipj, ellipkm1, elliprf

from fieldworthy.physics.statics._elliptic import carlson_rf, jacobi_cd


def test_carlson_rf_agrees_with_scipy():
    x, y, z = 10.0 ** np.random.default_rng(1).uniform(-8.0, 0.0, (3, 2000))
    np.testing.assert_allclose(carlson_rf(x, y, z), elliprf(x, y, z), rtol=1e-14)
    np.testing.assert_allclose(carlson_rf(0.0, y, 1.0), elliprf(0.0, y, 1.0), rtol=1e-14)


def test_jacobi_cd_agrees_with_scipy():
    rng = np.random.default_rng(2)
    m1 = 10.0 ** rng.uniform(-6.0, -0.01, 2000)
    u = rng.uniform(0.0, 1.0, 2000) * ellipkm1(m1)
    _, cn, dn, _ = ellipj(u, 1.0 - m1)
    # SciPy's dn comes from 1 - m sn^2 and so loses digits where m1 is small
    np.testing.assert_allclose(jacobi_cd(u, m1), cn / dn, atol=1e-8)
    easy = m1 > 0.01
    np.testing.assert_allclose(jacobi_cd(u, m1)[easy], (cn / dn)[easy], atol=1e-12)
    np.testing.assert_array_equal(jacobi_cd(ellipkm1(m1) * 1.5, m1), 0.0)


@pytest.mark.parametrize("m1", [1e-8, 1e-14, 1e-20])
def test_jacobi_cd_near_the_separatrix_agrees_with_its_limit(m1):
    """DLMF 22.5(ii), from memory: as k tends to 1, cd(K - v) = sn(v) tends to tanh v; K from SciPy's ellipkm1."""
    v = np.linspace(0.1, 2.0, 20)
    np.testing.assert_allclose(jacobi_cd(ellipkm1(m1) - v, m1), np.tanh(v), atol=1e-6)

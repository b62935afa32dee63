"""The core formulas compile unchanged with numba and give the same numbers on scalars as on arrays."""

import numba
import numpy as np
import pytest

from fieldworthy.physics.gas import air, tank
from gaslaw import air_mass

RNG = np.random.default_rng(8)
N = 40
P, V = RNG.uniform(1.1e5, 9e5, N), RNG.uniform(5e-5, 4e-4, N)
DEAD = RNG.uniform(0.0, 3e-6, N)
FULL = DEAD + RNG.uniform(1e-6, 2e-5, N)
ATM = np.full(N, 101325.0)
SET = np.where(RNG.random(N) < 0.3, np.inf, RNG.uniform(2e5, 7e5, N))
C, B = RNG.uniform(1e-9, 1e-8, N), RNG.uniform(0.0, 0.6, N)
T = RNG.uniform(260.0, 310.0, N)
CASES = {
    "mass_flow": (air.mass_flow, (P, P * RNG.uniform(0.05, 1.2, N), C, B, T)),
    "air_mass": (air_mass, (P, V, T)),
    "after_draw": (tank.after_draw, (P, V, DEAD, FULL, ATM, SET)),
    "fast_pressure": (tank.fast_pressure, (P * 0.8, P)),
    "fill_pressure": (tank.fill_pressure, (P, SET)),
    "after_leak": (tank.after_leak, (P, RNG.uniform(0.0, 100.0, N), RNG.uniform(10.0, 1e4, N), ATM)),
}


@pytest.mark.parametrize("name", CASES)
def test_compiled_on_scalars_equals_arrays(name):
    function, arguments = CASES[name]
    compiled = numba.njit(error_model="numpy")(function)
    one_by_one = [compiled(*row) for row in np.stack(arguments).T]
    assert all(isinstance(x, float) for x in one_by_one)
    # the compiler may fuse or reorder: a few units in the last place
    assert np.array(one_by_one) == pytest.approx(function(*arguments), rel=1e-12, abs=1e-15)

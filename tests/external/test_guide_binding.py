"""Binding of a straight guide against equilibrium found by SciPy's linear programming.

The closed form L / e > 2 mu is from memory (any statics text, the drawer pulled at one corner); the linear programme
knows only forces, moments and friction cones.
"""

from itertools import product

import numpy as np
import pytest
from scipy.optimize import linprog

from fieldworthy.physics.statics import guide


def _largest_drive_at_rest(made, load, load_offset, drive_offset, side):
    """The largest drive that friction still holds, over which walls the two pads may lean on; inf if any."""
    best = 0.0
    for signs in product((-1.0, 1.0), repeat=2):
        # Unknowns: P, N1, N2 (sizes), f1, f2 (along x on the carriage).
        pads = [(0.5 * made.length, s * 0.5 * made.width, s) for s in signs[:1]]
        pads += [(-0.5 * made.length, s * 0.5 * made.width, s) for s in signs[1:]]
        along = [1.0, 0.0, 0.0, 1.0, 1.0]
        across = [0.0, pads[0][2], pads[1][2], 0.0, 0.0]
        moment = [-drive_offset, pads[0][0] * pads[0][2], pads[1][0] * pads[1][2], -pads[0][1], -pads[1][1]]
        right = [load, -side.force, -load_offset * load - side.position * side.force]
        mu = made.friction
        cones = [[0, -mu, 0, s, 0] for s in (1, -1)] + [[0, 0, -mu, 0, s] for s in (1, -1)]
        bounds = [(0, None)] * 3 + [(None, None)] * 2
        found = linprog([-1, 0, 0, 0, 0], cones, np.zeros(4), [along, across, moment], right, bounds)
        if found.status == 3:
            return np.inf
        if found.status == 0:
            best = max(best, -found.fun)
    return best


CASES = [
    # length, friction, width, load, load offset, drive offset, side force, its position
    (0.10, 0.3, 0.0, 20.0, 0.05, 0.0, 0.0, 0.0),
    (0.10, 0.3, 0.0, 20.0, -0.08, 0.04, 0.0, 0.0),
    (0.06, 0.4, 0.0, 12.0, 0.00, 0.07, 0.0, 0.0),
    (0.06, 0.4, 0.0, 12.0, 0.00, -0.07, 0.0, 0.0),
    (0.10, 0.25, 0.02, 15.0, 0.03, 0.02, 9.0, 0.02),
    (0.10, 0.25, 0.02, 15.0, 0.03, -0.02, -14.0, -0.12),
    (0.10, 0.25, 0.03, 5.0, 0.01, 0.0, 40.0, 0.0),
    (0.06, 0.4, 0.0, 12.0, 0.00, 0.0751, 0.0, 0.0),
    (0.06, 0.4, 0.0, 12.0, 0.00, -0.10, 0.0, 0.0),
]


@pytest.mark.parametrize("values", CASES)
def test_force_to_move_is_the_largest_that_friction_holds(values):
    length, friction, width, load, load_offset, drive_offset, force, position = values
    made, side = guide.Guide(length, friction, width), guide.SideLoad(force, position)
    ours = guide.force_to_move(made, load, load_offset, drive_offset, side)
    found = _largest_drive_at_rest(made, load, load_offset, drive_offset, side)
    assert ours == pytest.approx(found, rel=1e-7)


@pytest.mark.parametrize("friction", [0.15, 0.3, 0.6])
def test_guide_just_longer_than_the_limit_moves_and_just_shorter_locks(friction):
    limit = float(guide.shortest_guide(0.05, friction))
    for length, stuck in ((0.999 * limit, True), (1.001 * limit, False)):
        found = _largest_drive_at_rest(guide.Guide(length, friction), 1.0, 0.0, 0.05, guide.SideLoad())
        assert np.isinf(found) == stuck


def test_thumb_rule_is_stricter_than_statics():
    # Common practice, no source: a guide 1.5 to 2 times as long as its offset. Statics asks 2 mu = 0.6 at mu = 0.3:
    # the rule is 2.5 to 3.3 times as long, and then still costs 2 mu e / L of the force, 30 to 40 %.
    offset, mu = 0.05, 0.3
    assert 1.5 * offset / guide.shortest_guide(offset, mu) == pytest.approx(2.5, rel=1e-9)
    assert 2.0 * offset / guide.shortest_guide(offset, mu) == pytest.approx(10 / 3, rel=1e-9)
    for times, lost in ((1.5, 0.4), (2.0, 0.3)):
        made = guide.Guide(times * offset, mu)
        held = _largest_drive_at_rest(made, 1.0, 0.0, offset, guide.SideLoad())
        assert 1.0 - 1.0 / held == pytest.approx(lost, rel=1e-6)


def test_batch_equals_case_by_case_and_refusals():
    length, friction = np.array([0.1, 0.05, 0.02]), np.array([0.2, 0.5, 0.4])
    whole = guide.force_to_move(guide.Guide(length, friction), 10.0, 0.03, 0.04)
    single = [guide.force_to_move(guide.Guide(a, m), 10.0, 0.03, 0.04) for a, m in zip(length, friction, strict=True)]
    assert whole == pytest.approx(np.array(single), rel=1e-12)
    assert np.isinf(whole[2])
    with pytest.raises(ValueError, match="length"):
        guide.Guide(0.0, 0.3)
    with pytest.raises(ValueError, match="friction"):
        guide.Guide(0.1, -0.3)

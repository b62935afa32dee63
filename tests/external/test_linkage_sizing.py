"""Choice of cylinders against brute force by other means, and what practice says of strokes."""

import numpy as np
import pytest
from scipy import optimize

from fieldworthy.physics.arms import linkage, sizing

STROKES = np.array(sizing.STANDARD_STROKES)
BORES, RODS = np.array([0.010, 0.016, 0.020]), np.array([0.004, 0.005, 0.008])
P_GAUGE = 690e3
ARM = linkage.Rocker(0.12, 0.05, 0.09, 0.05, -1.9, 0.0, 1.0)
WEIGHTS = (linkage.Weight(0.45 * 9.81, 0.16), linkage.Weight(0.25 * 9.81, 0.30))
MOMENT = 0.45 * 9.81 * 0.16 + 0.25 * 9.81 * 0.30


def test_free_air_is_swept_volume_at_pressure():
    # By hand: 20 mm bore, 8 mm rod, 50 mm: 15.708 cm3 out, 13.195 cm3 back, at 7.91325 bar: 228.71 cm3.
    assert sizing.free_air(0.020, 0.008, 0.050, P_GAUGE) == pytest.approx(228.71e-6, rel=1e-4)


def _included_by_scipy(base, radius, length):
    """Included angle by root finding on the distance between the pins."""
    return optimize.brentq(lambda a: abs(base - radius * np.exp(1j * a)) - length, 0, np.pi, xtol=1e-14)


def _margin_by_scipy(arm, cylinder, bore, rod, efficiency=0.8):
    """Least margin along the stroke; the lever is the distance of the cylinder's line from the pivot."""
    base, radius, base_angle = arm
    closed, stroke = cylinder
    spare = []
    for length in np.linspace(closed, closed + stroke, linkage.STROKE_POINTS):
        included = _included_by_scipy(base, radius, length)
        pin = radius * np.exp(1j * included)
        lever = abs((np.conj(pin) * (pin - base)).imag) / length
        load = MOMENT * np.cos(base_angle + included)
        area = np.pi / 4 * bore**2 if load > 0 else np.pi / 4 * (bore**2 - rod**2)
        spare.append(P_GAUGE * efficiency * area * lever / abs(load) - 1)
    return min(spare)


def test_every_candidate_by_hand():
    made = sizing.Candidates(STROKES[:2], BORES, RODS, 0.065)
    task = sizing.Task(np.radians(40), P_GAUGE, efficiency=0.8, margin=0.2)
    trial = sizing.try_candidates(ARM, made, task, WEIGHTS)
    for i, stroke in enumerate(made.strokes):
        closed = 0.065 + stroke
        swing = _included_by_scipy(0.12, 0.05, closed + stroke) - _included_by_scipy(0.12, 0.05, closed)
        assert trial.swing[i, 0] == pytest.approx(swing, rel=1e-9)
        for j, (bore, rod) in enumerate(zip(BORES, RODS, strict=True)):
            found = _margin_by_scipy((0.12, 0.05, -1.9), (closed, stroke), bore, rod)
            assert trial.margin[i, j, 0] == pytest.approx(found, rel=1e-8)
    choice = sizing.smallest(trial)
    fits = [
        (trial.air[i, j, 0], i, j)
        for i in range(2)
        for j in range(3)
        if trial.swing[i, 0] >= task.swing and trial.margin[i, j, 0] >= 0.2
    ]
    least = min(fits)
    assert (choice.air[0], choice.stroke[0], choice.bore[0]) == pytest.approx(least)


def test_next_size_up_buys_margin_and_costs_air():
    made = sizing.Candidates(STROKES, BORES, RODS, 0.065)
    trial = sizing.try_candidates(ARM, made, sizing.Task(0.3, P_GAUGE), WEIGHTS)
    choice = sizing.smallest(trial)
    _, wider = sizing.next_up(trial, choice)
    a, b = choice.bore[0], wider.bore[0]
    assert b == a + 1
    # Where pushing is the worst way, force goes with the square of the bore; air with both sides' areas.
    area = lambda k: 2 * BORES[k] ** 2 - RODS[k] ** 2  # noqa: E731
    assert wider.air[0] / choice.air[0] == pytest.approx(area(b) / area(a), rel=1e-12)
    gain = (wider.margin[0] + 1) / (choice.margin[0] + 1)
    assert gain == pytest.approx((BORES[b] / BORES[a]) ** 2, rel=1e-12)


def test_nothing_fits_and_nothing_larger():
    made = sizing.Candidates(STROKES, BORES, RODS, 0.065)
    none = sizing.smallest(sizing.try_candidates(ARM, made, sizing.Task(3.1, P_GAUGE), WEIGHTS))
    assert (none.stroke[0], none.bore[0], none.margin[0]) == (-1, -1, -1.0)
    assert np.isinf(none.air[0])
    trial = sizing.try_candidates(ARM, made, sizing.Task(0.1, P_GAUGE), WEIGHTS)
    top = sizing.Choice(np.array([2]), np.array([2]), trial.margin[2, 2], trial.air[2, 2])
    for other in sizing.next_up(trial, top):
        assert (other.stroke[0], other.bore[0]) == (-1, -1)


def test_batch_equals_case_by_case():
    base, weight = np.array([0.13, 0.14, 0.15]), np.array([3.0, 4.5, 6.0])
    made = sizing.Candidates(STROKES, BORES, RODS, 0.065)
    task = sizing.Task(np.radians(50), P_GAUGE)
    many = linkage.Rocker(base, 0.05, 0.09, 0.05, ARM.base_angle)
    whole = sizing.try_candidates(many, made, task, (linkage.Weight(weight, 0.2),))
    chosen = sizing.smallest(whole)
    for k in range(3):
        one = linkage.Rocker(base[k], 0.05, 0.09, 0.05, ARM.base_angle)
        single = sizing.try_candidates(one, made, task, (linkage.Weight(weight[k], 0.2),))
        assert whole.margin[..., k] == pytest.approx(single.margin[..., 0], rel=1e-12)
        assert chosen.stroke[k] == sizing.smallest(single).stroke[0]


def test_refusals():
    for strokes, bores, rods, name in (
        (STROKES[::-1], BORES, RODS, "strokes"),
        (STROKES, -BORES, RODS, "bores"),
        (STROKES, BORES, BORES, "rods"),
    ):
        with pytest.raises(ValueError, match=name):
            sizing.Candidates(strokes, bores, rods, 0.065)


def _lift(radius, stroke):
    """An arm whose cylinder stands square to its radius at half stroke, swinging evenly about 10 degrees."""
    closed = 0.065 + stroke
    base = np.hypot(radius, closed + 0.5 * stroke)
    middle = np.arccos(radius / base)
    return linkage.Rocker(base, radius, closed, stroke, np.radians(10) - middle)


def test_practice_of_lift_strokes():
    """Common practice, no source: a lift that swings a piece from intake to a raised target needs the 75 mm
    stroke.

    Taken as a swing of 90 degrees and a pin 50 mm from the pivot, the computing agrees: 25, 50 and 75 mm
    swing it about 29, 60 and 97 degrees, the chord s = 2 r sin(swing / 2). It disagrees where the pin may
    move in: at 35 mm a 50 mm stroke swings it 91 degrees too, but with the lever 30 % shorter: a 10 mm bore
    is then 20 % short of the load here, where the 75 mm stroke lifts it with 4 % to spare. The next bore
    mends that, for three quarters more air than the longer stroke takes.
    """
    swings = [np.degrees(linkage.swing(_lift(0.050, s))) for s in STROKES]
    chord = np.degrees(2 * np.arcsin(STROKES / 2 / 0.050))
    # The pin's arc is not quite square to the cylinder: 2 % of the chord's angle.
    assert swings == pytest.approx(list(chord), rel=0.02)
    assert (np.array(swings) >= 90).tolist() == [False, False, True]
    assert np.degrees(linkage.swing(_lift(0.035, 0.050))) == pytest.approx(91.2, rel=0.03)
    margins = []
    for radius, stroke in ((0.050, 0.075), (0.035, 0.050)):
        arm = _lift(radius, stroke)
        cylinders = sizing.Candidates(np.array([stroke]), BORES, RODS, 0.065)
        trial = sizing.try_candidates(arm, cylinders, sizing.Task(1.5, P_GAUGE, efficiency=0.8), WEIGHTS)
        by_scipy = _margin_by_scipy((arm.base, radius, arm.base_angle), (arm.closed, stroke), 0.010, 0.004)
        assert trial.margin[0, 0, 0] == pytest.approx(by_scipy, rel=1e-7, abs=1e-9)
        margins.append(by_scipy)
    assert margins == pytest.approx([0.04, -0.20], abs=0.01)
    more = sizing.free_air(0.016, 0.005, 0.050, P_GAUGE) / sizing.free_air(0.010, 0.004, 0.075, P_GAUGE)
    # By hand: (2 x 16^2 - 5^2) x 50 over (2 x 10^2 - 4^2) x 75.
    assert more == pytest.approx(487 * 50 / (184 * 75), rel=1e-12)

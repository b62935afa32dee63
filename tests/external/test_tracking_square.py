"""The square-path test against squares that are driven, in small steps, by a robot with wrong wheels and track."""

import numpy as np
import pytest

from fieldworthy.physics.odometry import odometry


def square(track_ratio, diameter_ratio, side, track, ccw, steps=400):
    """End point of a square that closes by nominal odometry: midpoint rule over wheel travel, no arc formula."""
    left, right = 2.0 / (diameter_ratio + 1.0), 2.0 * diameter_ratio / (diameter_ratio + 1.0)
    quarter = 0.25 * np.pi * track * (1.0 if ccw else -1.0)
    x = y = heading = 0.0
    for _ in range(4):
        for a, b in ((side, side), (-quarter, quarter)):
            turn = (b * right - a * left) / steps / (track_ratio * track)
            mid = heading + turn * (np.arange(steps) + 0.5)
            ahead = 0.5 * (a * left + b * right) / steps
            x, y, heading = x + ahead * np.cos(mid).sum(), y + ahead * np.sin(mid).sum(), heading + turn * steps
    return x, y


@pytest.mark.parametrize(
    ("track_ratio", "diameter_ratio"),
    [(1.004, 1.0), (0.995, 1.0), (1.0, 1.0006), (1.0, 0.9995), (1.003, 0.9994), (0.996, 1.0005)],
)
def test_driven_squares_give_back_what_was_wrong(track_ratio, diameter_ratio):
    # The relations of Borenstein and Feng (1996) are from memory; the drive knows none of them. First order in
    # angles below 0.01 rad: each ratio's departure from 1 comes back to 4 percent of the larger departure's angle.
    side, track = 4.0, 0.34
    ends = (
        square(track_ratio, diameter_ratio, side, track, False),
        square(track_ratio, diameter_ratio, side, track, True),
    )
    found = odometry.systematic_errors(odometry.SquareErrors(*ends[0], *ends[1]), side, track)
    alpha, beta = 0.5 * np.pi * (1.0 - 1.0 / track_ratio), side / track * (diameter_ratio - 1.0)
    tol = 0.04 * max(abs(alpha), abs(beta))
    assert found.alpha == pytest.approx(alpha, abs=tol)
    assert found.beta == pytest.approx(beta, abs=tol)
    assert found.track_ratio - 1.0 == pytest.approx(track_ratio - 1.0, abs=tol / 1.5)
    assert found.diameter_ratio - 1.0 == pytest.approx(diameter_ratio - 1.0, abs=tol * track / side)


def test_correcting_once_shrinks_the_error_tenfold():
    side, track, truth = 4.0, 0.34, (1.006, 0.9993)
    before = odometry.SquareErrors(*square(*truth, side, track, False), *square(*truth, side, track, True))
    found = odometry.systematic_errors(before, side, track)
    rest = truth[0] / found.track_ratio, truth[1] / found.diameter_ratio
    after = odometry.SquareErrors(*square(*rest, side, track, False), *square(*rest, side, track, True))
    assert 0.0 < odometry.worst_offset(after) < 0.1 * odometry.worst_offset(before)


def test_mean_and_worst_offset():
    assert odometry.worst_offset(odometry.SquareErrors(0.3, 0.4, 0.1, 0.1)) == pytest.approx(0.5, rel=1e-15)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: odometry.systematic_errors(odometry.SquareErrors(0, 0, 0, 0), 0.0, 0.3), "side"),
        (lambda: odometry.systematic_errors(odometry.SquareErrors(0, 0, 0, 0), 1.0, -0.3), "track"),
        (lambda: odometry.systematic_errors(odometry.SquareErrors(np.nan, 0, 0, 0), 1.0, 0.3), "errors"),
        (lambda: odometry.systematic_errors(odometry.SquareErrors(6, 6, -6, 6), 1.0, 2.0), "errors"),
    ],
)
def test_bad_input_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()

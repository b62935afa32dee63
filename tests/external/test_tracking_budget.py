"""The error budget of tracking against integrated odometry, known random walks, and simulated runs."""

import dataclasses

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import solve_ivp

from drifting import distance_sensor, simulate
from fieldworthy.physics.odometry import covariance as relocation
from fieldworthy.physics.odometry.covariance import Placement, budget, ellipse
from fieldworthy.physics.odometry.odometry import Gyro, Path, Tracking, TrackingWheel, joints, path_through
from reference import case

EVERYTHING = {
    "diameter_sd": 1.5e-4,
    "offset_sd": 6e-4,
    "toe_sd": 0.005,
    "counts": 90.0,
    "runout": 4e-4,
    "wobble": 1.2e-3,
    "slip_sd": 0.001,
    "lift_rate": 3.0,
    "lift_length": 0.002,
}


SMALL = {name: value if name in ("counts", "lift_rate") else 0.25 * value for name, value in EVERYTHING.items()}
SMALL["counts"] = 360.0
"""A quarter of it all, where a relocation leaves so little that what is not first order would show."""


def wheel(direction, offset, along=0.0, **more):
    return TrackingWheel(direction=direction, diameter=0.0699, offset=offset, along=along, **more)


def setups(gyro=None, unseen=0.0, **more):
    """The three usual set-ups, with the given imperfections on every wheel."""
    left, right = wheel("forward", 0.11, -0.03, **more), wheel("forward", -0.12, -0.03, **more)
    sideways = wheel("sideways", -0.08, 0.02, **more)
    return {
        "two parallel and one sideways": Tracking(wheels=(left, right, sideways)),
        "forward, sideways and gyro": Tracking(wheels=(left, sideways), gyro=gyro or Gyro()),
        "two parallel alone": Tracking(wheels=(left, right), unseen=unseen),
    }


CURVES = Path(
    (0.1, 0.2, 0.4),
    np.array([0.5, 0.7, 0.0, 0.9, -0.4]),
    np.array([0.0, 0.1, 0.0, -0.2, 0.0]),
    np.array([0.9, -1.4, 2.0, 0.05, 0.0]),
    np.array([1.0, 1.2, 0.5, 2.0, 0.6]),
    (0, 1, 2, 3, 4),
)
AHEAD_ONLY = dataclasses.replace(CURVES, left=np.zeros(5))
SQUARE = path_through(np.array([[0, 0], [1.2, 0], [1.2, 0.8], [0.3, 1.4], [-0.5, 0.2]]), 0.0, 0.8, 3.0)


def straight(length, time=1.0):
    return Path((0.0, 0.0, 0.0), np.array([length]), np.zeros(1), np.zeros(1), np.array([time]), (0,))


def walking_gyro(noise):
    return Tracking(wheels=(wheel("forward", 0.0), wheel("sideways", 0.0)), gyro=Gyro(noise=noise))


def test_heading_walk_along_a_straight():
    ref = case("heading-walk-0")
    given, want = ref["given"], ref["expect"]
    # At 1 m/s a walk per root of a second is one per root of a metre.
    total = budget(
        walking_gyro(given["heading_sd_rad_per_sqrt_m"]), straight(given["length_m"], given["length_m"])
    ).total
    assert np.sqrt(total[0, 2]) == pytest.approx(want["cross_track_sd_m"], rel=ref["rel_tol"])
    assert np.sqrt(total[0, 5]) == pytest.approx(want["heading_sd_rad"], rel=ref["rel_tol"])


def test_heading_walk_of_the_published_case():
    # ODO-04, strength B: integrated random walk as read in a course page, and an outside Monte Carlo of 40,000 runs.
    ref = case("ODO-04")
    want = {key: each["value"] for key, each in ref["expected"].items()}
    length = ref["inputs"]["L_m"]
    setup, path = walking_gyro(np.radians(0.5)), straight(length, length)
    total = budget(setup, path).total[0]
    assert np.degrees(np.sqrt(total[5])) == pytest.approx(want["sd_heading"], rel=1e-9)
    assert 1e3 * np.sqrt(total[2]) == pytest.approx(want["sd_cross_track"], rel=1e-6)
    assert 1e3 * np.sqrt(total[2]) == pytest.approx(want["sd_cross_track_MC"], rel=0.015)
    assert total[4] == pytest.approx(want["cov_y_theta"], rel=1e-9)
    # Our own runs: 20,000 of them, sd good to 0.5 percent; the mean loss of x is second order, known to 1.2 percent.
    runs = simulate(setup, path, 20_000, seed=11, steps=200)
    assert 1e3 * runs.y.std() == pytest.approx(want["sd_cross_track"], rel=0.02)
    assert -1e3 * runs.x.mean() == pytest.approx(want["mean_along_track_loss"], rel=0.05)


def test_gyro_drift_on_a_straight():
    # ODO-05: quadratic law read in the same table, and exact arc geometry; the linear budget is the quadratic law.
    ref = case("ODO-05")
    given, want = ref["inputs"], {key: each["value"] for key, each in ref["expected"].items()}
    path = straight(given["v_m_s"] * given["t_s"], given["t_s"])
    gyro = Gyro(drift_sd=np.radians(given["bias_deg_per_s"]))
    total = budget(dataclasses.replace(walking_gyro(0.0), gyro=gyro), path).total[0]
    assert np.degrees(np.sqrt(total[5])) == pytest.approx(want["heading_error"], rel=1e-9)
    assert np.sqrt(total[2]) == pytest.approx(want["cross_track_quadratic"], rel=1e-6)
    assert np.sqrt(total[2]) == pytest.approx(want["cross_track_exact"], rel=5e-4)


def believed(path, wrong, gyro):
    """Believed pose after each motion, with readings and believed motion as rates, integrated by scipy.

    Three readings make three motions: their matrix is inverted, no weights of the project are used.
    """
    rows = np.array([[1.0, 0.0, -0.11], [0.0, 0.0, 1.0] if gyro else [1.0, 0.0, 0.12], [0.0, 1.0, -0.08]])
    state, found = np.array([*path.start, 0.0, 0.0, 0.0]), []
    for ahead, left, turn, time in zip(path.ahead, path.left, path.turn, path.time, strict=True):
        rates = np.array([ahead, left, turn]) / time

        def slope(t, s, twist=rates):
            motion = np.linalg.solve(rows, wrong(rows @ twist, twist, s[3:]))
            c, si = np.cos(s[2]), np.sin(s[2])
            turned = [motion[0] * c - motion[1] * si, motion[0] * si + motion[1] * c, motion[2]]
            return [*turned, *(rows @ twist)]

        state = solve_ivp(slope, (0.0, time), state, method="DOP853", rtol=1e-11, atol=1e-13).y[:, -1]
        found.append(state[:3])
    return np.array(found)


def scaled(which, size):
    return lambda read, twist, travel: read * (1.0 + size * (np.arange(3) == which))


def moved(which, size):
    sign = -1.0 if which < 2 else 1.0
    return lambda read, twist, travel: read + size * sign * twist[2] * (np.arange(3) == which)


def toed(which, size):
    across = [[0.0, 1.0, -0.03], [0.0, 1.0, -0.03], [-1.0, 0.0, 0.02]][which]
    return lambda read, twist, travel: read + size * np.dot(across, twist) * (np.arange(3) == which)


def swung(phase):
    def kind(which, size):
        def rate(read, twist, travel):
            return read * (1.0 + size / 0.03495 * np.cos(phase + travel / 0.03495) * (np.arange(3) == which))

        return rate

    return kind


def drifted(which, size):
    return lambda read, twist, travel: read + size * (np.arange(3) == 1)


@pytest.mark.parametrize(
    ("source", "field", "kinds", "gyro"),
    [
        ("diameter", "diameter_sd", (scaled,), False),
        ("diameter", "diameter_sd", (scaled,), True),
        ("offset", "offset_sd", (moved,), False),
        ("toe", "toe_sd", (toed,), False),
        ("toe", "toe_sd", (toed,), True),
        ("runout", "runout", (swung(0.0), swung(0.5 * np.pi)), False),
        ("runout", "runout", (swung(0.0), swung(0.5 * np.pi)), True),
    ],
)
def test_lasting_errors_against_integrated_odometry(source, field, kinds, gyro):
    # Central differences of the nonlinear odometry, good to about 1e-6 of the largest entry.
    which = [0, 2] if gyro else [0, 1, 2]
    name = "forward, sideways and gyro" if gyro else "two parallel and one sideways"
    sd = {"diameter": 0.0699, "runout": np.sqrt(2.0)}.get(source, 1.0)
    found = budget(setups(**{field: sd})[name], CURVES)
    expected, h = np.zeros((5, 3, 3)), 1e-5
    for i in which:
        for kind in kinds:
            slope = (believed(CURVES, kind(i, h), gyro) - believed(CURVES, kind(i, -h), gyro)) / (2.0 * h)
            expected += slope[:, :, None] * slope[:, None, :]
    assert found.sources == (source,)
    np.testing.assert_allclose(found.matrix(), expected, atol=1e-6 * np.abs(expected).max())


@pytest.mark.parametrize(("field", "kind"), [("scale_sd", scaled), ("drift_sd", drifted)])
def test_gyro_errors_against_integrated_odometry(field, kind):
    found = budget(setups(gyro=Gyro(**{field: 1.0}))["forward, sideways and gyro"], CURVES).matrix()
    h = 1e-5
    slope = (believed(CURVES, kind(1, h), True) - believed(CURVES, kind(1, -h), True)) / (2.0 * h)
    expected = slope[:, :, None] * slope[:, None, :]
    np.testing.assert_allclose(found, expected, atol=1e-6 * np.abs(expected).max())


DIRECTIONS = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 0.5], [1, 1, 0], [1, -1, 0], [0.7, 0, 0.6], [0, 0.7, -0.6]])


def agree(samples, covariance, mean, widen=0.03):
    """Variances of samples (3, runs) along several directions within chi-square bounds, two-sided at 1e-6 each.

    The bounds are widened by 3 percent for what is not first order and for samples that are not normal.
    """
    count = samples.shape[1]
    low, high = stats.chi2.ppf([5e-7, 1.0 - 5e-7], count - 1) / (count - 1)
    for direction in DIRECTIONS:
        expected = direction @ covariance @ direction
        if expected < max(1e-4 * np.trace(covariance[:2, :2]), 1e-7):  # below 0.3 mm second order counts
            continue
        along = direction @ samples
        assert low * (1.0 - widen) < along.var(ddof=1) / expected < high * (1.0 + widen), direction
        # What is second order moves the mean by less than 0.4 mm here, or by 6 percent of the spread.
        off = abs(along.mean() - direction @ mean)
        assert off < (5.0 / np.sqrt(count) + 0.06) * np.sqrt(expected) + 4e-4, direction


LONE = [
    *({name: EVERYTHING[name]} for name in ("diameter_sd", "offset_sd", "toe_sd", "runout", "wobble", "slip_sd")),
    {"lift_rate": 4.0, "lift_length": 0.003},
    EVERYTHING,
]


@pytest.mark.parametrize("more", LONE, ids=lambda more: " ".join(more) if len(more) < 3 else "everything")
@pytest.mark.parametrize("name", list(setups()))
def test_budget_against_simulated_odometry(name, more, evidence):
    # 4,000 runs: a variance is known to 2.2 percent, five of which are bounded on both sides.
    gyro = Gyro(scale_sd=0.003, drift_sd=0.001, noise=0.001) if more is EVERYTHING else None
    setup = setups(gyro=gyro, unseen=0.003 if more is EVERYTHING else 0.0, **more)[name]
    placement = Placement(0.003, 0.004, 0.006) if more is EVERYTHING else None
    path = AHEAD_ONLY if name == "two parallel alone" else CURVES
    found = budget(setup, path, placement)
    runs = simulate(setup, path, 4000, seed=3, steps=24, placement=placement).stacked()
    assert len(found.matrix()) > 1
    if more is EVERYTHING:
        evidence(
            "tracking",
            "Error of position and heading along a path (standard deviations)",
            "Monte Carlo of the full nonlinear odometry, 4,000 runs",
            "straights and arcs; parallel wheels, and wheels with a gyro; all sources of error together",
            "m, rad",
            np.sqrt(np.diagonal(found.matrix(), axis1=1, axis2=2)).ravel(),
            runs.std(axis=2, ddof=1).T.ravel(),
        )
    for i, covariance in enumerate(found.matrix()):
        agree(runs[:, i], covariance, found.mean[i])


@pytest.mark.long
@pytest.mark.parametrize("name", list(setups()))
def test_counting_against_whole_counts(name):
    # The place between two counts at the end depends on the one at the start, by travel over count. Real travel
    # differs by counts from run to run, so 150 paths, each motion longer by up to 30 percent, 30 runs each: the
    # correlation of the two averages out to a few percent. 200 steps a motion: fewer than a step a count would add
    # an error of its own, for turns that fall between two counts.
    setup, rng = setups(counts=60.0)[name], np.random.default_rng(14)
    path = AHEAD_ONLY if name == "two parallel alone" else CURVES
    longer = 1.0 + 0.3 * rng.random((5, 150))
    wide = [part[:, None] * longer for part in (path.ahead, path.left, path.turn, path.time)]
    found = budget(setup, Path(path.start, *wide, path.marks))
    runs = [
        simulate(setup, Path(path.start, *(part[:, i] for part in wide), path.marks), 30, seed=i, steps=200).stacked()
        for i in range(150)
    ]
    errors = np.concatenate(runs, axis=2)
    assert len(found.matrix()) > 1
    for i, covariance in enumerate(found.matrix().mean(axis=-1)):
        agree(errors[:, i], covariance, np.zeros(3), widen=0.1)


def test_a_wrong_budget_would_be_noticed():
    setup = setups(**EVERYTHING)["two parallel and one sideways"]
    found, runs = budget(setup, CURVES), simulate(setup, CURVES, 4000, seed=3, steps=24).stacked()
    with pytest.raises(AssertionError):
        agree(runs[:, -1], 1.25 * found.matrix()[-1], found.mean[-1])


ROWS = (
    relocation.wall_contact(1, 0.3, 0.002, 0.004),
    distance_sensor(3, (0.3, 1.4, 2.5), (0.1, -0.05, 0.6), (np.pi, 1.8), 0.005),
)


FINE = (
    relocation.wall_contact(1, 0.3, 0.0005, 0.001),
    distance_sensor(3, (0.3, 1.4, 2.5), (0.1, -0.05, 0.6), (np.pi, 1.8), 0.0012),
)


def full(fix):
    """Measurement matrix and noise of a relocation in plain numpy."""
    h = np.array([[np.real(row.position), np.imag(row.position), row.heading] for row in fix.rows], dtype=float)
    return h, np.diag([row.sd**2 for row in fix.rows])


def test_relocation_against_the_matrix_formula():
    # Joseph's form of the Kalman update with both measurements at once, in plain numpy.
    setup = setups(**EVERYTHING)["two parallel and one sideways"]
    before = budget(setup, SQUARE, Placement(0.01, 0.01, 0.02)).matrix()[1]
    after = budget(setup, SQUARE, Placement(0.01, 0.01, 0.02), ROWS[:1]).matrix()[1]
    h, r = full(ROWS[0])
    k = before @ h.T @ np.linalg.inv(h @ before @ h.T + r)
    keep = np.eye(3) - k @ h
    np.testing.assert_allclose(after, keep @ before @ keep.T + k @ r @ k.T, rtol=1e-9, atol=1e-16)


def taken(fix):
    """The same relocation, its readings taken as they are."""
    return dataclasses.replace(fix, taken=True)


def test_a_pose_taken_from_a_wall_against_runs_that_are_put_there():
    # Each run of the simulated odometry has its coordinate along the wall's normal, and its heading, replaced by what
    # a noisy sensor says; the odometry carries the new error on by rigid motion. No gain is computed.
    setup = setups(**SMALL)["two parallel and one sideways"]
    placed = Placement(0.002, 0.002, 0.004)
    runs = simulate(setup, SQUARE, 6000, seed=8, steps=24, placement=placed).stacked()
    errors = runs - runs.mean(axis=2, keepdims=True)
    rng, (x, y, _) = np.random.default_rng(4), joints(SQUARE)
    place = np.array([x, y])[:, [m + 1 for m in SQUARE.marks]]
    n = np.array([np.cos(0.3), np.sin(0.3)])
    old, count = errors[:, 1].copy(), errors.shape[2]
    new = old.copy()
    new[:2] += n[:, None] * (0.0005 * rng.standard_normal(count) - n @ old[:2])
    new[2] = 0.001 * rng.standard_normal(count)
    shift = new - old
    for later in range(1, errors.shape[1]):
        step = place[:, later] - place[:, 1]
        errors[:, later] += np.array([shift[0] - step[1] * shift[2], shift[1] + step[0] * shift[2], shift[2]])
    found = budget(setup, SQUARE, placed, [taken(FINE[0])])
    assert len(found.matrix()) > 1
    for i, covariance in enumerate(found.matrix()):
        agree(errors[:, i], covariance, np.zeros(3))


def test_relocation_against_corrected_runs():
    # The runs of the simulated odometry are corrected by the gain of the plain matrix formula, and carried on as
    # the odometry would: the error of a later waypoint moves by the transported correction.
    setup = setups(**SMALL)["two parallel and one sideways"]
    runs = simulate(setup, SQUARE, 6000, seed=8, steps=24, placement=Placement(0.002, 0.002, 0.004)).stacked()
    errors = runs - runs.mean(axis=2, keepdims=True)
    rng, (x, y, _) = np.random.default_rng(4), joints(SQUARE)
    place = np.array([x, y])[:, [m + 1 for m in SQUARE.marks]]
    for at, fix in ((1, FINE[0]), (3, FINE[1])):
        h, r = full(fix)
        p = np.cov(errors[:, at])
        k = p @ h.T @ np.linalg.inv(h @ p @ h.T + r)
        wrong = h @ errors[:, at] + np.sqrt(np.diag(r))[:, None] * rng.standard_normal((len(h), errors.shape[2]))
        shift = k @ wrong
        for later in range(at, errors.shape[1]):
            step = place[:, later] - place[:, at]
            errors[:, later] -= np.array([shift[0] - step[1] * shift[2], shift[1] + step[0] * shift[2], shift[2]])
    found = budget(setup, SQUARE, Placement(0.002, 0.002, 0.004), FINE)
    assert len(found.matrix()) > 1
    for i, covariance in enumerate(found.matrix()):
        agree(errors[:, i], covariance, np.zeros(3))


def test_relocation_against_conditioned_runs():
    # What is left of the pose error after least squares on the measurement is the corrected spread.
    setup = setups(**SMALL)["two parallel and one sideways"]
    runs = simulate(setup, SQUARE, 6000, seed=9, steps=24).stacked()[:, 3]
    errors = runs - runs.mean(axis=1, keepdims=True)
    h, r = full(FINE[1])
    seen = h @ errors + np.sqrt(r[0, 0]) * np.random.default_rng(2).standard_normal((1, errors.shape[1]))
    left = errors - (errors @ seen.T) / (seen @ seen.T) * seen
    agree(left, budget(setup, SQUARE, None, FINE[1:]).matrix()[3], np.zeros(3))


def test_distance_sensor_row_by_moving_the_robot():
    # Ray against a wall, intersected by brute force, moved a little in each coordinate.
    pose, mount, wall = np.array([0.3, 1.4, 2.5]), (0.1, -0.05, 0.6), (np.pi, 1.8)

    def ray(p):
        arm = p[:2] + np.array([np.cos(p[2]) * 0.1 + np.sin(p[2]) * 0.05, np.sin(p[2]) * 0.1 - np.cos(p[2]) * 0.05])
        beam = np.array([np.cos(p[2] + 0.6), np.sin(p[2] + 0.6)])
        return np.linalg.solve(np.column_stack([beam, [0.0, -1.0]]), np.array([-1.8, 0.0]) - arm)[0]

    h, _ = full(distance_sensor(0, tuple(pose), mount, wall, 0.005))
    moved = [(ray(pose + d) - ray(pose - d)) / 2e-6 for d in 1e-6 * np.eye(3)]
    np.testing.assert_allclose(h[0], moved, rtol=1e-6, atol=1e-8)


def test_ellipse_holds_the_share_of_runs_that_it_says():
    # chi-square with 2 degrees of freedom: 5.991 at 95 percent (tables); share of runs within five sd of 6,000.
    setup = setups(**EVERYTHING)["two parallel and one sideways"]
    found = budget(setup, SQUARE)
    round_one = ellipse(np.array([[1.0, 0.0, 1.0, 0.0, 0.0, 1.0]]), 0.95)
    assert round_one.major[0] ** 2 == pytest.approx(5.991, abs=5e-4)
    assert round_one.major[0] ** 2 == pytest.approx(stats.chi2.ppf(0.95, 2), rel=1e-12)
    runs = simulate(setup, SQUARE, 6000, seed=21, steps=24)
    for confidence in (0.5, 0.95):
        major, minor, angle = (part[-1] for part in ellipse(found.total, confidence))
        z = (runs.x[-1] - found.mean[-1, 0] + 1j * (runs.y[-1] - found.mean[-1, 1])) * np.exp(-1j * angle)
        share = np.mean((z.real / major) ** 2 + (z.imag / minor) ** 2 < 1.0)
        assert share == pytest.approx(confidence, abs=5.0 * np.sqrt(confidence * (1.0 - confidence) / 6000))


def test_what_seams_cost_does_not_vanish_just_below_a_tile():
    """Seams counted one by one on a grid of 0.5 m that begins anywhere, half of them upwards, each missing 3 mm."""
    tile, missed = 0.5, 0.003
    rng = np.random.default_rng(4)
    setup = Tracking(wheels=(wheel("forward", 0.0, lift_rate=0.5 / tile, lift_length=missed), wheel("sideways", 0.0)),
                     gyro=Gyro())  # fmt: skip
    for far in (0.05, 0.2, 0.499, 0.501, 0.999, 1.7):
        found = budget(setup, straight(far))
        ups = rng.binomial(np.floor(rng.uniform(0.0, tile, 400_000) / tile + far / tile).astype(int), 0.5)
        lost = missed * ups
        # three standard errors of the count
        assert -found.mean[0, 0] == pytest.approx(lost.mean(), abs=3.0 * lost.std() / np.sqrt(lost.size))
        # seams that come evenly scatter less than at random: the budget never says less
        assert found.matrix()[0][0, 0] >= lost.var() * 0.99
        assert found.matrix()[0][0, 0] > 0.0

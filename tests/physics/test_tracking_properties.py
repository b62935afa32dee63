"""Tracking: laws of poses, budgets and ellipses, what a set-up can see, and input that is refused by name."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drifting import move
from fieldworthy.physics.odometry import covariance, odometry
from fieldworthy.physics.odometry.covariance import SOURCES, Placement, budget, ellipse
from fieldworthy.physics.odometry.odometry import Gyro, Tracking, TrackingWheel

angle, length = st.floats(-6.0, 6.0), st.floats(-3.0, 3.0)
poses = st.tuples(length, length, angle)
positive = st.floats(0.1, 1.0)


def wheel(direction="forward", offset=0.1, **more):
    return TrackingWheel(direction=direction, **{"diameter": 0.07, "offset": offset, **more})


@st.composite
def setups(draw):
    def some(**more):
        own = {"diameter_sd": 2e-4, "offset_sd": 5e-4, "toe_sd": 4e-3, "runout": 3e-4, "wobble": 1e-3, "slip_sd": 2e-3}
        own = {name: value * draw(positive) for name, value in own.items()}
        return wheel(**own, counts=360.0, lift_rate=draw(positive), lift_length=2e-3, **more)

    wheels = [some(offset=0.12), some(direction="sideways", offset=-0.07)]
    if draw(st.booleans()):
        return Tracking(wheels=(*wheels, some(offset=-0.1)))
    gyro = Gyro(scale_sd=3e-3 * draw(positive), drift_sd=1e-3 * draw(positive), noise=1e-3 * draw(positive))
    return Tracking(wheels=tuple(wheels), gyro=gyro)


@st.composite
def paths(draw):
    count = draw(st.integers(1, 5))
    rows = [draw(st.lists(st.floats(-1.0, 1.0), min_size=count, max_size=count)) for _ in range(3)]
    return odometry.Path(draw(poses), *map(np.array, rows), np.ones(count), tuple(range(count)))


PLACED = Placement(0.003, 0.004, 0.005)
FIX = covariance.wall_contact(0, 0.4, 0.003, 0.01)


@given(poses, length, length, angle, st.floats(0.0, 1.0))
def test_a_motion_can_be_done_in_two_parts(start, ahead, left, turn, share):
    middle = move(start, share * ahead, share * left, share * turn)
    rest = 1.0 - share
    end = move(middle, rest * ahead, rest * left, rest * turn)
    np.testing.assert_allclose(end, move(start, ahead, left, turn), atol=1e-12)
    np.testing.assert_allclose(move(end, -ahead, -left, -turn), start, atol=1e-11)


@given(setups(), paths(), st.booleans())
@settings(max_examples=60, deadline=None)
def test_every_part_is_a_covariance(setup, path, fixed):
    found = budget(setup, path, PLACED, [FIX] if fixed else [])
    assert set(found.sources) <= set(SOURCES)
    for part in found.parts:
        matrices = dataclasses.replace(found, parts=part[None]).matrix()
        np.testing.assert_array_equal(matrices, matrices.swapaxes(1, 2))
        least, most = np.linalg.eigvalsh(matrices)[:, [0, -1]].T
        assert np.all(least >= -1e-12 * np.maximum(most, found.total[:, [0, 2, 5]].max()))


@given(setups(), st.floats(0.1, 1.5), st.integers(2, 5))
@settings(max_examples=30, deadline=None)
def test_spread_grows_along_a_straight(setup, leg, legs):
    zeros = np.zeros(legs)
    path = odometry.Path((0.0, 0.0, 0.0), np.full(legs, leg), zeros, zeros, np.full(legs, leg), tuple(range(legs)))
    found = budget(setup, path, PLACED)
    for source, part in zip(found.sources, found.parts, strict=True):
        if source not in ("runout", "resolution"):  # these swing or stay
            assert np.all(np.diff(part[:, [0, 2, 5]], axis=0) >= -1e-18), source
    assert np.all(np.diff(found.total[:, 2]) > 0.0)


@given(setups(), paths())
@settings(max_examples=40, deadline=None)
def test_a_relocation_never_hurts_at_its_waypoint(setup, path):
    before, after = budget(setup, path, PLACED).matrix()[0], budget(setup, path, PLACED, [FIX]).matrix()[0]
    assert np.linalg.eigvalsh(before - after)[0] >= -1e-9 * np.trace(before)
    assert np.trace(after) < np.trace(before)


@given(setups(), paths(), st.floats(0.2, 5.0))
@settings(max_examples=40, deadline=None)
def test_twice_the_imperfection_is_four_times_the_variance(setup, path, by):
    names = ("diameter_sd", "offset_sd", "toe_sd", "runout", "wobble", "slip_sd", "lift_length")
    wheels = tuple(
        dataclasses.replace(w, counts=w.counts / by, **{n: by * getattr(w, n) for n in names}) for w in setup.wheels
    )
    gyro = setup.gyro and Gyro(**{f.name: by * getattr(setup.gyro, f.name) for f in dataclasses.fields(Gyro)})
    one, other = budget(setup, path), budget(Tracking(wheels=wheels, gyro=gyro), path)
    np.testing.assert_allclose(other.parts, by**2 * one.parts, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(other.mean, by * one.mean, rtol=1e-9, atol=1e-12)


@given(setups(), paths(), st.floats(0.3, 3.0))
@settings(max_examples=40, deadline=None)
def test_a_larger_world_has_larger_errors_and_the_same_headings(setup, path, by):
    lengths = ("diameter", "offset", "along", "diameter_sd", "offset_sd", "runout", "lift_length")
    wheels = tuple(
        dataclasses.replace(
            w,
            wobble=np.sqrt(by) * w.wobble,
            lift_rate=w.lift_rate / by,
            **{name: by * getattr(w, name) for name in lengths},
        )
        for w in setup.wheels
    )
    x, y, heading = path.start
    larger = odometry.Path((by * x, by * y, heading), by * path.ahead, by * path.left, path.turn, path.time, path.marks)
    one, other = budget(setup, path), budget(Tracking(wheels=wheels, gyro=setup.gyro), larger)
    powers = np.array([by**2, by**2, by**2, by, by, 1.0])
    np.testing.assert_allclose(other.parts, one.parts * powers, rtol=1e-8, atol=1e-14)


@given(setups(), paths(), st.floats(-3.0, 3.0))
@settings(max_examples=30, deadline=None)
def test_turning_the_field_turns_the_ellipse(setup, path, by):
    x, y, heading = path.start
    c, s = np.cos(by), np.sin(by)
    start = (c * x - s * y, s * x + c * y, heading + by)
    one, other = (
        ellipse(budget(setup, path).total),
        ellipse(budget(setup, dataclasses.replace(path, start=start)).total),
    )
    np.testing.assert_allclose(other.major, one.major, rtol=1e-7)
    np.testing.assert_allclose(other.minor, one.minor, rtol=1e-4, atol=1e-7)
    lean = np.sin(other.angle - one.angle - by) * (one.major - one.minor)
    np.testing.assert_allclose(lean, 0.0, atol=1e-6)


@given(setups(), paths(), st.floats(0.1, 0.99))
@settings(max_examples=40, deadline=None)
def test_ellipse_against_eigenvalues_and_determinant(setup, path, confidence):
    found = budget(setup, path, PLACED)
    plane = found.matrix()[:, :2, :2]
    major, minor, angle = ellipse(found.total, confidence)
    scale = -2.0 * np.log(1.0 - confidence)
    np.testing.assert_allclose(np.pi * major * minor, np.pi * scale * np.sqrt(np.linalg.det(plane)), rtol=1e-6)
    values, vectors = np.linalg.eigh(plane)
    np.testing.assert_allclose([minor, major], np.sqrt(scale * values).T, rtol=1e-6)
    along = np.abs(vectors[:, 0, 1] * np.cos(angle) + vectors[:, 1, 1] * np.sin(angle))
    clear = values[:, 1] > 1.001 * values[:, 0]
    np.testing.assert_allclose(along[clear], 1.0, atol=1e-6)


def varied(part, rng, cases):
    """A part whose numbers are arrays over cases."""
    numbers = {f.name: getattr(part, f.name) for f in dataclasses.fields(part) if f.name != "direction"}
    return dataclasses.replace(part, **{k: v * (1.0 + 0.1 * rng.random(cases)) for k, v in numbers.items()})


def picked(part, case):
    """One case of it."""
    numbers = {f.name: getattr(part, f.name) for f in dataclasses.fields(part) if f.name != "direction"}
    return dataclasses.replace(part, **{k: float(v[case]) for k, v in numbers.items()})


@pytest.mark.parametrize("gyro", [False, True])
def test_batch_equals_case_by_case(gyro):
    rng, own = np.random.default_rng(1), {"diameter_sd": 1e-4, "offset_sd": 5e-4, "toe_sd": 4e-3, "counts": 360.0}
    own |= {"runout": 3e-4, "wobble": 1e-3, "slip_sd": 2e-3, "lift_rate": 1.0, "lift_length": 2e-3, "along": 0.05}
    wheels = [varied(wheel(offset=0.1, **own), rng, 4), varied(wheel("sideways", -0.08, **own), rng, 4)]
    wheels += [] if gyro else [varied(wheel(offset=-0.11, **own), rng, 4)]
    sensor = varied(Gyro(scale_sd=3e-3, drift_sd=1e-3, noise=1e-3), rng, 4) if gyro else None
    placed, points = varied(PLACED, rng, 4), rng.random((4, 2, 4))
    path = odometry.path_through(points, 0.3 * rng.random(4), 0.8, 2.0)
    normal, sd = rng.random(4), 0.003 + 0.001 * rng.random(4)
    together = budget(
        Tracking(wheels=tuple(wheels), gyro=sensor), path, placed, [covariance.wall_contact(1, normal, sd, 0.01)]
    )
    for i in range(4):
        setup = Tracking(wheels=tuple(picked(w, i) for w in wheels), gyro=sensor and picked(sensor, i))
        way = odometry.Path(
            tuple(float(part[i]) for part in path.start),
            *(part[:, i] for part in (path.ahead, path.left, path.turn, path.time)),
            path.marks,
        )
        alone = budget(setup, way, picked(placed, i), [covariance.wall_contact(1, normal[i], sd[i], 0.01)])
        assert alone.sources == together.sources
        np.testing.assert_allclose(together.parts[..., i], alone.parts, rtol=1e-10, atol=1e-18)
        np.testing.assert_allclose(together.mean[..., i], alone.mean, rtol=1e-10, atol=1e-15)
        np.testing.assert_array_equal(together.dominating()[:, i], alone.dominating())


def test_what_a_setup_can_see():
    left, right, sideways = wheel(offset=0.1), wheel(offset=-0.1), wheel("sideways", 0.05)
    seen = {
        (left, right, sideways): (True, True, True),
        (left, right): (True, False, True),
        (left, sideways): (True, True, False),
        (left,): (True, False, False),
        (left, wheel(offset=0.1)): (True, False, False),
        (sideways, wheel("sideways", -0.2)): (False, True, True),
    }
    for wheels, expected in seen.items():
        assert odometry.observes(Tracking(wheels=wheels)) == expected
        assert odometry.observes(Tracking(wheels=wheels, gyro=Gyro())) == (*expected[:2], True)
    touching = wheel(offset=np.array([-0.1, 0.1]))
    assert not odometry.observes(Tracking(wheels=(left, touching))).heading


def test_three_parallel_wheels_average_by_least_squares():
    # numpy's pseudo-inverse of what the wheels read, for any number of wheels.
    offsets = (0.12, -0.02, -0.13)
    setup = Tracking(wheels=(*(wheel(offset=o) for o in offsets), wheel("sideways", -0.07)))
    rows = np.array([*([1.0, 0.0, -o] for o in offsets), [0.0, 1.0, -0.07]])
    np.testing.assert_allclose(np.array(odometry.weights(setup), float).T, np.linalg.pinv(rows), atol=1e-12)


STRAIGHT = odometry.Path((0.0, 0.0, 0.0), np.ones(1), np.zeros(1), np.zeros(1), np.ones(1), (0,))
GOOD = Tracking(wheels=(wheel(), wheel("sideways", 0.1)), gyro=Gyro(noise=0.001))


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: wheel("upward"), "direction"),
        (lambda: wheel(diameter=0.0), "diameter"),
        (lambda: wheel(counts=0.0), "counts"),
        (lambda: wheel(offset=np.nan), "offset"),
        (lambda: wheel(wobble=-1.0), "wobble"),
        (lambda: Gyro(noise=-1.0), "noise"),
        (lambda: Tracking(wheels=()), "wheels"),
        (lambda: Placement(heading_sd=-1.0), "heading_sd"),
        (lambda: budget(Tracking(wheels=(wheel(),)), STRAIGHT), "heading"),
        (lambda: budget(Tracking(wheels=(wheel("sideways"),), gyro=Gyro()), STRAIGHT), "motion ahead"),
        (lambda: budget(GOOD, STRAIGHT, None, [covariance.wall_contact(1, 0.0, 0.01)]), "waypoint"),
        (
            lambda: budget(Tracking(wheels=(wheel(),), gyro=Gyro()), dataclasses.replace(STRAIGHT, left=np.ones(1))),
            "left",
        ),
        (lambda: budget(GOOD, STRAIGHT).dominating("speed"), "what"),
        (lambda: budget(dataclasses.replace(GOOD, gyro=Gyro()), STRAIGHT).dominating(), "sources"),
        (lambda: ellipse(budget(GOOD, STRAIGHT).total, 1.0), "confidence"),
        (lambda: covariance.wall_contact(0, 0.0, 0.0), "sd"),
        (lambda: odometry.path_through(np.zeros((1, 2)), 0.0, 1.0, 1.0), "points"),
        (lambda: odometry.path_through(np.zeros((2, 2)), 0.0, 0.0, 1.0), "speed"),
        (lambda: dataclasses.replace(STRAIGHT, turn=np.full(1, 7.0)), "turn"),
        (lambda: dataclasses.replace(STRAIGHT, time=-np.ones(1)), "time"),
        (lambda: dataclasses.replace(STRAIGHT, ahead=np.full(1, np.inf)), "ahead"),
        (lambda: dataclasses.replace(STRAIGHT, left=np.zeros(2)), "shape"),
        (lambda: dataclasses.replace(STRAIGHT, marks=(1,)), "marks"),
        (lambda: dataclasses.replace(STRAIGHT, marks=(0, 0)), "marks"),
    ],
)
def test_bad_input_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()

"""Binding of a straight guide against equilibrium found by SciPy's linear programming.

The closed form L / e > 2 mu is from memory (any statics text, the drawer pulled at one corner); the linear programme
knows only forces, moments and friction cones. A carriage on motors is held to scipy, step by step.
"""

import math
from itertools import product

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, linprog

from fieldworthy.files import BadInput
from fieldworthy.physics.statics import guide
from robots import check, fact, find


def _held(made, load, load_offset, drive_offset, side):
    """The intervals of drive that friction holds at rest, one for each pair of walls the two pads may lean on."""
    found = []
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
        ends = [linprog([sign, 0, 0, 0, 0], cones, np.zeros(4), [along, across, moment], right, bounds)
                for sign in (1, -1)]  # fmt: skip
        if ends[0].status == 0:
            found.append((ends[0].fun, np.inf if ends[1].status == 3 else -ends[1].fun))
    return sorted(found)


def _moves_from_to(made, load, load_offset, drive_offset, side):
    """The drives between which nothing holds it: from the load itself on, which needs no friction and so is held."""
    reached = load
    for low, high in _held(made, load, load_offset, drive_offset, side):
        if low <= reached * (1 + 1e-9) + 1e-9:
            reached = max(reached, high)
        else:
            return reached, low
    return reached, np.inf


def _largest_drive_at_rest(made, load, load_offset, drive_offset, side):
    """The largest drive that friction holds before it first gives way; inf if any."""
    return _moves_from_to(made, load, load_offset, drive_offset, side)[0]


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
def test_force_to_move_is_the_largest_that_friction_holds(values, evidence):
    length, friction, width, load, load_offset, drive_offset, force, position = values
    made, side = guide.Guide(length, friction, width), guide.SideLoad(force, position)
    ours = guide.force_to_move(made, load, load_offset, drive_offset, side)
    found = _largest_drive_at_rest(made, load, load_offset, drive_offset, side)
    evidence(
        "guide",
        "Force that moves a guide under an offset load",
        "equilibrium with friction at every pad by linear programming",
        "pads 60 to 100 mm apart, friction 0.25 to 0.4, offsets up to 100 mm, side loads up to 40 N",
        "N",
        ours,
        found,
    )
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


@pytest.mark.long
def test_several_hundred_guides_against_the_balance_of_forces():
    """Every guide drawn, also those that lock under more force and yet move under less."""
    rng = np.random.default_rng(7)
    count = 400
    length, friction = rng.uniform(0.03, 0.2, count), rng.uniform(0.0, 0.6, count)
    width, load = rng.uniform(0.0, 0.03, count), rng.uniform(1.0, 40.0, count)
    load_offset, drive_offset = rng.uniform(-0.25, 0.25, (2, count))
    force, position = rng.uniform(-10.0, 10.0, count) * rng.integers(0, 2, count), rng.uniform(-0.15, 0.15, count)
    load_offset[::10] = drive_offset[::10] + 0.01 * rng.uniform(-1.0, 1.0, count // 10)  # nearly in one line
    sides = guide.SideLoad(force, position)
    least, greatest = guide.moving_forces(guide.Guide(length, friction, width), load, load_offset, drive_offset, sides)
    windows = 0
    for i in range(count):
        made = guide.Guide(length[i], friction[i], width[i])
        side = guide.SideLoad(force[i], position[i])
        low, high = _moves_from_to(made, load[i], load_offset[i], drive_offset[i], side)
        assert least[i] == pytest.approx(low, rel=1e-6)
        if np.isfinite(low):
            assert greatest[i] == pytest.approx(high, rel=1e-6)
            windows += bool(np.isfinite(high))
    assert windows > 5
    assert np.isinf(least).sum() > 20


@pytest.mark.parametrize("offset", [0.16, 0.17, 0.4])
def test_a_drive_in_the_line_of_its_load_carries_no_couple(offset):
    """By hand: drive and load in one line need no contact force at all, so 20 N balance 20 N at any offset."""
    made = guide.Guide(0.1, 0.3)
    least, greatest = guide.moving_forces(made, 20.0, offset, offset)
    assert least == pytest.approx(20.0, rel=1e-12)
    locks = 2 * 0.3 * offset / 0.1 >= 1.0  # any newton more presses harder than it pushes
    assert greatest == (pytest.approx(20.0, rel=1e-12) if locks else np.inf)


def test_a_longer_guide_never_needs_more_force():
    rng = np.random.default_rng(3)
    load_offset, drive_offset = rng.uniform(-0.2, 0.2, (2, 300))
    friction, load = rng.uniform(0.05, 0.6, 300), rng.uniform(1.0, 40.0, 300)
    lengths = np.linspace(0.03, 0.4, 60)[:, None]
    least, greatest = guide.moving_forces(guide.Guide(lengths, friction), load, load_offset, drive_offset)
    with np.errstate(invalid="ignore"):
        shorter_less = np.where(np.isfinite(least[1:]) | np.isfinite(least[:-1]), least[1:] - least[:-1], 0.0)
        longer_more = np.where(np.isfinite(greatest[1:]), greatest[:-1] - greatest[1:], 0.0)
    assert shorter_less.max() <= 1e-9
    assert longer_more.max() <= 1e-9
    assert (np.isinf(least[0]) & np.isfinite(least[-1])).sum() > 20


DRIVEN = {
    "kind": "guide", "motors": [{"motor": "test motor", "count": 2}], "length": "90 mm", "load": "13 N",
    "load_offset": "60 mm", "drive_offset": "15 mm", "friction": 0.22,
    "drive": {"radius": "16 mm", "travel": "340 mm", "moved": "1.25 kg", "efficiency": 0.85, "time_limit": "0.6 s",
              "stages": [{"driver": 24, "driven": 36, "efficiency": 0.9}]},
}  # fmt: skip


def moved_in_time(load, mass, travel=0.34, radius=0.016, ratio=1.5, through=0.9 * 0.85):
    """Force at stall, steady speed and time from rest of two test motors, by Ohm's and Newton's laws with scipy.

    Motor line of the test motor: 0.7 N m and 3.6 A at stall, 600 rpm and 0.13 A free, 12 V, limit 2.5 A, cap 11 W,
    on 12.8 V with 0.12 ohm.
    """
    stall, free, limit, cap = 3.6, 0.13, 2.5, 11.0
    kt, resistance = 0.7 / (stall - free), 12.0 / stall
    ke = (12.0 - free * resistance) / (600 * 2 * math.pi / 60)
    rotors = 2 * 1.2e-4 * ratio**2 / radius**2  # kg, as if they moved with the carriage

    def pull(speed):
        w = speed / radius * ratio
        current = min((12.8 - ke * w) / (resistance + 2 * 0.12), limit)
        torque = kt * (current - free)
        return 2 * min(torque, cap / max(w, 1e-9)) * ratio * through / radius

    def moves(_, y):
        return y[1], (pull(y[1]) - load) / (mass + rotors)

    def arrives(_, y):
        return y[0] - travel

    arrives.terminal = True
    run = solve_ivp(moves, (0.0, 5.0), (0.0, 0.0), events=arrives, rtol=1e-8, atol=1e-10, max_step=1e-3)
    return pull(0.0), brentq(lambda v: pull(v) - load, 1e-6, 2.0), run.t_events[0][0]


def test_motors_move_a_carriage_as_newton_and_ohm_have_it(tmp_path):
    """Within 2 %: the power cap is reckoned with electrical power, and the way is cut into eight pieces."""
    report = check(tmp_path, {"mechanisms": {"fork": DRIVEN}})
    found = find(report, "guide.force.fork")
    force, speed, time = moved_in_time(found.limit, 1.25)
    assert found.value == pytest.approx(force, rel=0.01)
    assert fact(report, "guide.speed.fork").value == pytest.approx(speed, rel=0.02)
    assert find(report, "guide.time.fork").value == pytest.approx(time, rel=0.02)
    # a load beyond stall: it does not go, and says so in both
    stuck = check(tmp_path, {"mechanisms": {"fork": {**DRIVEN, "load": "400 N"}}})
    assert find(stuck, "guide.force.fork").verdict == "short"
    assert "do not take it along" in find(stuck, "guide.time.fork").because
    assert fact(stuck, "guide.speed.fork").value == 0.0


@pytest.mark.parametrize(("other", "key"), [({"motors": []}, "motors"), ({"cylinder": "push"}, "drive")])
def test_a_guide_is_driven_by_one_thing(tmp_path, other, key):
    push = {"cylinder": "test cylinder", "tank": "one", "valve": "test valve"}
    air = {"air": {"tanks": {"one": {"tank": "test tank"}}, "cylinders": {"push": push}}}
    with pytest.raises(BadInput) as told:
        check(tmp_path, {**air, "mechanisms": {"fork": {**DRIVEN, **other}}})
    assert [str(p.key[-1]) for p in told.value.problems] == [key]

"""What must hold for every drive: order, balance of energy, and a batch that equals its cases one by one."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldworthy.physics.motors import driving, motion, motor, thermal


def between(low, high):
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


@st.composite
def lines(draw):
    """Motors whose two constants agree, as energy demands."""
    K, R, V = draw(between(0.05, 0.8)), draw(between(1.0, 6.0)), draw(between(7.0, 13.0))
    free = draw(between(0.0, 0.1)) * V / R
    return motor.MotorLine((V - free * R) / K, K * (V / R - free), free, V / R, V)


@st.composite
def powertrains(draw):
    line = draw(lines())
    controller = motor.Controller(
        draw(between(0.4, 1.3)) * line.stall_current,
        draw(between(0.2, 1.3)) * line.stall_torque * line.free_speed / 4.0,
    )
    source = motor.Battery(draw(between(10.0, 13.0)), draw(between(0.0, 0.15)))
    # a rim at 1 to 3 m/s without load
    radius = draw(between(0.025, 0.055))
    ratio = line.free_speed * radius / draw(between(1.0, 3.0))
    wheels = motion.Wheels(motor.GearStage(ratio, draw(between(0.7, 1.0))), radius)
    return motion.Powertrain(line, controller, source, draw(st.integers(2, 8)), wheels)


@st.composite
def loads(draw):
    return motion.Load(
        draw(between(3.0, 9.0)), draw(between(0.0, 1.0)), draw(between(0.0, 4.0)), draw(between(2.0, 9.0)),
        draw(between(1.0, 9.0)),
    )  # fmt: skip


distances = between(0.02, 4.0)
times = settings(max_examples=60, deadline=None)


@times
@given(powertrains(), between(0.0, 0.99))
def test_electrical_power_is_mechanical_power_and_losses(train, share):
    # V0 I = I2 Rb + n (I2 R + Kt I0 w + T w) with the torque from the force curve, which never solved for a voltage
    line, n = train.line, train.motors
    drive = motion.drive_line(train)
    gear = train.wheels.train.ratio / train.wheels.radius
    speed = share * drive.stall_force / drive.slope
    point = motor.operating_point(line, train.controller, train.battery, n, speed * gear)
    force = motion.drive_force(speed, drive.stall_force, drive.slope, drive.force_limit, drive.power_limit)
    shaft = force * speed / train.wheels.train.efficiency
    friction = n * line.torque_constant * line.free_current * speed * gear
    copper = n * point.motor_current**2 * line.resistance
    inside = point.battery_current**2 * train.battery.resistance
    given_off = train.battery.open_voltage * point.battery_current
    assert given_off == pytest.approx(shaft + friction + copper + inside, rel=1e-9, abs=1e-9)


@times
@given(powertrains(), loads(), distances)
def test_energy_of_a_move_is_accounted_for(train, load, distance):
    # what the terminals give up to the peak and in the cruise = kinetic energy + resistance's work + gear, friction
    # and copper losses; the losses by a fine trapezoid. 1e-2: where a move all but reaches top speed, time grows like a
    # logarithm of speed, and six nodes are off by up to 1 % in the squared current
    load = replace(load, deceleration=motion.NO_BRAKING)
    drive, gear = motion.drive_line(train), train.wheels.train.ratio / train.wheels.radius
    moved = motion.move(drive, load, distance)
    if not np.isfinite(moved.time):
        return
    draw = driving.move_draw(train, load, moved)
    line, curve = train.line, motion.speed_curve(drive, load)
    v = float(moved.peak_speed) * np.linspace(0.0, 1.0, 4001)
    time = curve.run_up(v)[0]
    shaft = curve.force(v) * v / train.wheels.train.efficiency
    copper = train.motors * line.resistance * float(draw.square)
    kept = np.trapezoid(shaft - curve.force(v) * v, time)
    own = train.motors * line.torque_constant * line.free_current * gear
    stored = 0.5 * (load.mass + load.rotating_mass) * float(moved.peak_speed) ** 2 + load.resistance * distance
    cruise = float(moved.time - moved.run_up_time)
    kept += cruise * float(shaft[-1]) * (1.0 - train.wheels.train.efficiency)
    assert draw.energy == pytest.approx(stored + kept + copper + own * distance, rel=1e-2)


@times
@given(powertrains(), loads(), distances, between(1.0, 2.0), between(1.0, 2.0))
def test_more_mass_is_never_faster_and_more_grip_never_slower(train, load, distance, heavier, grippier):
    drive = motion.drive_line(train)
    base = motion.move(drive, load, distance).time
    assert motion.move(drive, replace(load, mass=load.mass * heavier), distance).time >= base * (1 - 1e-8)
    more = replace(
        load,
        grip_acceleration=load.grip_acceleration * grippier,
        deceleration=load.deceleration * grippier,
    )
    assert motion.move(drive, more, distance).time <= base * (1 + 1e-8)


@times
@given(powertrains(), loads(), distances, between(1.0001, 3.0))
def test_a_longer_way_takes_longer_and_no_less_than_at_top_speed(train, load, distance, further):
    drive = motion.drive_line(train)
    near, far = (motion.move(drive, load, d) for d in (distance, distance * further))
    top = float(motion.top_speed(drive, load))
    if top > 0.0:
        assert far.time > near.time
        # each time is known to a billionth
        assert far.time - near.time >= distance * (further - 1.0) / top * (1 - 1e-6) - 1e-9 * far.time
        assert near.peak_speed <= far.peak_speed * (1 + 1e-9) <= top * (1 + 1e-8)
    else:
        assert np.isinf(near.time)
        assert near.peak_speed == 0.0


@times
@given(st.lists(st.tuples(powertrains(), loads(), distances), min_size=2, max_size=5))
def test_a_batch_equals_its_cases(rows):
    def pack(kind, parts):
        return kind(*[np.array([getattr(p, f.name) for p in parts], dtype=float) for f in fields(kind)])

    trains, each_load, each_distance = zip(*rows, strict=True)
    stages = pack(motor.GearStage, [t.wheels.train for t in trains])
    batch = motion.Powertrain(
        pack(motor.MotorLine, [t.line for t in trains]),
        pack(motor.Controller, [t.controller for t in trains]),
        pack(motor.Battery, [t.battery for t in trains]),
        np.array([float(t.motors) for t in trains]),
        motion.Wheels(stages, np.array([t.wheels.radius for t in trains])),
    )
    load = pack(motion.Load, each_load)
    moved = motion.move(motion.drive_line(batch), load, np.array(each_distance))
    draw = driving.move_draw(batch, load, moved)
    assert rows
    for i, (one, single, way) in enumerate(rows):
        alone = motion.move(motion.drive_line(one), single, way)
        assert moved.time[i] == pytest.approx(float(alone.time), rel=1e-12)
        lone_draw = driving.move_draw(one, single, alone)
        assert draw.charge[i] == pytest.approx(float(lone_draw.charge), rel=1e-9, abs=1e-12)
        assert draw.square[i] == pytest.approx(float(lone_draw.square), rel=1e-9, abs=1e-12)


@times
@given(powertrains(), between(0.0, 8.0), between(1.0, 3.0))
def test_more_scrub_never_turns_faster(train, scrub, more):
    drive = motion.drive_line(train)
    easy = driving.YawLoad(0.08, 0.14, scrub, 55.0, 1.0, 0.3)
    hard = replace(easy, scrub=scrub * more)
    assert driving.turn_rate(drive, hard) <= driving.turn_rate(drive, easy) * (1 + 1e-9)


@times
@given(between(290.0, 380.0), between(290.0, 350.0), between(0.0, 4.0), between(0.0, 200.0), between(0.0, 200.0))
def test_two_steps_are_one_and_a_warmer_start_stays_warmer(winding, case, current, one, two):
    path, coil = thermal.HeatPath(25.0, 90.0, 3.0, 7.0), thermal.Winding(3.3)
    start = thermal.Temperatures(winding, case)
    half = thermal.after(path, coil, start, 290.0, current, one)
    both = thermal.after(path, coil, half, 290.0, current, two)
    whole = thermal.after(path, coil, start, 290.0, current, one + two)
    assert (both.winding, both.case) == pytest.approx((whole.winding, whole.case), rel=1e-9)
    warmer = thermal.after(path, coil, thermal.Temperatures(winding + 1.0, case), 290.0, current, one)
    assert warmer.winding > half.winding
    assert warmer.case >= half.case


def test_energy_of_heat_is_kept():
    # heat in = heat stored + heat given to the air, the last by a fine trapezoid; constant resistance
    path, coil = thermal.HeatPath(25.0, 90.0, 3.0, 7.0), thermal.Winding(3.3, growth=0.0)
    t = np.linspace(0.0, 200.0, 20001)
    run = thermal.after(path, coil, thermal.Temperatures(300.0, 296.0), 295.0, 1.7, t)
    gone = np.trapezoid((run.case - 295.0) / 7.0, t)
    stored = 25.0 * (run.winding[-1] - 300.0) + 90.0 * (run.case[-1] - 296.0)
    assert stored + gone == pytest.approx(1.7**2 * 3.3 * 200.0, rel=1e-7)


@pytest.mark.parametrize(
    "make",
    [
        lambda: motor.MotorLine(0.0, 1.0, 0.1, 2.0, 12.0),
        lambda: motor.MotorLine(60.0, 1.0, 2.0, 2.0, 12.0),
        lambda: motor.Controller(-1.0),
        lambda: motor.Controller(power_cap=np.nan),
        lambda: motor.Battery(12.0, -0.1),
        lambda: motor.GearStage(2.0, 1.2),
        lambda: motor.reflected_inertia([motor.GearStage(2.0)], [1.0]),
        lambda: motion.Load(6.0, resistance=-1.0),
        lambda: motion.Load(6.0, deceleration=0.0),
        lambda: motion.move(motion.DriveLine(50.0, 20.0), motion.Load(6.0), -1.0),
        lambda: motion.move(motion.DriveLine(50.0, 20.0), motion.Load(6.0), np.inf),
        lambda: driving.YawLoad(0.0, 0.1, 1.0, 50.0),
        lambda: thermal.HeatPath(25.0, 90.0, 0.0, 7.0),
        lambda: thermal.Derating(2.5, (330.0,), ()),
    ],
)
def test_impossible_input_is_refused(make):
    with pytest.raises(ValueError, match=r".+"):
        make()


def test_reflected_inertia_is_the_kinetic_energy_of_the_train():
    stages = [motor.GearStage(3.0, 0.9), motor.GearStage(0.5, 0.9)]
    # shafts turn 1.5, 0.5 and 1 times the wheel; twice their energy at 1 rad/s of the wheel
    want = 2e-4 * 1.5**2 + 3e-4 * 0.5**2 + 5e-4
    assert motor.reflected_inertia(stages, [2e-4, 3e-4, 5e-4]) == pytest.approx(want, rel=1e-12)
    assert motor.train(stages).ratio == pytest.approx(1.5, rel=1e-12)
    assert motor.train(stages).efficiency == pytest.approx(0.81, rel=1e-12)

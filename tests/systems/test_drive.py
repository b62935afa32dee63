"""The drive of whole robot files against equations of motion integrated step by step, root finding and edited files."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.match.setup import setup
from fieldworthy.systems.drive.check import candidate_ratios
from fieldworthy.vehicle import state
from robots import GONE, GRAVITY, WHEEL, changed, check, example, fact, find, load, nominal

SPRINT = {"drive": {"targets": {"sprint_distance": "2 m", "sprint_time": "2 s"}}}


@dataclass
class Drive:
    """The small robot's drive from its stated equations, solved numerically; nothing of the package is used."""

    mass: float = 7.0
    motors: int = 4
    ratio: float = 48 / 36
    efficiency: float = 0.9
    grip: float = 0.8
    rolling: float = 0.02
    cap: float = 11.0
    limit: float = 2.5
    source: float = 12.8
    inner: float = 0.12
    brake_at: float | None = None
    start_at: float = math.inf
    extra_drag: float = 0.0

    radius, bearing, stall_torque, stall, free, free_speed = 0.035, 0.02, 0.7, 3.6, 0.13, 600 * math.pi / 30

    def __post_init__(self) -> None:
        self.winding = 12 / self.stall
        self.kt = self.stall_torque / (self.stall - self.free)
        self.ke = (12 - self.free * self.winding) / self.free_speed
        rotors = self.motors * 1.2e-4 * self.ratio**2
        wheels = 4 * 0.75 * 0.06 * self.radius**2  # three quarters of a hoop's
        self.turning = (rotors + 5e-4 + wheels) / self.radius**2
        self.resistance = self.rolling * self.mass * GRAVITY + self.bearing / self.radius + self.extra_drag

    def current(self, speed: float) -> float:
        """Winding current of one motor at full command."""
        w = speed * self.ratio / self.radius
        # Kirchhoff: all motors' current through the battery, each one's through its winding
        on_line = brentq(lambda i: self.source - self.inner * self.motors * i - i * self.winding - self.ke * w, -9, 99)
        most = min(self.limit, self.cap / (self.kt * max(w, 1e-9)) + self.free)
        return min(on_line, most)

    def force(self, speed: float) -> float:
        """At the rims, grip left out."""
        torque = self.kt * (self.current(speed) - self.free)
        return self.motors * torque * self.ratio * self.efficiency / self.radius

    def pull(self, speed: float) -> tuple[float, float]:
        """Acceleration, and the rim force that the motors give for it."""
        floor = self.grip * self.mass * GRAVITY - self.rolling * self.mass * GRAVITY - self.extra_drag
        by_motor = (self.force(speed) - self.resistance) / (self.mass + self.turning)
        a = min(by_motor, floor / self.mass, self.start_at)
        return a, a * (self.mass + self.turning) + self.resistance

    @property
    def braking(self) -> float:
        """Deceleration by motors or grip, or what is said."""
        if self.brake_at is not None:
            return self.brake_at
        torque = self.kt * (min(self.limit, 12 / self.winding) - self.free)
        motors = self.motors * torque * self.ratio / self.efficiency / self.radius
        return min((motors + self.resistance) / (self.mass + self.turning), self.grip * GRAVITY)

    def battery(self, speed: float, force: float) -> tuple[float, float]:
        """Winding current of one motor and current out of the battery for a rim force."""
        torque = force * self.radius / (self.motors * self.ratio * self.efficiency)
        current = torque / self.kt + self.free
        w = speed * self.ratio / self.radius
        power = self.motors * current * (current * self.winding + self.ke * w)
        drawn = brentq(lambda i: (self.source - self.inner * i) * i - power, 0, self.source / self.inner / 2)
        return current, drawn

    def move(self, distance: float) -> dict[str, float]:
        """From rest to rest: time, current squared of one motor over time, charge."""

        def rates(_: float, y: np.ndarray) -> list[float]:
            v = max(y[1], 0.0)
            a, force = self.pull(v)
            current, drawn = self.battery(v, force)
            return [v, a, current**2, drawn]

        def must_brake(_: float, y: np.ndarray) -> float:
            return y[0] + y[1] ** 2 / (2 * self.braking) - distance

        must_brake.terminal = True
        run = solve_ivp(rates, (0, 60), [0, 0, 0, 0], events=must_brake, rtol=1e-8, atol=1e-10, max_step=0.02)
        _, v, square, charge = run.y[:, -1]
        stop = v / self.braking
        force = max(self.braking * (self.mass + self.turning) - self.resistance, 0)
        torque = force * self.radius * self.efficiency / (self.motors * self.ratio)
        current = max(torque / self.kt - self.free, 0)
        stopped = current**2 * stop
        return {"time": run.t[-1] + stop, "square": square + stopped, "charge": charge, "peak": v, "stopped": stopped}


def test_sprint_against_the_equations_of_motion(tmp_path):
    found = find(check(tmp_path, SPRINT), "drive.sprint")
    assert found.value == pytest.approx(Drive().move(2.0)["time"], rel=1e-4)  # closed form against 1e-8 steps
    assert found.margin == pytest.approx((2.0 - found.value) / 2.0, rel=1e-9)


def test_top_speed_is_where_force_meets_resistance(tmp_path):
    drive = Drive()
    top = brentq(lambda v: drive.force(v) - drive.resistance, 0.5, 4)
    assert fact(check(tmp_path), "drive.top_speed").value == pytest.approx(top, rel=1e-6)


TIGHTER = {
    "power cap": ({"power_cap": "5 W"}, {"cap": 5.0}),
    "current limit": ({"current_limit": "1.2 A"}, {"limit": 1.2}),
}


@pytest.mark.parametrize("name", list(TIGHTER))
def test_a_tighter_bound_slows_the_sprint_by_what_the_equations_say(tmp_path, name):
    edit, numbers = TIGHTER[name]
    loose = find(check(tmp_path, SPRINT), "drive.sprint").value
    tight = find(check(tmp_path, changed(SPRINT, {"catalogue": {"motors": {"test motor": edit}}})), "drive.sprint")
    assert tight.value > loose * 1.02
    assert tight.value == pytest.approx(Drive(**numbers).move(2.0)["time"], rel=1e-4)


def test_battery_sag_slows_the_sprint_by_what_the_equations_say(tmp_path):
    # bounds taken off, so that the line itself is used and the sag shows
    free = {"catalogue": {"motors": {"test motor": {"power_cap": GONE, "current_limit": GONE}}}}
    weak = changed(free, {"catalogue": {"batteries": {"test battery": {"resistance": "0.5 ohm"}}}})
    for robot, inner in ((free, 0.12), (weak, 0.5)):
        found = find(check(tmp_path, changed(SPRINT, robot)), "drive.sprint")
        drive = Drive(cap=1000.0, limit=1000.0, inner=inner)
        assert found.value == pytest.approx(drive.move(2.0)["time"], rel=2e-4)
    assert (
        Drive(cap=1000.0, limit=1000.0, inner=0.5).move(2.0)["time"]
        > 1.05 * Drive(cap=1000.0, limit=1000.0).move(2.0)["time"]
    )


def test_braking_limited_by_tipping_takes_longer(tmp_path):
    low = find(check(tmp_path, SPRINT), "drive.sprint").value
    # only the height differs, and all wheels grip alike: nothing but starting and braking changes
    tall = changed(SPRINT, {"parts": {"box": {"position": ["0.02 m", "0.01 m", "0.4 m"]}}})
    limit, start = GRAVITY * 0.12 / 0.4, GRAVITY * 0.14 / 0.4
    assert limit < Drive().braking
    found = find(check(tmp_path, tall), "drive.sprint").value
    assert found > low * 1.01
    assert found == pytest.approx(Drive(brake_at=limit, start_at=start).move(2.0)["time"], rel=1e-4)
    assert found > 1.01 * Drive(start_at=start).move(2.0)["time"]


@pytest.mark.parametrize("share", [0.8, 0.35])
def test_a_program_that_holds_the_start_back_takes_longer_by_what_the_equations_say(tmp_path, share):
    gentle = changed(SPRINT, {"drive": {"starting": share}})
    hardest = Drive().pull(0.0)[0]
    found = find(check(tmp_path, gentle), "drive.sprint").value
    assert found == pytest.approx(Drive(start_at=share * hardest).move(2.0)["time"], rel=1e-4)
    assert float(nominal_performance(tmp_path, gentle).launch) == pytest.approx(share * hardest, rel=1e-6)


def test_a_start_that_would_lift_the_front_wheels_is_held_back(tmp_path):
    """Moments about the rear contacts, 140 mm behind the middle: harder than g 0.14 / h the front comes up."""
    tall = {"parts": {"box": {"position": ["0.02 m", "0.01 m", "0.4 m"]}}, "drive": {"motors": 10}}
    starts, stops = GRAVITY * 0.14 / 0.4, GRAVITY * 0.12 / 0.4
    assert Drive(motors=10).pull(0.0)[0] > 1.2 * starts
    found = find(check(tmp_path, changed(SPRINT, tall)), "drive.sprint").value
    assert found == pytest.approx(Drive(motors=10, brake_at=stops, start_at=starts).move(2.0)["time"], rel=1e-4)
    assert found > 1.02 * Drive(motors=10, brake_at=stops).move(2.0)["time"]


@pytest.mark.parametrize(("driven", "sense"), [("rear", 1), ("front", 1), ("rear", -1), ("front", -1)])
def test_partly_driven_wheels_grip_with_the_load_that_their_own_pull_moves(tmp_path, driven, sense):
    """The axle load is N = m (g d +- a h) / L and the pull mu N: one linear equation for the acceleration."""
    rest = "front" if driven == "rear" else "rear"
    wheels = {f"{side} {rest}": {"driven": False} for side in ("left", "right")}
    strong = {"motors": 12, "wheels": wheels}
    height = 0.1
    robot = {"drive": strong, "parts": {"box": {"position": ["0.02 m", "0 m", f"{height} m"]}}}
    performance = nominal_performance(tmp_path, robot)
    far = (0.14 - 0.02) if driven == "rear" else (0.02 + 0.12)  # from the axle that is not driven
    sign = sense * (1 if driven == "rear" else -1)  # accelerating loads the rear, braking the front
    drag = 0.02 * 7 * GRAVITY if sense > 0 else 0.0  # rolling drag is taken off the pull

    def miss(force: float) -> float:
        load = (7 * GRAVITY * far + sign * max(force - drag, 0) * height) / 0.26
        return force - 0.8 * load

    force = brentq(miss, 0, 200)
    expected = (force - drag) / 7
    got = performance.launch if sense > 0 else performance.braking
    assert float(got) == pytest.approx(expected, rel=1e-6)


def nominal_performance(folder, robot):
    """What the drive makes of the small robot in its driving pose."""
    from robots import load

    return state.performance(nominal(load(folder, robot)), "driving")


def test_pull_that_runs_away_ends_where_the_front_wheels_lift(tmp_path):
    wheels = {f"{side} front": {"driven": False} for side in ("left", "right")}
    robot = {"drive": {"motors": 16, "wheels": wheels}, "parts": {"box": {"position": ["0.02 m", "0 m", "0.4 m"]}}}
    # mu h / L is 1.2: each newton pulls more than itself onto the rear
    performance = nominal_performance(tmp_path, robot)
    drag = 0.02 * 7 * GRAVITY
    assert float(performance.launch) == pytest.approx((0.8 * 7 * GRAVITY - drag) / 7, rel=1e-6)


@pytest.mark.parametrize(("grip", "ends"), [(0.3, "slip"), (1.1, "motors")])
def test_push_ends_by_slip_or_by_the_motors_whichever_comes_first(tmp_path, grip, ends):
    robot = {"catalogue": {"wheels": {WHEEL: {"grip": grip}}}, "drive": {"targets": {"push_force": "35 N"}}}
    found = find(check(tmp_path, robot), "drive.push")
    drive = Drive()
    motors, floor = drive.force(0) - drive.resistance, grip * 7 * GRAVITY
    assert (floor < motors) == (ends == "slip")
    assert found.value == pytest.approx(min(motors, floor), rel=1e-9)
    assert ("wheels slip before" in found.because) == (ends == "slip")


def test_push_changes_over_exactly_where_grip_equals_the_motors(tmp_path):
    drive = Drive()
    even = (drive.force(0) - drive.resistance) / (7 * GRAVITY)
    for factor, slips in ((0.9999, True), (1.0001, False)):
        robot = {"catalogue": {"wheels": {WHEEL: {"grip": factor * even}}}}
        assert ("wheels slip before" in fact(check(tmp_path, robot), "drive.push").because) == slips


def test_a_480_rpm_drive_on_small_wheels_goes_about_69_inches_a_second(tmp_path):
    """Common practice, no source: 480 rpm on 2.75 in wheels is about 69 in/s. True without losses; with them less."""
    wheel = {"diameter": "2.75 in"}
    ideal = {
        "drive": {
            "stages": [{"driver": 48, "driven": 60, "efficiency": 1.0}],
            "friction_torque": "0 N*m",
            "wheels": {
                f"{side} {end}": {"position": [x, y]}
                for side, y in (("left", "6 in"), ("right", "-6 in"))
                for end, x in (("front", "5 in"), ("rear", "-5 in"))
            },
        },
        "parts": {"box": {"mass": "15 lb", "position": ["1 in", "0 in", "5 in"], "size": ["14 in", "13 in", "8 in"]}},
        "catalogue": {
            "wheels": {WHEEL: wheel | {"rolling_resistance": 0}},
            "batteries": {"test battery": {"open_circuit": "12 V", "resistance": "0 ohm"}},
        },
    }
    found = fact(check(tmp_path, ideal), "drive.top_speed")
    assert found.unit == "in/s"
    assert found.value == pytest.approx(480 / 60 * math.pi * 2.75, rel=1e-6)
    assert found.value == pytest.approx(69, abs=0.5)
    lossy = changed(
        ideal,
        {"drive": {"friction_torque": "0.02 N*m"}, "catalogue": {"wheels": {WHEEL: {"rolling_resistance": 0.025}}}},
    )
    assert 60 < fact(check(tmp_path, lossy), "drive.top_speed").value < 69


MOVES = {0.6: 14, 1.2: 10, 2.4: 4}


def mix_time(folder, driver: int, driven: int) -> float:
    """The whole mix, by checking a file for each distance."""
    whole = 0.0
    for distance, times in MOVES.items():
        drive = {
            "stages": [{"driver": driver, "driven": driven, "efficiency": 0.9}],
            "targets": {"sprint_distance": f"{distance} m"},
        }
        whole += times * fact(check(folder, {"drive": drive}), "drive.sprint").value
    return whole


def test_the_best_ratio_beats_its_neighbours_in_edited_files(tmp_path):
    typical = [{"distance": f"{d} m", "times": n} for d, n in MOVES.items()]
    best = fact(check(tmp_path, {"drive": {"typical_moves": typical}}), "drive.ratio")
    teeth = {b / a: (a, b) for a in (12, 18, 24, 30, 36, 42, 48, 54, 60, 72, 84) for b in
             (12, 18, 24, 30, 36, 42, 48, 54, 60, 72, 84) if 0.2 <= b / a <= 5}  # fmt: skip
    ratios = sorted(teeth)
    i = int(np.argmin([abs(r - best.value) for r in ratios]))
    assert ratios[i] == pytest.approx(best.value, rel=1e-12)
    here, before, after = (mix_time(tmp_path, *teeth[ratios[j]]) for j in (i, i - 1, i + 1))
    assert here <= min(before, after)
    assert f"({here:.3g} s" in best.because.replace(" driving", "")


def test_a_ratio_too_small_to_brake_is_timed_with_its_own_brakes(tmp_path):
    """At 0.2 motor turns per wheel turn the motors hardly brake: the mix takes as long as an edited file says."""
    typical = [{"distance": "1 m", "times": 3}]
    drive = {"stages": [{"driver": 60, "driven": 12, "efficiency": 0.9}], "typical_moves": typical,
             "targets": {"sprint_distance": "1 m"}}  # fmt: skip
    report = check(tmp_path, {"drive": drive})
    one = Drive(ratio=0.2).move(1.0)["time"]
    assert fact(report, "drive.sprint").value == pytest.approx(one, rel=1e-3)
    assert f"({3 * one:.3g} s)" in fact(report, "drive.ratio").because


def test_candidate_ratios_are_those_of_usual_gears():
    ratios = candidate_ratios()
    assert all(b > a * (1 + 1e-9) for a, b in pairwise(ratios))
    assert {0.2, 1.0, 60 / 36, 5.0} <= {round(r, 12) for r in ratios} | {60 / 36}
    assert ratios[0] == pytest.approx(0.2)
    assert ratios[-1] == pytest.approx(5.0)


PLAN = {
    "drive": {"motor_start_temperature": "25 degC"},
    "actions": {"go": {"time": "0.5 s"}},
    "plan": {
        "start": "a",
        "driven": [{"repeat": [{"action": "go", "at": "b"}, {"action": "go", "at": "a"}], "times": 18}],
    },
}


def two_lumps(square: float, way: float, count: int) -> tuple[float, float, float]:
    """Hottest winding, and both temperatures after the match, from the two stated heat balances."""
    resistance, hall = 12 / 3.6, 293.15

    def heat(current: float):
        def rates(_: float, y: np.ndarray) -> list[float]:
            into = current**2 * resistance * (1 + 0.00393 * (y[0] - 293.15))
            flow = (y[0] - y[1]) / 3
            return [(into - flow) / 25, (flow - (y[1] - hall) / 7) / 90]

        return rates

    now, hottest, clock = [298.15, 298.15], 298.15, 20.0
    now = solve_ivp(heat(0.0), (0, 20), now, rtol=1e-9).y[:, -1]
    for _ in range(count):
        for current, time in ((math.sqrt(square / way), way), (0.0, 0.5)):
            now = solve_ivp(heat(current), (0, time), now, rtol=1e-9).y[:, -1]
            hottest, clock = max(hottest, now[0]), clock + time
    now = solve_ivp(heat(0.0), (0, 120 - clock), now, rtol=1e-9).y[:, -1]
    return hottest, float(now[0]), float(now[1])


def test_heat_along_the_plan_against_both_heat_balances(tmp_path):
    report = check(tmp_path, PLAN)
    one = Drive().move(1.2)
    hottest, _, _ = two_lumps(one["square"], one["time"], 36)
    found = find(report, "drive.heat")
    rise = hottest - 298.15
    assert rise > 1
    # 2 % of the rise is what the docstring states
    assert found.value + 273.15 - 298.15 == pytest.approx(rise, rel=0.02)


@pytest.mark.parametrize("hall", ["0 degC", "38 degC"])
def test_motors_begin_as_warm_as_the_hall_where_the_file_does_not_say(tmp_path, hall):
    """A motor that nothing has heated is as warm as the air around it: zeroth law."""
    season = {"temperature": hall}
    loaded = load(tmp_path, changed(PLAN, {"drive": {"motor_start_temperature": GONE}}), season)
    warm = float(loaded.nominal_season.temperature)
    assert state.start_temperature(nominal(loaded)) == warm
    assert setup(nominal(loaded)).numbers.motors[0, 0, 12] == warm
    driven = evaluate(loaded, samples=0)
    told = check(tmp_path, changed(PLAN, {"drive": {"motor_start_temperature": hall}}), season)
    assert find(driven, "drive.heat").value == find(told, "drive.heat").value > warm - 273.15


def test_charge_along_the_plan_against_the_equations_of_motion(tmp_path):
    found = find(check(tmp_path, PLAN), "drive.battery")
    assert found.value == pytest.approx(36 * Drive().move(1.2)["charge"] / 3600, rel=0.01)
    assert found.limit == pytest.approx(1.1)


def test_derating_is_found_where_the_plan_gets_hotter_than_its_first_step(tmp_path):
    one = Drive().move(1.2)
    hottest = two_lumps(one["square"], one["time"], 36)[0] - 273.15
    for shift, verdict in ((+0.3, "holds"), (-0.3, "short")):
        steps = [{"above": f"{hottest + shift} degC", "factor": "50 %"}]
        report = check(tmp_path, changed(PLAN, {"catalogue": {"motors": {"test motor": {"derating": steps}}}}))
        assert find(report, "drive.derating").verdict == verdict


def test_derating_keeps_the_motor_cooler_than_it_would_get(tmp_path):
    steps = [{"above": "25.5 degC", "factor": "20 %"}]
    free = find(check(tmp_path, PLAN), "drive.heat").value
    guarded = check(tmp_path, changed(PLAN, {"catalogue": {"motors": {"test motor": {"derating": steps}}}}))
    assert 25.5 < find(guarded, "drive.heat").value < free


def test_cool_down_against_the_heat_balances(tmp_path):
    one = Drive().move(1.2)
    _, winding, case = two_lumps(one["square"], one["time"], 36)
    # its target is the starting temperature or 5 K above the hall, whichever is more: 25 degC both
    target = 298.15

    def rates(_: float, y: np.ndarray) -> list[float]:
        flow = (y[0] - y[1]) / 3
        return [-flow / 25, (flow - (y[1] - 293.15) / 7) / 90]

    def cool(_: float, y: np.ndarray) -> float:
        return y[0] - target

    cool.terminal = True
    run = solve_ivp(rates, (0, 4000), [winding, case], events=cool, rtol=1e-9)
    found = find(check(tmp_path, PLAN), "drive.cool_down")
    assert found.value == pytest.approx(run.t[-1], rel=0.03)  # 2 % of the rise, of which the log takes a little more
    assert found.limit == pytest.approx(480)


def turned(angle: float) -> dict[str, float]:
    """A turn on the spot without scrub: rims half the track out, the box's inertia there, grip as the bound."""
    drive = Drive()
    drive.mass = 7 * (0.36**2 + 0.34**2) / 12 / 0.15**2
    floor = 0.8 * 7 * GRAVITY
    brake = drive.motors * drive.kt * (2.5 - 0.13) * drive.ratio / drive.efficiency / drive.radius
    drive.brake_at = min(
        (brake + drive.resistance) / (drive.mass + drive.turning), (floor + drive.resistance) / drive.mass
    )
    drive.grip = (floor - drive.resistance) / (drive.mass * GRAVITY) + drive.rolling
    return drive.move(0.15 * angle)


CORNERS = changed(
    PLAN,
    {"plan": {"driven": [{"repeat": [{"action": "go", "at": at} for at in "bcba"], "times": 9}]},
     "catalogue": {"wheels": {WHEEL: {"side_grip": 0}}}},
)  # fmt: skip
SQUARE = {"field": {"places": {"c": ["1.2 m", "1.2 m"]}}}


@pytest.mark.parametrize(("brakes", "least", "most"), [(True, 0.98, 1.02), (False, 0.5, 0.8)])
def test_the_rise_of_a_whole_plan_against_an_own_model(tmp_path, brakes, least, most):
    """scipy's integration of motion, then of both lumps, beat by beat; turns and stops included.

    The motors that brake warm as those that drive do. A model that lets the robot stop by itself finds a rise that is
    two fifths lower here, and less so the more softly it brakes.
    """
    whole = {"go": Drive().move(1.2), "turn": turned(math.pi / 2)}
    now, hottest = [298.15, 298.15], 298.15

    def after(current: float, time: float) -> list[float]:
        def rates(_: float, y: np.ndarray) -> list[float]:
            into = current**2 * 12 / 3.6 * (1 + 0.00393 * (y[0] - 293.15))
            flow = (y[0] - y[1]) / 3
            return [(into - flow) / 25, (flow - (y[1] - 293.15) / 7) / 90]

        return list(solve_ivp(rates, (0, time), now, rtol=1e-9).y[:, -1])

    now = after(0.0, 20.0)
    for turns in (0, 1, 0, 1) * 9:  # it may drive backwards, so that only every second way begins with a turn
        for name in ("turn",) * turns + ("go",):
            made = whole[name]
            square = made["square"] - (0.0 if brakes else made["stopped"])
            now = after(math.sqrt(square / made["time"]), made["time"])
            hottest = max(hottest, now[0])
        now = after(0.0, 0.5)
    rise = find(check(tmp_path, CORNERS, SQUARE), "drive.heat").value + 273.15 - 298.15
    assert least < (hottest - 298.15) / rise < most


def test_turns_on_the_way_heat_too(tmp_path):
    straight = find(check(tmp_path, PLAN), "drive.heat").value
    corner = {
        "repeat": [
            {"action": "go", "at": "b"},
            {"action": "go", "at": "c"},
            {"action": "go", "at": "b"},
            {"action": "go", "at": "a"},
        ],
        "times": 9,
    }
    turning = changed(PLAN, {"plan": {"driven": [corner]}})
    same_way = {"field": {"places": {"c": ["1.2 m", "1.2 m"]}}}
    bent = find(check(tmp_path, turning, same_way), "drive.heat").value
    assert bent - 25 > 1.2 * (straight - 25)


def test_scrub_slows_the_turn_and_without_it_the_turn_is_a_bare_inertia(tmp_path):
    free = {"catalogue": {"wheels": {WHEEL: {"side_grip": 0}}}}
    found, scrubbed = fact(check(tmp_path, free), "drive.turn"), fact(check(tmp_path), "drive.turn")
    assert scrubbed.value > found.value * 1.02
    # rims: half the track ahead, the box's inertia about the vertical at the rims, grip moment as the bound
    inertia = 7 * (0.36**2 + 0.34**2) / 12
    drive = Drive()
    drive.mass = inertia / 0.15**2
    floor = 0.8 * 7 * GRAVITY
    brake = drive.motors * drive.kt * (2.5 - 0.13) * drive.ratio / drive.efficiency / drive.radius
    drive.brake_at = min(
        (brake + drive.resistance) / (drive.mass + drive.turning), (floor + drive.resistance) / drive.mass
    )
    drive.grip = (floor - drive.resistance) / (drive.mass * GRAVITY) + drive.rolling
    assert found.value == pytest.approx(drive.move(0.15 * math.pi / 2)["time"], rel=2e-3)


def test_a_load_in_tow_drags(tmp_path):
    tow = {"drag": "6 N", "position": ["-0.25 m", "0 m", "0.05 m"]}
    report = check(tmp_path, changed(SPRINT, {"poses": {"driving": {"tow": tow}}}))
    # the centre of gravity is low enough that braking is by motors or grip; drag takes off starting and helps braking
    expected = Drive(extra_drag=6.0)
    assert find(report, "drive.sprint").value == pytest.approx(expected.move(2.0)["time"], rel=1e-3)


def test_without_parts_or_pose_the_drive_is_unknown(tmp_path):
    assert find(check(tmp_path, {"parts": GONE}), "drive").missing == ("parts",)
    assert find(check(tmp_path, {"poses": GONE}), "drive").missing == ("poses",)


def test_a_drive_too_weak_to_start_never_arrives(tmp_path):
    weak = {"catalogue": {"wheels": {WHEEL: {"rolling_resistance": 0.9}}}}
    found = find(check(tmp_path, changed(SPRINT, weak)), "drive.sprint")
    assert (found.value, found.margin, found.verdict) == (None, -10, "short")


HINDERED = ("drive.heat", "drive.cool_down", "drive.battery")


@pytest.mark.parametrize("heavier", [1.0, 3.0, 30.0])
def test_what_a_plan_takes_that_the_drive_cannot_go_is_not_judged(tmp_path, heavier):
    """By hand: a wheel that rolls at 0.9 of its load drags more than the motors pull, so the robot never leaves a."""
    weak = {"catalogue": {"wheels": {WHEEL: {"rolling_resistance": 0.9}}}}
    parts = {
        "weight": {"mass": f"{heavier} kg", "position": ["0 mm", "0 mm", "60 mm"], "size": ["9 cm", "9 cm", "9 cm"]}
    }
    report = check(tmp_path, changed(changed(SPRINT, PLAN), {**weak, "parts": parts}))
    for name in HINDERED:
        found = find(report, name)
        assert (found.verdict, found.value, found.chance) == ("unknown", None, None)
        assert set(found.follows) >= {"drive.sprint"}
        assert found.missing == ()
        assert found.because == (
            "The plan cannot be driven: the drive cannot move the robot on the way from 'a' to 'b', "
            "so what it takes out of motors and battery is not judged."
        )


def test_a_robot_within_the_tolerances_that_cannot_start_does_not_stay_cool(tmp_path):
    """By hand: it starts where the rolling drag r m g and the bearings' 0.02 N·m / 35 mm are below the motors' force.

    Four motors at 2.5 A give 0.7 N·m (2.5 - 0.13) / (3.6 - 0.13) each, geared 48 / 36 at 0.9 onto 35 mm; 7.24 kg.
    """
    force = 4 * 0.7 * (2.5 - 0.13) / (3.6 - 0.13) * 48 / 36 * 0.9 / 0.035
    edge = (force - 0.02 / 0.035) / (7.24 * 9.81)
    rolling = {"value": 0.98 * edge, "tolerance": 0.2 * edge, "basis": "measured"}
    wheel = {"catalogue": {"wheels": {WHEEL: {"rolling_resistance": rolling, "grip": 3.0}}}}
    slow = {"drive": {"targets": {"sprint_distance": "1 m", "sprint_time": "600 s"}}}
    once = {"actions": PLAN["actions"], "plan": {"start": "a", "driven": [{"action": "go", "at": "b"}]}}
    report = evaluate(load(tmp_path, changed(changed(slow, wheel), once)), samples=400)
    started = find(report, "drive.sprint").chance
    assert 0.3 < started < 0.8
    for name in HINDERED:
        assert find(report, name).chance == pytest.approx(started, abs=1e-9)
        assert find(report, name).verdict == "close"


def test_mk1_drive_holds_its_targets_and_rests_on_motor_and_wheel():
    report = evaluate(example(), samples=0)
    for name in ("drive.sprint", "drive.turn", "drive.push"):
        found = find(report, name)
        assert found.verdict == "holds"
        assert any("600 rpm" in key for key in found.inputs) or name == "drive.push"
        assert not any(key.startswith("air.") for key in found.inputs)


def test_a_drive_that_drag_keeps_from_starting_says_so(tmp_path):
    """A rolling drag of five times the weight is more than tires can push that grip with 0.8 of it (Coulomb)."""
    drag = {"catalogue": {"wheels": {WHEEL: {"rolling_resistance": 5}}}}
    targets = {"drive": {"targets": {"sprint_distance": "2 m", "sprint_time": "3 s"}}}
    found = find(check(tmp_path, changed(drag, targets)), "drive.sprint")
    assert found.verdict == "short"
    assert found.because == "The robot cannot start: its motors and wheels do not overcome the drag."

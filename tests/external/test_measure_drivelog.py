"""Drive fits against an integrator and a motor line of published constants; run-ups in time against scipy."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.physics.motors.motion import SpeedCurve
from fitted import measurements, only, write_csv
from reference import case

C = case("MOT-04")["inputs"]  # constants of a worked comparison: V, R, K, I0; efficiency found with scipy there
K, R, I0, V = C["K_Nm_per_A"], C["R_ohm"], C["I0_A"], C["V"]
RATIO, RADIUS, MOTORS, LIMIT = 7.0, 0.03, 2, 2.0
MASS, BOX = 3.0, {"mass": "3 kg", "position": ["0 m", "0 m", "0.08 m"], "size": ["0.2 m", "0.2 m", "0.1 m"]}
TRUE = {"efficiency of the gearing": 0.82, "voltage of the battery without load": 7.5, "resistance of the battery": 0.2}
FRICTION, ROLLING = 0.012, 0.025


def exact(number, unit):
    return {"value": f"{number!r} {unit}", "tolerance": f"0 {unit}"}


ROBOT = {
    "drive": {
        "motors": MOTORS, "stages": [{"driver": 12, "driven": 84, "efficiency": 0.9}], "extra_inertia": "0 kg*cm^2",
    },
    "parts": {"box": BOX},
    "catalogue": {
        "motors": {"test motor": {
            "free_speed": exact((V - I0 * R) / K, "rad/s"), "stall_torque": exact(K * (V / R - I0), "N*m"),
            "free_current": exact(I0, "A"), "stall_current": exact(V / R, "A"), "rated_voltage": exact(V, "V"),
            "power_cap": exact(1000.0, "W"), "current_limit": exact(LIMIT, "A"), "rotor_inertia": exact(0.0, "kg*m^2"),
        }},
        "wheels": {"test wheel": {"diameter": exact(0.06, "m"), "mass": "50 g"}},
        "batteries": {"test battery": {"open_circuit": "7.2 V", "resistance": "0.1 ohm"}},
    },
}  # fmt: skip
ROTATING = 4 * 0.75 * 0.05  # four wheels of 50 g at three quarters of m r2, at the rim


def current(speed):
    """Hughes, ch. 3, and Kirchhoff: two equal motors in parallel behind the battery's resistance."""
    w = speed * RATIO / RADIUS
    line = (TRUE["voltage of the battery without load"] - K * w) / (R + MOTORS * TRUE["resistance of the battery"])
    return min(line, LIMIT)


def drag(added=0.0):
    return ROLLING * (MASS + added) * 9.80665 + FRICTION / RADIUS


def run_up(times):
    def equations(_, y):
        rim = MOTORS * K * (current(y[1]) - I0) * RATIO * TRUE["efficiency of the gearing"] / RADIUS
        return [y[1], (rim - drag()) / (MASS + ROTATING)]

    return solve_ivp(equations, (0.0, times[-1]), [0.0, 0.0], t_eval=times, rtol=1e-9, atol=1e-11, max_step=0.01).y


def battery_voltage(speed):
    """On the line each ampere of a motor is one of the battery; held down, the power is the same on both sides."""
    open_, inner = TRUE["voltage of the battery without load"], TRUE["resistance of the battery"]
    i = current(speed)
    power = MOTORS * i * (i * R + K * speed * RATIO / RADIUS)
    return 0.5 * (open_ + math.sqrt(open_**2 - 4.0 * inner * power))


def test_a_drive_of_published_motor_constants_is_found_again(tmp_path):
    rng = np.random.default_rng(4)
    times = np.arange(0.0, 1.6, 0.01)
    x, v = run_up(times)
    amps, volts = (np.array([f(s) for s in v]) for f in (current, battery_voltage))
    noisy = [
        values + rng.normal(0.0, sd, times.size) for values, sd in ((x, 1e-3), (v, 0.01), (amps, 0.02), (volts, 0.01))
    ]
    text = [[f"{value:.6f}" for value in column] for column in (times, *noisy)]
    write_csv(tmp_path / "full.csv", ("t", "x", "v", "i", "u"), *text)
    own = MOTORS * K * I0 * RATIO / (TRUE["efficiency of the gearing"] * RADIUS)
    for name, added in (("light.csv", 0.0), ("heavy.csv", 2.0)):
        slowing = (drag(added) + own) / (MASS + added + ROTATING)
        t = times[times < 1.2 / slowing]
        rolled = 1.2 * t - 0.5 * slowing * t**2 + rng.normal(0.0, 1e-3, t.size)
        write_csv(tmp_path / name, ("t", "x"), *([f"{value:.6f}" for value in c] for c in (t, rolled)))
    units = {"time": "s", "position": "m", "speed": "m/s", "current": "A", "voltage": "V"}
    columns = {k: {"column": c, "unit": units[k]} for k, c in zip(units, "txviu", strict=True)}
    logs = [{"file": "full.csv", "command": "full"}, {"file": "light.csv", "command": "coast"},
            {"file": "heavy.csv", "command": "coast", "added": "2 kg"}]  # fmt: skip
    coasts = {k: columns[k] for k in ("time", "position")}
    found = only(measurements(tmp_path, {"drive": {"columns": columns, "logs": logs[:1]}}, ROBOT))
    for name, truth in TRUE.items():
        item = found.get(name)
        assert abs(item.value - truth) <= 1.5 * item.half_width, name
        assert item.half_width < 0.05 * truth, name
    heavy = only(measurements(tmp_path, {"drive": {"columns": coasts, "logs": logs[1:]}}, ROBOT))
    item = heavy.get("rolling resistance of the wheels")
    assert abs(item.value - ROLLING) <= 1.5 * item.half_width


@pytest.mark.parametrize(
    ("line", "slope", "held", "power"),
    [(110.0, 59.0, 73.0, 62.0), (90.0, 50.0, np.inf, np.inf), (80.0, 30.0, 40.0, 1e9), (2.0, 20.0, 90.0, 60.0)],
)
def test_a_run_up_in_time_against_an_integrator(line, slope, held, power):
    mass, drag_force = 9.7, 2.9

    def equations(_, y):
        force = min(line - slope * y[0], held, power / max(y[0], 1e-12))
        return [(force - drag_force) / mass if line > drag_force else 0.0, y[0]]

    times = np.linspace(0.0, 4.0, 60)
    steps = {"rtol": 1e-10, "atol": 1e-12, "max_step": 0.01}
    found = solve_ivp(equations, (0.0, 4.0), [0.0, 0.0], t_eval=times, **steps)
    speed, distance = SpeedCurve(mass, line, slope, held, power, drag_force).after(times)
    assert speed == pytest.approx(found.y[0], abs=1e-6)
    assert distance == pytest.approx(found.y[1], abs=1e-6)


def test_before_the_start_it_stands_and_top_speed_is_cruised():
    curve = SpeedCurve(9.7, 110.0, 59.0, np.inf, np.inf, 2.9)
    speed, distance = curve.after(np.array([-1.0, 0.0, 100.0, 101.0]))
    assert speed[:2] == pytest.approx([0.0, 0.0])
    assert distance[:2] == pytest.approx([0.0, 0.0])
    assert distance[3] - distance[2] == pytest.approx((110.0 - 2.9) / 59.0, rel=1e-7)

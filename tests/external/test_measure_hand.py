"""Procedures with hand readings against textbook formulas, real air and the published relations of the square test."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp import CoolProp
from scipy.optimize import brentq

from fieldworthy.measure.airtests import fit_cycles
from fieldworthy.measure.model import AirCycles, Odometry, Scales
from fieldworthy.measure.odometry import fit_odometry
from fieldworthy.measure.scales import FORWARD, HEIGHT, MASS, fit_scales
from fieldworthy.physics.odometry.odometry import SquareErrors, systematic_errors
from fieldworthy.physics.statics.rigidbody import balance_tilt, pitch_of_lift, wheel_loads
from measuring import measured, section

BASE, RADIUS = 0.26, 0.035  # m, of the small robot: axles at 0.14 and -0.12


def weighed(tmp_path, level, raised=()):
    return fit_scales(section(Scales, {"level": level, "raised": list(raised)}), measured(tmp_path))


def test_two_scales(tmp_path):
    """Statics, any textbook: the centre of gravity divides the wheelbase as the axle loads do, from the far axle."""
    front, rear = 3.9, 3.3
    readings = {"left front": front / 2, "right front": front / 2, "left rear": rear / 2, "right rear": rear / 2}
    found = weighed(tmp_path, [{"readings": {n: f"{v} kg" for n, v in readings.items()}}])
    assert found.get(MASS).value == pytest.approx(front + rear, abs=1e-9)
    assert found.get(FORWARD).value == pytest.approx(-0.12 + BASE * front / (front + rear), abs=1e-9)


@pytest.mark.parametrize("lift", [0.05, 0.1, 0.15])
def test_raised_axle(tmp_path, lift):
    """Vehicle dynamics, the raised-axle formula: h = r + L dF / (W tan(angle)), sin(angle) = lift / L; from memory."""
    front, rear, rear_raised = 3.9, 3.3, 3.65
    weight, angle = front + rear, math.asin(lift / BASE)
    height = RADIUS + BASE * (rear_raised - rear) / (weight * math.tan(angle))
    level = {"left front": front / 2, "right front": front / 2, "left rear": rear / 2, "right rear": rear / 2}
    up = {"end": "front", "lift": f"{lift} m", "readings": {n: f"{rear_raised / 2} kg" for n in level if "rear" in n}}
    found = weighed(tmp_path, [{"readings": {n: f"{v} kg" for n, v in level.items()}}], [up])
    assert found.get(HEIGHT).value == pytest.approx(height, abs=1e-7)


def test_the_other_end_raised_says_the_same(tmp_path):
    """The same robot, its rear end raised: the front gains what the rear gained at the same angle."""
    level = {"left front": 1.95, "right front": 1.95, "left rear": 1.65, "right rear": 1.65}
    readings = {n: f"{v} kg" for n, v in level.items()}
    up = {"end": "back", "lift": "0.1 m", "readings": {"left front": "2.1 kg", "right front": "2.1 kg"}}
    height = RADIUS + BASE * 0.3 / (7.2 * math.tan(math.asin(0.1 / BASE)))
    assert weighed(tmp_path, [{"readings": readings}], [up]).get(HEIGHT).value == pytest.approx(height, abs=1e-7)


def test_unlike_wheels_pitch_as_their_axles_do():
    """Plane geometry: the axles' points, turned by the pitch found, stand their radii above floor and block."""
    base, front, rear, lift = 0.3, 0.05, 0.035, 0.08
    pitch = float(pitch_of_lift(base, lift, front - rear))
    rise = base * math.sin(pitch) + (front - rear) * math.cos(pitch)
    assert rise == pytest.approx(lift + front - rear, rel=1e-12)


def test_wheel_loads_balance_and_do_not_mind_the_preload():
    """Sum and both moments, for six wheels; scipy's least-norm solution for no preload."""
    rng = np.random.default_rng(0)
    places = rng.uniform(-0.2, 0.2, (6, 2))
    loads = wheel_loads(places, 7.0, 0.02, -0.01, rng.normal(0.0, 1.0, 6))
    assert [loads.sum(), loads @ places[:, 0], loads @ places[:, 1]] == pytest.approx([7.0, 0.14, -0.07])
    rows = np.vstack((np.ones(6), places.T))
    least = np.linalg.lstsq(rows, np.array([7.0, 0.14, -0.07]), rcond=None)[0]
    assert wheel_loads(places, 7.0, 0.02, -0.01, np.zeros(6)) == pytest.approx(least)


def test_a_block_balances_on_its_edge_at_the_textbook_angle():
    """A box of width w and height h goes over at tan(angle) = w / h."""
    assert math.tan(float(balance_tilt(0.5 * 0.3, 0.5 * 0.4))) == pytest.approx(0.3 / 0.4)


AIR = {
    "air": {
        "supply": {"charge": "100 psi", "tube_bore": "2.5 mm"},
        "tanks": {"left": {"tank": "sure tank"}},
        "cylinders": {"clamp": {"cylinder": "test cylinder", "tank": "left", "valve": "test valve", "tube": "400 mm"}},
    },
    "catalogue": {"tanks": {"sure tank": {"volume": {"value": "200 mL", "tolerance": "0 mL"},
                                          "rated_pressure": "1000 kPa", "mass": "110 g"}},
                  "cylinders": {"test cylinder": {"bore": {"value": "16 mm", "tolerance": "0 mm"},
                                                  "stroke": {"value": "50 mm", "tolerance": "0 mm"}}}},
}  # fmt: skip


def real_air_after(gauge: float, cycles: int, dead: float) -> float:
    """The same cycles with real air: masses by CoolProp's equation of state, all at 293.15 K."""
    atm, temperature, tank = 101325.0, 293.15, 200e-6
    idle = dead + math.pi / 4.0 * 0.0025**2 * 0.4
    strokes = (math.pi / 4.0 * 0.016**2 * 0.05, math.pi / 4.0 * (0.016**2 - 0.006**2) * 0.05)

    def density(p: float) -> float:
        return float(CoolProp.PropsSI("D", "P", p, "T", temperature, "Air"))

    p = gauge + atm
    for _ in range(cycles):
        for swept in strokes:
            mass = density(p) * tank + density(atm) * idle
            p = brentq(lambda q, m=mass, v=tank + idle + swept: density(q) * v - m, atm, p, xtol=1e-3)
    return p - atm


def test_dead_volume_of_real_air(tmp_path):
    """CoolProp: the ideal gas of the fit is off by less than the tenth of a millilitre that matters."""
    dead = 1.2e-6
    runs = [{"before": f"{p} Pa", "after": f"{real_air_after(p, n, dead)!r} Pa", "cycles": n}
            for p, n in ((7e5, 10), (6.5e5, 14))]  # fmt: skip
    data = {"cylinder": "clamp", "runs": runs, "error": "0.2 psi"}
    found = fit_cycles(section(AirCycles, data), measured(tmp_path, robot=AIR), "clamp")
    assert found.get("air.cylinders.clamp.dead_volume").value == pytest.approx(dead, abs=1e-7)


def test_squares_by_the_published_relations(tmp_path):
    """Borenstein and Feng (1996): the fit of the end points is their mean of two estimates of each angle."""
    clockwise = [(0.031, 0.026), (0.028, 0.031), (0.035, 0.024)]
    counter = [(-0.011, 0.014), (-0.015, 0.009), (-0.009, 0.012)]
    mean = SquareErrors(*np.mean(clockwise, axis=0), *np.mean(counter, axis=0))
    found = systematic_errors(mean, 1.2, 0.3)
    ends = {"clockwise": clockwise, "counter_clockwise": counter}
    squares = {k: [{"x": f"{x} m", "y": f"{y} m"} for x, y in v] for k, v in ends.items()}
    data = {"end_error": "40 mm", "squares": squares | {"side": "1.2 m", "track": "0.3 m"}}
    fitted = fit_odometry(section(Odometry, data), measured(tmp_path)).fitted
    assert fitted[0].value == pytest.approx(0.3 * float(found.track_ratio), rel=1e-4)
    assert fitted[1].value == pytest.approx(float(found.diameter_ratio), rel=1e-4)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: pitch_of_lift(0.0, 0.1), "base"),
        (lambda: pitch_of_lift(0.26, 0.3), "distance between the axles"),
        (lambda: balance_tilt(0.1, 0.03, 0.035), "height"),
    ],
)
def test_what_cannot_stand_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()

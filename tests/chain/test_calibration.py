"""Are stated chances right? Invented robots whose true numbers are drawn from what their files state, and then solved.

Every number that bears on the four findings has its tolerance in the file, half the width that holds 95 in 100 of a
normal distribution; what has none there is exact. For each robot the program states chances; robots are then drawn from
the same statements and judged by solvers of this file alone: moments about the front wheels, scipy's solve_ivp for the
sprint and for the leaking tank, the law of cosines for the reach.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.stats import binomtest

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot

G, ATMOSPHERE, PER_95 = 9.80665, 101325.0, 1.959963984540054
ROBOTS, TRUTHS, SAMPLES = 200, 4, 300
TIP, SPRINT, AIR, REACH = "balance.tip.forward", "drive.sprint", "air.pressure.kicker", "lift.swing.tray"
FINDINGS = {TIP: "tipping", SPRINT: "a sprint", AIR: "air", REACH: "reach"}
FREE, RATED, IDLE, STALL = 600 * math.tau / 60, 12.0, 0.1, 15.8  # rad/s, V, A, A: a generic motor, exact
ROTOR, WHEEL_MASS = 1e-5, 0.06  # kg m2 of a rotor, kg of a wheel: exact


class Stated(dict):
    """Numbers by name with half widths, and how the file writes them."""

    def put(self, name, value, half, unit, scale=1.0):
        """State a number in SI; the file has it in a unit of so many SI units."""
        self[name] = (value, half)
        return {"value": f"{value / scale:.6g} {unit}".strip(), "tolerance": f"{half / scale:.6g} {unit}".strip()}

    def nominal(self):
        """The numbers as the file has them."""
        return {name: value for name, (value, _) in self.items()}

    def drawn(self, rng):
        """The numbers of a true robot."""
        return {name: value + half / PER_95 * rng.standard_normal() for name, (value, half) in self.items()}


def exact(value, unit):
    return {"value": f"{value} {unit}".strip(), "tolerance": f"0 {unit}".strip(), "basis": "measured"}


def parts_of(rng, stated):
    """A low block, a tall one and the tray: masses, and the places along and up, uncertain."""
    made = {}
    for name, mass, x, z in (
        ("base", rng.uniform(4, 6), rng.uniform(-0.05, 0.05), rng.uniform(0.05, 0.08)),
        ("tower", rng.uniform(1.5, 3), rng.uniform(-0.05, 0.05), rng.uniform(0.25, 0.4)),
    ):
        made[name] = {
            "mass": stated.put(f"{name} mass", mass, 0.05 * mass, "kg"),
            "position": [
                stated.put(f"{name} x", x, rng.uniform(0.002, 0.012), "m"),
                exact(0, "m"),
                stated.put(f"{name} z", z, rng.uniform(0.002, 0.012), "m"),
            ],
            "size": [exact(0.2, "m"), exact(0.2, "m"), exact(0.1, "m")],
        }
    made["tray"] = {
        "mass": exact(0.2, "kg"),
        "position": [exact(0.1, "m"), exact(0, "m"), exact(0.3, "m")],
        "size": [exact(0.1, "m"), exact(0.1, "m"), exact(0.01, "m")],
        "rides": "tray",
    }
    return made


def catalogue_of(rng, stated):
    metal = {"mass": exact(0.1, "kg")}
    motor = {
        "free_speed": exact(600, "rpm"), "free_current": exact(IDLE, "A"), "stall_current": exact(STALL, "A"),
        "stall_torque": stated.put("torque", rng.uniform(2.4, 3.2), 0.15, "N*m"), "rated_voltage": exact(RATED, "V"),
        "power_cap": exact(5000, "W"), "current_limit": exact(500, "A"), "counted_power": exact(11, "W"),
        "mass": exact(0.15, "kg"), "rotor_inertia": exact(ROTOR, "kg*m^2"), "winding_heat_capacity": "25 J/K",
        "case_heat_capacity": "90 J/K", "winding_to_case": "3 K/W", "case_to_air": "7 K/W",
    }  # fmt: skip
    return {
        "motors": {"plain motor": motor},
        "wheels": {"plain wheel": {
            "diameter": stated.put("wheel", rng.uniform(0.08, 0.1), 0.001, "m"), "mass": exact(WHEEL_MASS, "kg"),
            "grip": stated.put("grip", rng.uniform(0.7, 1.0), rng.uniform(0.02, 0.12), ""), "side_grip": exact(0.3, ""),
            "rolling_resistance": exact(0, ""),
        }},
        "batteries": {"pack": {
            "open_circuit": stated.put("voltage", 12.6, 0.3, "V"), "resistance": stated.put("sag", 0.02, 0.004, "ohm"),
            "capacity": "5 A*h", "mass": exact(0.3, "kg"),
        }},
        "tanks": {"bottle": metal | {
            "volume": stated.put("tank", 200e-6, 8e-6, "mL", 1e-6), "rated_pressure": "10 bar",
        }},
        "cylinders": {"rod": metal | {
            "bore": stated.put("bore", 0.02, 0.0002, "m"), "rod": exact(0.008, "m"),
            "stroke": stated.put("stroke", 0.1, 0.0005, "m"), "closed_length": stated.put("closed", 0.2, 0.0005, "m"),
            "rated_pressure": "10 bar", "efficiency": exact(1, ""),
        }},
        "valves": {"valve": metal | {"conductance": "0.2 L/(s*bar)", "critical_ratio": 0.3}},
    }  # fmt: skip


def robot_of(rng):
    """A robot file within plausible bounds, its targets near what it can do, and what it states."""
    stated = Stated()
    parts, catalogue, kicks = parts_of(rng, stated), catalogue_of(rng, stated), int(rng.integers(2, 6))
    nominal = stated.nominal()
    along, up = centre(nominal)
    front = float(along + up * nominal["grip"] * rng.uniform(0.85, 1.15))
    wheels = {
        f"{side} {end}": {"position": [exact(x, "m"), exact(y, "m")], "wheel": "plain wheel"}
        for side, y in (("left", 0.15), ("right", -0.15))
        for end, x in (("front", front), ("rear", -front))
    }
    document = {
        "fieldworthy": "robot 1", "robot": "Invented", "season": "season.yaml", "battery": "pack",
        "parts": parts, "poses": {"driving": {"use": "drive"}},
        "drive": {
            "motor": "plain motor", "motors": 4, "wheels": wheels, "friction_torque": exact(0, "N*m"),
            "extra_inertia": exact(0, "kg*m^2"), "braking": exact(1, ""),
            "stages": [{"driver": 12, "driven": 12, "efficiency": stated.put("gears", 0.9, 0.03, "")}],
            "targets": {"sprint_distance": "2 m", "sprint_time": "1 s"},
        },
        "air": {
            "supply": {"charge": stated.put("charge", rng.uniform(5e5, 7e5), 0.2e5, "bar", 1e5)},
            "tanks": {"only": {"tank": "bottle", "leak_half_time": stated.put("leak", 1800.0, 400.0, "min", 60.0)}},
            "cylinders": {"kicker": {
                "cylinder": "rod", "tank": "only", "valve": "valve", "tube": exact(0, "m"),
                "dead_volume": stated.put("dead", 2e-6, 0.5e-6, "mL", 1e-6),
                "moved": "0.1 kg",
            }},
        },
        "mechanisms": {"tray": {
            "kind": "lift", "rides": "tray", "side": "ahead", "pivot": [exact(0, "m"), exact(0.4, "m")],
            "fixed_pin": [stated.put("pin x", 0.12, 0.001, "m"), stated.put("pin z", 0.2, 0.001, "m")],
            "arm_pin": [exact(0.12, "m"), exact(0.4, "m")], "cylinder": "kicker", "friction": exact(0, "N*m"),
            "swing": f"{rng.uniform(52.0, 54.5):.3f} deg",
        }},
        "actions": {"kick": {"time": exact(1, "s"), "spread": "0 s", "strokes": {"kicker": 1}},
                    "wait": {"time": exact(60, "s"), "spread": "0 s"}},
        "plan": {"start": "here", "driven": [
            {"action": "wait", "at": "here"}, {"times": kicks, "repeat": [{"action": "kick", "at": "here"}]}]},
        "catalogue": catalogue,
    }  # fmt: skip
    said = {"front": front, "kicks": kicks, "swing": float(document["mechanisms"]["tray"]["swing"].split()[0])}
    # a load and a target that this robot is as likely to meet as not
    nominal = stated.nominal()
    load = pressure_left(nominal, kicks) * piston_of(nominal) * rng.uniform(0.8, 1.2)
    document["air"]["cylinders"]["kicker"]["push_load"] = stated.put("load", load, 5.0, "N")
    said["target"] = sprint_time(nominal, front) * rng.uniform(0.95, 1.05)
    document["drive"]["targets"]["sprint_time"] = f"{said['target']:.5f} s"
    return document, stated, said


def blocks_of(true):
    return [(true[f"{n} mass"], true[f"{n} x"], true[f"{n} z"]) for n in ("base", "tower")] + [(0.2, 0.1, 0.3)]


def centre(true):
    """Where the centre of gravity is, along and up: masses times places."""
    masses, x, z = np.array(blocks_of(true)).T
    return masses @ x / masses.sum(), masses @ z / masses.sum()


def keeps_its_wheels_down(true, said):
    """Moments about the front contacts while all wheels brake with all their grip: what the rear ones carry."""
    blocks, front = blocks_of(true), said["front"]
    down = np.array([[1.0, 1.0], [2 * front, 0.0]])  # rear, front: their sum, and moments about the front
    weight = sum(m for m, _, _ in blocks) * G
    moment = sum(m * (G * (front - x) - true["grip"] * G * z) for m, x, z in blocks)
    rear, _ = np.linalg.solve(down, [weight, moment])
    return rear >= 0.0


def sprint_time(true, front):
    """From rest over 2 m to rest: Newton and Kirchhoff, four motors behind one battery.

    Grip is the bound both ways; it starts and brakes no harder than all its wheels stay down.
    """
    radius, mass = true["wheel"] / 2, sum(m for m, _, _ in blocks_of(true))
    along, up = centre(true)
    most = true["grip"] * G
    least = min(most, G * (front - along) / up)
    most = min(most, G * (front + along) / up)
    winding, kt = RATED / STALL, true["torque"] / (STALL - IDLE)
    ke = (RATED - winding * IDLE) / FREE
    rotating = (4 * ROTOR + 4 * 0.75 * WHEEL_MASS * radius**2) / radius**2

    def speeding(_, y):
        current = (true["voltage"] - ke * y[1] / radius) / (winding + 4 * true["sag"])
        force = 4 * kt * (current - IDLE) * true["gears"] / radius
        return y[1], min(force / (mass + rotating), most)

    def brakes(_, y):
        return y[0] + y[1] ** 2 / (2 * least) - 2.0

    brakes.terminal = True
    run = solve_ivp(speeding, (0, 10), (0, 0), events=brakes, rtol=1e-7, atol=1e-9, max_step=0.05)
    return run.t[-1] + run.y[1, -1] / least


def piston_of(true):
    return math.pi / 4 * true["bore"] ** 2


def pressure_left(true, kicks):
    """Gauge pressure behind the last stroke out: a leaking tank and chambers that level out with it (Boyle)."""
    piston = piston_of(true)
    ring = piston - math.pi / 4 * 0.008**2
    gauge = true["charge"]

    def leaking(_, p):
        return -p * math.log(2) / true["leak"]

    def filled(p, area):
        whole = true["tank"] + true["dead"] + area * true["stroke"]
        return ((p + ATMOSPHERE) * true["tank"] + ATMOSPHERE * true["dead"]) / whole - ATMOSPHERE

    # the 20 s in which the robot drives itself, a minute of waiting, and a second for each stroke
    for kick, wait in enumerate([80.0] + [1.0] * (kicks - 1)):
        gauge = filled(solve_ivp(leaking, (0, wait), [gauge], rtol=1e-8).y[0, -1], piston)
        gauge = filled(gauge, ring) if kick < kicks - 1 else gauge
    return gauge


def has_air(true, said):
    return pressure_left(true, said["kicks"]) >= true["load"] / piston_of(true)


def reaches(true, said):
    """Law of cosines, from where the tray's parts lie, or the closed cylinder holds it, to the cylinder all out."""
    px, pz, radius = true["pin x"], 0.4 - true["pin z"], 0.12
    base = math.hypot(px, pz)

    def angle(length):
        return math.acos(np.clip((base**2 + radius**2 - length**2) / (2 * base * radius), -1, 1))

    lies = max(math.atan2(pz, px), angle(true["closed"]))
    return math.degrees(angle(true["closed"] + true["stroke"]) - lies) >= said["swing"]


def truly(true, said):
    return {
        TIP: keeps_its_wheels_down(true, said),
        SPRINT: sprint_time(true, said["front"]) <= said["target"],
        AIR: has_air(true, said),
        REACH: reaches(true, said),
    }


SEASON = """fieldworthy: season 1
season: Workbench
altitude: 0 m
temperature: {value: 20 degC, tolerance: 0 K, basis: measured}
limits: {}
field: {size: [4 m, 4 m], places: {here: [0 m, 0 m]}}
periods: {autonomous: 20 s, driven: 200 s}
"""


def bins(chances, came, parts=10):
    """Mean stated chance, share that came true and how many there were, by tenths of the chance."""
    place = np.minimum((chances * parts).astype(int), parts - 1)
    return [(chances[place == i].mean(), came[place == i].mean(), (place == i).sum())
            for i in range(parts) if (place == i).any()]  # fmt: skip


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """Stated chance and truth of every finding of every robot: a row each."""
    folder: Path = tmp_path_factory.mktemp("invented")
    (folder / "season.yaml").write_text(SEASON, encoding="utf-8")
    rng, rows = np.random.default_rng(20261129), []
    for _ in range(ROBOTS):
        document, stated, said = robot_of(rng)
        (folder / "robot.yaml").write_text(json.dumps(document), encoding="utf-8")
        report = evaluate(load_robot(folder / "robot.yaml"), samples=SAMPLES)
        chance = {f.id: f.chance for f in report.findings if f.id in FINDINGS}
        assert set(chance) == set(FINDINGS)
        truths = [truly(stated.drawn(rng), said) for _ in range(TRUTHS)]
        rows += [(name, chance[name], truth[name]) for truth in truths for name in FINDINGS]
    return rows


@pytest.mark.long
@pytest.mark.parametrize("name", FINDINGS)
def test_what_has_a_chance_comes_true_as_often(told, name, evidence):
    """Each tenth within what luck allows at one in ten thousand; all together to 2.5 %."""
    chances, came = (
        np.array(column, dtype=float) for column in zip(*[r[1:] for r in told if r[0] == name], strict=True)
    )
    parts = bins(chances, came)
    assert len(parts) >= 5, "chances of every size"
    for stated, share, count in parts:
        # the sampled chance itself is known to a few hundredths; truths of one robot are drawn independently
        spread = min(max(stated, 0.01), 0.99)
        assert binomtest(round(share * count), int(count), spread).pvalue > 1e-4, (stated, share, count)
    large = [(stated, share) for stated, share, count in parts if count >= 20]
    evidence(
        "chances",
        f"Chances of {FINDINGS[name]}, stated of {ROBOTS} invented robots, against the share that came true",
        "true robots drawn from the stated tolerances and solved outside the program",
        f"stated chances of 0 to 1 in tenths, each with 20 true robots or more; {TRUTHS} true robots for each file",
        "share",
        *zip(*large, strict=True),
    )
    assert came.mean() == pytest.approx(chances.mean(), abs=4 * math.sqrt(0.25 / came.size))

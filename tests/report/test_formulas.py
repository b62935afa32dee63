"""Formulas of the documents agree with the functions that compute: by their docstrings, and by numbers worked here."""

import importlib
import inspect
import math
import re

import numpy as np
import pytest

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate, shares
from fieldworthy.engine.finding import DisplayUnits, Worked, first
from fieldworthy.engine.system import systems
from fieldworthy.files.document import dotted
from fieldworthy.physics.arms import linkage, motorarm
from fieldworthy.physics.chance import chance
from fieldworthy.physics.colour import sorting
from fieldworthy.physics.colour.sorting import facing
from fieldworthy.physics.contact import clamp, grabber, handover, rolling, timing
from fieldworthy.physics.gas import actuation, air, tank
from fieldworthy.physics.motors import chain, driving, motion, motor
from fieldworthy.physics.motors.motor import Battery
from fieldworthy.physics.odometry import _errors
from fieldworthy.physics.statics import guide, hanging, rigidbody, tipping
from fieldworthy.report.formulas import all_pages, as_mathml, formulas, formulas_for, mathml, put_in
from fieldworthy.robot import load_robot
from robots import EXAMPLES, example

G = 9.80665


@pytest.mark.parametrize("key", formulas())
def test_a_formula_says_what_its_function_says(key):
    formula = formulas()[key]
    module, _, name = formula.function.rpartition(".")
    text = inspect.getdoc(getattr(importlib.import_module(f"fieldworthy.physics.{module}"), name)) or ""
    flat = " ".join(text.replace("``", "").split())
    assert formula.says in flat
    assert re.search(rf"\b{formula.source}: ", flat), f"{formula.function} does not name {formula.source}"
    assert formula.where


def test_every_page_has_formulas_that_exist():
    used = {key for page in all_pages() for key, _ in page.page.formulas}
    assert used <= set(formulas())
    assert all(page.page.formulas for page in all_pages())


WORDS = {"sum", "min_c", "sqrt", "cos", "sin", "tan", "arctan", "dot", "quad", "pi"}
LETTER = re.compile(r"""[A-Za-z]+(?:_(?:"[a-z]+"|\([a-z ]+\)|[A-Za-z0-9]+))?'?""")


@pytest.mark.parametrize("key", formulas())
def test_every_letter_of_a_formula_stands_in_its_list(key):
    formula = formulas()[key]
    listed = {letter.replace("dot(m)", "m") for row, _ in formula.where for letter in row.split(", ")}
    used = set(LETTER.findall(formula.typst)) - WORDS - ({"i"} if key == "heading" else set())  # the imaginary unit
    assert used
    assert used <= listed


def test_every_formula_and_letter_becomes_mathml():
    written = mathml()
    for formula in formulas().values():
        assert written[formula.typst].startswith("<math")
        for letter, _ in formula.where:
            assert "<mi" in written[letter]
    assert 'display="block"' in written[formulas()["tip"].typst]


# Each formula as formulas.toml writes it, worked out here in plain arithmetic, against its function.


def cuboids():
    one = rigidbody.assemble([2.0], [[0.1, 0.2, 0.3]], [[0.3, 0.4, 0.5]])
    about = rigidbody.inertia_about(one, [0.0, 0.0, 0.0])
    return 2.0 * (0.4**2 + 0.5**2) / 12 + 2.0 * (0.2**2 + 0.3**2), about[0, 0]


LINE = motor.MotorLine(60.0, 1.2, 0.2, 4.2, 12.0)


def motor_line():
    current = 1.5
    speed = (12.0 - LINE.resistance * current) / LINE.voltage_constant
    return LINE.voltage_constant * speed + current * LINE.resistance, 12.0


def sprint():
    train = motion.Powertrain(LINE, motor.Controller(), Battery(12.0, 0.0), 4.0,
                              motion.Wheels(motion.GearStage(1.0, 1.0), 0.035))  # fmt: skip
    drive, load = motion.drive_line(train), motion.Load(8.0, deceleration=4.0)
    made = motion.move(drive, load, 2.0)
    top = float(np.asarray(made.peak_speed))
    return float(np.asarray(made.run_up_distance)) + top**2 / (2 * 4.0), 2.0


def scrub():
    x, load, grip = np.array([0.15, 0.0, -0.15]), np.array([20.0, 30.0, 25.0]), np.array([0.8, 0.8, 0.8])
    by_hand = min(sum(m * n * abs(a - c) for m, n, a in zip(grip, load, x, strict=True)) for c in x)
    return by_hand, float(np.asarray(driving.scrub_moment(x, load, grip)))


def tip():
    return G * 0.12 / 0.15, float(tipping.tip_acceleration(0.12, 0.15))


BODY = tipping.Overturn(8.0, 0.2, 0.12, 0.15)


def impact():
    speed = float(np.asarray(tipping.impact_tip_speed(BODY)))
    inertia = 0.2 + 8.0 * (0.12**2 + 0.15**2)
    omega = 8.0 * speed * 0.15 / inertia
    return inertia * omega**2 / 2, 8.0 * G * (math.hypot(0.12, 0.15) - 0.15)


def draw():
    p, volume, before, after, atm = 600e3, 200e-6, 1e-6, 9e-6, 101325.0
    fill = (p * volume + atm * before) / (volume + after)
    return p - (fill * after - atm * before) / volume, float(
        np.asarray(tank.after_draw(p, volume, before, after, atm, math.inf))
    )


def choked():
    return 0.2e-8 * 1.185 * 700e3 * math.sqrt(293.15 / 300.0), float(
        np.asarray(air.mass_flow(700e3, 101325.0, 0.2e-8, 0.3, 300.0))
    )


def stop():
    return 1.5 * (0.5 * 0.01 + 0.012) + 1.5**2 / (2 * 40), timing.stop_distance(
        timing.Stop(1.5, 0.01, 0.012, 40.0), 0.5
    )


def roller():
    alpha = math.acos(1 - 0.006 / 0.03)
    return 0.03 * math.sin(alpha) / alpha, float(np.asarray(rolling.rolling_radius(0.03, 0.006)))


def chain_length():
    pitch, small, large, centre = 6.35e-3, 12, 24, 0.1
    radii = [pitch / (2 * math.sin(math.pi / z)) for z in (small, large)]
    alpha = math.asin((radii[1] - radii[0]) / centre)
    by_hand = 2 * centre / pitch * math.cos(alpha) + (small + large) / 2 + (large - small) * alpha / math.pi
    return by_hand, float(np.asarray(chain.length(pitch, small, large, centre)))


def threshold():
    at, z = sorting.equal_error_threshold(0.4, 0.2, 1.6, 0.3)
    assert float(np.asarray(at)) == pytest.approx(0.4 + 0.2 * 1.2 / 0.5)  # as far from both, in their spreads
    return 1.2 / (0.2 + 0.3), float(np.asarray(z))


def background():
    found = facing("hexagonal", 0.2, 0.1)
    step = math.pi / 3  # on the hexagonal circle yellow stands a sixth of a turn from red
    return step / math.sqrt((0.2**2 + 0.1**2) / 2), float(np.asarray(found.yellow))


def wedge():
    return 1 / math.tan(math.radians(65) - math.atan(0.5)), float(np.asarray(clamp.hook_gain(math.radians(65), 0.5)))


def runon():
    # a lower stage at 0.8 m/s that the clock stops 0.12 s after the reading; the second comes to its place at t_2
    upper = timing.Stop(1.0, 0.01, 0.012, 40.0)
    lower = timing.Stop(0.8, 0.01, 0.012, 30.0)
    path = timing.Path(0.1, 0.2, 0.17, 0.06, 0.11, 0.12)
    t_2 = -float(timing.head_start(1.0, 0.8, path)) / 0.8
    rest = timing.simulate(upper, lower, path, 0.5)
    return 0.8 * (0.5 * 0.01 + 0.12 - t_2 + 0.012) + 0.8**2 / (2 * 30.0), float(np.asarray(rest.second)) + 0.17


def runup():
    # a motor held at 1.5 A of current: a torque that does not change, so t = sqrt(2 angle J / (T - load))
    sags = motorarm.SaggingMotor(LINE, motor.Controller(1.5, np.inf), Battery(12.0, 1e-9), 1.0)
    drive = motorarm.MotorDrive(LINE.stall_torque, LINE.free_speed, 5.0, 1.0)
    angle = np.linspace(0.0, 0.02, 200)
    load = np.full(200, 0.2)
    torque = 5.0 * LINE.torque_constant * (1.5 - LINE.free_current)
    took = motorarm.run_up_time(sags, drive, 0.4, angle, load)
    return math.sqrt(2 * 0.02 * 0.4 / (torque - 0.2)), float(np.asarray(took))


def slides():
    # 20 N, 0.05 m beside the axis, drawn along it: each pad takes 20 * 0.05 / 0.2
    needed, _ = guide.moving_forces(guide.Guide(0.2, 0.3), 20.0, 0.05, 0.0)
    return 20.0 + 0.3 * (5.0 + 5.0), float(needed)


def sweep():
    radius = 0.00635 / (2 * math.sin(math.pi / 16))
    by_hand = math.hypot(radius * math.cos(math.pi / 16) + 0.028, 0.002)
    return by_hand, float(np.asarray(handover.tip_radius(0.00635, 16, 0.028, 0.002)))


def idler():
    # by hand: 9 mm of slack on a run of 100 mm, two sides of 54.5 mm, so the idler stands sqrt(54.5^2 - 50^2) mm off
    sine = math.sqrt(54.5**2 - 50.0**2) / 54.5
    return 12.0, 2 * float(np.asarray(chain.run_tension(12.0, 0.1, 0.009))) * sine


def climbs():
    press = math.radians(35 - 120 / 16)
    q = math.sin(press) / math.sin(press + 2 * math.pi / 16)
    return 60.0 * q**7 / (1 - q**7), float(np.asarray(chain.slack_needed(60.0, 16, 8.4)))


def aside():
    return 40.0 * (0.35 + 0.2), float(np.asarray(clamp.sideways_force(40.0, 0.35, 0.2)))


def jawway():
    return 18.0 / 900.0, float(np.asarray(clamp.reached_way(18.0, 900.0, 0.05)))


def tipover():
    force = float(np.asarray(grabber.force_to_tip(grabber.Standing(10.0, 0.07, 0.13, 0.45), 0.15, 0.3, 0.02)))
    return force * (0.15 * math.cos(0.3) + (0.13 - 0.02) * math.sin(0.3)), 10.0 * 0.13


def hang():
    wall = hanging.Wall(-0.075, 0.0, "behind")
    found = hanging.hang(80.0, [-0.12, 0.5], [0.02, 0.15], [-0.19, 0.06], wall)
    turned = [hanging.turned(p, [-0.12, 0.5], found.attitude) for p in ([0.02, 0.15], [-0.19, 0.06])]
    return float(np.asarray(found.rest_force)) * abs(float(turned[1][1])), 80.0 * abs(float(turned[0][0]))


def hoist():
    return 80.0 * 2.0 / (2 * 0.9), float(np.asarray(hanging.actuator_force(80.0, 2.0, 2.0, 0.9)))


def winch():
    return 2 * 0.5 * 12.0 * 0.8 / 0.01, float(np.asarray(hanging.drum_force(2.0, 0.5, 12.0, 0.8, 0.01)))


def lever():
    rocker = linkage.Rocker(0.2, 0.1, 0.2, 0.05)
    posed = linkage.pose(rocker, 0.02)
    length = 0.22
    gamma = math.acos((0.2**2 + 0.1**2 - length**2) / (2 * 0.2 * 0.1))
    return 0.2 * 0.1 * math.sin(gamma) / length, float(np.asarray(posed.moment_arm))


def push():
    made = actuation.Cylinder(0.016, 0.006, 0.05, 1e-6, 1e-6, True, (0.0, 0.0))
    piston, ring = math.pi / 4 * 0.016**2, math.pi / 4 * (0.016**2 - 0.006**2)
    by_hand = 600e3 * piston - 120e3 * ring - 101325.0 * (piston - ring) - 3.0
    return by_hand, float(np.asarray(actuation.push_force(made, 600e3, 120e3, 3.0)))


def arm():
    motor_ = motorarm.SaggingMotor(LINE, motor.Controller(), Battery(12.5, 0.1), 2.0)
    current = 0.5 / LINE.torque_constant + 0.2
    by_hand = (12.5 - (LINE.resistance + 2 * 0.1) * current) / LINE.voltage_constant
    return by_hand, float(np.asarray(motorarm.sagged_speed(motor_, 0.5)))


def guide_ratio():
    # just free to move where L / e = 2 mu, and a fifth more length leaves a fifth of that in hand
    mu, offset = 0.3, 0.06
    return 1 / 1.2, float(np.asarray(guide.binding_ratio(1.2 * 2 * mu * offset, offset, mu)))


def seam():
    force = float(np.asarray(rolling.step_force(0.025, 0.002, 6.0)))
    return force * (0.025 - 0.002), 6.0 * math.sqrt(0.025**2 - (0.025 - 0.002) ** 2)


def heading():
    # one random number moves the place by z and the heading by t; its second moment after a step of s
    z, t, s = 0.01 + 0.02j, 0.03, 1.5 - 0.5j
    after = _errors.carry(_errors.outer(np.asarray(z), np.asarray(t), 1.0), np.asarray(s))
    return abs(z + 1j * s * t) ** 2, float(np.asarray(after.size).real)


def practice():
    return (34 + 1) / (40 + 2), float(np.asarray(chance.posterior(34.0, 40.0).mean))


WORKED = {
    "heading": heading,
    "cuboids": cuboids, "motor_line": motor_line, "sprint": sprint, "scrub": scrub, "tip": tip, "impact": impact,
    "draw": draw, "flow": choked, "stop": stop, "roller": roller, "chain": chain_length, "threshold": threshold,
    "background": background, "wedge": wedge, "sweep": sweep, "runon": runon, "runup": runup, "slides": slides,
    "idler": idler, "climbs": climbs,
    "aside": aside, "jawway": jawway, "tipover": tipover, "hang": hang, "hoist": hoist, "winch": winch, "lever": lever,
    "push": push, "arm": arm, "guide": guide_ratio, "seam": seam, "practice": practice,
}  # fmt: skip


def test_every_formula_is_worked():
    assert set(WORKED) == set(formulas())


@pytest.mark.parametrize("key", WORKED)
def test_worked_by_hand(key):
    by_hand, computed = WORKED[key]()
    assert computed == pytest.approx(by_hand, rel=1e-6)


# The numbers that a check puts into its formulas, held to the formula as it is written, in plain arithmetic.


def _arc(n):
    return math.acos(1.0 - n["delta"] / n["R"])


def _angle(n):
    """Between the two pins, seen from the pivot: law of cosines."""
    return math.acos((n["b"] ** 2 + n["r"] ** 2 - n["L"] ** 2) / (2.0 * n["b"] * n["r"]))


FILLED, AFTER, BEFORE = ('p_"fill"', 'V_"after"', 'V_"before"')
BALANCES = {
    "tip": lambda n: (n["a"], G * n["d"] / n["h"]),
    "stop": lambda n: (n["d"], n["v"] * (n["phi"] * n["T_s"] + n["t"]) + n["v"] ** 2 / (2.0 * n["a"])),
    "draw": lambda n: (n["p'"], n["p"] - (n[FILLED] * n[AFTER] - n['p_"atm"'] * n[BEFORE]) / n['V_"tank"']),
    "seam": lambda n: (n["F"] * (n["R"] - n["s"]), n["W"] * math.sqrt(n["R"] ** 2 - (n["R"] - n["s"]) ** 2)),
    "roller": lambda n: (n["R_e"], n["R"] * math.sin(_arc(n)) / _arc(n)),
    "wedge": lambda n: (n["F"] / n["N"], 1.0 / math.tan(min(n["beta"], math.pi / 2) - math.atan(n["mu"]))),
    "winch": lambda n: (n["F"], n["n"] * n["T"] * n["i"] * n["eta"] / n["r"]),
    "aside": lambda n: (n["F"], n["N"] * (n["mu"] + n["mu_h"])),
    "idler": lambda n: (n["F"], 2.0 * n["T"] * 2.0 * n["h"] / (n["S"] + n["e"])),
    "background": lambda n: (n["d'"], n["a"] / math.sqrt((n["s"] ** 2 + n["b"] ** 2) / 2.0)),
    "lever": lambda n: (abs(n["l"]), n["b"] * n["r"] * math.sin(_angle(n)) / n["L"]),
}
_OPEN = {"guide", "sprint", "hang", "tipover"}  # what is left open in them has no number


def _put_in(file):
    loaded = load_robot(EXAMPLES.parent / file)
    context, shown = Context(loaded.nominal, loaded.nominal_season), DisplayUnits.of(loaded.quantities)
    outcomes = [o for system in systems() for o in system.check(context)]
    return [(w, put_in(w, shown)) for o in outcomes for w in o.worked]


@pytest.mark.parametrize("file", ["heron/mk1.yaml", "otter/mk1.yaml", "otter/mk2.yaml", "marten/mk1.yaml"])
def test_the_numbers_that_are_put_in_make_the_formula_true(file):
    off = []
    found = _put_in(file)
    assert len({worked.formula for worked, _ in found}) > 5
    for worked, shown in found:
        numbers = {letter: first(value) for letter, (value, _) in worked.numbers.items()}
        listed = {letter for row, _ in shown.equation.where for letter in row.split(", ")}
        assert set(numbers) <= listed, worked.formula
        if worked.formula in _OPEN or (worked.formula == "draw" and "p'" not in numbers):
            continue
        left, right = BALANCES[worked.formula](numbers)
        if left != pytest.approx(right, rel=1e-6):
            off.append((worked.formula, left, right))
    assert not off


def test_a_formula_shows_its_numbers_in_the_units_of_the_person():
    inch = DisplayUnits.of([]).units | {"length": "in", "acceleration": "ft/s^2"}
    worked = Worked("tip", {"a": (3.2, "acceleration"), "d": (0.0508, "length"), "h": (0.1524, "length")})
    shown = put_in(worked, DisplayUnits(inch))
    assert shown.typst == '"10.5 ft/s²" = (g ("2 in")) / ("6 in")'  # 3.2 m/s² are 10.4987 ft/s²; 1 in is 25.4 mm
    assert "<mtext>2 in</mtext>" in as_mathml(shown.typst)


def test_shares_of_the_uncertainty_are_those_of_the_law_of_propagation():
    # the binding ratio 2 mu e / L is a product: each input's share is its relative tolerance squared, over their sum
    # (JCGM 100:2008, 5.1.6; from memory)
    loaded = load_robot(EXAMPLES.parent / "otter/mk1.yaml")
    known = {dotted(path): q for path, q in loaded.quantities}
    report = evaluate(loaded, 0)
    finding = next(f for f in report.findings if f.id == "guide.binding.fork")
    given = shares(loaded, finding)
    parts = {key: (known[key].tolerance / known[key].si) ** 2 for key in finding.inputs}
    assert set(given) == set(parts)
    assert len(parts) == 3
    assert given == pytest.approx({key: part / sum(parts.values()) for key, part in parts.items()}, rel=0.02)
    assert sorted(given, key=lambda key: -given[key]) == list(finding.inputs)


def test_a_winch_is_not_told_by_the_force_of_a_cylinder():
    """Heron is drawn up by a cylinder, Marten by motors."""
    page = next(system.page for system in systems() if system.name == "climb")
    assert [key for name in ("mk1", "marten") for key in formulas_for(page, example(name).nominal)] == [
        "hang", "hoist", "hang", "winch"]  # fmt: skip

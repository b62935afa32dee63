"""Logs, frames, sensor readings and practice for examples/make_measured.py: invented, from hidden true values.

The truth is a textbook's: V = E + I R for the motors, Newton for the robot, the flow of ISO 6358 and both chambers'
mass balance for the stroke. No fit and no code of the program is used here.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator

PER_95, GRAVITY, P_ATM = 1.96, 9.80665, 101325.0
MASS = 8.71  # kg, the same as on the scales
FRICTION, ROLLING, EFFICIENCY, VOLTAGE, INNER = 0.045, 0.021, 0.915, 12.6, 0.155
GRIPS = {"rubber wheel, 2.75 in": 0.99, "roller-rim wheel, 2.75 in": 0.88}
CONDUCTANCE, HOOKS_LOAD = 1.72e-9, 32.0
HUES = {"copper": (25.0, 13.0, 24), "indigo": (242.0, 15.0, 24), "background": (57.5, 2.0, 12)}  # deg, deg, readings
TIMES = {"take pods": (2.45, 0.55), "tip pods": (2.3, 0.4), "grip planter": (1.35, 0.25), "climb": (5.6, 1.1)}
RATES = {"take pods": 0.88, "tip pods": 0.75, "grip planter": 0.92, "climb": 0.7}
TRUTH: dict[str, float] = {
    "drive.friction_torque": FRICTION,
    "rolling resistance of the wheels": ROLLING,
    "drive.stages[0].efficiency": EFFICIENCY,
    "voltage of the battery without load": VOLTAGE,
    'catalogue.batteries."lithium pack, 12.8 V class, 1.1 Ah".resistance': INNER,
    **{f'catalogue.wheels."{name}".grip': grip for name, grip in GRIPS.items()},
    "catalogue.valves.small 5/2 solenoid valve.conductance": CONDUCTANCE,
    "air.cylinders.hooks.push_load": HOOKS_LOAD,
    **{f"mechanisms.sorter.classes.{name}.hue": math.radians(HUES[name][0]) for name in ("copper", "indigo")},
    **{f"mechanisms.sorter.classes.{name}.spread": math.radians(HUES[name][1]) for name in ("copper", "indigo")},
    "mechanisms.sorter.background.hue": math.radians(HUES["background"][0]),
    **{f"actions.{name}.time": mean for name, (mean, _) in TIMES.items()},
    **{f"actions.{name}.spread": spread for name, (_, spread) in TIMES.items()},
    **{f"chance of '{name}'": rate for name, rate in RATES.items()},
}
"""By key of the robot file, or by name where the file has none [SI]."""

# mk1.yaml: six 11 W class motors of 600 rpm (0.62 N m, 3.6 A held still, 0.13 A without load, 12 V; 11 W and 2.5 A at
# most), 48:60 teeth, wheels of 2.75 in
MOTORS, RATIO, RADIUS, CAP, LIMIT, I0 = 6, 60.0 / 48.0, 0.0254 * 2.75 / 2.0, 11.0, 2.5, 0.13
WINDING, KT = 12.0 / 3.6, 0.62 / (3.6 - 0.13)
KE = (12.0 - WINDING * I0) / (2.0 * math.pi * 10.0)
# rotors of 1.2 kg cm2 through the gears; two wheels of 55 g and four of 71 g at three quarters of m r2
ROTATING = MOTORS * 1.2e-4 * RATIO**2 / RADIUS**2 + 0.75 * (2 * 0.055 + 4 * 0.071)


def _drag(added: float) -> float:
    return ROLLING * (MASS + added) * GRAVITY + FRICTION / RADIUS


def _grip_force() -> float:
    """The middle wheels carry what the level robot lays on them: by springs alike, all six carry by their place."""
    share = {"rubber wheel, 2.75 in": 1.0 / 3.0, "roller-rim wheel, 2.75 in": 2.0 / 3.0}
    return MASS * GRAVITY * sum(GRIPS[name] * part for name, part in share.items())


def _motor(speed: float) -> tuple[float, float]:
    """Current of each motor and of the battery at full command, at a speed of the robot."""
    w = speed * RATIO / RADIUS
    current = (VOLTAGE - KE * w) / (WINDING + MOTORS * INNER)
    bound = min(LIMIT, CAP / max(KT * w, 1e-9) + I0)
    if current <= bound:
        return current, MOTORS * current
    power = MOTORS * bound * (bound * WINDING + KE * w)
    return bound, (VOLTAGE - math.sqrt(VOLTAGE**2 - 4.0 * INNER * power)) / (2.0 * INNER)


def _run_up(times: list[float], start: float) -> Iterator[tuple[float, float, float, float]]:
    """Position, speed, motor current and voltage at each time of a run from rest."""
    step, v, x, t = 2e-4, 0.0, 0.0, start
    for time in times:
        while t + step <= time:
            force = MOTORS * KT * (_motor(v)[0] - I0) * RATIO * EFFICIENCY / RADIUS - _drag(0.0)
            gain = force / (MASS + ROTATING)
            assert MASS * (gain + ROLLING * GRAVITY) < _grip_force(), "its wheels slip"
            new = v + step * gain
            x, v, t = x + 0.5 * step * (v + new), new, t + step
        current, drawn = _motor(v) if time > start else (0.0, 0.0)
        yield x, v, current, VOLTAGE - INNER * drawn


def _coast(times: list[float], speed: float, added: float) -> Iterator[tuple[float, float, float, float]]:
    own = MOTORS * KT * I0 * RATIO / (EFFICIENCY * RADIUS)
    slowing = (_drag(added) + own) / (MASS + added + ROTATING)
    for time in times:
        t = min(time, speed / slowing)
        yield speed * t - 0.5 * slowing * t * t, speed - slowing * t, 0.0, VOLTAGE


def _log(rows: Iterator[tuple[float, float, float, float]], times: list[float], rng: random.Random) -> str:
    lines = ["t [ms],x [mm],v [mm/s],I [A],U [V]"]
    for time, (x, v, current, voltage) in zip(times, rows, strict=True):
        seen = (1e3 * x + rng.gauss(0.0, 1.5), 1e3 * v + rng.gauss(0.0, 15.0))
        lines.append(f"{1e3 * time:.0f},{seen[0]:.1f},{seen[1]:.0f},{current + rng.gauss(0.0, 0.03):.2f},"
                     f"{voltage + rng.gauss(0.0, 0.02):.2f}")  # fmt: skip
    return "\n".join(lines) + "\n"


def _drive(rng: random.Random) -> tuple[str, dict[str, str]]:
    times = [0.01 * i for i in range(200)]
    files = {
        "mk1_full_speed.csv": _log(_run_up(times, 0.237), times, rng),
        "mk1_coast.csv": _log(_coast(times[:150], 1.65, 0.0), times[:150], rng),
        "mk1_coast_heavy.csv": _log(_coast(times[:150], 1.6, 3.0), times[:150], rng),
    }
    push = [f"{_grip_force() + rng.gauss(0.0, 3.0 / PER_95):.0f} N" for _ in range(5)]
    drags = ""
    for name, grip in GRIPS.items():
        read = [f"{grip * 3.0 * GRAVITY + rng.gauss(0.0, 0.8 / PER_95):.1f} N" for _ in range(5)]
        drags += f'    - {{wheel: "{name}", load: 3 kg, readings: [{", ".join(read)}]}}\n'
    columns = ", ".join(f'{k}: {{column: "{c}"}}' for k, c in (
        ("time", "t [ms]"), ("position", "x [mm]"), ("speed", "v [mm/s]"), ("current", "I [A]"), ("voltage", "U [V]")
    ))  # fmt: skip
    text = (
        "drive:  # by the robot's own log, on the tiles; pushes and drags with a luggage scale\n"
        f"  date: 2026-11-21\n  columns: {{{columns}}}\n  logs:\n"
        "    - {file: mk1_full_speed.csv, command: full}\n    - {file: mk1_coast.csv, command: coast}\n"
        "    - {file: mk1_coast_heavy.csv, command: coast, added: 3 kg}\n"
        f"  pushes:\n    - {{readings: [{', '.join(push)}], ends: slips}}\n  drags:\n{drags}  force_error: 2 N\n"
    )
    return text, files


def _flow(high: float, low: float, C: float, b: float) -> float:
    """ISO 6358-1 (from memory): mass flow down a pressure."""
    u = (max(low / high, b) - b) / (1.0 - b)
    return C * 1.185 * high * math.sqrt(max(1.0 - u * u, 0.0))


def _series(*parts: tuple[float, float]) -> tuple[float, float]:
    """One element for several in a row, by the flow that passes all of them with 7 bar ahead and 1 bar behind."""

    def behind(flow: float) -> float:
        p = 7.9e5
        for C, b in parts:
            low, top = 1.0, p
            if _flow(p, low, C, b) < flow:
                return 0.0
            for _ in range(60):
                middle = 0.5 * (low + top)
                low, top = (low, middle) if _flow(p, middle, C, b) < flow else (middle, top)
            p = 0.5 * (low + top)
        return p

    low, high = 0.0, 1e-2
    for _ in range(60):
        flow = 0.5 * (low + high)
        low, high = (flow, high) if behind(flow) > 0.0 else (low, flow)
    # the ratio keeps the slope of small drops, where (1 - b) / C^2 of elements adds up (ISO 6358-3)
    C = low / (1.185 * 7.9e5)
    return C, 1.0 - C * C * sum((1.0 - b) / c**2 for c, b in parts)


def _hooks(rng: random.Random) -> tuple[str, dict[str, str]]:
    """One of the two hook cylinders: 20 mm bore, 8 mm rod, 50 mm stroke, half of 7.5 kg, from 6.9 bar in 200 mL."""
    rod, stroke, mass = 0.008, 0.05, 3.75
    A1, A2 = math.pi / 4.0 * 0.020**2, math.pi / 4.0 * (0.020**2 - rod**2)
    dead = math.pi / 4.0 * 0.0025**2 * 0.5 + 0.4e-6
    tube = 0.029 * 0.0025**2 / math.sqrt(0.5 / 0.0025**1.25 + 510.0)
    line = _series((CONDUCTANCE, 0.3), (0.35e-8, 0.4), (tube, 474.0 * tube / 0.0025**2))
    C, b = line[0] / 2.0, line[1]
    full, tank = P_ATM + 6.9e5, 200e-6
    supply = (full * tank + P_ATM * 2.0 * dead) / (tank + 2.0 * (dead + A1 * stroke))
    load = HOOKS_LOAD / 2.0 + 0.1 * (supply - P_ATM) * A1
    course = _stroke((A1, A2, dead, stroke, mass, load), supply, (C, b))
    lines = ["t [s];x [mm]"]
    for i in range(96):
        time = i / 240.0
        x = course(time - 0.05 - 0.011)
        lines.append(f"{time:.4f};{1e3 * x + rng.gauss(0.0, 1.0 / PER_95):.1f}")
    text = (
        "frames:  # slow motion of a phone beside a tape, a lamp on the valve's wire in the picture\n"
        "  hooks up:\n    date: 2026-11-21\n    cylinder: hooks\n    pressure: 6.9 bar\n    file: mk1_hooks_up.csv\n"
        '    columns: {time: {column: "t [s]"}, position: {column: "x [mm]"}}\n    rate: 240 Hz\n    switched: 0.05 s\n'
        "    position_error: 1 mm\n"
    )
    return text, {"mk1_hooks_up.csv": "\n".join(lines) + "\n"}


def _stroke(
    shape: tuple[float, float, float, float, float, float], supply: float, line: tuple[float, float]
) -> Callable[[float], float]:
    """Both pressures, place and speed in small steps; gives the place at a time since the valve opened."""
    A1, A2, dead, stroke, mass, load = shape
    C, b = line
    unit, step = 287.05 * 293.15, 5e-6
    p, q, x, v = P_ATM, supply, 0.0, 0.0
    places = [0.0]
    while x < stroke and len(places) < 200_000:
        push = p * A1 - q * A2 - P_ATM * (A1 - A2) - load
        v = max(v + step * push / mass, 0.0) if x > 0.0 or push > 0.0 else 0.0
        fill, drain = unit * _flow(supply, min(p, supply), C, b), unit * _flow(max(q, P_ATM), P_ATM, C, b)
        p = min(p + step * (fill - p * A1 * v) / (dead + A1 * x), supply)
        q = max(q + step * (q * A2 * v - drain) / (dead + A2 * (stroke - x)), P_ATM)
        x += step * v
        places.append(min(x, stroke))

    def at(time: float) -> float:
        return places[min(max(round(time / step), 0), len(places) - 1)]

    return at


def _sorter(rng: random.Random) -> tuple[str, dict[str, str]]:
    lines = ["colour,hue [deg],brightness [%]"]
    for name, (mean, spread, count) in HUES.items():
        for _ in range(count):
            lines.append(f"{name},{rng.gauss(mean, spread) % 360.0:.0f},{rng.gauss(42.0, 4.0):.0f}")
    text = (
        "samples:  # each object once, held where it passes the sensor\n  sorter:\n    date: 2026-11-21\n"
        "    file: mk1_hues.csv\n"
        '    columns: {class: {column: colour}, hue: {column: "hue [deg]"}, brightness: {column: "brightness [%]"}}\n'
    )
    return text, {"mk1_hues.csv": "\n".join(lines) + "\n"}


def _practice(rng: random.Random) -> tuple[str, dict[str, str]]:
    text = "practice:  # an afternoon on the practice field, two drivers\n"
    for name, rate in RATES.items():
        attempts = 30 if name != "climb" else 16
        successes = sum(rng.random() < rate for _ in range(attempts))
        mean, spread = TIMES[name]
        times = ", ".join(f"{max(rng.gauss(mean, spread), 0.3):.1f} s" for _ in range(14))
        text += f"  {name}:\n    date: 2026-11-22\n    successes: {successes}\n    attempts: {attempts}\n"
        text += f"    times: [{times}]\n"
    return text, {}


MAKERS = (_drive, _hooks, _sorter, _practice)


def made(seed: int) -> tuple[str, dict[str, str]]:
    """Sections of the measurements file, and the tables that they name, by file name."""
    texts, files = "", {}
    for i, maker in enumerate(MAKERS):
        text, tables = maker(random.Random(seed + 100 + i))
        texts, files = texts + text, files | tables
    return texts, files

"""Makes examples/heron/mk1_measurements.yaml and its tables: readings of an invented team, from hidden true values.

Run it after a section has changed: ``python examples/make_measured.py``. The numbers are invented; the same seed gives
the same file. ``TRUTH`` is what the fits have to find; no fit reads it.
"""

from __future__ import annotations

import math
import random
import runpy
from collections.abc import Callable
from pathlib import Path

SEED = 20261120
FILE = Path(__file__).parent / "heron" / "mk1_measurements.yaml"
PER_95 = 1.96
BAR, ATMOSPHERE = 1e5, 101325.0
TRUTH: dict[str, float] = {
    "weighed.mass": 8.71,
    "weighed.x": 0.0238,
    "weighed.y": 0.0021,
    "weighed.z": 0.1532,
    "tracking.wheels.ahead.diameter": 0.05052,
    "tracking.wheels.ahead.offset": 0.0259,
    "tracking.wheels.across.diameter": 0.05103,
    "tracking.wheels.across.offset": -0.0612,
    "true turn over the gyro's reading": 1.0036,
    "air.cylinders.clamp.dead_volume": 0.62e-6,
    "air.tanks.left.leak_half_time": 38.0 * 60.0,
    "air.tanks.right.leak_half_time": 55.0 * 60.0,
}
"""By key of the robot file, or by name where the file has none [SI]."""
LOGS = runpy.run_path(str(Path(__file__).with_name("make_measured_logs.py")))
"""What reads tables, with tables of its own: drive, frames, samples, practice."""
TRUTH |= LOGS["TRUTH"]
HEAD = """\
# Readings of Heron mk1, an invented team's invented robot: made by examples/make_measured.py with a seed, from
# hidden true values. Fit them:  fieldworthy fit mk1.yaml mk1_measurements.yaml
fieldworthy: measurements 1
robot: mk1.yaml
about: Kitchen scales, tape, gauge and the robot's own counters, on the workshop floor; every number is invented.
"""
HALF_BASE, HALF_TRACK, WHEEL = 0.130, 0.155, 0.034925  # m: corner wheels as mk1.yaml has them, radius of 2.75 in
COUNTS = 4096


def _loads(lift: float, twist: float) -> dict[str, float]:
    """What the corner wheels carry with the front raised: textbook moments about the rear axle."""
    mass, x, y, z = (TRUTH[f"weighed.{k}"] for k in ("mass", "x", "y", "z"))
    base = 2.0 * HALF_BASE
    pitch = math.asin(lift / base)
    front = mass * ((x + HALF_BASE) - (z - WHEEL) * math.tan(pitch)) / base
    left = 0.5 + y / (2.0 * HALF_TRACK)
    axles = {"front": front, "rear": mass - front}
    return {
        f"{side} {axle}": load * (left if side == "left" else 1.0 - left)
        + (twist if (side == "left") == (axle == "front") else -twist)
        for axle, load in axles.items()
        for side in ("left", "right")
    }


def _scales(rng: random.Random) -> str:
    def read(loads: dict[str, float], only: str = "") -> str:
        kept = {n: v + rng.gauss(0.0, 0.010 / PER_95) for n, v in loads.items() if only in n}
        return "{" + ", ".join(f"{n}: {v:.3f} kg" for n, v in kept.items()) + "}"

    level = "".join(f"    - readings: {read(_loads(0.0, rng.gauss(0.0, 0.08)))}\n" for _ in range(3))
    raised = ""
    for _ in range(2):
        true = 0.090 + rng.gauss(0.0, 0.002 / PER_95)
        raised += f"    - {{end: front, lift: 90 mm, readings: {read(_loads(true, 0.0), 'rear')}}}\n"
    return (
        "scales:  # four kitchen scales under the corner wheels; the middle wheels hang free\n"
        f"  date: 2026-11-20\n  pose: stowed\n  level:\n{level}  raised:\n{raised}"
    )


def _tilt(rng: random.Random) -> str:
    mass_x, y, z = (TRUTH[f"weighed.{k}"] for k in ("x", "y", "z"))
    true = {
        "forward": math.atan2(HALF_BASE - mass_x, z - WHEEL), "back": math.atan2(HALF_BASE + mass_x, z - WHEEL),
        "left": math.atan2(HALF_TRACK - y, z), "right": math.atan2(HALF_TRACK + y, z),
    }  # fmt: skip
    lines = ""
    for side, angle in true.items():
        read = [round(2.0 * (math.degrees(angle) + rng.gauss(0.0, 1.5 / PER_95))) / 2.0 for _ in range(3)]
        lines += f"    {side}: [{', '.join(f'{a:g} deg' for a in read)}]\n"
    head = "tilt:  # held over its wheels by two people, a phone's level on its floor\n  date: 2026-11-20\n"
    return f"{head}  pose: stowed\n  angles:\n{lines}"


def _counted(wheel: str, way: float, rng: random.Random) -> int:
    """Counts of a way, with the wobble, runout and slip that mk1.yaml leaves to the defaults."""
    spread = math.sqrt(1e-3**2 * abs(way) + 0.1e-3**2 + (0.002 * way) ** 2)
    turned = (way + rng.gauss(0.0, spread)) / (math.pi * TRUTH[f"tracking.wheels.{wheel}.diameter"])
    return round(turned * COUNTS)


def _odometry(rng: random.Random) -> str:
    pushes, turns = "", ""
    for direction, wheel in (("forward", "ahead"), ("sideways", "across")):
        for distance in (2.4, -2.4, 2.4, -2.4):
            true = distance + rng.gauss(0.0, 0.003 / PER_95)
            counts = f"{{{wheel}: {_counted(wheel, true, rng)}}}"
            pushes += f"    - {{direction: {direction}, distance: {distance} m, counts: {counts}}}\n"
    for number in (10, -10, 10, -10):
        angle = 2.0 * math.pi * number + rng.gauss(0.0, math.radians(1.5) / PER_95)
        ahead = _counted("ahead", -angle * TRUTH["tracking.wheels.ahead.offset"], rng)
        across = _counted("across", angle * TRUTH["tracking.wheels.across.offset"], rng)
        drift = math.radians(0.4) / 60.0 * 30.0
        gyro = (angle + drift + rng.gauss(0.0, 2.5e-3)) / TRUTH["true turn over the gyro's reading"]
        counts = f"{{ahead: {ahead}, across: {across}}}"
        turns += f"    - {{turns: {number}, counts: {counts}, gyro: {math.degrees(gyro):.1f} deg, time: 30 s}}\n"
    head = "odometry:  # pushed along a tape and turned about a mark on the tiles\n  date: 2026-11-21\n"
    return f"{head}  pushes:\n{pushes}  turns:\n{turns}"


def _after(p_gauge: float, cycles: int) -> float:
    """Boyle's law for the clamp's two cylinders, 16 mm bore, 5 mm rod, 25 mm stroke, 400 mm of 2.5 mm tube a side."""
    p, dead = p_gauge + ATMOSPHERE, TRUTH["air.cylinders.clamp.dead_volume"] + math.pi / 4.0 * 0.0025**2 * 0.4
    for _ in range(cycles):
        for area in (0.016**2, 0.016**2 - 0.005**2):
            swept = math.pi / 4.0 * area * 0.025
            p = (p * 200e-6 + ATMOSPHERE * 2.0 * dead) / (200e-6 + 2.0 * (dead + swept))
    return p - ATMOSPHERE


def _air(rng: random.Random) -> str:
    def gauge(true: float) -> str:
        """A dial with a mark every 0.1 bar, read to half of that."""
        return f"{round(20.0 * (true / BAR + rng.gauss(0.0, 0.07 / PER_95))) / 20.0:g} bar"

    runs = ""
    for cycles in (10, 12, 15):
        before = 6.9 * BAR
        runs += f"      - {{before: {gauge(before)}, after: {gauge(_after(before, cycles))}, cycles: {cycles}}}\n"
    leaks = ""
    for tank in ("left", "right"):
        half = TRUTH[f"air.tanks.{tank}.leak_half_time"]
        true = {t: 6.75 * BAR * 0.5 ** (60.0 * t / half) for t in (0, 15, 30, 45, 60)}
        looks = [f"{{time: {t} min, pressure: {gauge(p)}}}" for t, p in true.items()]
        leaks += f"  {tank}:\n    date: 2026-11-20\n    readings:\n" + "".join(f"      - {look}\n" for look in looks)
    return (
        "cycles:  # out and back by hand on the valve, a minute's wait before the second look\n"
        f"  clamp alone:\n    date: 2026-11-20\n    cylinder: clamp\n    runs:\n{runs}"
        f"leaks:  # filled, five minutes' wait, then nothing moved for an hour\n{leaks}"
    )


SECTIONS: tuple[Callable[[random.Random], str], ...] = (_scales, _tilt, _odometry, _air)
"""Each gives the text of one section, or several; further procedures add theirs at the end."""


def text() -> str:
    """The whole measurements file."""
    return (
        HEAD + "".join(section(random.Random(SEED + i)) for i, section in enumerate(SECTIONS)) + LOGS["made"](SEED)[0]
    )


def tables() -> dict[str, str]:
    """The tables beside it, by file name."""
    found: dict[str, str] = LOGS["made"](SEED)[1]
    return found


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
    for name, rows in tables().items():
        FILE.with_name(name).write_text(rows, encoding="utf-8", newline="\n")

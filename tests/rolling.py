"""A small robot with three tracking wheels and a gyro, and what they count on pushes, turns and squares."""

from __future__ import annotations

import math

import numpy as np

from fieldworthy.measure.odometry import GYRO
from measuring import PER_95

SIZE, TRACK, COUNTS = 0.0508, 0.24, 4096
WHEEL = {"direction": "forward", "diameter": "50.8 mm", "counts": COUNTS, "down_force": "6 N", "wobble": "0.4 mm/m^0.5",
         "runout": "0.05 mm", "slip": 0.0004}  # fmt: skip
TRACKING = {
    "tracking": {
        "wanted": "70 mm",
        "gyro": {"drift": "0.5 deg/min", "noise": "1 deg/h^0.5"},
        "wheels": {
            "left": WHEEL | {"offset": "120 mm"},
            "right": WHEEL | {"offset": "-120 mm"},
            "across": WHEEL | {"direction": "sideways", "offset": "-60 mm"},
        },
    }
}
TRUE = {
    "left": (0.05061, 0.1212), "right": (0.05092, -0.1217), "across": (0.0510, -0.0588)
}  # fmt: skip
"""True diameter and offset."""
SCALE, BIAS = 1.0041, math.radians(0.3) / 60.0
TRUTHS = {f"diameter of wheel '{n}'": size for n, (size, _) in TRUE.items()} | {
    f"offset of wheel '{n}'": offset for n, (_, offset) in TRUE.items()
} | {GYRO: SCALE}  # fmt: skip


def counted(name: str, way: float, rng) -> float:
    """Counts of a way, with the scatter that the robot file states."""
    size = TRUE[name][0]
    spread = math.sqrt(0.4e-3**2 * abs(way) + 0.05e-3**2 + (0.0004 * way) ** 2)
    return float(round((way + rng.normal(0.0, spread)) / (math.pi * size) * COUNTS))


def pushes(rng) -> list[dict]:
    found = []
    for direction, distance in (("forward", 2.4), ("forward", -2.4), ("sideways", 1.8), ("sideways", -1.8)):
        true = distance + rng.normal(0.0, 0.003 / PER_95)
        names = ("left", "right") if direction == "forward" else ("across",)
        counts = {n: counted(n, true, rng) for n in names}
        found.append({"direction": direction, "distance": f"{distance} m", "counts": counts})
    return found


def turns(rng) -> list[dict]:
    found = []
    for number in (10, -10, 10, -10):
        angle = 2.0 * math.pi * number + rng.normal(0.0, math.radians(1.5) / PER_95)
        counts = {n: counted(n, (-1 if n != "across" else 1) * angle * TRUE[n][1], rng) for n in TRUE}
        drift = rng.normal(BIAS, 0.0)
        noise = math.hypot(math.radians(1.0) / 60.0 * math.sqrt(30.0), 1.7e-3)
        gyro = (angle + drift * 30.0 + rng.normal(0.0, noise)) / SCALE
        found.append({"turns": number, "counts": counts, "gyro": f"{math.degrees(gyro):.2f} deg", "time": "30 s"})
    return found


def driven(side: float, left_turns: bool) -> tuple[float, float]:
    """End of a square that closes by the odometry as it reckons, driven by the true wheels: exact arcs."""
    ratio = [TRUE[n][0] / SIZE for n in ("left", "right")]
    track = TRUE["left"][1] - TRUE["right"][1]
    quarter = 0.25 * math.pi * TRACK * (1.0 if left_turns else -1.0)
    x = y = heading = 0.0
    for _ in range(4):
        for left, right in ((side, side), (-quarter, quarter)):
            turn = (right * ratio[1] - left * ratio[0]) / track
            ahead = 0.5 * (left * ratio[0] + right * ratio[1])
            chord = ahead * (np.sinc(0.5 * turn / math.pi))
            x, y = x + chord * math.cos(heading + 0.5 * turn), y + chord * math.sin(heading + 0.5 * turn)
            heading += turn
    return x, y


def squares(rng, noise: float = 0.02) -> dict:
    def ends(left_turns: bool) -> list[dict]:
        x, y = driven(1.2, left_turns)
        off = rng.normal(0.0, noise / PER_95, (4, 2))
        return [{"x": f"{1e3 * (x + a):.3f} mm", "y": f"{1e3 * (y + b):.3f} mm"} for a, b in off]

    return {
        "side": "1.2 m",
        "left": "left",
        "right": "right",
        "clockwise": ends(False),
        "counter_clockwise": ends(True),
    }


def readings(seed: int, *, square: bool = False) -> dict:
    rng = np.random.default_rng(seed)
    data = {"pushes": pushes(rng), "turns": turns(rng)}
    return data | ({"squares": squares(rng)} if square else {})

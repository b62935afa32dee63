"""A small robot of known mass and centre of gravity, and what scales under its wheels would read."""

from __future__ import annotations

import math

import numpy as np

from fieldworthy.measure.scales import FORWARD, HEIGHT, LEFT, MASS
from measuring import PER_95

WHEELS = {
    "left front": (0.14, 0.15),
    "left rear": (-0.12, 0.15),
    "right front": (0.14, -0.15),
    "right rear": (-0.12, -0.15),
}
TRUTH = {MASS: 7.412, FORWARD: 0.011, LEFT: -0.006, HEIGHT: 0.148}
RADIUS, LIFT, ERROR = 0.035, 0.09, 0.01
SURE = {"drive": {"wheels": {n: {"position": [{"value": f"{c} m", "tolerance": "0 mm"} for c in at]}
                             for n, at in WHEELS.items()}}}  # fmt: skip
"""Wheels whose places are known: what is off then is the scales and the lift."""


def loads(lift: float = 0.0, twist: float = 0.0) -> dict[str, float]:
    """What each of the four wheels carries: textbook axle loads, each split by the moment across, and a twist."""
    base = 0.26
    pitch = math.asin(lift / base)
    behind = TRUTH[FORWARD] + 0.12  # of the centre of gravity ahead of the rear axle
    front = (
        TRUTH[MASS] * (behind * math.cos(pitch) - (TRUTH[HEIGHT] - RADIUS) * math.sin(pitch)) / (base * math.cos(pitch))
    )
    share = 0.5 + TRUTH[LEFT] / 0.3
    axles = {"front": front, "rear": TRUTH[MASS] - front}
    return {
        f"{side} {axle}": load * (share if side == "left" else 1.0 - share)
        + (twist if (side == "left") == (axle == "front") else -twist)
        for axle, load in axles.items()
        for side in ("left", "right")
    }


def weighing(seed: int, *, wild: bool = False) -> dict:
    rng = np.random.default_rng(seed)

    def noisy(true: dict[str, float]) -> dict[str, str]:
        return {n: f"{1000 * (v + rng.normal(0.0, ERROR / PER_95)):.1f} g" for n, v in true.items()}

    level = [{"readings": noisy(loads(twist=rng.normal(0.0, 0.1)))} for _ in range(3)]
    if wild:
        level[1]["readings"]["left front"] = "2.9 kg"
    raised = []
    for _ in range(2):
        lift = LIFT + rng.normal(0.0, 0.001 / PER_95)
        rear = {n: v for n, v in loads(lift).items() if "rear" in n}
        raised.append({"end": "front", "lift": f"{LIFT} m", "readings": noisy(rear)})
    return {"level": level, "raised": raised, "error": f"{1000 * ERROR} g", "lift_error": "1 mm"}

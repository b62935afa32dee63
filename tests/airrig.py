"""A small robot with one tank and a clamp, and what its gauge reads after cycles and over time."""

from __future__ import annotations

import math

import numpy as np

from measuring import PER_95

PSI = 6894.757293168361
ATM = 101325.0
AIR = {
    "air": {
        "supply": {"charge": "100 psi", "tube_bore": "2.5 mm"},
        "tanks": {"left": {"tank": "sure tank"}},
        "cylinders": {"clamp": {"cylinder": "test cylinder", "tank": "left", "valve": "test valve", "count": 2,
                                "tube": "400 mm", "dead_volume": "0.4 mL"}},
    },
    "catalogue": {"tanks": {"sure tank": {"volume": {"value": "200 mL", "tolerance": "1 mL", "basis": "measured"},
                                          "rated_pressure": "1000 kPa", "mass": "110 g"}},
                  "cylinders": {"test cylinder": {"bore": {"value": "16 mm", "tolerance": "0.05 mm"},
                                                  "stroke": {"value": "50 mm", "tolerance": "0.2 mm"}}}},
}  # fmt: skip
DEAD, TANK = 1.1e-6, 200e-6
TUBE = math.pi / 4.0 * 0.0025**2 * 0.4
OUT, BACK = math.pi / 4.0 * 0.016**2 * 0.05, math.pi / 4.0 * (0.016**2 - 0.006**2) * 0.05


def after(gauge: float, cycles: int, dead: float = DEAD, tank: float = TANK, share: float = 1.0) -> float:
    """Boyle's law, stroke by stroke: tank and chambers share their air, then the chambers are let out."""
    p = gauge + ATM
    idle = 2.0 * (dead + TUBE)
    for _ in range(cycles):
        for swept in (OUT, BACK):
            p = (p * tank + ATM * idle) / (tank + idle + 2.0 * share * swept)
    return p - ATM


def cycled(seed: int, error: float = 1.0) -> dict:
    rng = np.random.default_rng(seed)
    tank = TANK + rng.normal(0.0, 1e-6 / PER_95)
    share = 1.0 + rng.normal(0.0, math.hypot(2.0 * 0.05 / 16.0, 0.2 / 50.0) / PER_95)
    runs = []
    for cycles in (4, 6, 8):
        before = (100.0 + rng.uniform(-2.0, 2.0)) * PSI
        true = after(before, cycles, tank=tank, share=share)
        read = [f"{(p + rng.normal(0.0, error * PSI / PER_95)) / PSI:.2f} psi" for p in (before, true)]
        runs.append({"before": read[0], "after": read[1], "cycles": cycles})
    return {"cylinder": "clamp", "runs": runs, "error": f"{error} psi"}


HALF = 38.0 * 60.0


def leaking(seed: int, half: float = HALF, minutes=(0, 10, 20, 30, 45, 60)) -> dict:
    rng = np.random.default_rng(seed)
    full = 98.0 * PSI
    looks = [
        {
            "time": f"{t} min",
            "pressure": f"{(full * 0.5 ** (60.0 * t / half)) / PSI + rng.normal(0.0, 1 / PER_95):.2f} psi",
        }
        for t in minutes
    ]
    return {"readings": looks}

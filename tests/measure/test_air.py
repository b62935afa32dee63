"""Air: dead volume from cycles, half time at rest; the truth is found, and a tight tank is said to be tight."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fieldworthy.measure.aircycles import fit_cycles
from fieldworthy.measure.leaks import fit_leak
from fieldworthy.measure.model import AirCycles, Leak
from fieldworthy.schema import BadInput
from measuring import PER_95, measured, recovered, section

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


def fit(bench, data):
    return fit_cycles(section(AirCycles, data), bench, "clamp")


KEY = "air.cylinders.clamp.dead_volume"


def test_the_truth_lies_within_the_interval_in_about_95_of_100(tmp_path):
    bench = measured(tmp_path, robot=AIR)
    found = recovered(lambda seed: fit(bench, cycled(seed)), {KEY: DEAD})
    hits, error = found[KEY]
    assert 0.90 <= hits <= 0.995

    def naive(seed: int) -> float:
        """One run, Boyle's law solved for the dead volume with the tank as the file has it."""
        run = cycled(seed)["runs"][0]
        before, read = (float(run[k].split()[0]) * PSI for k in ("before", "after"))
        volumes = np.linspace(-1e-6, 6e-6, 1401)
        return float(volumes[np.argmin([abs(after(before, run["cycles"], v) - read) for v in volumes])])

    one = np.array([naive(seed) for seed in range(100)])
    assert error < 0.8 * math.sqrt(np.mean((one - DEAD) ** 2))


def test_exact_readings_give_the_truth_and_the_air_of_a_cycle(tmp_path):
    runs = [{"before": f"{p!r} Pa", "after": f"{after(p, n)!r} Pa", "cycles": n} for p, n in ((7e5, 5), (6.5e5, 8))]
    found = fit(measured(tmp_path, robot=AIR), {"cylinder": "clamp", "runs": runs})
    assert found.get(KEY).value == pytest.approx(DEAD, rel=1e-4)
    full = 100.0 * PSI
    taken = (full - after(full, 1)) * TANK / 100e3  # of the reference atmosphere, ISO 8778
    assert found.fitted[1].value == pytest.approx(taken, rel=1e-4)


def test_too_few_cycles_tell_no_dead_volume(tmp_path):
    runs = [{"before": "100 psi", "after": "93 psi", "cycles": 1}]
    found = fit(measured(tmp_path, robot=AIR), {"cylinder": "clamp", "runs": runs, "error": "4 psi"})
    assert found.unidentified[0].key == ("air", "cylinders", "clamp", "dead_volume")
    assert "more cycles" in found.unidentified[0].reading


def test_a_gauge_that_did_not_fall_is_refused(tmp_path):
    data = {"cycles": {"x": {"cylinder": "clamp", "runs": [{"before": "90 psi", "after": "95 psi", "cycles": 3}]}}}
    with pytest.raises(BadInput, match="cycles take air"):
        measured(tmp_path, data, AIR)


HALF = 38.0 * 60.0
LEAK = "air.tanks.left.leak_half_time"


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


def fit_left(bench, data):
    return fit_leak(section(Leak, data), bench, "left")


def test_the_half_time_lies_within_its_interval_in_about_95_of_100(tmp_path):
    bench = measured(tmp_path, robot=AIR)
    hits, error = recovered(lambda seed: fit_left(bench, leaking(seed)), {LEAK: HALF})[LEAK]
    assert 0.90 <= hits <= 0.995

    def naive(seed: int) -> float:
        """Two looks, a quarter of an hour apart."""
        first, second = leaking(seed, minutes=(0, 15))["readings"]
        ratio = float(first["pressure"].split()[0]) / float(second["pressure"].split()[0])
        return 900.0 / math.log2(ratio)

    one = np.array([naive(seed) for seed in range(100)])
    assert error < 0.5 * math.sqrt(np.mean((one - HALF) ** 2))


def test_a_tight_tank_gives_a_least_half_time_and_no_number(tmp_path):
    found = fit_left(measured(tmp_path, robot=AIR), leaking(1, half=400.0 * 3600.0, minutes=(0, 5, 10)))
    assert found.fitted == ()
    assert found.unidentified[0].key == ("air", "tanks", "left", "leak_half_time")
    assert "wait longer" in found.unidentified[0].reading
    assert "is tight as far as these readings tell" in found.notes[0]


def test_a_gauge_that_rises_while_it_warms_is_no_leak(tmp_path):
    data = {"readings": [{"time": "0 min", "pressure": "95 psi"}, {"time": "30 min", "pressure": "98 psi"}]}
    assert fit_left(measured(tmp_path, robot=AIR), data).fitted == ()


def test_two_looks_at_one_time_are_refused(tmp_path):
    data = {"leaks": {"left": {"readings": [{"time": "0 min", "pressure": "95 psi"}] * 2}}}
    with pytest.raises(BadInput, match="two readings or more at different times"):
        measured(tmp_path, data, AIR)
    with pytest.raises(BadInput, match="expected a name from the robot's"):
        measured(tmp_path, {"leaks": {"right": leaking(0)}}, AIR)

"""Air: dead volume from cycles, half time at rest; the truth is found, and a tight tank is said to be tight."""

from __future__ import annotations

import math

import numpy as np
import pytest

from airrig import AIR, DEAD, HALF, PSI, TANK, after, cycled, leaking
from fieldworthy.files import BadInput
from fieldworthy.measure.airtests import fit_cycles, fit_leak
from fieldworthy.measure.model import AirCycles, Leak
from measuring import measured, recovered, section


def fit(bench, data):
    return fit_cycles(section(AirCycles, data), bench, "clamp")


KEY = "air.cylinders.clamp.dead_volume"


@pytest.mark.long
def test_the_truth_lies_within_the_interval_in_about_95_of_100(tmp_path):
    bench = measured(tmp_path, robot=AIR)
    found = recovered(lambda seed: fit(bench, cycled(seed)), {KEY: DEAD})
    hits, error = found[KEY]
    assert 0.90 <= hits <= 0.99

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


LEAK = "air.tanks.left.leak_half_time"


def fit_left(bench, data):
    return fit_leak(section(Leak, data), bench, "left")


@pytest.mark.long
def test_the_half_time_lies_within_its_interval_in_about_95_of_100(tmp_path):
    bench = measured(tmp_path, robot=AIR)
    hits, error = recovered(lambda seed: fit_left(bench, leaking(seed)), {LEAK: HALF})[LEAK]
    assert 0.90 <= hits <= 0.99

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

"""Times the fitting core and the example's measurements, against scipy.optimize.curve_fit on the same data."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit

from fieldworthy.measure import load_measurements
from fieldworthy.measure.fit import procedures
from fieldworthy.measure.fitting import Parameter, solve

ROOT = Path(__file__).parents[1]
STRD = json.loads((ROOT / "tests" / "cases" / "nist_strd.json").read_text("utf-8"))["datasets"]
THURBER = next(d for d in STRD if d["name"] == "Thurber")
X, Y = np.array(THURBER["x"]), np.array(THURBER["y"])


def thurber(x, *b):
    return (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1.0 + b[4] * x + b[5] * x**2 + b[6] * x**3)


def ours(robust: bool):
    start = THURBER["starts"][1]
    parameters = [
        Parameter(f"b{i}", s, abs(e)) for i, (s, e) in enumerate(zip(start, THURBER["estimate"], strict=True))
    ]
    return solve(lambda b: Y - thurber(X, *b), parameters, known=False, robust=robust)


def test_plain_fit_with_intervals(benchmark):
    assert benchmark(ours, False).values == pytest.approx(THURBER["estimate"], rel=1e-5)


def test_robust_fit_with_intervals(benchmark):
    assert benchmark(ours, True).values == pytest.approx(THURBER["estimate"], rel=0.2)


def test_peer_curve_fit(benchmark):
    found = benchmark(lambda: curve_fit(thurber, X, Y, THURBER["starts"][1]))
    assert found[0] == pytest.approx(THURBER["estimate"], rel=1e-4)


def test_all_procedures_of_the_example(benchmark):
    measured = load_measurements(ROOT / "examples" / "heron" / "mk1_measurements.yaml")
    found = benchmark.pedantic(lambda: tuple(procedures(measured)), rounds=3, warmup_rounds=1)
    assert len(found) > 5

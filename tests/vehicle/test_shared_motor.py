"""A motor that several mechanisms share: named once, counted once, asked for all of them, warmed by all of them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.drawing.style import PRINT, Style
from fieldworthy.files import BadInput
from fieldworthy.match import play_runs, setup
from fieldworthy.report.card import spares
from fieldworthy.systems.drive.figure import heat, shared_curves
from fieldworthy.systems.drive.mechanics import shared_use
from fieldworthy.vehicle import state
from robots import MOTOR, check, example, find, load, nominal

PLAIN = {"kind": "plain", "motors": [{"motor": "elbow"}]}
ROBOT = {
    "catalogue": {"motors": {"slow motor": MOTOR | {"power_cap": "1000 W", "current_limit": "9 A"}}},
    "motors": {"elbow": {"motor": "slow motor", "count": 2}},
    "mechanisms": {"arm": PLAIN, "righter": PLAIN},
    "actions": {
        "raise": {"time": "4 s", "motors": {"arm": "60 %"}},
        "right": {"time": "6 s", "motors": {"arm": "25 %", "righter": "30 %"}},
    },
    "plan": {
        "start": "a",
        "driven": [{"repeat": [{"action": "raise", "at": "b"}, {"action": "right", "at": "c"}], "times": 3}],
    },
}
LIMITS = {"limits": {"motors": 7, "motor_power": "90 W"}}


def test_it_counts_once(tmp_path):
    """Four motors drive, two are shared: six, and 66 W at 11 W each; by hand."""
    report = check(tmp_path, ROBOT, LIMITS)
    assert find(report, "limits.motors").value == 6.0
    assert find(report, "limits.motor_power").value == pytest.approx(66.0)
    assert "slow motor (it has 2)" in spares(load(tmp_path, ROBOT).nominal)


def test_loads_of_one_action_add_up(tmp_path):
    """25 % and 30 % at once are 55 %, less than the 60 % of the arm alone; 70 % and 40 % are more than it has."""
    report = check(tmp_path, ROBOT)
    assert find(report, "motor.load.elbow").value == pytest.approx(0.6)
    harder = {"actions": {"right": {"time": "6 s", "motors": {"arm": "70 %", "righter": "40 %"}}}}
    found = find(check(tmp_path, ROBOT | {"actions": ROBOT["actions"] | harder["actions"]}), "motor.load.elbow")
    assert (found.value, found.verdict) == (pytest.approx(1.1), "short")


def test_its_heat_is_that_of_the_two_lumps_integrated(tmp_path):
    """Winding and case with copper loss I^2 R, as scipy integrates them; Incropera ch. 5, lumped capacitance.

    Copper's resistance grows by 0.393 % of that at 20 degC per kelvin (IEC 60028).
    """
    context = nominal(load(tmp_path, ROBOT))
    use, beats = shared_use(context, "elbow"), state.schedule(context)
    kind = context.robot.catalogue.motors["slow motor"]
    current_of = {"raise": 0.6, "right": 0.55}
    # the motor's line by hand: R = V / I_stall, kt = T_stall / (I_stall - I_free)
    resistance, constant = 12.0 / 3.6, 0.7 / (3.6 - 0.13)
    amps = {name: share * 0.7 / constant + 0.13 for name, share in current_of.items()}
    air = float(context.season.temperature)

    def current(t):
        return next((amps[b.action] for b in beats if b.begins <= t < b.ends), 0.0)

    def slope(t, y):
        through = (y[0] - y[1]) / float(kind.winding_to_case)
        heated = current(t) ** 2 * resistance * (1.0 + 0.00393 * (y[0] - 293.15)) - through
        cooled = through - (y[1] - air) / float(kind.case_to_air)
        return [heated / float(kind.winding_heat_capacity), cooled / float(kind.case_heat_capacity)]

    warm = float(context.season.temperature)
    at, times = np.array([warm, warm]), sorted({0.0, *(t for b in beats for t in (b.begins, b.ends))})
    hottest = warm
    for start, end in itertools.pairwise(times):
        run = solve_ivp(slope, (start, end - 1e-9), at, rtol=1e-9, atol=1e-9)
        at, hottest = run.y[:, -1], max(hottest, float(run.y[0].max()))
    assert len(beats) == 6
    assert hottest - warm > 3.0
    assert float(use.hottest) - warm == pytest.approx(hottest - warm, rel=1e-4)
    drawn = shared_curves(context)["elbow"]
    assert drawn.time.shape == drawn.winding.shape
    assert "motor 'elbow' turns" in heat(drawn, Style(PRINT, "metric", 640.0)).alt
    assert drawn.winding.max() == pytest.approx(hottest, abs=1e-3)


def test_the_forecast_warms_it_for_both(tmp_path):
    """A match played step by step ends where the finding does, within what braking and rounding of times make."""
    context = nominal(load(tmp_path, ROBOT))
    match = setup(context)
    assert match.motors == ("drive", "elbow")
    assert match.numbers.motors[0, 1, 11] == 2.0  # how many there are
    warm = float(context.season.temperature)
    hottest = float(play_runs(match, 1, luck=False).hottest[0])
    assert hottest - warm == pytest.approx(float(shared_use(context, "elbow").hottest) - warm, rel=5e-3)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"mechanisms": {"arm": {"kind": "plain", "motors": [{"motor": "elbow", "count": 2}]}}}, "expected no 'count'"),
        ({"motors": {"arm": {"motor": "slow motor"}}}, "a mechanism is called 'arm' too"),
        ({"motors": {"slow motor": {"motor": "slow motor"}}}, "a motor class is called 'slow motor' too"),
        ({"motors": {"elbow": {"motor": "elbow"}}}, "expected a name from catalogue.motors"),
        ({"mechanisms": {"arm": {"kind": "plain", "motors": [{"motor": "elbw"}]}}}, "elbow"),
    ],
)
def test_what_cannot_be_meant_is_said(tmp_path, changed, said):
    with pytest.raises(BadInput, match=said):
        load(tmp_path, ROBOT | changed)


def test_the_example_shares_the_motor_of_its_arm():
    robot = example("otter").nominal
    assert robot.sharing("arm motor") == ("arm", "righter")
    # nine motors by hand: four drive, two at the fork, the shared one, two at the belt
    assert sum(robot.all_motors().values()) + robot.drive.motors == 9

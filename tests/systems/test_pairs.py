"""Findings that speak of one quantity agree on random robots, and turn only the way that physics turns them.

Reference: each other, Newton's second law, Boyle's law, and the signs of Coulomb friction. The robots are Heron with
every number drawn several times as far from its own as its tolerance allows, one case each, all in one batch.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from anyrobot import findings_of, over
from fieldworthy.engine.finding import Outcome
from fieldworthy.robot import load_robot
from robots import GRAVITY, changed, check, example_copy, find

_TRAY = "\n      valve: small 5/2 solenoid valve\n"
FREE = (
    ("      pull_load: 186 N\n", ""),
    ("      push_load: 15 N\n", ""),
    (f"tank: left{_TRAY}      push_load: 18 N\n", f"tank: right{_TRAY}"),
    ("      pull_load: 50 N\n", ""),
    ('right: {tank: "tank, 200 mL",', 'right: {tank: "tank, 200 mL", count: 2,'),
)
"""Without the loads that the file states each mechanism knows its own; the tray shares a tank of twice the size."""


def found_on(folder: Any, count: int, *edits: tuple[str, str]) -> dict[str, list[Outcome]]:
    """Every finding over a number of random robots, by its id."""
    return findings_of(load_robot(example_copy(folder, *edits)), count)


def agree(one: np.ndarray, other: np.ndarray, least: int) -> None:
    """Two margins have one sign, but for rounding, and both signs were seen."""
    one, other = np.broadcast_arrays(one, other)
    clear = (np.abs(one) > 1e-9) & (np.abs(other) > 1e-9)
    assert np.array_equal(one[clear] > 0.0, other[clear] > 0.0)
    assert min((one > 0.0).sum(), (one < 0.0).sum()) >= least


def judge(folder: Any, count: int, least: int) -> None:
    """Hold every pair to what both speak of."""
    every = found_on(folder, count, *FREE)
    found = {identifier: outcomes[0] for identifier, outcomes in every.items()}
    # a dead stop is the hardest braking there is
    for side in ("forward", "back"):
        stop, braking = over(found[f"balance.stop.{side}"]), over(found[f"balance.over.{side}"])
        assert np.all(stop <= braking * (1 + 1e-9))
        # it goes over only where wheels lift first
        lifts = over(found[f"balance.tip.{side}"], "margin") < 0.0
        assert np.all(lifts | ~np.isfinite(braking) | (braking > over(found[f"balance.over.{side}"], "limit")))
    # the slope on which a robot tips and the acceleration that tips it are one line from the edge to the centre
    limits = np.stack([np.broadcast_to(over(pose), (count + 1,)) for pose in every["balance.limit"]])
    assert len(limits) > 3
    assert np.tan(over(found["balance.tilt"])) == pytest.approx(limits.min(axis=0) / GRAVITY, rel=1e-6)
    # what lifts the robot is the pressure that its cylinder needs; so is what raises an arm or holds a planter
    agree(over(found["climb.lift.hooks"], "margin"), over(found["air.pressure.hooks"], "margin"), least)
    tray = found["air.pressure.tray"]
    shares = np.maximum(over(found["lift.force_up.tray"]), over(found["lift.force_down.tray"]))
    # a dead point is geometry: no pressure moves the tray over it, and the air is not short for that
    passes = np.isfinite(shares)
    assert np.array_equal(shares[passes] <= 1.0, over(tray, "margin")[passes] >= -1e-9)
    assert np.all(over(tray, "margin")[~passes] > 0.0)
    low = np.asarray(found["clamp.slip.clamp"].because.numbers["low"][0])
    agree(over(found["clamp.hold.clamp"], "margin"), low - over(found["clamp.slip.clamp"]), least)
    needs = over(found["air.pressure.clamp"], "limit")
    assert needs == pytest.approx(over(found["clamp.slip.clamp"]), rel=1e-9)
    assert np.all(np.isfinite(over(found["drive.turn"])))


def test_pairs_of_findings_agree_on_some_random_robots(tmp_path):
    judge(tmp_path, 40, 1)


@pytest.mark.long
def test_pairs_of_findings_agree_on_hundreds_of_random_robots(tmp_path):
    judge(tmp_path, 400, 10)


def margins(folder: Any, changes: list[dict[str, Any]], *ids: str) -> np.ndarray:
    """Margins of findings over changes of the small robot, each made in its file."""
    reports = [check(folder, change) for change in changes]
    return np.array([[find(report, identifier).margin for identifier in ids] for report in reports])


BOX = {"parts": {"box": {"position": ["0.02 m", "0.01 m", "0.2 m"]}}}


def test_what_helps_never_turns_a_verdict_the_wrong_way(tmp_path):
    """A longer wheelbase, less height, rollers further out: signs of the moments about the edge."""
    rollers = [
        changed(BOX, {"rollers": {n: {"position": [f"{x} m", f"{y} m"], "clearance": "6 mm"}
                                  for n, y in (("l", 0.1), ("r", -0.1))}})
        for x in (0.15, 0.18, 0.21, 0.24, 0.27)
    ]  # fmt: skip
    wheels = {"left front": 0.15, "right front": -0.15}
    longer = [
        changed(BOX, {"drive": {"wheels": {name: {"position": [f"{x} m", f"{y} m"]} for name, y in wheels.items()}}})
        for x in (0.12, 0.14, 0.17, 0.21)
    ]
    lower = [
        changed(BOX, {"parts": {"box": {"position": ["0.02 m", "0.01 m", f"{z} m"]}}}) for z in (0.3, 0.25, 0.2, 0.12)
    ]
    tipping = ("balance.over.forward", "balance.stop.forward", "balance.tilt")
    for changes, ids in ((rollers, tipping[:2]), (longer, tipping), (lower, (*tipping, "balance.tip.forward"))):
        told = margins(tmp_path, changes, *ids)
        assert np.all(np.diff(told, axis=0) >= -1e-9), (ids, told)
        assert np.ptp(told[:, 0]) > 0.0

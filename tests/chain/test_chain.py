"""Whole robot files through the command line against verdicts worked by hand, which stand beside each.

The files are in this folder, each with one question in its first line; ``season.yaml`` and ``strict.yaml`` are their
seasons. What is not said beside a value is level-ground statics and the geometry that the file's numbers give
(Meriam and Kraige, Statics, equilibrium; from memory where no other source is named).
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2, norm

from fieldworthy.cli.app import main

HERE = Path(__file__).parent
G = 9.80665  # m/s2, CGPM 1901
ATMOSPHERE = 1.01325  # bar, ISO 2533 at sea level
PISTON = math.pi / 4 * 0.020**2  # m2, 20 mm bore
RING = math.pi / 4 * (0.020**2 - 0.008**2)  # m2, the side of the 8 mm rod


def strokes(full: float, count: int) -> float:
    """Gauge pressure [bar] behind the last of so many strokes out, each but the last followed by one back.

    Boyle: tank (200 mL) and chamber share their air; 2 mL at each end hold air of the hall before the stroke.
    """
    p = full + ATMOSPHERE
    for stroke in range(2 * count - 1):
        swept = 1e8 * (PISTON if stroke % 2 == 0 else RING) * 0.001  # mL of 100 mm
        p = (p * 200 + ATMOSPHERE * 2) / (200 + 2 + swept)
    return p - ATMOSPHERE


def swing() -> float:
    """How far [deg] the 100 mm stroke turns the arm: law of cosines from 200 mm, pin above pin, to 300 mm."""
    base, radius = math.hypot(120, 200), 120
    opened = math.acos((base**2 + radius**2 - 300**2) / (2 * base * radius))
    return math.degrees(opened - math.atan2(200, 120))


def heaviest_share() -> float:
    """Moment of 6 kg at 200 mm over that of 3 bar on one piston about the pivot, at the worst angle of the way."""
    turn = np.radians(np.linspace(0.0, swing(), 2001))
    pin = np.stack([0.12 * np.cos(turn), 0.12 * np.sin(turn)])
    fixed = np.array([[0.12], [-0.2]])
    line = pin - fixed
    lever = np.abs(fixed[0] * line[1] - fixed[1] * line[0]) / np.hypot(*line)
    return float(np.max(6 * G * 0.2 * np.cos(turn) / (3e5 * PISTON * lever)))


@dataclass(frozen=True)
class Case:
    """One finding of one file: value and limit in its own unit, and the verdict."""

    file: str
    finding: str
    value: float
    limit: float
    verdict: str
    rel: float = 1e-4


GRIP = 0.8 * G  # m/s2: the most that wheels of grip 0.8 can brake or drive, all of them
CASES = (
    # 8 kg at 250 mm, 140 mm behind the front contacts: m a h = m g d; all motors brake beyond grip
    Case("brake_tall", "balance.tip.forward", G * 140 / 250, GRIP, "short"),
    Case("brake_low", "balance.tip.forward", G * 160 / 100, GRIP, "holds"),  # 20 mm farther back, 100 mm high
    # 90 mm to the left wheels less the 20 mm that the weight is to the left; sideways grip 0.9
    Case("corner", "balance.tip.left", G * (90 - 20) / 300, 0.9 * G, "short"),
    Case("corner", "balance.tip.right", G * (90 + 20) / 300, 0.9 * G, "short"),
    # tips when the weight stands over the contacts
    Case("shove", "balance.tilt", math.degrees(math.atan(120 / 240)), 30.0, "short"),
    # grip up to half the way, grip again to rest: d / 2 = a t2 / 2, twice
    Case("sprint", "drive.sprint", 2 * math.sqrt(2.4 / GRIP), 1.0, "short", 2e-3),
    Case("push_grip", "drive.push", GRIP * 7, 60.0, "short"),  # 7 kg
    Case("push_motors", "drive.push", 2 * 0.5 * 3 * 0.9 / 0.050, 60.0, "short"),  # 2 motors, 12:36 at 90 %, 50 mm
    Case("air_strokes", "air.pressure.kicker", strokes(6.0, 6), 60 / PISTON / 1e5, "short"),
    Case("air_rating", "air.rating", 6.0, 5.0, "short"),
    Case("lift_swing", "lift.swing.tray", swing(), 90.0, "short"),
    Case("lift_force", "lift.swing.tray", swing(), 50.0, "holds"),
    Case("lift_force", "lift.force_up.tray", heaviest_share(), 1.0, "short", 1e-3),
    # 0.8 kg at 150 mm held level, against two motors of 0.7 N m, 12:36 at 90 %
    Case("arm", "arm.torque.arm", 0.8 * G * 0.150 / (2 * 0.7 * 3 * 0.9), 1.0, "holds"),
    # standing still the gears' friction helps nobody: it is not counted on
    Case("arm", "arm.holding.arm", 0.8 * G * 0.150 / (2 * 0.7 * 3), 0.25, "short"),
    # pads 60 mm apart, friction 0.2, pushed 160 mm off: it locks from 60 / (2 x 0.2) = 150 mm on
    Case("guide", "guide.binding.carriage", 2 * 0.2 * 160 / 60, 1.0, "short"),
    # 5 bar on one piston, rubbed above (0.3) and below (0.2); a rival of 9 kg whose wheels grip 0.9
    Case("clamp", "clamp.hold.jaw", 5e5 * PISTON * (0.3 + 0.2), 9 * G * 0.9, "short"),
    # 1.5 kg, 60 mm to its edge, pulled 230 mm up: it turns over before it slides (0.9)
    Case("grabber", "grabber.mode.hook", 1.5 * G * 60 / 230, 0.9 * 1.5 * G, "short"),
    # 600 rpm, 60 mm rollers that nothing holds back, pieces of 80 mm nose to tail
    Case("intake_rate", "intake.throughput.belt", 600 / 60 * math.pi * 60 / 80, 4.0, "holds"),
    # two rollers press with 1 N each and rub with 0.8; 0.4 kg on 60 degrees
    Case("intake_slope", "intake.grip.belt.low", 2 * 0.8 * 1, 0.4 * G * math.sin(math.radians(60)), "short"),
    # means 30 degrees apart, spread 12: half of that from the threshold between them, normal readings
    Case("sorter", "sort.error.sorter", norm.cdf(-15 / 12), 0.05, "short", 2e-3),
    # 5 mm in x and in y alike: the circle that holds 95 of 100 has the root of chi-square's 95 % point
    Case("tracking", "tracking.position", 5 * math.sqrt(chi2.ppf(0.95, 2)), 10.0, "short", 2e-3),
    Case("climb_reach", "climb.reach.hooks", 590.0, 600.0, "short"),
    # hooks 120 mm behind the weight, drawn down by 100 mm: it hangs with the weight below the bar
    Case("climb_reach", "climb.attitude.hooks", math.degrees(math.atan2(120, 590 - 100 - 120)), 20.0, "holds"),
    # 6 bar on the rod's side; the hooks go twice as far as the rod, so with half its force
    Case("climb_force", "climb.lift.hooks", 6e5 * RING / 2, 10 * G, "short"),
    Case("limits", "limits.mass", 7200 + 900 + 2 * 150, 8000.0, "short"),
    Case("limits", "limits.stowed_size.height", 330 + 260 / 2, 450.0, "short"),
    Case("limits", "limits.motors", 6.0, 5.0, "short"),
    Case("limits", "limits.motor_power", 6 * 11, 88.0, "holds"),
)


def printed(capsys, *words: str) -> tuple[int, dict]:
    """Run a command in this process; its status and what it printed as data."""
    with pytest.raises(SystemExit) as ended:
        main([*words, "--json"])
    return int(ended.value.code or 0), json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("file", sorted({case.file for case in CASES}))
def test_a_file_gets_the_verdicts_worked_by_hand(file, capsys, evidence):
    code, told = printed(capsys, "check", str(HERE / f"{file}.yaml"), "--samples", "0")
    cases = [case for case in CASES if case.file == file]
    assert cases
    for case in cases:
        found = [f for f in told["findings"] if f["id"] == case.finding]
        assert len(found) == 1, case.finding
        evidence(
            "whole files",
            "Values of findings, from the file through the command line, over those by hand",
            "worked by hand beside each file",
            "drive, balance, air, lift, arm, guide, clamp, grabber, intake, sorter, "
            "tracking, climb and limits of 22 small robots",
            "",
            found[0]["value"] / case.value,
            1.0,
        )
        assert found[0]["value"] == pytest.approx(case.value, rel=case.rel)
        assert found[0]["limit"] == pytest.approx(case.limit, rel=case.rel)
        assert found[0]["verdict"] == case.verdict
        better = case.value - case.limit if found[0]["need"] == "at least" else case.limit - case.value
        assert (better >= 0) == (case.verdict == "holds"), "the hand calculation itself"
    if any(case.verdict == "short" for case in cases):
        assert code == 1


def test_a_badly_weighed_robot_gets_the_chance_of_the_normal_distribution(capsys):
    """7.9 kg, give or take 0.2 kg in 95 of 100, against 8 kg; a thousand draws scatter by 1.2 %, four times that."""
    told = printed(capsys, "check", str(HERE / "scales.yaml"))[1]
    found = next(f for f in told["findings"] if f["id"] == "limits.mass")
    chance = norm.cdf((8.0 - 7.9) / (0.2 / 1.959964))
    assert found["chance"] == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / 1000))
    assert found["verdict"] == "close"


def test_a_plan_without_luck_gets_the_points_counted_by_hand(capsys):
    """Three drops of 6 s in the 20 s alone, 3 points and 2 more each; fifteen in the next 92 s; parked."""
    told = printed(capsys, "match", str(HERE / "plan.yaml"), "--runs", "20")[1]
    assert told["mean"] == 3 * (3 + 2) + 15 * 3 + 10
    assert sum(event["points"] for event in told["timeline"]["events"]) == 70


def test_every_file_of_the_folder_is_used():
    used = {case.file for case in CASES} | {"scales", "plan"}
    assert {path.stem for path in HERE.glob("*.yaml")} - {"season", "strict"} == used
    assert len(used) >= 20

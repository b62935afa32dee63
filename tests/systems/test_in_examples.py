"""Each kind of mechanism that a file can say works in one of the examples, where a team can look it up."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot

EXAMPLES = Path(__file__).parents[2] / "examples"
SEEN = {
    "heron/mk2": ("clamp.prongs.clamp", "arm.highest.arm"),
    "otter/mk1": ("grabber.force.righter (tip)", "grabber.force.righter (right)", "arm.meets.arm",
                  "intake.hold_speed.belt", "tracking.tilt.across", "tracking.seam.across"),
    "otter/mk2": ("intake.chain_tubing.belt.upper", "intake.chain_jump.belt.upper"),
    "marten/mk1": ("clamp.under.crate hook", "clamp.way.crate hook", "intake.hooks_clearance.lifter.chain"),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("robot", SEEN)
def test_the_example_shows_it_with_numbers(robot):
    report = evaluate(load_robot(EXAMPLES / f"{robot}.yaml"), samples=40)
    told = {f.id: f for f in (*report.findings, *report.facts)}
    assert not [name for name in SEEN[robot] if name not in told]
    assert not [name for name in SEEN[robot] if getattr(told[name], "verdict", "") == "unknown"]

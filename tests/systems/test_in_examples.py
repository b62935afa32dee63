"""Each kind of mechanism that a file can say works in one of the examples, where a team can look it up."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from edge import run as command
from fieldworthy.drawing.style import PRINT, Style
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.match import played, setup
from fieldworthy.match.ability import ability
from fieldworthy.report.formulas import belongs, pages_of
from fieldworthy.robot import load_robot
from robots import nominal

TESTS = Path(__file__).parents[1]
EXAMPLES = TESTS.parent / "examples"
SEEN = {
    "heron/mk2": ("clamp.prongs.clamp", "arm.highest.arm"),
    "otter/mk1": ("motor.shared.arm motor", "sort.flies.sorter", "arm.meets.arm",
                  "grabber.force.righter (tip)", "grabber.force.righter (right)",
                  "intake.hold_speed.belt", "tracking.tilt.across", "tracking.seam.across"),
    "otter/mk2": ("intake.chain_tubing.belt.upper", "intake.chain_jump.belt.upper"),
    "marten/mk1": ("clamp.under.crate hook", "clamp.way.crate hook", "intake.hooks_clearance.lifter.chain",
                   "intake.chain_jump.intake.ramp"),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("robot", SEEN)
def test_the_example_shows_it_with_numbers(robot):
    report = evaluate(load_robot(EXAMPLES / f"{robot}.yaml"), samples=40)
    told = {f.id: f for f in (*report.findings, *report.facts)}
    assert not [name for name in SEEN[robot] if name not in told]
    assert not [name for name in SEEN[robot] if getattr(told[name], "verdict", "") == "unknown"]


CELLS = {  # by example: a finding, words of its figure's title, its key in a file, and the test with an outside source
    "heron/mk2": (
        ("clamp.prongs.clamp", "each prong of 'clamp'", "prongs", "systems/test_clamp.py linear_programming"),
        ("arm.highest.arm", "'arm'", "swing", "external/test_arm_way.py bodies_turned_step_by_step"),
        ("climb.tip.hooks", "'hooks'", "hook", "systems/test_climb.py as_mujoco_has_it"),
    ),
    "otter/mk1": (
        ("motor.heat.arm motor", "of motor 'arm motor'", "motors", "vehicle/test_shared_motor.py lumps_integrated"),
        ("sort.flies.sorter", "flies off 'sorter'", "over", "external/test_throwing.py a_body_in_mujoco"),
        ("arm.meets.arm", "'arm'", "swing", "external/test_arm_way.py what_bodies_meet"),
        ("grabber.force.righter (tip)", "'righter (tip)' tips", "does", "external/test_grabber_turning.py its_edge"),
        ("intake.hold_speed.belt", "Holding two in 'belt'", "hold", "external/test_staging_hold.py time_steps_do"),
        ("tracking.tilt.across", "The route", "play", "systems/test_tracking.py tilts_in_its_play"),
    ),
    "otter/mk2": (
        ("intake.chain_tubing.belt.upper", "chain of 'upper'", "tubing", "external/test_chain_length.py least_energy"),
    ),
    "marten/mk1": (
        ("clamp.way.crate hook", "jaw of 'crate hook' goes", "under", "systems/test_clamp.py a_hook_from_below"),
        ("intake.hooks_clearance.lifter.chain", "Hooks of 'chain' over", "carried",
         "external/test_intake_hooks.py heap_of_dropped_balls"),
    ),
}  # fmt: skip
OUTSIDE = ("mujoco", "scipy", "by hand", "linear programming", "reference")


@pytest.mark.long
@pytest.mark.parametrize("robot", CELLS)
def test_each_has_verdict_figure_page_form_field_and_a_test_with_a_source(robot):
    loaded = load_robot(EXAMPLES / f"{robot}.yaml")
    report, schema = evaluate(loaded, samples=40), command("schema", "robot").out
    context, told = nominal(loaded), {f.id: f for f in (*report.findings, *report.facts)}
    assert CELLS[robot]
    for finding, title, key, source in CELLS[robot]:
        assert getattr(told[finding], "verdict", "fact") != "unknown", finding
        (page,) = (page for page in pages_of(report) if belongs(page, told[finding]))
        shown = [
            one.title for system in page.systems if system.figures for one in system.figures(context, Style(PRINT))
        ]
        assert any(title in one for one in shown), f"{finding}: {shown}"
        assert f'"{key}": {{' in schema, key
        file, _, test = source.partition(" ")
        text = (TESTS / file).read_text(encoding="utf-8")
        assert re.search(rf"def test_\w*{test}\w*\(", text), source
        assert any(word in text.casefold() for word in OUTSIDE), source


def changed(name, *changes):
    """One of the examples, with pieces of its file changed."""
    file = EXAMPLES / f"{name}.yaml"
    text = file.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    return load_robot(file, text)


def test_a_clamp_without_stops_loses_what_the_robot_stops_too_far_off():
    """Plane geometry: an object that stands 4 mm farther off has 4 mm less of its rim over the hook."""
    loaded = changed("marten/mk2")
    assert loaded.nominal.mechanisms["crate hook"].stops == "none"
    exact = changed("marten/mk2", ("stand_error: {value: 4 mm, basis: estimate}", "stand_error: 0 mm"))
    off, on = (
        {f.id: f for f in evaluate(one, samples=0).findings}["clamp.under.crate hook"].value for one in (loaded, exact)
    )
    assert on - off == pytest.approx(4.0, abs=1e-6)  # in the file's mm


def test_a_run_alone_follows_a_plan_of_its_own():
    """Otter alone fetches crates four times and floats three, then rights a crate, as its file says."""
    events = played(setup(nominal(changed("otter/mk1")), "solo")).events
    planned = ["take crate", "put on jetty"] * 4 + ["take floats", "drop floats"] * 3 + ["right crate"]
    assert [event.action for event in events] == planned
    assert max(event.ends for event in events) <= 60.0


@pytest.mark.parametrize(
    ("name", "change", "action", "finding", "lost"),
    [
        ("marten/mk1", ("grip: 0.9}", "grip: 0.9, pulls: 25 %}"), "leave crate", "clamp.sideways.crate hook", 0.25),
        ("otter/mk2", ("    practice: {successes: 18, attempts: 22}\n", ""), "take floats", "sort.error.sorter", None),
    ],
)
def test_what_slips_or_is_sorted_wrongly_is_lost_in_the_forecast(name, change, action, finding, lost):
    """Where a rival pulls nothing holds sideways; pieces sorted wrongly are lost where nobody counted the action."""
    found = ability(changed(name, change), Cases(0, 0, 50, []))
    (loss,) = (one for one in found.losses if one.finding == finding)
    assert loss.action == action
    share = loss.share if lost is None else lost
    assert share > 0.0
    assert 1.0 - found.can[action].mean() == pytest.approx(share, abs=1e-3)

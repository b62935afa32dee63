"""The numbers in drawings: those of the findings, and held to mechanics that needs no program."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from fieldworthy.drawing import LIGHT, Style
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.systems.arm.figure import arm_curves
from fieldworthy.systems.balance.figure import balance_curves
from fieldworthy.systems.climb.figure import hanging_curves
from fieldworthy.systems.drive.figure import heat_curves, push_curves, run_curves
from fieldworthy.systems.lift.figure import lift_curves
from fieldworthy.units import affine
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drawing import robot
from fieldworthy.vehicle.views import body_curves
from mechanics import body, samples, within
from robots import GRAVITY, example, fact, find, load, nominal

NAMES = ("mk1", "mk2")
REPORTS = {name: evaluate(example(name), samples=0) for name in NAMES}


def si(found, kind: str) -> float:
    """A finding's or fact's value in SI."""
    unit = affine(found.unit, kind) if found.unit not in ("", "1") else affine("percent", "ratio")
    return found.value if found.unit in ("", "1") else unit.scale * found.value + unit.offset


# --- as the findings say --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_tip_limits_are_those_of_the_findings(name):
    found = balance_curves(nominal(example(name)))
    assert found is not None
    for i, side in enumerate(("forward", "back", "left", "right")):
        for subject, finding in within(REPORTS[name], f"balance.tip.{side}").items():
            pose = next(p for p in found.poses if f"pose {p.pose}" == subject)
            assert pose.limits[i].acceleration == pytest.approx(si(finding, "acceleration"))
            assert pose.asked is not None
            assert pose.asked[i] == pytest.approx(finding.limit)


@pytest.mark.parametrize("name", NAMES)
def test_centres_of_gravity_are_those_of_the_findings(name):
    heights = within(REPORTS[name], "balance.centre_height")
    for subject, found in heights.items():
        assert body(name, subject.removeprefix("pose ")).cg[2] == pytest.approx(si(found, "length"), rel=1e-6)
    assert len(heights) == 5


@pytest.mark.parametrize("name", NAMES)
def test_the_drives_numbers_are_those_of_the_findings(name):
    subject, report = nominal(example(name)), REPORTS[name]
    run, push, heat = run_curves(subject), push_curves(subject), heat_curves(subject)
    assert run is not None
    assert push is not None
    assert heat is not None
    assert run.time[-1] == pytest.approx(si(find(report, "drive.sprint"), "time"))
    assert run.distance[-1] == pytest.approx(2.4)  # the file's own
    assert run.top_speed == pytest.approx(si(fact(report, "drive.top_speed"), "speed"))
    assert push.force == pytest.approx(si(find(report, "drive.push"), "force"))
    assert heat.winding.max() == pytest.approx(si(find(report, "drive.heat"), "temperature"))
    assert heat.time[-1] == pytest.approx(120.0)  # 20 s and 100 s in the season's file


@pytest.mark.parametrize("name", NAMES)
def test_how_it_hangs_is_what_the_findings_say(name):
    (found,) = hanging_curves(nominal(example(name))).values()
    report = REPORTS[name]
    assert abs(found.hanging.attitude) == pytest.approx(si(find(report, "climb.attitude.hooks"), "angle"))
    assert found.leaving.attitude == pytest.approx(si(fact(report, "climb.lift_off.hooks"), "angle"))
    assert found.hanging.lowest == pytest.approx(si(find(report, "climb.clearance.hooks"), "length"))
    assert found.rises == (find(report, "climb.lift.hooks").verdict == "holds")


def test_the_lifts_numbers_are_those_of_the_findings():
    subject, report = nominal(example("mk1")), REPORTS["mk1"]
    down, up = (lift_curves(subject, share)["tray"] for share in (0.0, 1.0))
    for way, use in (("up", up.up), ("down", up.down)):
        assert max(use.max(), 0.0) == pytest.approx(si(find(report, f"lift.force_{way}.tray"), "ratio"))
    assert up.raised - max(down.raised, 0.0) == pytest.approx(si(find(report, "lift.swing.tray"), "angle"))
    assert up.target is not None
    assert up.target.at[1] == pytest.approx(si(find(report, "lift.target.tray"), "length"))
    assert (down.now, up.now) == ((pytest.approx(up.up[0]), pytest.approx(up.down[0])),
                                  (pytest.approx(up.up[-1]), pytest.approx(up.down[-1])))  # fmt: skip


def test_the_motor_arms_numbers_are_those_of_the_findings():
    found = arm_curves(nominal(example("mk2")), 1.0)["arm"]
    worst = max(found.up.max(), found.down.max(), 0.0)
    assert worst == pytest.approx(si(find(REPORTS["mk2"], "arm.torque.arm"), "ratio"))
    assert found.target is not None
    assert found.target.at[1] == pytest.approx(si(find(REPORTS["mk2"], "lift.target.arm"), "length"))


# --- as mechanics says ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_mark_stands_at_the_mean_of_the_blocks_weighted_by_mass(name):
    # definition of the centre of mass; a homogeneous block's own is its middle
    poses = nominal(example(name)).robot.poses
    assert poses
    for pose in poses:
        found = body(name, pose)
        mass = np.array([block.mass for block in found.blocks])
        middles = np.array([[*block.side.mean(axis=0), block.top[:, 1].mean()] for block in found.blocks])
        x, z, y = (mass @ middles) / mass.sum()
        assert found.mass == pytest.approx(mass.sum())
        assert found.cg == pytest.approx([x, y, z])


def test_a_robot_goes_over_when_its_weight_passes_the_edge():
    # Meriam & Kraige, Statics, ch. 3: equilibrium about the edge; tan(tilt) = a / g = reach / height
    found = body("mk1", "driving empty")
    front = max(w.x for w in found.wheels)
    ahead = found.limits[0]
    assert ahead.reach == pytest.approx(front - found.cg[0])
    assert np.tan(ahead.tilt) == pytest.approx(ahead.reach / found.cg[2])
    assert ahead.acceleration == pytest.approx(GRAVITY * ahead.reach / found.cg[2])


@pytest.mark.parametrize("name", NAMES)
def test_the_forces_on_a_hanging_robot_are_in_balance(name):
    # Meriam & Kraige, Statics, ch. 3: forces and moments about any point vanish
    (found,) = hanging_curves(nominal(example(name))).values()
    for moment in (found.leaving, found.hanging):
        whole = sum((push.force for push in moment.pushes), start=np.array([0.0, -found.weight]))
        assert whole == pytest.approx([0.0, 0.0], abs=1e-6 * found.weight)
        turning = sum(push.at[0] * push.force[1] - push.at[1] * push.force[0] for push in moment.pushes)
        assert turning - moment.cg[0] * found.weight == pytest.approx(0.0, abs=1e-6 * found.weight)
    assert found.hanging.pushes[1].at[0] == pytest.approx(found.wall)


def test_wheels_touch_the_floor_as_the_robot_leaves_it():
    for name in NAMES:
        (found,) = hanging_curves(nominal(example(name))).values()
        # a wheel turned by 20 degrees about its contact point rises by less than 1 - cos 20 of its radius
        lowest = min(float(rim[1]) for rim in found.leaving.wheels) - found.wheel / 2.0
        assert abs(lowest) < (1.0 - np.cos(found.leaving.attitude)) * found.wheel / 2.0 + 1e-9


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.83, 1.0])
def test_a_cylinder_is_as_long_as_its_pins_are_apart_and_the_arm_is_rigid(share):
    spec = nominal(example("mk1")).robot.mechanisms["tray"]
    found = lift_curves(nominal(example("mk1")), share)["tray"]
    cylinder = found.cylinder
    assert cylinder is not None
    assert np.hypot(*(cylinder.arm - cylinder.fixed)) == pytest.approx(cylinder.closed + cylinder.out)
    assert np.hypot(*(cylinder.arm - found.pivot)) == pytest.approx(np.hypot(125 - 195, 375 - 425) / 1000)  # the file
    # the lever is the distance of the pivot from the line through both pins
    along = (cylinder.arm - cylinder.fixed) / np.hypot(*(cylinder.arm - cylinder.fixed))
    off = found.pivot - cylinder.fixed
    assert cylinder.lever == pytest.approx(abs(along[0] * off[1] - along[1] * off[0]))
    assert found.ahead == (spec.side == "ahead")


def test_the_lever_is_the_slope_of_length_against_angle():
    # virtual work: dL / dangle, by a central difference
    subject, step = nominal(example("mk1")), 1e-4
    low, here, high = (lift_curves(subject, share)["tray"] for share in (0.5 - step, 0.5, 0.5 + step))
    assert low.cylinder is not None
    assert here.cylinder is not None
    assert high.cylinder is not None
    slope = (high.cylinder.out - low.cylinder.out) / (high.raised - low.raised)
    assert slope == pytest.approx(here.cylinder.lever, rel=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_a_run_adds_up(name):
    # distance is the integral of speed, and speed that of acceleration; trapezoids over 120 points
    run = run_curves(nominal(example(name)))
    assert run is not None
    way = np.trapezoid(run.speed, run.time)
    assert way == pytest.approx(run.distance[-1], rel=2e-3)
    brakes = int(np.argmax(run.speed))
    assert np.trapezoid(run.acceleration[: brakes + 1], run.time[: brakes + 1]) == pytest.approx(
        run.speed[brakes], rel=0.02
    )
    assert run.speed[-1] == 0.0
    assert (np.diff(run.time) >= -1e-9).all()
    assert (np.diff(run.distance) >= -1e-9).all()


def test_the_spread_holds_19_of_20_samples():
    loaded = example("mk1")
    drawn = samples(loaded, 400)
    found = body_curves(nominal(loaded), "loaded", drawn)
    assert found is not None
    assert found.spread is not None
    cg = state.body(drawn, "loaded").cg
    inside = ((cg >= found.spread[:, :1]) & (cg <= found.spread[:, 1:])).mean(axis=1)
    assert inside == pytest.approx(0.95, abs=0.01)


def test_curves_of_a_batch_are_those_of_its_nominal_case():
    loaded = example("mk1")
    one, other = (body_curves(subject, "tipping") for subject in (nominal(loaded), samples(loaded, 5)))
    assert one is not None
    assert other is not None
    assert one.cg == pytest.approx(other.cg)


# --- to scale -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("units", "length"), [("metric", 400.0), ("inch", 400.0 / 25.4)])
@pytest.mark.parametrize("wide", [340.0, 900.0])
def test_a_part_of_400_mm_measures_400_mm_by_the_scale_bar(tmp_path, units, length, wide):
    part = {"mass": "5 kg", "position": ["0 m", "0 m", "0.2 m"], "size": ["0.4 m", "0.2 m", "0.1 m"]}
    found = body_curves(nominal(load(tmp_path, {"parts": {"box": part}})), "driving")
    assert found is not None
    root = ElementTree.fromstring(robot(found, Style(LIGHT, units, wide)).svg)
    paths = list(root.iter("{http://www.w3.org/2000/svg}path"))
    blocks = [_points(p.get("d")) for p in paths if p.get("fill") == LIGHT.block]
    sides = [np.ptp(points[:, 0]) for points in blocks]
    assert sides == pytest.approx([sides[0]] * 2, abs=0.02)  # both views at one scale
    assert np.ptp(blocks[0][:, 1]) / sides[0] == pytest.approx(0.1 / 0.4, rel=1e-3)
    assert np.ptp(blocks[1][:, 1]) / sides[0] == pytest.approx(0.2 / 0.4, rel=1e-3)
    texts = [t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text")]
    written = float(re.fullmatch(r"([\d.]+) (mm|in)", texts[-1]).group(1))
    bar = _points(paths[-3].get("d"))
    assert np.ptp(bar[:, 1]) == 0.0
    assert sides[0] / np.ptp(bar[:, 0]) * written == pytest.approx(length, rel=1e-3)
    assert str(written).rstrip("0").rstrip(".").lstrip("0.")[0] in "125"


def _points(d: str | None) -> np.ndarray:
    return np.array([[float(n) for n in pair.split()] for pair in re.findall(r"[ML]([^MLZ]+)", d or "")])

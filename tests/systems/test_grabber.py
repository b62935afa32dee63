"""Grabber findings against boxes that MuJoCo drags, tips and rights, and statics on paper; wrong files."""

from __future__ import annotations

import math
import re

import mujoco
import numpy as np
import pytest
from scipy.optimize import linprog, minimize_scalar

from fieldworthy.cli.app import main
from fieldworthy.drawing.style import PRINT, Style
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, nudge, run
from fieldworthy.files import BadInput, instantiate
from fieldworthy.match.ability import against
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.systems.grabber import check as grabber
from fieldworthy.systems.grabber.figure import deeds, grabbed
from robots import GRAVITY, check, example_copy, find, load, nominal

GRAB = {
    "kind": "grabber", "object": "post", "does": "tip", "by": "drive", "pose": "driving", "pivot": ["0.1 m", "0.2 m"],
    "length": "0.16 m", "lowest": "-20 deg", "lip": {"height": "0.16 m", "depth": "30 mm", "near": "0.06 m"},
    "arm": {"cylinder": "arm", "lever": "30 mm", "lowers": "out", "efficiency": 0.9},
}  # fmt: skip
POST = {"mass": "1.5 kg", "size": ["0.12 m", "0.16 m", "0.2 m"], "friction": 0.9}
AIR = {
    "supply": {"charge": "500 kPa"},
    "tanks": {"one": {"tank": "test tank"}},
    "cylinders": {"arm": {"cylinder": "test cylinder", "count": 2, "tank": "one", "valve": "test valve"}},
}


def world(grab=None, post=None):
    return {"air": AIR, "mechanisms": {"arm": {**GRAB, **(grab or {})}}}, {
        "objects": {"post": {**POST, **(post or {})}}
    }


def found(folder, grab=None, post=None):
    report = check(folder, *world(grab, post))
    return {f.id.removesuffix(".arm"): f for f in (*report.findings, *report.facts) if f.id.startswith("grabber.")}


def ramped(half, friction, at, rise):
    """Ramp a force on a box of 1.5 kg at a point of it; return force and motion as it slides or turns."""
    x, z = half
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><option timestep="0.0005" cone="elliptic" impratio="30" gravity="0 0 -{GRAVITY}" integrator="implicitfast"/>
<worldbody><geom type="plane" size="2 2 0.1" friction="{friction} 0 0" solref="0.004 1"/>
<body pos="0 0 {z}"><freejoint/><geom type="box" size="{x} 0.08 {z}" mass="1.5" friction="{friction} 0 0"
 solref="0.004 1"/></body></worldbody></mujoco>""")
    data = mujoco.MjData(model)
    for _ in range(400):
        mujoco.mj_step(model, data)
    force = 0.0
    while force < 30.0:
        force += 0.0001
        push = force * np.array([math.cos(rise), 0.0, math.sin(rise)])
        data.qfrc_applied[:] = 0.0
        point = data.xpos[1] + np.array([at[0], 0.0, at[1] - z])
        mujoco.mj_applyFT(model, data, push, np.zeros(3), point, 1, data.qfrc_applied)
        mujoco.mj_step(model, data)
        if abs(data.qvel[4]) > 0.05:
            return force, "turns"
        if abs(data.qvel[0] - z * data.qvel[4]) > 0.01:
            return force, "slides"
    return force, "stays"


@pytest.mark.long
@pytest.mark.parametrize(
    ("grab", "post", "half", "rise"),
    [
        # the drive pulls the lip back, on a rough and on a smooth floor
        ({}, {}, (0.06, 0.1), math.pi),
        ({}, {"friction": 0.25}, (0.06, 0.1), math.pi),
        # the arm lifts the near lip across itself: 70 degrees up, over the far edge
        ({"by": "arm"}, {}, (0.06, 0.1), math.radians(70)),
        # lying with its top towards the robot, 0.12 m high, the arm sets it upright over its base's edge
        ({"by": "arm", "does": "right", "lip": {"height": "0.12 m", "depth": "20 mm", "near": "0.1 m"},
          "pivot": ["0.1 m", "0.16 m"]}, {}, (0.1, 0.06), math.radians(70)),
    ],
)  # fmt: skip
def test_what_the_object_does_in_mujoco(tmp_path, grab, post, half, rise, evidence):
    values = found(tmp_path, grab, post)
    lip = {**GRAB, **grab}["lip"]
    at = (-float(lip["near"].split()[0]), float(lip["height"].split()[0]))
    force, motion = ramped(half, {**POST, **post}["friction"], at, rise)
    mode = values["grabber.mode"]  # value: what slides it; limit: what turns it over
    assert mode.verdict == ("holds" if motion == "turns" else "short")
    evidence(
        "grabber",
        "Force at which a grabbed object slides or turns over",
        "MuJoCo: a box that is pulled harder and harder",
        "boxes of 1.5 kg, pulled level and aslant, friction from sliding to tipping",
        "N",
        min(mode.value, mode.limit),
        force,
    )
    # soft contacts, and the ramp of 0.2 N/s goes on until the motion shows: 2 %
    assert min(mode.value, mode.limit) == pytest.approx(force, rel=0.02)
    height = 0.1 if {**GRAB, **grab}["does"] == "right" else 0.06
    assert values["grabber.force"].limit == pytest.approx(1.5 * GRAVITY * height, rel=1e-9)  # weight times its lever


def test_the_robot_tips_first_on_paper(tmp_path):
    # the cg is 0.12 m behind the front wheels and the lip 0.3 m up; weight 7 kg; 0.8 of it grips
    lip = {"height": "0.3 m", "depth": "30 mm", "near": "0.06 m"}
    values = found(tmp_path, {"does": "pull", "lip": lip, "pivot": ["0.1 m", "0.34 m"]})
    tips = 7.0 * GRAVITY * 0.12 / 0.3
    assert values["grabber.force"].value == pytest.approx(tips, rel=1e-6)
    assert "tips over itself" in values["grabber.force"].because
    assert values["grabber.force"].limit == pytest.approx(0.9 * 1.5 * GRAVITY, rel=1e-9)
    # lower down its wheels slip first
    low = found(tmp_path, {"does": "pull", "lip": {**lip, "height": "0.1 m"}})
    assert low["grabber.force"].value == pytest.approx(0.8 * 7.0 * GRAVITY, rel=1e-6)
    assert "its wheels slip" in low["grabber.force"].because


def test_the_robot_that_lifts_tips_over_its_front_wheels(tmp_path):
    """A strong arm: moments about the front wheels' contact, with the reaction of the lip."""
    strong = {"cylinder": "arm", "lever": "300 mm", "lowers": "out"}
    values = found(tmp_path, {"by": "arm", "arm": strong})
    ahead = 0.1 + 0.16 * math.cos(math.radians(20)) - 0.14
    # the lip pushes the hook down and back, 70 degrees below the level, 0.16 m up
    lever = ahead * math.sin(math.radians(70)) - 0.16 * math.cos(math.radians(70))
    tips = 7.0 * GRAVITY * 0.12 / lever
    said = re.search(r"\(([\d.]+) N\)[^:]*: then it tips over itself", values["grabber.force"].because)
    assert float(said[1]) == pytest.approx(tips, rel=6e-3)


def test_the_arm_on_paper(tmp_path):
    values = found(tmp_path, {"by": "arm"})
    # lifting is the way back: two rings of 16 mm less 6 mm at 500 kPa, nine tenths of it, lever 30 of 160 mm
    lift = 500e3 * math.pi / 4 * (0.016**2 - 0.006**2) * 2 * 0.9 * 0.9 * 0.03 / 0.16
    # over the far edge: height times the level part, and twice the half base times the upright part
    rise = math.radians(70)
    lever = 0.16 * math.cos(rise) + 0.12 * math.sin(rise)
    assert values["grabber.force"].value == pytest.approx(lift * lever, rel=1e-9)
    assert "grabber.hold" not in values  # the lip rests on the hook
    # pressed down by the other way, which the slope of the face turns into a hold: wedge of 60 degrees, friction 0.3
    pulled = found(tmp_path, {"face": "60 deg", "friction": 0.3})
    down = 500e3 * math.pi / 4 * 0.016**2 * 2 * 0.9 * 0.9 * 0.03 / 0.16 * math.cos(math.radians(20))
    held = down / math.tan(math.radians(60) - math.atan(0.3))
    assert pulled["grabber.hold"].value == pytest.approx(held, rel=1e-9)
    asked = 1.5 * GRAVITY * 0.06 / 0.16
    assert pulled["grabber.hold"].limit == pytest.approx(asked, rel=1e-9)
    slip = pulled["grabber.slip"]
    assert slip.value * 1e3 == pytest.approx(500e3 * asked / held, rel=1e-6)
    # a face square to the pull holds whatever pulls
    square = found(tmp_path)["grabber.hold"]
    assert (square.value, square.verdict) == (None, "holds")
    measured = found(tmp_path, {"face": "60 deg", "force": "5 N"})["grabber.hold"]
    assert measured.value == pytest.approx(5.0 / math.tan(math.radians(60) - math.atan(0.3)), rel=1e-9)


def test_a_motor_turns_the_arm(tmp_path):
    gears = {"gears": [{"driver": 12, "driven": 60, "efficiency": 0.9}]}
    values = found(tmp_path, {"by": "arm", "arm": gears, "motors": [{"motor": "test motor", "count": 2}]})
    # limited by its 2.5 A: torque in step with the current above the free one
    torque = 2 * 0.7 * (2.5 - 0.13) / (3.6 - 0.13) * 5 * 0.9
    rise = math.radians(70)
    lever = 0.16 * math.cos(rise) + 0.12 * math.sin(rise)
    assert values["grabber.force"].value == pytest.approx(torque / 0.16 * lever, rel=1e-6)


def test_turning_on_the_spot_on_paper(tmp_path):
    values = found(tmp_path, {"by": "turning", "does": "pull"})
    reach = 0.1 + 0.16 * math.cos(math.radians(20))
    weight = 7.0 * GRAVITY

    def held(push):
        """Force at the hook that wheels which push along with so much can still hold sideways, and that their moment
        gives: one friction circle for both, its axes 0.8 and 0.3 of the weight."""
        left = math.sqrt(1.0 - (push / (0.8 * weight)) ** 2)
        return min(0.3 * weight * left, push * 0.15 / reach)

    best = minimize_scalar(lambda push: -held(push), bounds=(0.0, 0.8 * weight), method="bounded")
    tips = weight * 0.14 / 0.16
    assert values["grabber.force"].value == pytest.approx(min(-best.fun, tips), rel=1e-3)


def test_an_arm_must_lift_the_object_to_its_balance_point(tmp_path):
    """Geometry by hand: the lip rises from 0.16 m on its circle about the far edge."""
    values = found(tmp_path, {"by": "arm"})
    travel = values["grabber.travel"]
    balanced = math.atan2(0.06, 0.1)
    turns = np.linspace(0.0, balanced, 200)
    lip = 0.16 * np.cos(turns) + 0.12 * np.sin(turns)
    tip = 0.2 + 0.16 * math.sin(math.radians(-20)) + lip - 0.16
    needed = np.degrees(np.arcsin((tip - 0.2) / 0.16)).max() + 20
    assert travel.limit == pytest.approx(needed, rel=1e-3)
    stiff = found(tmp_path, {"by": "arm", "arm": {"cylinder": "arm", "lever": "300 mm", "lowers": "out"}})
    assert stiff["grabber.travel"].verdict == "short"
    assert "falls back" in stiff["grabber.travel"].because


def test_reach_on_paper(tmp_path):
    values = found(tmp_path)
    tip = 0.2 - 0.16 * math.sin(math.radians(20))
    assert values["grabber.hook"].value == pytest.approx(min(0.16 - tip, 0.03), rel=1e-9)
    assert values["grabber.hook"].limit == pytest.approx(0.008)
    assert values["grabber.reach"].value == pytest.approx(0.1 + 0.16 * math.cos(math.radians(20)), rel=1e-9)
    assert values["grabber.reach"].limit == pytest.approx(0.2)  # the box ends at 0.02 + 0.18
    high = found(tmp_path, {"lowest": "0 deg"})["grabber.hook"]
    assert (high.verdict, high.value) == ("short", pytest.approx(-0.04))
    assert "over the lip" in high.because


def test_without_friction_it_is_unknown(tmp_path):
    robot, season = world()
    del season["objects"]["post"]["friction"]
    force = find(check(tmp_path, robot, season), "grabber.force.arm")
    assert (force.verdict, force.missing) == ("unknown", ("season.objects.post.friction",))


BAD = [
    ("    arm: {cylinder: side arms,", "    arm: {cylinder: side arm,", "arm.cylinder", "did you mean 'side arms'"),
    ("    length: 150 mm", "    length: 0 mm", "length", "more than 0 mm"),
    ("    object: planter\n    does", "    object: planet\n    does", "object", "did you mean 'planter'"),
    ("depth: 30 mm, near", "depth: 0 mm, near", "lip.depth", "more than 0 mm"),
    ("    does: pull", "    does: push", "does", "one of pull, tip, right"),
    ("    pivot: [105 mm, 150 mm]", "    pivot: [105 mm, 0 mm]", "pivot[1]", "more than 0 mm"),
    ("    lowest: -12 deg", "    lowest: -95 deg", "lowest", "at least -90 deg"),
    (
        "    arm: {cylinder: side arms, lever: 28 mm, lowers: out}",
        "    arm: {gears: []}",
        "motors",
        "one class of motors",
    ),
]


@pytest.mark.parametrize(("old", "new", "key", "expected"), BAD)
def test_a_wrong_grabber_is_refused_with_line_and_key(tmp_path, capsys, old, new, key, expected):
    file = example_copy(tmp_path, (old, new))
    with pytest.raises(SystemExit) as ended:
        main(["check", str(file)])
    said = " ".join(capsys.readouterr().err.split())
    assert ended.value.code == 2
    assert re.search(r"mk1\.yaml:\d+:\d+: mechanisms\.side arms\." + re.escape(key), said)
    assert expected in said
    if key != "motors":  # that one is not there to point at
        text = file.read_text("utf-8")
        at = text.index(new) + next(i for i, c in enumerate(new) if c != " ")
        assert (
            f"mk1.yaml:{text[: at + len(new.strip())].count(chr(10)) + 1}:" in said
            or f":{text[:at].count(chr(10)) + 1}:" in said
        )


def test_a_cylinder_with_a_spring_cannot_lift_by_air(tmp_path):
    robot, season = world({"by": "arm"})
    robot["air"] = {**AIR, "cylinders": {"arm": {**AIR["cylinders"]["arm"], "cylinder": "spring cylinder"}}}
    with pytest.raises(Exception, match=r"arm\.cylinder: expected a double-acting cylinder"):
        load(tmp_path, robot, season)


@pytest.mark.parametrize("by", ["arm", "drive", "turning"])
@pytest.mark.parametrize("does", ["pull", "tip", "right"])
def test_a_batch_equals_its_cases_one_by_one(tmp_path, by, does):
    loaded = load(tmp_path, *world({"by": by, "does": does, "face": "50 deg"}))
    paths = [p for p, _ in loaded.quantities if p[0] in ("mechanisms", "parts") or p[:2] == ("season", "objects")]
    cases = Cases(0, 0, 0, paths)
    batch = {o.id: (o.value, o.limit) for o in run(loaded, cases) if o.id.startswith("grabber.")}
    base = Context(loaded.nominal, loaded.nominal_season)
    assert paths
    assert batch
    for row, path in enumerate([(), *paths]):

        def draw(at, quantity, path=path):
            return quantity.si + (nudge(quantity) if at == path else 0.0)

        robot = instantiate(loaded.robot, Robot, draw)
        season = instantiate(loaded.season, Season, lambda at, q, draw=draw: draw(("season", *at), q))
        for outcome in grabber.check(Context(robot, season, base)):
            for value, many in zip((outcome.value, outcome.limit), batch[outcome.id], strict=True):
                if value is not None:
                    got = np.broadcast_to(many, cases.size)[row]
                    assert float(value) == pytest.approx(float(got), rel=1e-7, abs=1e-12), (outcome.id, path)


@pytest.mark.parametrize("by", ["arm", "drive", "turning"])
@pytest.mark.parametrize("does", ["pull", "tip", "right"])
def test_wide_tolerances_give_numbers_only(tmp_path, by, does):
    wide = {
        "lowest": {"value": "-20 deg", "tolerance": "60 deg"},
        "length": {"value": "0.16 m", "tolerance": "0.15 m"},
        "face": {"value": "30 deg", "tolerance": "60 deg"},
        "pivot": ["0.1 m", {"value": "0.2 m", "tolerance": "0.2 m"}],
    }
    post = {"friction": {"value": 0.5, "tolerance": 0.5}, "cg_height": {"value": "0.1 m", "tolerance": "0.3 m"}}
    loaded = load(tmp_path, *world({"by": by, "does": does, **wide}, post))
    outcomes = [o for o in run(loaded, Cases(5, 0, 2000, [])) if o.id.startswith("grabber.")]
    assert len(outcomes) >= 4
    for outcome in outcomes:
        assert not np.isnan(outcome.value).any(), outcome.id
        assert not np.isnan(np.asarray(outcome.margin())).any(), outcome.id


@pytest.mark.parametrize(
    ("by", "lip", "low"), [("arm", 0.16, -20), ("drive", 0.3, -20), ("arm", 0.1, -5), ("arm", 0.25, -60)]
)
def test_the_robot_tips_at_its_contacts_by_linear_programming(tmp_path, by, lip, low):
    """scipy: the largest reaction of the lip that loads of front and rear wheels, none below zero, balance."""
    lips = {"height": f"{lip} m", "depth": "30 mm", "near": "0.06 m"}
    context = nominal(load(tmp_path, *world({"by": by, "lip": lips, "lowest": f"{low} deg"})))
    spec = context.robot.mechanisms["arm"]
    tip = 0.1 + 0.16 * math.cos(math.radians(low))
    rise = math.radians(low) + math.pi / 2 if by == "arm" else math.pi
    along, up = -math.cos(rise), -math.sin(rise)
    loads = linprog([0, 0, -1], A_eq=[[1, 1, up], [0.14, -0.12, tip * up - lip * along]],
                    b_eq=[7.0 * GRAVITY, 7.0 * GRAVITY * 0.02], bounds=[(0, None)] * 3)  # fmt: skip
    given = grabber._given(context, spec, grabber.arm_of(context, spec))
    assert given.by_tipping == pytest.approx(loads.x[2], rel=1e-6)


SEVERAL = {
    "does": ["tip", "right"], "by": "arm", "can": ["tip it", "right it"],
    "deeds": {
        "tip": {"by": "turning", "lip": {"height": "0.18 m", "depth": "20 mm", "near": "0.05 m"}, "can": ["tip it"]},
        "right": {"by": "drive", "lowest": "-30 deg", "half_base": "0.07 m", "can": ["right it"]},
    },
}  # fmt: skip


def test_each_of_several_things_is_judged_as_if_it_were_the_only_one(tmp_path):
    """And what it takes is the statics on paper: the weight's lever over the edge, over the lip's height."""
    several = found(tmp_path, SEVERAL)
    alone = {
        "tip": {"does": "tip", "by": "turning", "lip": SEVERAL["deeds"]["tip"]["lip"]},
        "right": {"does": "right", "by": "drive", "lowest": "-30 deg", "half_base": "0.07 m"},
    }
    for does, keys in alone.items():
        one = found(tmp_path, keys)
        mine = {k.split(".arm (")[0]: f for k, f in several.items() if k.endswith(f"({does})")}
        assert mine.keys() == one.keys()
        assert [f.value for f in mine.values()] == [f.value for f in one.values()]
    # turning pushes level and across: 1.5 kg times g times half its length over the lip's height
    asked = 1.5 * GRAVITY * 0.06 / 0.18
    assert f"{asked:.3g} N at its lip" in several["grabber.force.arm (tip)"].because


def test_an_action_is_held_back_by_the_thing_that_it_needs_alone(tmp_path):
    robot, season = world(SEVERAL)
    season["tasks"] = {n: {"points": 1, "needs": [f"{n} it"]} for n in ("tip", "right")}
    robot["actions"] = {n: {"time": "1 s", "task": n} for n in ("tip", "right")}
    loaded = load(tmp_path, robot, season)
    for does in ("tip", "right"):
        held = against(loaded.nominal, loaded.nominal_season)[does]
        words = ("reach", "hook", "force", "travel", "mode", "hold")
        assert {cost.id for cost in held} == {f"grabber.{word}.arm ({does})" for word in words}


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"does": ["tip", "tip"]}, "each once"),
        ({"does": []}, "one thing or more"),
        ({"does": "tpi"}, "does"),
        ({"deeds": {"pull": {"by": "arm"}}}, "one of the things in 'does': tip, right"),
        ({"deeds": {"tip": {"can": ["fly"]}}}, "words of its 'can': tip it; right it"),
    ],
)
def test_what_one_tool_cannot_do_is_said(tmp_path, keys, said):
    with pytest.raises(BadInput, match=said):
        load(tmp_path, *world(SEVERAL | keys))


def test_the_figure_shows_each_thing_with_what_it_takes(tmp_path):
    data = deeds(nominal(load(tmp_path, *world(SEVERAL))))
    assert [d.name for d in data] == ["arm (tip)", "arm (right)"]
    assert data[0].asked == pytest.approx(1.5 * GRAVITY * 0.06 / 0.18, rel=0.05)
    for deed in data:
        figure = grabbed(deed, Style(PRINT, "metric", 640.0))
        assert f"'{deed.name}'" in figure.alt
        assert "it takes" in figure.columns["What"]


@pytest.mark.parametrize(("by", "face"), [("arm", "0 deg"), ("drive", "30 deg")])
def test_the_figure_shows_the_force_over_pressure_that_is_reckoned_by_hand(tmp_path, by, face):
    """Area times pressure times lever over length; a sloping face as a wedge (Meriam, from memory)."""
    (deed,) = deeds(nominal(load(tmp_path, *world({"by": by, "face": face, "friction": 0.2, "does": "pull"}))))
    assert deed.air is not None
    piston, rod = 0.25 * math.pi * 0.016**2, 0.25 * math.pi * 0.006**2
    area = piston if by == "drive" else piston - rod
    force = 2 * area * deed.air.gauge * 0.9 * 0.9 * 0.03 / 0.16
    if by == "drive":
        steep = math.tan(math.radians(30.0))
        force = force * math.cos(math.radians(20.0)) * (1 + 0.2 * steep) / (steep - 0.2)
    assert deed.air.force == pytest.approx(force, rel=1e-6)
    assert "Gauge pressure [kPa]" in grabbed(deed, Style(PRINT, "metric", 640.0)).columns

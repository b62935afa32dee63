"""The example robots' climbs, from the file to the findings, against MuJoCo with the files' own parts.

The parts are read from the files by the test and put together by MuJoCo as boxes, so that masses, centre of gravity,
the hooks' travel, attitude and forces are all its own; nothing is taken from the checks but what they print.
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass, field

import mujoco
import numpy as np
import pytest

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot
from robots import EXAMPLES, GRAVITY, example_copy, fact, find

HOOK = (-0.120, 0.565)  # m, as the files give it in the pose 'hooks up'
REST, FACE = (-0.190, 0.060), -0.075  # m, as the files give them
RAISED, DRAWN = 0.150, 0.100  # m: the pose raises the hooks; a 50 mm stroke at a lever of 2 draws them down
BAR = 0.560  # m, the season's rafter
BALL = 0.001  # m, radius of the ball that stands for the rest
HARD = 'solref="0.004 1" solimp="0.995 0.9999 0.0001" friction="0 0 0" condim="1"'
SLACK = math.radians(0.1)  # the contact gives by some hundredths of a millimetre


@dataclass
class Hung:
    """A robot of the example on a damped hinge at its hook, the hinge at the origin."""

    name: str
    hook: tuple[float, float] = HOOK
    rest: tuple[float, float] = REST
    face: float | None = FACE
    rows: list[dict[str, str]] = field(init=False)
    model: mujoco.MjModel = field(init=False)
    data: mujoco.MjData = field(init=False)

    def __post_init__(self):
        with (EXAMPLES / f"{self.name}_parts.csv").open(encoding="utf-8", newline="") as file:
            self.rows = list(csv.DictReader(file))
        self.model = mujoco.MjModel.from_xml_string(self._xml())
        self.data = mujoco.MjData(self.model)
        self.data.qpos[0] = -1.0 if self.face is not None else 0.0  # nose up, clear of a face behind
        while self.data.time < 6.0:
            mujoco.mj_step(self.model, self.data)

    def boxes(self):
        """Mass [kg], middle and half size [m] of every part, its hooks raised and drawn down again."""
        for row in self.rows:
            number = {key: float(row[key]) for key in row if key.partition(" ")[2] in ("[g]", "[mm]")}
            middle = np.array([number[f"{a} [mm]"] for a in "xyz"]) / 1000
            half = np.array([number[f"{a} [mm]"] for a in ("length", "width", "height")]) / 2000
            middle[2] += RAISED - DRAWN if row["rides"] == "hooks" else 0.0
            yield number["mass [g]"] / 1000 * int(row["count"]), middle, half

    def _xml(self):
        drawn = np.array([self.hook[0], 0.0, self.hook[1] - DRAWN])

        def text(values):
            return " ".join(f"{v:.9g}" for v in values)

        geoms = "".join(
            f'<geom type="box" mass="{mass}" pos="{text(middle - drawn)}" size="{text(half)}" contype="0" '
            'conaffinity="0"/>'
            for mass, middle, half in self.boxes()
        )
        ball = np.array([self.rest[0], 0.0, self.rest[1]]) - drawn
        wall = ""
        if self.face is not None:
            wall = f'<geom type="plane" size="2 2 1" pos="{self.face - BALL} 0 0" zaxis="1 0 0" {HARD}/>'
        return f"""<mujoco><option timestep="0.0005" gravity="0 0 -{GRAVITY}" cone="elliptic"/>
          <worldbody>{wall}<body><joint type="hinge" axis="0 1 0" damping="3"/>{geoms}
            <geom type="sphere" size="{BALL}" mass="1e-7" pos="{text(ball)}" {HARD}/></body></worldbody></mujoco>"""

    @property
    def attitude(self):
        return float(self.data.qpos[0])

    @property
    def pressed(self):
        """Force on the rest [N]."""
        total, force = 0.0, np.zeros(6)
        for i in range(self.data.ncon):
            mujoco.mj_contactForce(self.model, self.data, i, force)
            total += float(force[0])
        return total

    def lowest(self):
        """Height of the lowest point over the floor [m], by MuJoCo's own rotation; wheels are no parts."""
        low = math.inf
        turn, drawn = self.data.xmat[1].reshape(3, 3), np.array([self.hook[0], 0.0, self.hook[1] - DRAWN])
        inch = 0.0254 * 2.75 / 2.0
        # as the files give them: outer wheels of 2.75 in, and the middle of the rollers' lowest points
        for x, z, radius in ((0.130, inch, inch), (-0.130, inch, inch), (0.215, 0.006, 0.0)):
            low = min(low, (turn @ (np.array([x, 0.0, z]) - drawn))[2] - radius)
        for i in range(self.model.ngeom):
            if self.model.geom_type[i] == mujoco.mjtGeom.mjGEOM_BOX:
                turn = self.data.geom_xmat[i].reshape(3, 3)
                low = min(low, self.data.geom_xpos[i][2] - np.abs(turn[2]) @ self.model.geom_size[i])
        return BAR + low


def centre_of_gravity(name):
    """From the file by moments, hooks drawn down [m]."""
    mass = np.zeros(3)
    for m, middle, _ in Hung(name, face=None).boxes():
        mass += m * np.array([1.0, middle[0], middle[2]])
    return mass[1] / mass[0], mass[2] / mass[0], mass[0]


def edited(tmp_path, name, *edits):
    return evaluate(load_robot(example_copy(tmp_path, *edits, name=name)), samples=0)


@pytest.mark.parametrize("name", ["mk1", "mk2"])
def test_it_leans_as_mujoco_finds(name, tmp_path):
    """Attitude to 0.1 degree, force to 2 % and lowest corner to 1 mm, for the contact's give."""
    ours, theirs = edited(tmp_path, name), Hung(name)
    assert theirs.data.ncon == 1
    assert math.radians(find(ours, "climb.attitude.hooks").value) == pytest.approx(theirs.attitude, abs=SLACK)
    assert fact(ours, "climb.hook.hooks").value == pytest.approx(theirs.pressed, rel=0.02)
    assert find(ours, "climb.clearance.hooks").value / 1000 == pytest.approx(theirs.lowest(), abs=0.001)


@pytest.mark.parametrize("name", ["mk1", "mk2"])
def test_with_hook_and_rest_on_the_other_side_it_swings_as_mujoco_finds(name, tmp_path):
    """The sentence's second half: the hook mirrored about the centre of gravity, its rest moved along."""
    shift = 2 * (centre_of_gravity(name)[0] - HOOK[0])
    theirs = Hung(name, hook=(HOOK[0] + shift, HOOK[1]), rest=(REST[0] + shift, REST[1]))
    because = fact(edited(tmp_path, name), "climb.hook.hooks").because
    said = re.search(r"swings free at ([\d.]+)° nose up with nothing on its rest", because)
    assert said is not None
    assert theirs.data.ncon == 0
    assert -float(said[1]) == pytest.approx(math.degrees(theirs.attitude), abs=0.1)


@pytest.mark.parametrize("name", ["mk1", "mk2"])
def test_it_hangs_free_as_mujoco_finds(name, tmp_path):
    """Without the rest: attitude to 0.1 degree, lowest corner to 1 mm."""
    rest = "    rest: {position: [-190 mm, 60 mm], ahead: -75 mm, face: behind}\n"
    ours, theirs = edited(tmp_path, name, (rest, "")), Hung(name, face=None)
    assert math.radians(find(ours, "climb.attitude.hooks").value) == pytest.approx(theirs.attitude, abs=SLACK)
    assert find(ours, "climb.clearance.hooks").value / 1000 == pytest.approx(theirs.lowest(), abs=0.001)


def test_the_rest_lets_go_where_mujoco_loses_the_contact(tmp_path):
    """Hook and rest are moved forward together to 5 mm on either side of the place that the sentence names."""
    because = fact(edited(tmp_path, "mk1"), "climb.hook.hooks").because
    said = re.search(r"lets go where the hook is ahead of x = ([\d.]+) mm", because)
    assert said is not None
    for beyond, rests in ((-0.005, True), (0.005, False)):
        shift = float(said[1]) / 1000 + beyond - HOOK[0]
        theirs = Hung("mk1", hook=(HOOK[0] + shift, HOOK[1]), rest=(REST[0] + shift, REST[1]))
        assert (theirs.data.ncon > 0) is rests
        x = round(1000 * (HOOK[0] + shift), 3)
        edits = (
            ("hook: [-120 mm, 565 mm]", f"hook: [{x} mm, 565 mm]"),
            ("position: [-190 mm, 60 mm], ahead", f"position: [{x - 70:.3f} mm, 60 mm], ahead"),
        )
        ours = edited(tmp_path, "mk1", *edits)
        assert (fact(ours, "climb.hook.hooks").value > 0) is rests
        assert (find(ours, "climb.rest.hooks").value > 0) is rests


def test_a_level_pull_lifts_the_rest_off_where_mujoco_finds_it(tmp_path):
    """The finding's value: the pull as tilted gravity, halved in until the contact is lost; 2 %."""
    theirs = Hung("mk1")

    def pressed(share):
        theirs.model.opt.gravity[:] = (share * GRAVITY, 0.0, -GRAVITY)
        mujoco.mj_resetData(theirs.model, theirs.data)
        theirs.data.qpos[0] = math.radians(0.7)
        while theirs.data.time < 0.25:
            mujoco.mj_step(theirs.model, theirs.data)
        return theirs.data.ncon > 0

    low, high = 0.0, 2.0
    assert pressed(low)
    assert not pressed(high)
    for _ in range(9):
        middle = (low + high) / 2
        low, high = (middle, high) if pressed(middle) else (low, middle)
    assert find(edited(tmp_path, "mk1"), "climb.rest.hooks").value == pytest.approx((low + high) / 2, rel=0.02)


def test_the_first_end_leaves_the_floor_at_the_force_that_mujoco_finds(tmp_path):
    """A pull straight up at the hook, raised slowly, on a robot on two balls at its outer wheels; 3 %."""
    because = fact(edited(tmp_path, "mk1"), "climb.lift_off.hooks").because
    said = re.search(r"the robot's rear end leaves the floor first, at ([\d.]+) N", because)
    assert said is not None
    hung = Hung("mk1", face=None)
    geoms = "".join(
        f'<geom type="box" mass="{mass}" pos="{m[0]} {m[1]} {m[2] + (DRAWN if row["rides"] == "hooks" else 0)}" '
        f'size="{h[0]} {h[1]} {h[2]}" contype="0" conaffinity="0"/>'
        for row, (mass, m, h) in zip(hung.rows, hung.boxes(), strict=True)
    )
    balls = "".join(
        f'<geom name="{n}" type="sphere" size="{BALL}" mass="0" pos="{x} 0 {BALL}" {HARD}/>'
        for n, x in (("front", 0.130), ("rear", -0.130))
    )
    model = mujoco.MjModel.from_xml_string(f"""<mujoco><option timestep="0.001" gravity="0 0 -{GRAVITY}"/>
      <worldbody><geom type="plane" size="5 5 1" {HARD}/><body name="robot"><joint type="slide" axis="1 0 0"/>
        <joint type="slide" axis="0 0 1"/><joint type="hinge" axis="0 1 0" damping="0.2"/>{geoms}{balls}
        <site name="hook" pos="{HOOK[0]} 0 {HOOK[1]}"/></body></worldbody></mujoco>""")
    data = mujoco.MjData(model)
    robot, site = model.body("robot").id, model.site("hook").id
    while data.time < 0.3:
        mujoco.mj_step(model, data)
    pull = 0.0
    while data.qpos[2] < 0.002 and pull < 200.0:  # until the tail has come up by a tenth of a degree
        pull = 8.0 * (data.time - 0.3)
        data.qfrc_applied[:] = 0.0
        mujoco.mj_applyFT(model, data, (0.0, 0.0, pull), np.zeros(3), data.site_xpos[site], robot, data.qfrc_applied)
        mujoco.mj_step(model, data)
    assert data.qpos[2] > 0  # nose down: the rear came up
    assert float(said[1]) == pytest.approx(pull, rel=0.03)

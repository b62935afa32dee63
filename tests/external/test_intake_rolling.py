"""Balls and blocks between a moving surface and a fixed guide, in MuJoCo; coasting over a bend against scipy."""

import mujoco
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.physics.contact import handover, rolling

G = 9.80665
MASS, RADIUS, PRESS, GRIP = 0.085, 0.05, 5.0, 0.8


def carried(guide, *, climb=0.0, flexing=0.0, shape="sphere", time=2.5):
    """Speed of a piece after a while under a belt that runs at 1 m/s and presses it onto a fixed guide [m/s].

    The loss in the belt's flexing is a couple against the ball's turning, `flexing` times press times radius.
    """
    size = f"{RADIUS}" if shape == "sphere" else f"{RADIUS} {RADIUS} {RADIUS}"
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><option timestep="0.0005" cone="elliptic" impratio="20" integrator="implicitfast"
 gravity="{-G * np.sin(climb)} 0 {-G * np.cos(climb)}"/><default><geom solref="0.004 1"/></default><worldbody>
<geom type="box" size="20 1 .05" pos="0 0 -.05" friction="{guide} 0 0" priority="1"/>
<body name="belt" pos="0 0 {2 * RADIUS + 0.05}"><joint type="slide" axis="1 0 0" armature="1000"/>
<joint type="slide" axis="0 0 1"/>
<geom type="box" size="20 1 .05" mass=".2" friction="{GRIP} 0 0" priority="1"/></body>
<body name="piece" pos="0 0 {RADIUS}"><freejoint/><geom type="{shape}" size="{size}" mass="{MASS}"/></body>
</worldbody></mujoco>""")
    data = mujoco.MjData(model)
    belt, piece = model.body("belt").id, model.body("piece").id
    for _ in range(round(time / model.opt.timestep)):
        # its own weight is taken off the belt, and it runs on at its speed whatever holds it back
        data.xfrc_applied[belt, 2] = 0.2 * G * np.cos(climb) - PRESS
        data.xfrc_applied[piece, 4] = -flexing * PRESS * RADIUS * np.tanh(data.qvel[6] / 0.05)
        data.qvel[0] = 1.0
        mujoco.mj_step(model, data)
    return data.qvel[2]


def of(guide, *, climb=0.0, flexing=0.0, ball=True):
    """Share of the surface's speed by the model; its roller is as large as can be, without squeeze."""
    uphill = MASS * G * np.sin(climb)
    drag = rolling.drag(PRESS, guide, flexing, uphill)
    stage = rolling.Stage(1.0, 1.0, 1.0, 0.0, PRESS, GRIP, drag)
    stage = rolling.rolling(stage, guide, flexing, uphill) if ball else stage
    return float(rolling.object_speed(stage, 1.0))


@pytest.mark.parametrize(
    ("guide", "climb", "flexing"),
    [(0.25, 0.0, 0.0), (0.25, 0.5, 0.0), (0.25, 1.2, 0.05), (0.25, 0.0, 0.3), (0.1, 0.0, 0.3)],
)
def test_a_ball_rolls_at_half_speed_or_slides(guide, climb, flexing):
    # 1 %: MuJoCo's soft contacts creep
    want = carried(guide, climb=climb, flexing=flexing)
    assert of(guide, climb=climb, flexing=flexing) == pytest.approx(want, abs=0.01)


@pytest.mark.parametrize(("guide", "climb"), [(0.25, 0.0), (0.25, 0.5), (0.4, 1.2)])
def test_a_block_slides_at_full_speed(guide, climb):
    assert of(guide, climb=climb, ball=False) == pytest.approx(carried(guide, climb=climb, shape="box"), abs=0.01)


@pytest.mark.parametrize("guide", [0.02, 0.03, 0.05, 0.06])
def test_a_ball_spins_in_place_on_a_guide_too_slippery_for_the_slope(guide):
    # (weight along) / 2 = 0.2 N asks 0.04 of 5 N: below it falls back, above it comes up. The guide in the engine also
    # bears the weight across, 0.73 N, so nothing is asked between 0.035 and 0.04
    climbs = carried(guide, climb=0.5) > 0.4
    assert (of(guide, climb=0.5) > 0.0) == climbs


def passed(squeeze, ball=0.05, roller=0.03):
    """Way of a ball over which a sprung roller touches it, by bisection of the distance of the centres."""
    at = roller + ball - squeeze
    x = np.linspace(0.0, 0.2, 200_001)
    return 2.0 * x[np.hypot(x, at) <= roller + ball].max()


@pytest.mark.parametrize("squeeze", [0.002, 0.006, 0.012])
def test_a_roller_holds_a_ball_over_a_chord(squeeze):
    assert rolling.held_length(0.03, squeeze, 0.1) == pytest.approx(passed(squeeze), abs=4e-6)


@pytest.mark.parametrize(
    ("slopes", "friction", "turning"),
    [
        ((0.35, 1.05), 0.25, 0.0),
        ((1.05, 0.35), 0.25, 0.0),
        ((0.2, -0.6), 0.1, 0.0),
        ((0.35, 1.05), 0.0, 0.4),
        ((0.4, 0.4), 0.3, 0.0),
    ],
)
@pytest.mark.parametrize("speed", [0.4, 0.9, 1.6])
def test_coasting_over_a_bend_against_integration(slopes, friction, turning, speed):
    """scipy's solve_ivp along the bend, stopped at rest; 1 mm or 1 % for the model's 32 straight steps."""
    gap = 0.08

    def rates(t, y):
        slope = slopes[0] + (slopes[1] - slopes[0]) * min(y[0] / gap, 1.0)
        return y[1], -G * (np.sin(slope) + friction * np.cos(slope)) / (1.0 + turning)

    def rest(t, y):
        return y[1]

    rest.terminal, rest.direction = True, -1
    run = solve_ivp(rates, (0.0, 5.0), (0.0, speed), events=rest, rtol=1e-9, atol=1e-11, max_step=0.002)
    found = handover.coast_reach(speed, gap, slopes, friction, turning)
    if run.status == 1:
        assert found == pytest.approx(run.y[0, -1], rel=0.01, abs=1e-3)
    else:
        assert found > 1.0


def test_a_slope_that_steepens_stops_sooner():
    reach = handover.coast_reach(0.9, 0.08, (0.35, np.array([0.2, 0.35, 0.7, 1.2])), 0.25)
    assert np.all(np.diff(reach) < 0.0)

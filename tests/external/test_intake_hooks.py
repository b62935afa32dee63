"""Hooked chains against simulated arrivals and a chain laid tooth by tooth round its sprocket."""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.contact import handover


def test_window_and_chance_against_random_arrivals():
    # Plain simulation: an object comes in over a stretch of time at a random phase of the passing hooks
    # and is in if no part of it meets a hook before it has come in; 200,000 arrivals, three standard
    # errors are 0.0034
    spacing, hook, extent, speed, entry = 0.19, 0.012, 0.05, 0.6, 0.04
    rng = np.random.default_rng(4)
    tip = rng.uniform(0.0, spacing, 200_000)  # upper face of the nearest hook below the object's lower edge
    clear_below = tip >= speed * entry  # that hook climbs while the object comes in
    lower_face_above = spacing - tip - hook  # the next hook's lower face above the object's lower edge
    clean = clear_below & (lower_face_above >= extent)
    free = handover.window(spacing, hook, extent, speed * entry)
    assert handover.random_chance(free, spacing) == pytest.approx(clean.mean(), abs=0.0034)


def test_passing_frequency_by_counting():
    # Hooks counted past a point in 100 s
    spacing = handover.hook_spacing(0.00635, 30)
    passed = np.floor(0.6 * 100.0 / spacing)
    assert handover.passing_frequency(0.6, spacing) == pytest.approx(passed / 100.0, abs=0.01)
    assert handover.hook_count(92, 30) == 3.0


def test_tip_radius_of_a_link_turned_round_the_sprocket():
    # The link laid between two teeth as coordinates, then turned through a whole turn in fine steps
    pitch, teeth, height, offset = 0.00635, 12, 0.02, 0.003
    half = np.pi / teeth
    r = 0.5 * pitch / np.sin(half)
    ends = np.array([[r * np.cos(half), -r * np.sin(half)], [r * np.cos(half), r * np.sin(half)]])
    assert np.hypot(*(ends[1] - ends[0])) == pytest.approx(pitch, rel=1e-12)
    tip = ends.mean(axis=0) + np.array([height, offset])
    turn = np.linspace(0.0, 2.0 * np.pi, 100_001)
    lowest = (tip[0] * np.sin(turn) + tip[1] * np.cos(turn)).min()
    assert handover.tip_radius(pitch, teeth, height, offset) == pytest.approx(-lowest, rel=1e-8)


def test_five_or_six_pieces_already_carried():
    # Common practice, no source: hooks must clear five or six pieces. Pieces are laid on by hand, one by
    # one, under the lowest point of the tips' path: what the practice asks is room, and the room is what
    # is computed
    shaft, radius = 0.33, handover.tip_radius(0.00635, 12, 0.03)
    room = shaft - radius - 0.005
    top, count = 0.0, 0
    while top + 0.045 <= room:
        top, count = top + 0.045, count + 1
    assert handover.pieces_cleared(room, 0.045, 0.045) == count
    assert count in (5, 6)
    assert handover.stack_height(count, 0.045, 0.045) == pytest.approx(top, rel=1e-12)
    # Nesting pieces lie closer: 60 mm high, 40 mm more each: 60, 100, 140, 180, 220, 260 fit under 270 mm,
    # 300 does not
    assert handover.pieces_cleared(0.27, 0.06, 0.04) == 6
    assert handover.pieces_cleared(0.05, 0.06, 0.04) == 0
    assert handover.stack_height(np.array([0.0, 1.0, 6.0]), 0.06, 0.04) == pytest.approx([0.0, 0.06, 0.26])


BALL = 0.1


def dropped(floor, count, seed):
    """Top of balls of 100 mm that MuJoCo drops into a hopper [m]."""
    rng, r = np.random.default_rng(seed), BALL / 2
    free = [max(side / 2 - r, 0.0) for side in floor]
    balls = "".join(
        f'<body pos="{rng.uniform(-free[0], free[0])} {rng.uniform(-free[1], free[1])} {0.12 + 0.13 * i}"><freejoint/>'
        f'<geom type="sphere" size="{r}" mass="0.085"/></body>'
        for i in range(count)
    )
    a, b = (side / 2 + 0.0103 for side in floor)
    walls = "".join(
        f'<geom type="box" size="{w} {d} 1.2" pos="{x} {y} 1.2"/>'
        for w, d, x, y in ((0.01, 1, a, 0), (0.01, 1, -a, 0), (1, 0.01, 0, b), (1, 0.01, 0, -b))
    )
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><option timestep="0.002" cone="elliptic" integrator="implicitfast"/>
<default><geom friction="0.4 0.002 0.0005" condim="4" solref="0.004 1"/></default>
<worldbody><geom type="plane" size="2 2 .1"/>{walls}{balls}</worldbody></mujoco>""")
    data = mujoco.MjData(model)
    for _ in range(1700):
        mujoco.mj_step(model, data)
    return data.xpos[1:, 2].max() + r


@pytest.mark.parametrize(
    "floor", [(1.05, 1.05), (1.5, 1.05), (1.5, 1.5), (1.8, 1.05), (2.05, 2.05), (2.5, 1.5), (3.2, 3.2)]
)
@pytest.mark.parametrize("count", [3, 6, 9])
def test_a_heap_of_dropped_balls(floor, count):
    sides = tuple(BALL * side for side in floor)
    mean = np.mean([dropped(sides, count, seed) for seed in (0, 1)])
    found = handover.heap_height(count, (BALL, BALL, BALL), sides, ball=True)
    assert found == pytest.approx(mean, abs=BALL / 2)
    assert found >= BALL


def test_a_heap_of_blocks_by_counting():
    # 100 by 60 by 50 mm on 210 by 130 mm: four flat in a layer, so six lie two high; of four thrown, half the time
    # one comes to lie above
    size = (0.1, 0.06, 0.05)
    assert handover.heap_height(6, size, (0.21, 0.13), ball=False) == pytest.approx(0.1)
    assert handover.heap_height(1, size, (0.21, 0.13), ball=False) == pytest.approx(0.05)
    assert handover.heap_height(3, size, (0.1, 0.06), ball=False) == pytest.approx(0.15)
    assert handover.heap_height(0, size, (0.1, 0.06), ball=False) == 0.0


def test_batch_equals_case_by_case():
    spacing = np.array([0.05, 0.12, 0.19])
    free = handover.window(spacing, 0.01, 0.06, 0.01)
    chance = handover.random_chance(free, spacing)
    for i in range(3):
        assert chance[i] == handover.random_chance(
            handover.window(float(spacing[i]), 0.01, 0.06, 0.01), float(spacing[i])
        )
    assert chance[0] == 0.0  # an object longer than the room between hooks never comes in


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: handover.hook_count(92, 0), "links_between"),
        (lambda: handover.hook_spacing(0.0, 3), "pitch"),
        (lambda: handover.passing_frequency(-1.0, 0.1), "chain_speed"),
        (lambda: handover.window(0.1, -0.1, 0.05), "hook"),
        (lambda: handover.random_chance(0.1, 0.0), "spacing"),
        (lambda: handover.tip_radius(0.00635, 2, 0.01), "teeth"),
        (lambda: handover.stack_height(3, 0.1, 0.0), "nested"),
        (lambda: handover.heap_height(3, (0.1, 0.1, 0.1), (0.2, 0.0), ball=True), "floor_width"),
        (lambda: handover.pieces_cleared(0.3, 0.0, 0.1), "height"),
    ],
)
def test_bad_input_is_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()

"""What scales say of the whole robot goes before the sum of its parts; statics by hand."""

from __future__ import annotations

import numpy as np
import pytest

import fieldworthy as fw
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.files import BadInput
from fieldworthy.vehicle import state
from fieldworthy.vehicle.state import keep_weights
from robots import check, example, fact, find, load, nominal

LIFT = {"mass": "1 kg", "position": ["0.1 m", "0 m", "0.3 m"], "size": ["0.1 m", "0.1 m", "0.1 m"], "rides": "lift"}
RAISED = {"parts": {"arm": LIFT}, "poses": {"up": {"moves": {"lift": {"shift": ["0 m", "0 m", "0.2 m"]}}}}}
WEIGHED = {"weighed": {"mass": "8.8 kg", "x": "0.05 m", "y": "-0.01 m", "z": "0.16 m"}}


def body(loaded, pose: str):
    found = state.body(nominal(loaded), pose)
    return float(found.mass), found.cg


def test_the_whole_is_what_the_scales_say(tmp_path):
    mass, cg = body(load(tmp_path, RAISED | WEIGHED), "driving")
    assert mass == pytest.approx(8.8)
    assert cg == pytest.approx([0.05, -0.01, 0.16])


def test_a_group_that_moves_takes_its_listed_mass_along(tmp_path):
    """1 kg raised by 0.2 m lifts the centre of 8.8 kg by 0.2 / 8.8 m."""
    mass, cg = body(load(tmp_path, RAISED | WEIGHED), "up")
    assert mass == pytest.approx(8.8)
    assert cg == pytest.approx([0.05, -0.01, 0.16 + 0.2 / 8.8])


def test_weighed_in_a_pose_it_is_so_in_that_pose(tmp_path):
    weighed = {"weighed": WEIGHED["weighed"] | {"pose": "up"}}
    assert body(load(tmp_path, RAISED | weighed), "up")[1] == pytest.approx([0.05, -0.01, 0.16])
    assert body(load(tmp_path, RAISED | weighed), "driving")[1][2] == pytest.approx(0.16 - 0.2 / 8.8)


def test_the_mass_alone_leaves_the_centre_where_the_parts_put_it(tmp_path):
    listed = body(load(tmp_path, RAISED), "driving")[1]
    mass, cg = body(load(tmp_path, RAISED | {"weighed": {"mass": "8.8 kg"}}), "driving")
    assert mass == pytest.approx(8.8)
    assert cg == pytest.approx(listed)


def test_a_load_comes_on_top(tmp_path):
    poses = {"driving": {"carries": {"b": {"object": "ball", "position": ["0.1 m", "0 m", "0.5 m"]}}}}
    mass, cg = body(load(tmp_path, {"poses": poses} | WEIGHED), "driving")
    assert mass == pytest.approx(9.2)
    assert cg[2] == pytest.approx((8.8 * 0.16 + 0.4 * 0.5) / 9.2)


def test_a_part_added_after_the_weighing_counts(tmp_path):
    """The list added up to 7 kg then; a kilogram has come since."""
    listed = {"mass": "7 kg", "x": "0.02 m", "y": "0.01 m", "z": "0.12 m"}
    weighed = {"weighed": WEIGHED["weighed"] | {"mass": "7.6 kg", "listed": listed}}
    mass, cg = body(load(tmp_path, RAISED | weighed), "driving")
    assert mass == pytest.approx(8.6)
    assert cg == pytest.approx([(7.6 * 0.05 + 0.1) / 8.6, -0.01 * 7.6 / 8.6, (7.6 * 0.16 + 0.3) / 8.6])


def test_the_limit_of_mass_is_held_against_the_scales(tmp_path):
    found = find(check(tmp_path, WEIGHED, {"limits": {"mass": "8 kg"}}), "limits.mass")
    assert found.verdict == "short"
    assert found.value == pytest.approx(8.8)
    assert found.because.startswith("The robot weighs 8.8 kg")


def test_the_inertia_grows_with_the_mass(tmp_path):
    plain = state.body(nominal(load(tmp_path)), "driving")
    heavy = state.body(nominal(load(tmp_path, {"weighed": {"mass": "14 kg"}})), "driving")
    assert heavy.inertia == pytest.approx(2.0 * plain.inertia)


def test_tolerances_of_parts_no_longer_spread_what_was_weighed(tmp_path):
    weighed = {k: {"value": v, "tolerance": "0.01 kg" if k == "mass" else "2 mm", "basis": "measured"}
               for k, v in WEIGHED["weighed"].items()}  # fmt: skip
    before = fact(evaluate(load(tmp_path), samples=400), "balance.centre_height").spread
    after = fact(evaluate(load(tmp_path, {"weighed": weighed}), samples=400), "balance.centre_height").spread
    assert before is not None
    assert after is not None
    # 2 mm of 160: the parts' own tolerance of 1 % and 1 mm no longer adds to it
    assert after[1] - after[0] == pytest.approx(4e-3, rel=0.15)


def test_it_holds_over_cases(tmp_path):
    from fieldworthy.engine.evaluate import run

    loaded = load(tmp_path, RAISED | WEIGHED)
    outcomes = run(loaded, Cases(0, 0, 50, []))
    heights = [np.asarray(o.value) for o in outcomes if o.id == "balance.centre_height"]
    assert len(heights) == 2
    assert all(h.shape == (51,) and np.all(np.isfinite(h)) and np.ptp(h) > 0 for h in heights)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"weighed": {"mass": "0.9 kg"}}, "more than the parts that do not ride the chassis"),
        ({"weighed": {"mass": "8 kg", "pose": "nowhere"}}, "expected a name from poses"),
        ({"parts": {"box": {"rides": "lift"}}, "weighed": {"mass": "8 kg"}}, "ride the chassis"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, change, said):
    from robots import changed

    with pytest.raises(BadInput, match=said):
        load(tmp_path, changed(RAISED, change))


def test_the_example_says_nothing_of_it_and_stays_as_listed():
    subject = nominal(example())
    assert state.groups(subject) is state.listed_groups(subject)


def test_a_variant_s_other_parts_count_on_top_of_what_was_weighed(tmp_path):
    """The robot of 8.8 kg was weighed with a box of 7 kg; one of 9 kg in the same place makes it 10.8 kg."""
    (tmp_path / "other").mkdir()
    first = load(tmp_path, WEIGHED)
    heavier = load(tmp_path / "other", WEIGHED | {"parts": {"box": {"mass": "9 kg"}}})
    assert body(heavier, "driving")[0] == pytest.approx(8.8)  # alone, its weights are taken as those of its own parts
    mass, cg = body(keep_weights(first, heavier), "driving")
    assert mass == pytest.approx(10.8)
    # moments: what was weighed, and 2 kg more in the middle of the box
    assert cg == pytest.approx([(8.8 * w + 2.0 * b) / 10.8 for w, b in zip((0.05, -0.01, 0.16), (0.02, 0.01, 0.12),
                                                                          strict=True)])  # fmt: skip
    again = {"weighed": WEIGHED["weighed"] | {"mass": "10.5 kg"}, "parts": {"box": {"mass": "9 kg"}}}
    weighed_again = load(tmp_path / "other", again)
    assert keep_weights(first, weighed_again) is weighed_again  # it has been on the scales itself


def test_a_change_of_a_part_counts_and_the_file_is_told_what_its_weights_lack(tmp_path):
    loaded = load(tmp_path, WEIGHED)
    robot = fw.load(loaded.document.file)
    heavier = robot.changed({"parts.box.mass": "9 kg"}).changed({"parts.box.position[0]": "30 mm"})
    mass, cg = body(heavier.loaded, "driving")
    assert mass == pytest.approx(10.8)
    assert cg[0] == pytest.approx((8.8 * 0.05 + 9.0 * 0.03 - 7.0 * 0.02) / 10.8)
    assert "weighed.listed" in {a.key for a in evaluate(loaded, samples=0).assumptions}

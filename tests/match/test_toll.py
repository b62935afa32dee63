"""What a cause costs, said without playing: by hand, and no less than what matches with and without it differ by."""

from __future__ import annotations

import pytest

from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.match import play_runs
from fieldworthy.match.ability import planned
from fieldworthy.match.forecast import drawn_setup
from fieldworthy.match.setup import with_ability
from fieldworthy.match.toll import toll_of
from fieldworthy.robot import load_robot
from robots import EXAMPLES, example_copy

MARTEN = EXAMPLES.parent / "marten" / "mk1.yaml"
RIVAL = "    rival: {mass: 7 kg, grip: 0.9}\n"


def tolls(loaded):
    """What each cause of a robot costs, by the id of what leads it."""
    report = evaluate(loaded, samples=0)
    return {cause.lead.id: toll_of(loaded, cause, report.findings) for cause in report.causes}


def played(loaded, **can):
    """Mean points of 4,000 matches of the robot as written, with shares of tries that its mechanisms leave."""
    shares = {name.replace("_", " "): share for name, share in can.items()}
    match = with_ability(drawn_setup(loaded, Cases(0, 0, 0, [])), shares)
    return float(play_runs(match, 4000).points.mean())


def marten(pulls=""):
    """The third example, with how often a rival pulls."""
    text = MARTEN.read_text(encoding="utf-8")
    return load_robot(MARTEN, text.replace(RIVAL, RIVAL.replace("0.9", f"0.9{pulls}")))


def test_every_cause_has_its_points_in_the_example():
    """Hanging earns 20 points once, after 11 of 16 tries with a chance of 12 / 18; no other cause stops an action."""
    found = tolls(load_robot(EXAMPLES / "mk1.yaml"))
    assert len(found) > 4
    assert {i: one.points for i, one in found.items() if one.points} == {
        "air.pressure.hooks": pytest.approx(20.0 * 12.0 / 18.0)
    }


def test_what_a_rival_takes_is_lost_as_often_as_one_pulls():
    """Leaving the crate earns 6 points after 19 of 20 tries: 6 x 20 / 22 where a rival pulls in every match."""
    (unsaid,) = tolls(marten())["clamp.sideways.crate hook"].shares
    assert unsaid.points == pytest.approx(6.0 * 20.0 / 22.0)
    assert unsaid.sentence == (
        "Where a rival pulls, 'leave crate' is lost, up to 5 points a match; the file does not say how often one pulls."
    )
    assert tolls(marten())["clamp.sideways.crate hook"].points == 0.0
    often = marten(", pulls: 50 %")
    toll = tolls(often)["clamp.sideways.crate hook"].points
    assert toll == pytest.approx(0.5 * 6.0 * 20.0 / 22.0)
    differ = played(often, leave_crate=1.0) - played(often, leave_crate=0.5)
    assert 0.5 * toll < differ < toll + 0.2  # the crate is not always hooked before it can be left


def test_an_unwanted_piece_takes_the_points_of_the_good_one_whose_place_it_fills(tmp_path):
    """An ejector that is always late, where nobody counted: half of the tries are lost, and what they would score."""
    unpractised = ("    practice: {successes: 34, attempts: 40}\n", "")
    late = ("ejector: {cylinder: gate, distance: 200 mm}", "ejector: {cylinder: gate, distance: 1 mm}")
    loaded = load_robot(example_copy(tmp_path, unpractised, late))
    toll = next(toll for toll in tolls(loaded).values() if any(one.action == "take pods" for one in toll.shares))
    differ = played(loaded, take_pods=1.0) - played(loaded, take_pods=0.5)
    assert 5.0 < differ <= toll.points
    assert "So tries of 'take pods' are lost, which costs up to" in " ".join(toll.sentences)


def test_a_list_that_is_repeated_until_a_time_has_a_bound_too(tmp_path):
    """Taking takes 2.2 s and tipping 2.5 s: ceil(60 / 4.7) = 13 rounds begin within a minute, where 4 were planned."""
    text = (EXAMPLES / "mk1.yaml").read_text(encoding="utf-8")
    loaded = load_robot(EXAMPLES / "mk1.yaml", text.replace("    - times: 4\n", "    - until: 60 s\n", 1))
    before = planned(load_robot(EXAMPLES / "mk1.yaml").nominal)
    assert planned(loaded.nominal) == {
        name: times + 9 * (name in ("take pods", "tip pods")) for name, times in before.items()
    }

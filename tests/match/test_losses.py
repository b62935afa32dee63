"""What a failing mechanism costs an action that no practice counts: shares by hand, and practice before all of it."""

from __future__ import annotations

import numpy as np
import pytest

from fieldworthy.engine.evaluate import Cases
from fieldworthy.match import play_runs
from fieldworthy.match.ability import ability, stopped_by
from fieldworthy.match.forecast import drawn_setup
from fieldworthy.match.setup import with_ability, with_chance
from fieldworthy.match.state import DONE
from fieldworthy.robot import load_robot
from robots import EXAMPLES, example, example_copy

UNPRACTISED = ("    practice: {successes: 34, attempts: 40}\n", "")
MARTEN = EXAMPLES.parent / "marten" / "mk1.yaml"
CLIMBS = ("    practice: {successes: 2, attempts: 9}\n", "")
LATE = ("ejector: {cylinder: gate, distance: 200 mm}", "ejector: {cylinder: gate, distance: 1 mm}")


def test_what_is_sorted_wrongly_is_lost_where_nobody_counted(tmp_path):
    """An ejector that is always late throws nothing: every unwanted piece stays, one in two where each is half."""
    loaded = load_robot(example_copy(tmp_path, UNPRACTISED, LATE))
    found = ability(loaded, Cases(0, 0, 100, []))
    assert found.can["take pods"][0] == pytest.approx(0.5, abs=1e-3)
    (loss,) = (one for one in found.losses if one.action == "take pods")
    assert loss.finding == "sort.error.sorter"
    assert loss.share == pytest.approx(0.5, abs=0.02)
    assert loss.sentence.startswith(
        "Heron mk1: 'take pods' was never practised, so the forecast takes what is computed: "
    )


def test_what_a_clamp_misses_is_lost_where_nobody_counted(tmp_path):
    """Nothing is missed within the file's errors; of places up to 1 m off those within the said window are caught."""
    grip, errors = ("    practice: {successes: 27, attempts: 30}\n", ""), "    yaw_error: 0 deg\n    side_error: 1 m\n"
    assert ability(load_robot(example_copy(tmp_path, grip)), Cases(0, 0, 0, [])).can["grip planter"][0] == 1.0
    file = example_copy(tmp_path, grip, ("    throat:", f"{errors}    throat:"))
    wide = ability(load_robot(file), Cases(0, 0, 0, []))
    # half of the planter's 420 mm side less half of the gap between the stops, as the seat's sentence says: 130 mm
    assert wide.can["grip planter"][0] == pytest.approx(0.13, abs=1.0 / 9.0)
    assert [one.finding for one in wide.losses if one.action == "grip planter"] == ["clamp.miss.clamp"]
    assert "leave planter" not in {one.action for one in wide.losses if not one.told_by}


def test_practice_goes_before_what_is_computed(tmp_path):
    found = ability(load_robot(example_copy(tmp_path, LATE)), Cases(0, 0, 100, []))
    assert "take pods" not in found.can
    assert [one for one in found.losses if one.action == "take pods"] == []


def test_a_share_of_the_tries_is_lost_in_the_match(tmp_path):
    """Tries that would work four times of five, of which three in ten are lost: 0.8 times 0.7, a product of chances."""
    loaded = load_robot(example_copy(tmp_path))
    match = drawn_setup(loaded, Cases(0, 0, 0, []))
    match = with_ability(with_chance(match, "take pods", 0.8), {"take pods": 0.7})
    played = play_runs(match, 4000)
    at = match.actions.index("take pods")
    ended = np.asarray(played.ended)[:, at].sum(axis=0)
    tries = ended.sum()
    assert tries > 4000
    assert ended[DONE] / tries == pytest.approx(0.56, abs=4.0 * (0.56 * 0.44 / tries) ** 0.5)


def marten(*changes):
    """The third example with pieces of its file changed."""
    text = MARTEN.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    return load_robot(MARTEN, text)


def test_a_climb_that_falls_after_the_match_earns_nothing():
    """A motor without current gives no torque (Hughes): without a latch what it has lifted falls in every case."""
    found = ability(marten(CLIMBS), Cases(0, 0, 50, []))
    assert found.can["climb"].tolist() == [0.0] * 51
    assert found.contradictions == ()
    latched = ability(
        marten(CLIMBS, ("    rides: hooks\n", "    rides: hooks\n    latch: true\n")), Cases(0, 0, 50, [])
    )
    assert latched.can["climb"][0] == 1.0


def test_practice_against_several_findings_is_told_once():
    """Hooks that stay 40 mm below the bar and motors that hold nothing: neither follows from the other."""
    (one,) = ability(marten(("[-95 mm, 555 mm]", "[-95 mm, 500 mm]")), Cases(0, 0, 50, [])).contradictions
    assert {one.finding, *one.others} == {"climb.reach.winch", "climb.hold.winch"}
    assert one.chance == 0.0
    assert {*one.checks} == {"the check 'climber winch: reach'", "the check 'climber winch: hold'"}
    assert f"by {one.checks[0]} and {one.checks[1]} no robot" in one.sentence


def test_practice_is_asked_whether_it_still_hung():
    (one,) = ability(marten(), Cases(0, 0, 50, [])).contradictions
    assert one.sentence == (
        "Marten mk1: in practice 'climb' worked 2 of 9 times; by the check 'climber winch: hold' no robot within "
        "the tolerances can do it when the plan gets there. Did it still hang when it was counted, "
        "with its motors off and no air added?"
    )


def test_what_a_failing_check_costs_is_what_the_plan_would_earn():
    """Hanging earns 20 points once; after 11 of 16 tries the next works with 12 of 18, by Laplace's rule: 13.3."""
    (climb,) = stopped_by(example("mk1"), ["air.pressure.hooks", "climb.lift.hooks", "climb.hold.hooks"])
    assert climb.points == pytest.approx(20.0 * 12.0 / 18.0)
    assert climb.sentence == (
        "So 'climb' fails, which costs up to 13 points a match; in practice it worked 11 of 16 times."
    )
    assert stopped_by(example("mk1"), ["balance.tip.forward", "tracking.position"]) == ()
    # no air is in it, so the forecast goes by practice
    (kept,) = stopped_by(marten(), ["climb.hold.winch"])
    assert kept.counts
    assert kept.sentence.endswith("but in practice it worked 2 of 9 times: the forecast counts practice.")


def test_a_repeated_action_costs_no_more_than_the_season_counts(tmp_path):
    """Hanging counts once, however often the plan does it; never practised, it is taken to work."""
    again = ("  finish:\n", "    - times: 4\n      repeat:\n        - {action: climb, at: rafter}\n  finish:\n")
    never = ("    practice: {successes: 11, attempts: 16}\n", "")
    loaded = load_robot(example_copy(tmp_path, never, again))
    (climb,) = stopped_by(loaded, ["climb.lift.hooks"])
    assert (climb.points, climb.attempts) == (20.0, 0)
    assert climb.sentence == "So 'climb' fails, which costs up to 20 points a match."


def test_a_wish_that_is_missed_costs_nothing_until_nothing_is_left():
    """A robot that hangs 10 mm above the floor where 20 mm were wished for has left the floor all the same."""
    latch = ("    rides: hooks\n", "    rides: hooks\n    latch: true\n")
    hangs = marten(CLIMBS, latch, ("clearance: 20 mm", "clearance: 300 mm"))
    assert ability(hangs, Cases(0, 0, 0, [])).can["climb"].tolist() == [1.0]
    never = marten(CLIMBS, latch, ("travel: 140 mm", "travel: 2 mm"))
    assert ability(never, Cases(0, 0, 0, [])).can["climb"].tolist() == [0.0]


def test_a_piece_that_no_stage_grips_is_not_taken_in():
    """Rollers that press with next to nothing do not pull a spool up a slope, so none is taken."""
    untaken = ("    practice: {successes: 31, attempts: 36}\n", "")
    text = MARTEN.read_text(encoding="utf-8").replace("press: 7 N", "press: 0.1 N").replace(*untaken)
    found = ability(load_robot(MARTEN, text), Cases(0, 0, 0, []))
    assert found.can["take spools"].tolist() == [0.0]
    assert {one.finding for one in found.losses} >= {"intake.grip.intake.mouth", "intake.grip.intake.ramp"}


@pytest.mark.parametrize(("pulls", "left"), [("", 1.0), (", pulls: 0 %", 1.0), (", pulls: 25 %", 0.75)])
def test_what_a_rival_pulls_out_is_lost_where_one_pulls(tmp_path, pulls, left):
    """A rival of 80 kg pulls with 706 N, more than any force of the jaw: lost is what it pulls at, and no more."""
    heavy = ("rival: {mass: 8 kg, grip: 0.9}", f"rival: {{mass: 80 kg, grip: 0.9{pulls}}}")
    found = ability(load_robot(example_copy(tmp_path, heavy)), Cases(0, 0, 50, []))
    assert found.can["leave planter"] == pytest.approx(np.full(51, left))
    losses = [one for one in found.losses if one.action == "leave planter"]
    assert len(losses) == (left < 1.0 or not pulls)
    assert not [c for c in found.contradictions if c.action == "leave planter"]  # in practice nobody pulled
    if not pulls:
        assert losses[0].sentence == (
            "Heron mk1: where a rival pulls, 'leave planter' loses 100 % of its tries by the check 'clamp: hold'. "
            "The file does not say how often a rival pulls ('pulls' of the rival of 'clamp'), so the forecast counts "
            "none."
        )
    elif losses:
        assert losses[0].sentence == (
            "Heron mk1: a rival pulls in 25 % of the tries of 'leave planter' ('pulls' of the rival of 'clamp'): 25 % "
            "of all are lost by the check 'clamp: hold', on top of what practice counts."
        )


def test_a_pull_that_two_findings_lose_comes_once(tmp_path):
    """Every other time a rival of 180 kg pulls: neither friction nor jaw holds 1.6 kN, so half of the tries fail."""
    (line,) = (one for one in MARTEN.read_text(encoding="utf-8").splitlines() if "rival:" in one)
    found = ability(marten((line, "    rival: {mass: 180 kg, pulls: 50 %}")), Cases(0, 0, 0, []))
    assert found.can["leave crate"].tolist() == [0.5]
    told = {one.finding for one in found.losses if one.action == "leave crate"}
    assert told == {"clamp.hold.crate hook", "clamp.sideways.crate hook"}

"""The decision of the example as a team reads it: as it is, with a variant that is illegal, short, untried or the same.

The sentences are written here by hand; their numbers are held to what they must agree with, since other tests hold the
forecast itself to something outside.
"""

from __future__ import annotations

import re

import pytest

from fieldworthy.cli.checking import _together
from fieldworthy.decide.compare import compare
from fieldworthy.decide.matrix import argument, leading, matrix
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot
from robots import example, example_file

RUNS = 2000
ARM = 'motors: [{motor: "smart motor, 11 W class, 100 rpm"}]'
COUNTS = "    practice: {successes: 9, attempts: 12}\n"
CONTRADICTION = (
    "Heron mk1: in practice 'climb' worked # of # times; by the check 'climber hooks: lift' no robot within "
    "the tolerances can do it when the plan gets there. At what tank pressure was it practised? In the plan the tank "
    "is no longer full by then."
)
LEAD = (
    "scores # points a match more than Heron mk1 (# % interval # to #, over what is not known of the robots); the "
    "chance "
    "that it is truly better is"
)


def mk2(*changes):
    """The example's second robot with pieces of its file changed."""
    file = example_file("mk2")
    text = file.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return load_robot(file, text)


def masked(text):
    """A text with every number as '#', names of robots kept."""
    return re.sub(r"(?<!mk)-?\d+(\.\d+)?", "#", text)


@pytest.fixture(scope="module")
def mk1():
    return example("mk1")


@pytest.fixture(scope="module")
def plain(mk1):
    return compare([mk1, mk2()], RUNS)


def test_the_example_as_it_is(plain):
    # a lead that practice, if it is right, leaves less than nine times in ten is told with that condition
    open_ = ", unless 'climb' works with Heron mk1 as practice says" if plain.disputes[0].chance < 0.9 else ""
    assert masked(plain.recommendation) == (
        f"Choose Heron mk2{open_}. It {LEAD} # %. # of the # points come from 'hang from rafter': with Heron mk2 "
        f"'climb' no longer lacks air (once a match before), because 'tray' no longer uses tank 'left'. "
        f"{CONTRADICTION} "
        "If 'climb' works with Heron mk1 as practice says, Heron mk2 leads by # points only (# to #). Nothing is "
        "surely short on Heron mk2. Heron mk1 is compared as it is. If the checks that are short on it can be mended "
        "in less than # h, mend a copy of its file and compare that too; 'fieldworthy check' says how. One check of "
        "Heron mk2 is likelier to fail than to work: 'pose loaded: tip, forward' (# % that it works). "
        "The answer would turn if 'tip pods' with Heron mk2 succeeded in # % of the tries; "
        "practice says # %."
    )
    assert plain.chosen == "Heron mk2"
    gap, (dispute,) = plain.difference[0].difference, plain.disputes
    # practice has the climb at (11 + 1) / (16 + 2) of 20 points by the rule of Laplace, the forecast at next to nothing
    assert gap - dispute.difference == pytest.approx(20 * 12 / 18, abs=1.5)
    climb = next(g for g in plain.gains if g.task == "hang from rafter")
    assert f"{climb.points:.1f} of the {gap:.1f} points come from 'hang from rafter'" in plain.recommendation
    assert sum(g.points for g in plain.gains) == pytest.approx(gap, abs=0.05 * len(plain.can_do))


@pytest.mark.long
def test_few_matches_give_no_chance_that_their_interval_denies(mk1):
    """A lead whose 95 % interval reaches below nothing is at most 97.5 % likely."""
    for runs in (60, 300):
        found = compare([mk1, mk2()], runs)
        (span,), (chance,), (dispute,) = found.interval, found.chance, found.disputes
        assert (span.low > 0.0) == (chance.mean > 0.975)
        assert (dispute.interval[0] > 0.0) == (dispute.chance > 0.975)
        assert f"{span.low:.1f} to {span.high:.1f}" in found.recommendation


def test_one_variant_is_illegal(mk1):
    """A second motor on the arm: nine motors of 11 W are 99 W of the 90 allowed."""
    found = compare([mk1, mk2((ARM, ARM.replace('rpm"}', 'rpm", count: 2}')))], RUNS)
    assert found.recommendation.startswith(
        "Heron mk2 cannot be entered: The motors' power counts as 99 W, more than the 90 W allowed. Heron mk1 is the "
        "only "
        "one of these that can be entered. Still short on it: "
    )
    assert "Choose" not in found.recommendation
    assert found.recommendation.count("At what tank pressure was it practised?") == 1
    assert found.chosen is None
    assert found.work.jobs == ()
    made = matrix(found, [evaluate(v, samples=0) for v in (mk1, mk2())])
    assert made.barred == ("Heron mk2",)
    assert leading(made) == "The matrix has nothing to decide. Heron mk2 cannot be entered and does not count."


def test_one_variant_has_its_mechanism_short_and_was_never_practised(mk1):
    """Swung by 8 degrees the arm stays below the gutter: what it cannot reach earns nothing."""
    found = compare([mk1, mk2(("swing: 70 deg", "swing: 8 deg"), (COUNTS, ""))], RUNS)
    assert "lift.target.arm" in found.entry[1].short
    points = {g.task: g for g in found.gains}["pod in gutter"]
    assert points.points < -15
    assert points.because.startswith("'tip pods' cannot be done ")
    assert found.chosen != "Heron mk2"
    assert masked(found.recommendation).startswith("Heron mk1 scores # points") or found.chosen == "Heron mk1"
    # what more than makes up the lead is not called a part of it, and the finding that stops the action is named
    back = next(g for g in found.gains if g.task == "hang from rafter")
    alone = re.search(r"The task 'pod in gutter' alone makes (\S+) points: with Heron mk2 'tip pods' cannot be done "
                      r"\(\S+ times a match, never before\); 'hang from rafter' takes (\S+) of them back\.",
                      found.recommendation)  # fmt: skip
    assert [float(alone[1]), float(alone[2])] == pytest.approx([-points.points, back.points], abs=0.051)
    assert (
        "Heron mk2: 'tip pods' was never practised, so the forecast takes what is computed: 100 % of its tries are "
        "lost by the check 'mechanism arm: target'."
    ) in found.recommendation
    assert "any chance from 0 to 100 %" not in found.recommendation
    thoughts = found.thoughts
    assert sum("At what tank pressure was it practised?" in t and "in practice 'climb'" in t for t in thoughts) == 1


@pytest.mark.long
def test_practice_against_a_mechanism_that_is_short_is_named(mk1):
    found = compare([mk1, mk2(("swing: 70 deg", "swing: 8 deg"))], RUNS)
    said = masked(found.recommendation)
    assert (
        "Heron mk2: in practice 'tip pods' worked # of # times; by the check 'mechanism arm: target' no robot within "
        "the tolerances can do it when the plan gets there. Which of the file's dimensions differs "
        "from the robot that was practised with? Measure it again."
    ) in said
    assert "Still short on it: " in said
    assert "'mechanism arm: target'" in found.recommendation


def test_an_unbuilt_arm_without_counts(mk1):
    found = compare([mk1, mk2((COUNTS, ""))], RUNS)
    assert masked(found.recommendation) == (
        f"Heron mk2 {LEAD} # %. That is too little to choose by. With Heron mk2 'tip pods' was never practised and its "
        f"mechanism is not built: any chance from # to # % is taken as equally likely. {CONTRADICTION} Practise 'tip "
        "pods' with Heron mk2: the answer turns at a success chance of # %; it was never practised."
    )
    assert found.chosen is None
    span = found.interval[0]
    assert span.low < -10
    assert span.high > 10
    tries = next(j for j in found.work.jobs if "with Heron mk2" in j.what)
    assert re.fullmatch(r"Build 'arm', then try 'tip pods' with Heron mk2 \d+ times more, then choose", tries.what)
    assert tries.hours > 11.0
    assert masked(found.work.told) == (
        "Knowing all that is open would bring # points a match, since it would tell whether Heron mk1 or Heron mk2 is "
        "better. Most of that hangs on how often 'tip pods' with Heron mk2 works (#). Ask first whether practice is "
        "right about 'climb' with Heron mk1."
    )


def test_two_identical_plans(mk1):
    found = compare([mk1, mk1], 200)
    assert found.recommendation == (
        "Heron mk1 (file 1) and Heron mk1 (file 2) play the same plan and score the same in every match: nothing in "
        "the "
        "forecast tells them apart."
    )
    assert found.work.told == "They score the same whatever is found out, so there is nothing to find out first."
    assert found.work.jobs == ()
    assert [d.difference for d in found.disputes] == [0.0]  # practice is right about both or about neither


@pytest.mark.long
def test_files_with_one_name_are_told_apart_by_their_files(tmp_path, mk1):
    file = example_file("mk2")
    other = load_robot(file, file.read_text(encoding="utf-8").replace("robot: Heron mk2", "robot: Heron mk1", 1))
    found = compare([mk1, other], 200)
    assert {g.variant for g in found.difference} == {"Heron mk1 (mk2)"}
    assert [h.variant for h in found.hours] == ["Heron mk1 (mk1)", "Heron mk1 (mk2)"]
    assert found.chosen == "Heron mk1 (mk2)"
    assert found.recommendation.startswith("Choose Heron mk1 (mk2)")


@pytest.mark.long
def test_matrix_and_recommendation_are_one_argument(plain, mk1):
    reports = [evaluate(v, samples=0) for v in (mk1, mk2())]
    by_hours, by_points = (matrix(plain, reports, {name: 1.0}) for name in ("hours", "points"))
    assert leading(by_hours).startswith("By these weights Heron mk1 leads")
    assert argument(by_hours, plain) == (
        "The recommendation chooses Heron mk2 all the same, since it looks at points and at whether the hours suffice; "
        "the matrix puts Heron mk1 first because of hours, by the weights that the team gave."
    )
    assert argument(by_points, plain) == "The recommendation chooses Heron mk2 too."


def test_one_doubt_is_told_once_on_the_first_screen():
    """What is pressed by air has the doubt of its pressure, and two tanks with one charge have the same."""
    report = evaluate(mk2(), samples=400)
    groups = {group[0].id: [(f.id, f.subject) for f in group] for group in _together(report.of("close"))}
    assert [i for i, _ in groups["air.pressure.side arms"]] == ["air.pressure.side arms", "grabber.force.side arms"]
    assert [s for _, s in groups["limits.charge_pressure"]] == ["tank left", "tank right"]
    assert sum(map(len, groups.values())) == len(report.of("close"))

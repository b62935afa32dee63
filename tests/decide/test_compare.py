"""Comparisons against closed forms by hand, a flip that is written back into the file, and what people get wrong."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from scipy.stats import beta

from edge import run as command
from fieldworthy.decide.compare import Comparison, compare
from fieldworthy.decide.recommend import limits
from fieldworthy.engine.evaluate import BLOCK, evaluate
from fieldworthy.engine.finding import as_data, json_schema
from fieldworthy.match import blocks, timeline
from fieldworthy.match.components import EACH
from ringing import MANY, POINTS, SEASON, bot
from robots import GONE, changed, example, load, nominal

RUNS = 4000
WHOLE = BLOCK - BLOCK % EACH


@pytest.fixture
def put(tmp_path):
    """Writes a robot with the season into a folder of its own and reads it."""

    def write(robot, season=SEASON):
        folder = tmp_path / robot["robot"]
        folder.mkdir(exist_ok=True)
        return load(folder, robot, season)

    return write


def test_same_file_twice(put):
    one = put(bot("one", 6, 0.6))
    found = compare([one, one], 100)
    assert found.difference[0].difference == 0
    assert (found.interval[0].low, found.interval[0].high) == (0, 0)
    assert (found.chance[0].match, found.chance[0].equal, found.chance[0].mean) == (0, 1, 0.5)
    assert found.findings_changed == ()
    assert found.flip[0].action is None
    assert "play the same plan and score the same in every match" in found.recommendation
    assert "more runs" not in found.recommendation


def test_known_chances(put, evidence):
    """Six tries that ring with 0.4 or 0.6, on the same luck: in each try the second alone succeeds with 0.2."""
    found = compare([put(bot("one", 6, 0.4)), put(bot("two", 6, 0.6))], RUNS, seed=3)
    gap, span, chance = found.difference[0], found.interval[0], found.chance[0]
    error = POINTS * math.sqrt(6 * 0.2 * 0.8 / RUNS)  # of the paired mean: binomial, by hand
    evidence(
        "compare",
        "Points of two variants and their difference",
        "binomial distribution, by hand",
        "six tries at 0.4 and 0.6 on the same luck",
        "points",
        [gap.difference, gap.first_points, gap.points],
        [6 * POINTS * share for share in (0.2, 0.4, 0.6)],
    )
    assert gap.difference == pytest.approx(6 * POINTS * 0.2, abs=4 * error)
    alone = POINTS * math.sqrt(6 * 0.4 * 0.6 / RUNS)
    assert gap.first_points == pytest.approx(6 * POINTS * 0.4, abs=4 * alone)
    assert gap.points == pytest.approx(6 * POINTS * 0.6, abs=4 * alone)
    # the chances are known from thousands of tries, so the true difference is, however far single matches scatter
    assert span.error == pytest.approx(error, rel=0.15)
    assert span.low <= gap.difference <= span.high
    assert span.high - span.low < 2 * 6 * POINTS * 4 * math.sqrt(0.25 / MANY) + 8 * error
    better = 1 - 0.8**6
    assert chance.match == pytest.approx(better, abs=4 * math.sqrt(better * (1 - better) / RUNS))
    assert chance.match + chance.equal == pytest.approx(1, abs=1e-12)  # never worse on the same luck
    assert found.recommendation.startswith(f"Choose two. It scores {gap.difference:.1f} points a match more than one")


def test_flip(put):
    """Six tries at 0.5 earn as much as eight at 0.375."""
    first, rounds = put(bot("one", 6, 0.5)), 8
    flip = compare([first, put(bot("two", rounds, 0.9, action="swing"))], RUNS).flip[0]
    assert flip.action == "swing"
    error = math.hypot(math.sqrt(6 * 0.25), math.sqrt(rounds * 0.375 * 0.625)) / math.sqrt(RUNS) / rounds
    assert flip.chance == pytest.approx(0.375, abs=4 * error)
    assert flip.practised == pytest.approx(0.9, abs=0.5 / MANY)
    assert flip.at_always - flip.at_never == pytest.approx(rounds * POINTS, abs=1e-9)
    again = compare([first, put(bot("two", rounds, flip.chance, action="swing"))], RUNS)
    # counts give the chance in steps of 0.1 %; what they leave open turns about one try in a hundred of a run over
    step, turned = rounds * POINTS * 0.5 / MANY, POINTS * math.sqrt(rounds * 0.0125 / RUNS)
    assert again.difference[0].difference == pytest.approx(0, abs=step + 4 * turned)
    assert again.interval[0].low < 0 < again.interval[0].high
    assert "too little to choose by" in again.recommendation


def test_flip_out_of_reach(put):
    flip = compare([put(bot("one", 6, 0.9)), put(bot("two", 3, 0.9, action="swing"))], 500).flip[0]
    assert flip.chance is None
    assert flip.sure is None
    assert flip.at_always < 0


def test_few_practice_tries_are_thin_evidence(put):
    few = {"actions": {"swing": {"practice": {"successes": 4, "attempts": 6}}}}
    found = compare([put(bot("one", 6, 0.5)), put(changed(bot("two", 6, 0.5, action="swing"), few))], RUNS)
    flip = found.flip[0]
    # uniform prior: five and three, as SciPy has it
    assert flip.sure == pytest.approx(float(beta(5, 3).sf(flip.chance)), abs=1e-6)
    assert found.interval[0].low < 0 < found.difference[0].difference  # many matches leave it open all the same
    assert found.chance[0].mean == pytest.approx(float(beta(5, 3).sf(0.5)), abs=0.05)
    assert "too little to choose by" in found.recommendation
    assert "Practise 'swing'" in found.recommendation


def test_task_made_impossible(put):
    one = put(bot("one", 6, 0.5))
    two = put(bot("two", 6, 0.5, mechanisms={"ringer": {"can": GONE}}))
    able = {(a.variant, a.task): a for a in compare([one, two], 50).can_do}
    assert able["one", "bell"].can
    assert able["one", "bell"].by == ("ringer",)
    assert not able["two", "bell"].can
    assert able["two", "bell"].planned
    assert able["two", "bell"].lacks == ("ring",)
    assert able["one", "drum"].lacks == ("beat",)
    assert not able["one", "drum"].planned


@pytest.mark.parametrize(
    ("work", "left", "enough"),
    [
        ("3 h", "6 h", "yes"),
        ("3 h", "5.5 h", "perhaps"),
        ("3 h", "4.5 h", "perhaps"),
        ("9 h", "5 h", "no"),
        ("3 h", GONE, None),
    ],
)
def test_hours(put, work, left, enough):
    """Two mechanisms, 2 h and what is given ± 1 h."""
    more = {"wing": {"kind": "plain", "build_time": {"value": work, "tolerance": "1 h", "basis": "estimate"}}}
    two = bot("two", 6, 0.8, mechanisms=more, hours_left=left)
    found = compare([put(bot("one", 6, 0.4)), put(two)], 500)
    assert found.hours[1].needed == pytest.approx(2 + float(work.split()[0]), rel=1e-9)
    assert found.hours[1].tolerance == pytest.approx(1, rel=1e-9)
    assert found.hours[1].enough == enough
    assert ("It is not recommended yet" in found.recommendation) == (enough != "yes")


def test_hours_suffice(put):
    found = compare([put(bot("one", 6, 0.4)), put(bot("two", 6, 0.8))], 500)
    assert found.hours[1].enough == "yes"
    assert found.hours[1].left == pytest.approx(5, rel=1e-9)
    assert found.recommendation.startswith("Choose two")


def test_findings_and_limits(put):
    season = changed(SEASON, {"limits": {"mass": "8 kg"}})
    heavy = bot("two", 6, 0.5, parts={"box": {"mass": "9 kg"}})
    found = compare([put(bot("one", 6, 0.5), season), put(heavy, season)], 50)
    mass = next(c for c in found.findings_changed if c.id == "limits.mass")
    assert (mass.first, mass.then) == ("holds", "short")
    shares = {u.variant: u.share for u in found.limits_used if u.id == "limits.mass"}
    assert shares == {"one": pytest.approx(7 / 8, rel=1e-9), "two": pytest.approx(9 / 8, rel=1e-9)}


def test_three_files_are_held_against_the_first(put):
    found = compare([put(bot("one", 6, 0.4)), put(bot("two", 6, 0.6)), put(bot("three", 6, 0.8))], 500)
    assert [d.variant for d in found.difference] == ["two", "three"]
    assert [d.first for d in found.difference] == ["one", "one"]
    assert found.difference[1].difference == pytest.approx(12, abs=4 * POINTS * math.sqrt(6 * 0.24 / 500))
    assert [h.variant for h in found.hours] == ["one", "two", "three"]
    assert found.recommendation.startswith("Choose three. It scores 6")
    assert "than two" in found.recommendation


def test_json_follows_its_schema(put):
    data = json.loads(json.dumps(as_data(compare([put(bot("one", 6, 0.4)), put(bot("two", 6, 0.6))], 50))))
    Draft202012Validator(json_schema(Comparison)).validate(data)
    assert list(data) == [
        "format", "difference", "interval", "chance", "can_do", "findings_changed", "limits_used", "hours", "flip",
        "recommendation", "gains", "entry", "contradictions", "disputes", "work", "chosen",
    ]  # fmt: skip


def test_command(put):
    one, two = (str(put(r).document.file) for r in (bot("one", 6, 0.4), bot("two", 6, 0.6)))
    ran = command("compare", one, two, "--runs", "200", "--json")
    assert ran.code == 0
    data = json.loads(ran.out)
    assert data["difference"][0]["runs"] == 200
    told = command("schema", "compare")
    assert told.code == 0
    Draft202012Validator(json.loads(told.out)).validate(data)
    assert command("compare", one, two, "--runs", "200", "--json").out == ran.out
    shown = command("compare", one, two, "--runs", "200")
    assert shown.code == 0
    thoughts = " ".join(shown.out.split())
    assert data["recommendation"] in thoughts


@pytest.mark.parametrize("extra", [["--runs", "1"], ["--runs", "many"], ["--seed", "-1"]])
def test_bad_options(put, extra):
    one = str(put(bot("one", 6, 0.4)).document.file)
    assert command("compare", one, one, *extra).code == 2


def test_bad_files(put, tmp_path):
    one = str(put(bot("one", 6, 0.4)).document.file)
    assert command("compare", one).code == 2
    assert command("compare", one, str(tmp_path / "none.yaml")).code == 2
    other = str(put(bot("two", 6, 0.4), changed(SEASON, {"season": "Another"})).document.file)
    ran = command("compare", one, other)
    assert ran.code == 2
    assert "season: expected the season of the first file" in ran.err.replace("'", "")
    bare = str(put(bot("bare", 6, 0.4, plan=GONE)).document.file)
    ran = command("compare", one, bare)
    assert ran.code == 2
    assert "plan" in ran.err


def test_air_used_is_the_charge_less_what_the_plan_leaves():
    """The end of the timeline, where every try works and no air is lacking, is another computation of the same."""
    mk2 = example("mk2")
    used = {u.id: u for u in limits(evaluate(mk2, samples=0))}
    end = timeline(nominal(mk2)).events[-1].pressure
    for name in ("left", "right"):
        entry = used[f"air.tank.{name}"]
        assert entry.allowed == pytest.approx(6.9, rel=1e-9)  # bar, as the file states
        assert entry.used == pytest.approx(
            6.9 - end[name] / 1e5, abs=0.069
        )  # the plan of the checks has no leak after it
        assert entry.share == pytest.approx(entry.used / 6.9, rel=1e-9)


def test_a_plan_that_counts_on_the_impossible_is_not_recommended(put):
    found = compare([put(bot("one", 6, 0.4)), put(bot("two", 6, 0.8, mechanisms={"ringer": {"can": GONE}}))], 500)
    assert found.interval[0].low > 0
    assert "counts on what no mechanism of it can do: bell" in found.recommendation
    assert "Choose" not in found.recommendation


def test_interrupting_keeps_the_matches_played(put, monkeypatch):
    one, two = put(bot("one", 6, 0.4)), put(bot("two", 6, 0.6))
    whole = compare([one, two], WHOLE, seed=5)

    def stopped(loaded, runs, seed):
        yield next(blocks(loaded, runs, seed))
        raise KeyboardInterrupt

    monkeypatch.setattr("fieldworthy.decide.compare.blocks", stopped)
    ran = command("compare", one.document.file, two.document.file, "--runs", 3 * BLOCK, "--seed", 5, "--json")
    assert ran.code == 130
    assert f"interrupted after {WHOLE} of {3 * BLOCK} runs" in ran.err
    data = json.loads(ran.out)
    assert data["difference"][0]["runs"] == WHOLE
    assert data["difference"][0]["difference"] == whole.difference[0].difference


def test_interrupting_before_the_first_matches_prints_nothing(put, monkeypatch):
    file = put(bot("one", 6, 0.4)).document.file

    def stopped(loaded, runs, seed):
        if runs:
            raise KeyboardInterrupt
        yield next(blocks(loaded, runs, seed))

    monkeypatch.setattr("fieldworthy.decide.compare.blocks", stopped)
    ran = command("compare", file, file)
    assert (ran.code, ran.out) == (130, "")


def test_more_matches_do_not_shrink_what_is_not_known(put):
    few = {"actions": {"swing": {"practice": {"successes": 6, "attempts": 10}}}}
    pair = [put(bot("one", 6, 0.5)), put(changed(bot("two", 6, 0.5, action="swing"), few))]
    spans = [compare(pair, runs, seed=1).interval[0] for runs in (2000, 16_000)]
    # by hand: six tries of POINTS at a chance of the Beta posterior, as SciPy has its quantiles
    low, high = (6 * POINTS * (float(beta(7, 5).ppf(q)) - 0.5) for q in (0.025, 0.975))
    for span in spans:
        assert span.low == pytest.approx(low, abs=0.1 * (high - low))
        assert span.high == pytest.approx(high, abs=0.1 * (high - low))
    assert spans[1].error < 0.5 * spans[0].error


def counts(action, successes, attempts):
    return {"actions": {action: {"practice": {"successes": successes, "attempts": attempts}}}}


def test_practice_of_two_mechanisms_is_two_beliefs(put):
    """Both have the action, each its own tries of it: the difference is that of two beta variables, by SciPy."""
    pair = [put(changed(bot(n, 6, 0.5), counts("ring", *c))) for n, c in (("one", (2, 9)), ("two", (5, 7)))]
    found = compare(pair, 4000, seed=2)
    p = (np.arange(500) + 0.5) / 500
    gaps = 6 * POINTS * np.sort((beta(6, 3).ppf(p)[:, None] - beta(3, 8).ppf(p)).ravel())
    low, high = np.quantile(gaps, [0.025, 0.975])
    spread = 0.1 * (high - low)
    assert found.interval[0].low == pytest.approx(low, abs=spread)
    assert found.interval[0].high == pytest.approx(high, abs=spread)
    assert found.chance[0].mean == pytest.approx(np.mean(gaps > 0), abs=0.02)


def test_practice_of_one_mechanism_is_one_belief(put):
    """The same tries tell of both robots: that one does it twice as often is then sure, however few they were."""
    pair = [put(changed(bot(n, rounds, 0.5), counts("ring", 5, 7))) for n, rounds in (("one", 3), ("two", 6))]
    found = compare(pair, 4000, seed=2)
    low, high = (3 * POINTS * float(beta(6, 3).ppf(q)) for q in (0.025, 0.975))
    assert found.interval[0].low == pytest.approx(low, abs=0.1 * (high - low))
    assert found.interval[0].high == pytest.approx(high, abs=0.1 * (high - low))
    assert found.chance[0].mean > 0.99


def test_the_difference_is_told_task_by_task(put):
    found = compare([put(bot("one", 6, 0.4)), put(bot("two", 6, 0.6))], RUNS, seed=3)
    (gain,) = found.gains
    assert (gain.variant, gain.task) == ("two", "bell")
    assert gain.points == pytest.approx(found.difference[0].difference, abs=1e-6)
    assert gain.because == "'ring' fails 2.4 times a match instead of 3.6"  # 6 tries at 0.6 and at 0.4


def test_a_variant_over_a_limit_cannot_be_entered(put):
    season = changed(SEASON, {"limits": {"mass": "8 kg"}})
    heavy = bot("two", 6, 0.9, parts={"box": {"mass": "9 kg"}})
    found = compare([put(bot("one", 6, 0.4), season), put(heavy, season)], 500)
    assert found.difference[0].difference > 0
    assert found.recommendation.startswith("two cannot be entered: The parts weigh 9 kg")
    assert "Choose two" not in found.recommendation
    assert "one is the only one of these that can be entered" in found.recommendation
    assert [bool(e.breaks) for e in found.entry] == [False, True]
    shown = compare([put(heavy, season), put(heavy, season)], 50)
    assert shown.recommendation.endswith("Mend that first, then compare again.")


def test_what_is_not_built_and_was_never_practised_is_not_taken_to_work(put):
    unbuilt = bot("two", 6, 0.9, action="swing")
    unbuilt["actions"]["swing"].pop("practice")
    found = compare([put(bot("one", 6, 0.4)), put(unbuilt)], 2000)
    # any chance is as likely as any other: half of the tries on average, and nearly everything is possible
    assert found.difference[0].points == pytest.approx(6 * POINTS * 0.5, rel=0.1)
    assert found.interval[0].high - found.interval[0].low > 0.8 * 6 * POINTS
    assert "too little to choose by" in found.recommendation

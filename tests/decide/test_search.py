"""Search: what may vary, what people get wrong, and the best held against trying every candidate by its own file."""

from __future__ import annotations

import csv
import dataclasses
import itertools
import json
import math

import numpy as np
import pytest
from jsonschema import Draft202012Validator

import fieldworthy
from edge import run as command
from fieldworthy.decide.search import Budget, How, search, write_variant
from fieldworthy.decide.search.clash import Nearest
from fieldworthy.decide.search.plans import Planner, changes_of, rounds_of
from fieldworthy.decide.search.propose import Proposer
from fieldworthy.decide.search.racing import Race
from fieldworthy.decide.search.result import FRESH, Judge
from fieldworthy.decide.search.space import what_varies
from fieldworthy.decide.search.trial import Effort, Trial, built, hours_of
from fieldworthy.decide.search.wanted import asked, from_options
from fieldworthy.decide.search.without import without
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import as_data, json_schema
from fieldworthy.files import BadInput, Document, read_document
from fieldworthy.match import blocks
from fieldworthy.robot import load_robot
from fieldworthy.robot.editing import edited
from fieldworthy.units import digits
from robots import EXAMPLES, RUNNER, RUNNER_SEASON, changed, example, example_copy, load


@pytest.fixture
def runner(tmp_path):
    """A robot that carries balls from one corner to the other as often as its drive lets it."""
    return load(tmp_path, RUNNER, RUNNER_SEASON)


def wanted(*keys, **more):
    return from_options({"vary": [k if isinstance(k, dict) else {"key": k} for k in keys], **more})


def by_file(loaded, space, row, runs, seed):
    """Mean points of a candidate whose file is written, read and played."""
    texts = edited(loaded, space.edits(row))
    variant = load_robot(loaded.document.file, None, {**loaded.texts, **texts})
    return float(np.concatenate([block.points for block in blocks(variant, runs, seed)]).mean())


def test_what_varies_is_the_teams_to_choose():
    found = {v.key: v for v in what_varies(example())}
    assert {"drive.motor", "drive.stages[0].driven", "mechanisms.tray.fixed_pin[0]", "air.cylinders.tray.tank"} <= set(
        found
    )
    assert not [key for key in found if key.startswith(("season", "weighed")) or "build_time" in key]
    pin = found["mechanisms.tray.fixed_pin[0]"]
    assert pin.text(pin.now) == "115 mm"
    assert pin.range_text() == "65 mm to 165 mm, 1 mm apart"
    # gears have whole teeth, a drive as many motors on each side
    assert all(option.text.isdigit() for option in found["drive.stages[0].driven"].options)
    assert [o.text for o in found["drive.motors"].options] == ["2", "4", "6", "8", "10"]


def test_a_motor_that_two_mechanisms_share_varies_where_it_is_described(tmp_path):
    use = {"kind": "plain", "motors": [{"motor": "winch"}]}
    shared = {"winch": {"motor": "smart motor, 5.5 W class, 200 rpm", "count": 2}}
    loaded = load(tmp_path, {"motors": shared, "mechanisms": {"mast": use, "boom": use}})
    keys = {v.key for v in what_varies(loaded)}
    assert {"motors.winch.motor", "motors.winch.count"} <= keys
    assert not [key for key in keys if key.startswith("mechanisms.")]


def test_no_load_is_the_teams_to_choose():
    """docs/remedies.md: loads and weights are never changed."""
    otter, heron = example("otter"), example()
    loads = [(path, q.role) for one in (otter, heron) for path, q in one.quantities if str(path[-1]).endswith("load")]
    assert len(loads) > 5
    assert {role for _, role in loads} == {"fact"}
    assert not [v.key for one in (otter, heron) for v in what_varies(one) if v.key.endswith("load")]


def test_left_and_right_change_together():
    found = {v.key: v for v in what_varies(example())}
    roller = found["rollers.front left.position[1]"]
    assert roller.edits(0.15) == {
        ("rollers", "front left", "position", 1): "150 mm",
        ("rollers", "front right", "position", 1): "-150 mm",
    }
    assert "rollers.front right.position[1]" not in found


def test_a_chain_goes_from_one_whole_length_to_the_next():
    """Two sprockets alike, of 16 teeth, 04C at 6.35 mm (ISO 606): n links are taut at (n - 16) / 2 pitches."""
    key = "mechanisms.intake.stages.rear.chain.centre"
    centre = next(v for v in what_varies(example()) if v.key == key)
    assert 1e3 * centre.grid == pytest.approx([6.35 * (n - 16) / 2 - 0.05 * (n / 2 % 2) for n in range(36, 61, 2)])
    task = asked(example(), wanted({"key": key, "between": ["80 mm", "100 mm"]}, want=["mass"], must=["intake"]))
    trial = Trial(example(), task)
    rows = task.space.every()
    assert len(rows) == 3
    assert np.array_equal(trial.tried(rows).rooms, np.vstack([trial.tried(row[None, :]).rooms for row in rows]))


def test_stars_change_together_and_sections_open():
    space = asked(example(), wanted("rollers.*.clearance", "air.layout", "drive.stages")).space
    keys = [v.key for v in space.variables]
    assert keys[0] == "rollers.*.clearance"
    assert len(space.variables[0].paths) == 2
    assert len([k for k in keys if k.endswith(".tank")]) == 6
    assert keys[-2:] == ["drive.stages[0].driven", "drive.stages[0].driver"]


@pytest.mark.parametrize(
    ("said", "key", "expected"),
    [
        ({"vary": [{"key": "drive.stage"}]}, "vary[0].key", "did you mean 'drive.stages'"),
        ({"vary": [{"key": "drive.braking", "between": ["1", "0.5"]}]}, "vary[0].between", "the smaller value first"),
        ({"vary": [{"key": "drive.braking", "between": [1, 1]}]}, "vary[0].between", "more than one value"),
        ({"vary": [{"key": "mechanisms.tray.fixed_pin[0]", "between": ["40 kg", "90 mm"]}]}, "between[0]", "kg"),
        ({"vary": [{"key": "drive.motor", "values": ["smart motor, 11 W clas, 100 rpm"]}]}, "values[0]", "did you"),
        ({"vary": [{"key": "drive.motor", "between": [1, 2]}]}, "vary[0].between", "one of several things"),
        ({"vary": [{"key": "drive.motors", "between": [9, 3]}]}, "vary[0].between", "the smaller number first"),
        ({"vary": [{"key": "season.limits.mass"}]}, "vary[0].key", "the season's"),
        ({"vary": [{"key": "air.cylinders.hooks.pull_load"}]}, "vary[0].key", "fact to find out"),
        ({"vary": [{"key": "drive.stages"}, {"key": "drive.stages[0].driven", "values": [60]}]}, "", ""),
        ({"vary": []}, "vary", "something that may vary"),
        ({"vary": [{"key": "drive.stages"}], "want": ["pionts"]}, "want[0]", "did you mean 'points'"),
        ({"vary": [{"key": "drive.stages"}], "want": []}, "want", "something that is wanted"),
        ({"vary": [{"key": "drive.stages"}], "must": ["balance.tipp"]}, "must[0]", "did you mean 'balance.tip'"),
        ({"vary": [{"key": "drive.stages"}], "chance": 1.5}, "chance", "at most 1"),
        ({"vary": [{"key": "drive.stages"}], "parts": "solo"}, "parts", "did you mean 'part'"),
        ({"vary": [{"key": "drive.braking", "step": "0", "between": ["0.5", "1"]}]}, "step", "above 0"),
        ({"vary": [{"key": "drive.braking", "values": []}]}, "values", "at least one value"),
    ],
)  # fmt: skip
def test_what_people_get_wrong(said, key, expected):
    if not key:  # a key that two entries vary, varies once
        assert len(asked(example(), from_options(said)).space.variables) == 2
        return
    with pytest.raises(BadInput) as caught:
        asked(example(), from_options(said))
    told = str(caught.value)
    assert key in told
    assert expected in told


def test_a_mistake_in_a_search_file_is_told_by_line_and_column(tmp_path):
    file = example_copy(tmp_path)
    wrong = tmp_path / "search.yaml"
    wrong.write_text("fieldworthy: search 1\nvary:\n  - key: drive.stages\n  - {key: drive.brakng}\n", encoding="utf-8")
    done = command("search", file, wrong)
    assert done.code == 2
    assert "search.yaml:4:11: vary[1].key" in done.err
    assert "did you mean 'drive.braking'?" in done.err


def test_a_plan_that_is_not_there(tmp_path):
    loaded = load(tmp_path)
    with pytest.raises(BadInput, match="a robot with a plan"):
        asked(loaded, wanted("plan"))


def test_candidates_in_a_batch_score_what_their_files_do(runner):
    """The batch is held to each file by itself, written, read and played: same draws, same luck, same points."""
    height = {"key": "parts.box.position[2]", "between": ["95 mm", "170 mm"]}  # lower, it would be below the floor
    task = asked(runner, wanted("drive.stages", "drive.wheels.left front.position[0]", height, keep=False))
    rows = task.space.of_shares(np.random.default_rng(3).random((5, len(task.space.variables))))
    effort = Effort(9, 5)
    tried = Trial(runner, task, 7).tried(np.vstack([task.space.now, rows]), effort)
    for row, worth in zip([task.space.now, *rows], tried.worth[:, 0], strict=True):
        assert worth == pytest.approx(by_file(runner, task.space, row, effort.matches, 7), abs=1e-9)


def test_a_candidate_is_built_as_its_file_would_be():
    loaded = example()
    space = asked(loaded, wanted("mechanisms.tray.fixed_pin[0]", "drive.motor", "air.cylinders.gate.tank")).space
    row = space.now.copy()
    row[0] = 0.11
    row[1:] = 1
    texts = edited(loaded, space.edits(row))
    filed = load_robot(loaded.document.file, None, {**loaded.texts, **texts})
    found = built(loaded, space, row)
    assert found is not None
    assert found.nominal.mechanisms == filed.nominal.mechanisms
    assert found.nominal.air == filed.nominal.air
    assert found.nominal.drive == filed.nominal.drive


@pytest.mark.long
def test_best_gearing_is_that_of_trying_every_one(runner, evidence):
    """121 gearings, each as its own file over the same 800 matches; the race plays a fraction of them."""
    document = wanted("drive.stages", keep=False)
    space = asked(runner, document).space
    runs, points = 800, {}
    ratios: dict[float, float] = {}
    for driver, driven in itertools.product(range(11), repeat=2):
        row = np.array([float(driven), float(driver)])
        ratio = float(space.variables[0].options[driven].text) / float(space.variables[1].options[driver].text)
        if ratio not in ratios:  # the same ratio is the same drive
            ratios[ratio] = by_file(runner, space, row, runs, 0)
        points[driven, driver] = ratios[ratio]
    found = search(runner, document, How(Budget(500), runs=800))
    assert found.candidates == 121
    assert found.best is not None
    chosen = {edit.key: edit.after for edit in found.best.edits}
    sizes = [[o.text for o in v.options] for v in space.variables]
    now = [v.text(v.now) for v in space.variables]
    at = tuple(s.index(chosen.get(v.key, n)) for s, v, n in zip(sizes, space.variables, now, strict=True))
    best = max(points.values())
    evidence(
        "search",
        "Points of the best gearing found",
        "every one of 121 gearings played as a file of its own",
        "11 by 11 stock gears, 800 matches each",
        "points",
        points[at],
        best,
    )
    assert points[at] >= 0.995 * best
    assert points[at] > points[tuple(int(n) for n in space.now)]
    assert found.matches < 0.3 * 121 * runs


def test_a_margin_is_taken_to_where_another_begins_to_break(runner):
    """Load moved forward tips less backward and more forward: the best is where forward has nothing left.

    Static tilt by hand: the centre of gravity falls over the front contact at 0.14 m after turning by
    atan((0.14 - x) / height); it must be 12 degrees or more. The box is all that has mass, its middle 0.12 m high.
    """
    document = wanted({"key": "parts.box.position[0]", "between": ["-100 mm", "139 mm"]}, want=["balance.tip.back"])
    found = search(runner, document, How(Budget(400)))
    assert found.best is not None
    [edit] = found.best.edits
    assert found.best.amounts[0].value > found.best.amounts[0].now
    assert not found.best.breaks
    assert float(edit.after.split()[0]) <= 0.14 - 0.12 * math.tan(math.radians(12.0))
    space = asked(runner, document).space
    row = np.array([float(edit.after.split()[0]) + 0.004])  # a little farther, something that holds now breaks
    farther = Trial(runner, asked(runner, document)).tried(row[None, :], Effort())
    assert farther.lack[0] > 0
    assert space.count == len(space.every())


def test_several_things_wanted_give_what_nothing_beats(runner):
    """Weight forward tips less backward and more forward: along the one number every place gives up one for the other.

    A design beats another where it is no worse in anything and better in something (Pareto): checked pair by pair.
    """
    document = wanted(
        {"key": "parts.box.position[0]", "between": ["-60 mm", "60 mm"]},
        want=["balance.tip.back", "balance.tip.forward"], keep=False,
    )  # fmt: skip
    found = search(runner, document, How(Budget(200)))
    worth = np.array([[a.value for a in design.amounts] for design in found.front])
    assert 3 <= len(worth) <= 8
    for one, other in itertools.permutations(worth, 2):
        assert not (np.all(one >= other) and np.any(one > other))
    assert found.knee is not None
    knee = worth[found.knee]
    assert np.all(knee > worth.min(axis=0))  # no end of the front
    assert "nothing found beats" in found.answer


def test_nothing_can_meet_it(runner):
    document = wanted("drive.stages", must=["balance.tilt"], keep=False)
    heavy = changed(RUNNER, {"parts": {"box": {"position": ["0.02 m", "0.01 m", "1.9 m"]}}})
    loaded = load(runner.document.file.parent, heavy, RUNNER_SEASON)
    found = search(loaded, document, How(Budget(50)))
    assert found.best is None
    assert found.short[0].id == "balance.tilt"
    assert "The check 'pose driving: tilt' is the farthest" in found.answer


def test_no_budget_and_one_candidate(runner):
    for budget, expected in (
        (Budget(0), "--candidates: expected at least one candidate"),
        (Budget(9, 0.0), "--minutes: expected a time above 0"),
        (Budget(9, math.nan), "--minutes: expected a time above 0"),
        (Budget(9, 1e-9), "--minutes: expected more time: 1e-09 minutes were up before the first"),
    ):
        with pytest.raises(BadInput, match=expected):
            search(runner, wanted("drive.stages"), How(budget))
    one = search(runner, wanted("drive.stages", keep=False), How(Budget(1), runs=100))
    assert one.candidates == 1
    assert one.best is None
    assert "better than Runner as it is" in one.answer


def test_without_a_plan_there_are_no_points(runner, tmp_path):
    bare = load(tmp_path, {key: said for key, said in RUNNER.items() if key != "plan"}, RUNNER_SEASON)
    with pytest.raises(BadInput, match=r"plan: this key is missing: a match as the team means to play it"):
        asked(bare, wanted("drive.stages"))
    with pytest.raises(BadInput, match="expected a robot with a plan"):
        asked(bare, wanted("plan"))
    assert asked(bare, wanted("drive.stages", want=["mass"])).space.count == 121
    with pytest.raises(BadInput, match="expected steps for the part that is asked for: autonomous"):
        asked(runner, wanted("drive.stages", part="autonomous"))


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (("--between", "drive.braking=1..1"), "--between drive.braking=1..1: expected a range that holds more than"),
        (("--between", "drive.braking=0.5 kg..1"), "--between drive.braking=0.5 kg..1: expected a number"),
        (("--values", "drive.motors=red"), "--values drive.motors=red: expected one of 2; 4; 6; 8; 10 (found 'red')"),
        (("--vary", "drive.stage"), "--vary drive.stage: expected a key that can vary"),
        (("--vary", "drive.stages", "--want", "pionts"), "--want pionts: expected points, careful points"),
        (("--vary", "drive.stages", "--must", "balnce"), "--must balnce: expected the id of a finding"),
        (("--vary", "drive.stages", "--minutes", "0"), "--minutes: expected a time above 0"),
        (("--vary", "drive.stages", "--workers", "inproc://x"), "--workers: expected a number from 1 to 256"),
        ((), "--vary: expected something that may vary"),
    ],
)
def test_what_people_get_wrong_on_the_command_line(options, expected):
    done = command("search", EXAMPLES / "mk1.yaml", *options)
    assert done.code == 2
    assert done.err.startswith(expected)
    assert not done.out


def test_stopped_in_the_middle_it_tells_the_best_so_far(runner, monkeypatch):
    """Ctrl-C arrives as an exception wherever the work is just then: in the third round here."""
    document = wanted("drive.stages", "parts.box.position", want=["balance.tip.back"])
    rounds = []
    through = Race.run

    def stopped(race, rows):
        rounds.append(len(rows))
        if len(rounds) == 3:
            raise KeyboardInterrupt
        return through(race, rows)

    monkeypatch.setattr(Race, "run", stopped)
    found = search(runner, document, How(Budget(900)))
    assert not found.finished
    assert found.candidates == sum(rounds[:2])
    assert found.best is not None
    assert found.best.amounts[0].value > found.best.amounts[0].now


def test_stopped_in_the_search_for_a_plan_it_begins_no_other(tmp_path, monkeypatch):
    def stopped(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(Planner, "_moved", stopped)
    loaded = load(tmp_path, SMALL, SMALL_RUNNER_SEASON)
    found = search(loaded, wanted("plan", "drive.stages", part="driven"), How(Budget(100), runs=400))
    assert not found.finished
    assert found.best is not None
    assert found.best.plan
    assert all(edit.path[0] == "plan" for edit in found.best.edits)


@pytest.mark.parametrize(
    "keys",
    [
        ["drive.stages", "drive.wheels", "drive.motor"],
        ["air.cylinders.tray.cylinder", "air.supply.charge", "air.cylinders.hooks.tube"],
        ["parts.battery.position", "rollers", "mechanisms.tray", "mechanisms.hooks.hook"],
        ["mechanisms.clamp.jaw_reach", "drive.wheels.left front.position", "mechanisms.sorter.background.hue"],
    ],
)
def test_candidates_are_tried_together_as_each_is_alone(keys, monkeypatch):
    """Whatever varies within a batch: one round through the checks for all, and what each gets alone."""
    space = asked(example(), wanted(*keys, want=["mass"])).space
    trial = Trial(example(), asked(example(), wanted(*keys, want=["balance.tip.forward"])))
    rows = space.of_shares(np.random.default_rng(2).random((12, len(space.variables))))
    through, sizes = Trial._judged, []

    def counted(self, rows, effort, *, led):
        sizes.append(len(rows))
        return through(self, rows, effort, led=led)

    monkeypatch.setattr(Trial, "_judged", counted)
    together = trial.tried(rows)
    assert sizes == [13], "a batch was broken up: some check does not take arrays"  # the present robot leads it
    alone = [trial.tried(row[None, :]) for row in rows[:4]]
    assert np.allclose(together.worth[:4], np.vstack([a.worth for a in alone]), rtol=1e-9, atol=1e-12)
    assert np.allclose(together.rooms[:4], np.vstack([a.rooms for a in alone]), rtol=1e-9, atol=1e-12)


def test_classes_of_two_makes_are_two_batches(runner, monkeypatch):
    """The runner's own motor says a cap of its power, one of the others none: each make is tried together."""
    task = asked(runner, wanted("drive.motor", "drive.stages", keep=False))
    trial = Trial(runner, task)
    rows = task.space.of_shares(np.random.default_rng(5).random((24, 3)))
    through, sizes = Trial._judged, []

    def counted(self, rows, effort, *, led):
        sizes.append(len(rows))
        return through(self, rows, effort, led=led)

    monkeypatch.setattr(Trial, "_judged", counted)
    together = trial.tried(rows, Effort(1, 4))
    assert len(sizes) == 2
    assert sum(sizes) == 24 + 2  # one leads each
    for row, worth in zip(rows[:6], together.worth[:6, 0], strict=True):
        texts = edited(runner, task.space.edits(row))
        variant = load_robot(runner.document.file, None, {**runner.texts, **texts})
        alone = Trial(variant, asked(variant, wanted("drive.stages", keep=False)))
        assert worth == pytest.approx(alone.tried(alone.asked.space.now[None, :], Effort(1, 4)).worth[0, 0], abs=1e-9)


def test_more_rounds_are_no_work_on_the_robot():
    """Its build times are what is left to do, however often the plan goes round; a battery moved is."""
    loaded = example("mk1")
    trial = Trial(loaded, asked(loaded, wanted("plan.driven[0].times", "parts.battery.position")))
    rows = np.repeat(trial.asked.space.now[None, :], 3, axis=0)
    keys = [v.key for v in trial.asked.space.variables]
    rows[1, keys.index("plan.driven[0].times")] += 1
    rows[2, keys.index("parts.battery.position[0]")] += 0.05
    now, rounds, moved = hours_of(trial.loaded, trial.asked.space, rows)
    assert rounds == now
    assert moved > now


@pytest.mark.long
def test_same_seed_same_answer_and_another_seed_another_way(runner):
    document = wanted("drive.stages", "parts.box.position", want=["balance.tip.back"])
    one, again = (search(runner, document, How(Budget(400), seed=4, runs=100)) for _ in range(2))
    assert as_data(one) == as_data(again)
    space = asked(runner, document).space
    first = [Proposer(space, seed).ask() for seed in (4, 5)]
    assert not np.array_equal(first[0], first[1])


@pytest.mark.long
def test_a_stopped_search_goes_on_to_the_same_answer(runner, tmp_path):
    document = wanted("drive.stages", "parts.box.position", want=["balance.tip.back"])
    whole = search(runner, document, How(Budget(900), runs=100))
    state = tmp_path / "state.jsonl"
    search(runner, document, How(Budget(400), runs=100, state=state))
    with state.open("a", encoding="utf-8") as stream:
        stream.write('{"rows": "cut o')  # as a pulled plug leaves it
    going_on = search(runner, document, How(Budget(900), runs=100, state=state))
    assert as_data(going_on) == as_data(whole)
    with pytest.raises(BadInput, match="belongs to another search"):
        search(runner, wanted("drive.stages"), How(Budget(90), state=state))
    state.write_text("hello\n", encoding="utf-8")
    with pytest.raises(BadInput, match="expected a state file"):
        search(runner, document, How(Budget(90), state=state))


def test_json_follows_its_schema_and_the_variant_keeps_its_comments(tmp_path):
    file = example_copy(tmp_path)
    out = tmp_path / "better.yaml"
    options = ("--vary", "parts.battery.position[0]", "--want", "balance.tip.forward", "--candidates", "60", "--json")
    done = command("search", file, *options, "--write", out)
    assert done.code == 0, done.err
    data = json.loads(done.out)
    assert data["format"] == "fieldworthy search 1"
    from fieldworthy.decide.search import Found

    Draft202012Validator(json_schema(Found)).validate(data)
    [edit] = data["best"]["edits"]
    text = out.read_text(encoding="utf-8")
    assert "# Heron mk1: a robot of an invented team" in text
    assert load_robot(out).nominal.parts["battery"].position[0] < -0.12  # the load goes back, it tips forward later
    assert edit["key"] == "parts.battery.position[0]"
    again = command("search", file, *options, "--write", out)
    assert again.code == 2
    assert "not there yet" in again.err


SMALL = {
    "robot": "Picker",
    "mechanisms": {"hand": {"kind": "plain", "can": ["carry", "ring"]}},
    "actions": {
        "take": {"time": "1 s", "takes": 1, "object": "ball", "practice": {"successes": 60, "attempts": 100}},
        "give": {"time": "1 s", "task": "goal", "practice": {"successes": 90, "attempts": 100}},
        "ring": {"time": "2 s", "task": "bell", "practice": {"successes": 50, "attempts": 100}},
        "park": {"time": "1 s", "task": "park"},
    },
    "plan": {
        "start": "a",
        "driven": [
            {"action": "ring", "at": "b"}, {"action": "take", "at": "b"}, {"action": "give", "at": "c"},
            {"times": 2, "repeat": [{"action": "take", "at": "a"}, {"action": "give", "at": "c"}]},
        ],
        "finish": {"steps": [{"action": "park", "at": "a"}], "reserve": "8 s"},
    },
}  # fmt: skip
SMALL_RUNNER_SEASON = {
    "tasks": {
        "goal": {"points": 3, "object": "ball", "needs": ["carry"]},
        "bell": {"points": 4, "needs": ["ring"], "most": 1},
        "park": {"points": 5, "per": "once"},
    },
    "periods": {"driven": "22 s"},
}


def test_a_plan_is_found_told_and_written(tmp_path):
    loaded = load(tmp_path, SMALL, SMALL_RUNNER_SEASON)
    found = search(loaded, wanted("plan", part="driven"), How(Budget(100), runs=400))
    assert found.best is not None
    assert found.best.gain is not None
    assert found.best.gain.more > 0
    assert found.best.plan
    out = tmp_path / "planned.yaml"
    write_variant(loaded, found.best, out)
    points = np.concatenate([b.points for b in blocks(load_robot(out), 400, FRESH, "driven")])
    assert found.best.gain.points == pytest.approx(float(points.mean()), abs=1e-9)
    with pytest.raises(BadInput, match="single keys of the plan"):
        asked(loaded, wanted("plan", "plan.driven[3].times"))


def test_list_of_what_varies_is_printed(tmp_path):
    done = command("search", example_copy(tmp_path), "--vary", "drive?")
    assert "drive.stages[0].driven: 60 now; 12; 18; 24" in done.out
    assert "mechanisms" not in done.out


def test_options_read_like_a_file():
    file = read_document(
        __import__("pathlib").Path("search.yaml"), "fieldworthy: search 1\nvary: [{key: drive.motors}]\n"
    )
    assert isinstance(file, Document)
    assert asked(example(), file).space.variables == asked(example(), wanted("drive.motors")).space.variables


def test_a_run_alone_is_searched_from_its_own_plan():
    """What is tried begins with the example's own solo plan, and nothing else of its plan changes."""
    loaded = example("otter")
    plan = loaded.nominal.plan
    planner = Planner(loaded, "solo", 5, lambda _: True)
    assert planner.plan(planner.now).driven == plan.solo.steps
    assert planner.plan(planner.now).autonomous == ()
    shorter = dataclasses.replace(planner.now, driven=planner.now.driven[1:])
    found = planner.built(shorter).nominal.plan
    assert (found.autonomous, found.driven, found.finish) == (plan.autonomous, plan.driven, plan.finish)
    assert set(changes_of(plan, found)) == {("plan", "solo")}
    # steps of the run alone are what it is made of; the driven period also rights crates at the beginning of its end
    only = [step.action for one in rounds_of(loaded, plan.alone) for step in one]
    assert set(only) == {"take crate", "put on jetty", "take floats", "drop floats"}
    written = planner.built(planner.now).nominal.plan
    assert written.solo.steps == plan.solo.steps
    assert written.driven == plan.driven


@pytest.mark.long
def test_a_mechanism_is_left_out_with_all_that_needs_it(tmp_path):
    """Against the parts list, added up by hand, and the plan read again: nothing names what is gone."""
    heron = example_copy(tmp_path)
    loaded = load_robot(heron)
    found = search(loaded, wanted("without mechanisms.tray", want=["mass"], keep=False))
    rows = list(csv.DictReader((heron.parent / "mk1_parts.csv").read_text(encoding="utf-8").splitlines()))
    tray = sum(float(row["mass [g]"]) * float(row["count"]) for row in rows if row["rides"] == "tray") / 1000.0
    assert (found.candidates, found.best is not None) == (2, True)
    amount = found.best.amounts[0]
    assert amount.now - amount.value == pytest.approx(tray, abs=1e-6)
    write_variant(loaded, found.best, heron.with_name("light.yaml"))
    text = heron.with_name("light.yaml").read_text(encoding="utf-8")
    assert "# invented, as all of this" in text
    kept = load_robot(heron.with_name("light.yaml")).nominal
    assert "tray" not in kept.mechanisms
    assert "tray" not in kept.air.cylinders
    assert "tip pods" not in kept.actions
    done = {s.action for item in kept.plan.driven for s in getattr(item, "repeat", (item,))}
    assert done == {"grip planter", "take pods", "fill planter", "leave planter"}
    # the design's own file is what was tried
    assert evaluate(load_robot(heron.with_name("light.yaml"))).short


def test_what_is_left_out_has_no_build_time_and_its_numbers_do_not_matter():
    """Heron mk2's arm takes 11 h to build, says its file; without it no number of the arm makes another robot."""
    loaded = load_robot(EXAMPLES / "mk2.yaml")
    question = asked(loaded, wanted("without mechanisms.arm", "mechanisms.arm", want=["hours"], must=["hours left"]))
    space, trial = question.space, Trial(loaded, question)
    out = next(i for i, v in enumerate(space.variables) if v.sort == "thing")
    rows = np.stack([space.now, space.now])
    rows[1, out] = 1.0
    hours = hours_of(trial.loaded, trial.asked.space, rows)
    assert hours[0] - hours[1] == pytest.approx(11.0)
    other = rows[1].copy()
    other[out - 1 if out else 1] = space.variables[out - 1 if out else 1].grid[-1]
    assert (space.settled(np.stack([other]))[0] == rows[1]).all()


@pytest.mark.long
def test_with_or_without_a_mechanism_by_options_by_a_file_and_in_python(tmp_path):
    """Heron mk2's file says 11 h for the arm, and that nothing else is to build: each way of asking gives them."""
    robot = example_copy(tmp_path, name="mk2")
    key, written = "without mechanisms.arm", robot.with_name("less.yaml")
    by_options = command("search", robot, "--vary", key, "--want", "hours", "--free", "--write", written, "--json")
    question = robot.with_name("search.yaml")
    question.write_text(f"fieldworthy: search 1\nvary:\n  - key: {key}\nwant: [hours]\nkeep: false\n", encoding="utf-8")
    by_file = command("search", robot, question, "--json")
    assert (by_options.code, by_file.code) == (0, 0)
    in_python = fieldworthy.load(robot).search({"vary": [{"key": key}], "want": ["hours"], "keep": False})
    for found in (json.loads(by_options.out), json.loads(by_file.out), in_python.to_dict()):
        (hours,) = found["best"]["amounts"]
        assert (found["candidates"], hours["now"], hours["value"]) == (2, 11.0, 0.0)
        assert "It spares 11 h of building." in found["best"]["sentences"][0]
    assert "arm" not in load_robot(written).nominal.mechanisms
    assert "arm" not in in_python.variant().loaded.nominal.mechanisms


@pytest.mark.long
@pytest.mark.parametrize("name", ["heron/mk1", "heron/mk2", "marten/mk1", "otter/mk1"])
def test_any_mechanism_can_be_left_out(name):
    """Whatever is left is a whole robot: it is read again, and what its plan says can be done."""
    loaded = load_robot(EXAMPLES.parent / f"{name}.yaml")
    assert len(loaded.nominal.mechanisms) >= 2
    for mechanism in loaded.nominal.mechanisms:
        less = without(loaded, (mechanism,)).robot.nominal
        assert mechanism not in less.mechanisms
        cylinders = less.air.cylinders if less.air else {}
        assert all(set(action.strokes) <= set(cylinders) for action in less.actions.values())


def test_a_part_that_is_in_the_floor_already_is_named(runner):
    """By plane geometry: a block of 40 mm with its middle at 2 mm reaches 18 mm below the floor, whatever the gears."""
    block = {"mass": "0.2 kg", "position": ["0 m", "0 m", "2 mm"], "size": ["60 mm", "60 mm", "40 mm"]}
    loaded = load(runner.document.file.parent, changed(RUNNER, {"parts": {"skid": block}}), RUNNER_SEASON)
    found = search(loaded, wanted("drive.stages", want=["mass"], keep=False), How(Budget(20)))
    assert found.best is None
    assert found.short[0].id == "balance.floor"
    assert "part 'skid' reaches 0.018 m below the floor" in found.answer  # in the file's metres
    assert (
        "Nothing that varies changes that: mend it in the file first, or let one of these vary too: "
        "upward position of part 'skid';" in found.answer
    )
    reach = wanted({"key": "parts.skid.position[2]", "between": ["2 mm", "10 mm"]}, want=["mass"], keep=False)
    nearer = search(loaded, reach, How(Budget(20)))
    assert nearer.best is None
    assert nearer.short[0].near < found.short[0].near
    assert "lacks it as it is" in nearer.answer
    assert "Nothing that varies" not in nearer.answer


def test_no_part_is_put_through_the_floor(runner):
    """By plane geometry: the box is 0.2 m high, so its middle is at 95 mm at least, 5 mm being left for measuring.

    The lower it is, the later it tips; without its bound the best would be the lowest of the range.
    """
    document = wanted(
        {"key": "parts.box.position[2]", "between": ["40 mm", "140 mm"]}, want=["balance.tip.back"], keep=False
    )
    task = asked(runner, document)
    rows = np.array([[0.12], [0.095], [0.094], [0.04]])
    assert np.isfinite(Trial(runner, task).tried(rows).worth[:, 0]).tolist() == [True, True, False, False]
    found = search(runner, document, How(Budget(150)))
    assert found.best is not None
    assert [edit.after for edit in found.best.edits] == ["0.095 m"]
    deeper = load_robot(runner.document.file, None, {**runner.texts, **edited(runner, task.space.edits(rows[3]))})
    assert "balance.floor" in Judge(runner, runner, task, 0).lacks(evaluate(deeper))


def test_what_never_holds_together_is_named_with_how_near_the_best_came(runner):
    """Against every candidate's own file, judged alone: no place of a high box bears braking both ways."""
    high = {"parts": {"box": {"position": ["0.02 m", "0.01 m", "0.26 m"]}}}
    loaded = load(runner.document.file.parent, changed(RUNNER, high), RUNNER_SEASON)
    vary = {"key": "parts.box.position[0]", "between": ["-150 mm", "150 mm"], "step": "30 mm"}
    tips = ("balance.tip.forward", "balance.tip.back")
    document = wanted(vary, want=["mass"], must=tips, keep=False)
    found = search(loaded, document, How(Budget(50)))
    space = asked(loaded, document).space
    files = [edited(loaded, space.edits(row)) for row in space.every()]
    reports = [evaluate(load_robot(loaded.document.file, None, {**loaded.texts, **texts})) for texts in files]
    forward, back = (np.array([f.margin for r in reports for f in r.findings if f.id == tip]) for tip in tips)
    assert (forward >= 0).any()
    assert (back >= 0).any()
    assert not ((forward >= 0) & (back >= 0)).any()
    [clash] = found.clashes
    assert clash.ids == tips
    assert clash.near == pytest.approx((-back[forward >= 0].max(), -forward[back >= 0].max()), rel=1e-9)
    assert not found.short
    least = np.argmin(np.maximum(-forward, 0) + np.maximum(-back, 0))
    lack = digits(100 * max(-forward[least], -back[least]), 2)
    assert "'pose driving: tip, forward' and 'pose driving: tip, back' never hold together" in found.answer
    assert f"The nearest in all lacks {lack} % of 'pose driving: tip" in found.answer


def test_pairs_that_hold_apart_and_never_together_are_all_that_clash():
    """By hand: of three things the first two clash; the third goes with each; what nothing holds is no clash."""
    lacks = np.array([[0.0, 0.3, 0.0, 1.0], [0.2, 0.0, 0.0, 2.0], [0.4, 0.4, 0.5, 0.1], [0.1, 0.0, 0.9, 3.0]])
    near = Nearest.none(4).with_more(lacks[:1]).with_more(lacks[1:])
    assert near.least.tolist() == [0.0, 0.0, 0.0, 0.1]
    assert near.pairs == [(0, 1)]
    assert (near.given[0, 1], near.given[1, 0]) == (0.3, 0.1)
    assert near.best.tolist() == [0.0, 0.3, 0.0, 1.0]
    again = Nearest.from_data(json.loads(json.dumps(near.as_data())))
    assert np.array_equal(again.given, near.given)
    assert not near.with_more(np.zeros((1, 4))).pairs

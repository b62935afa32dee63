"""The match command: what it prints, how it ends, and that its JSON and CSV are what they say."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys

import pytest
from jsonschema import Draft202012Validator

from edge import ROBOT, SEASON, changed, place, run, written
from fieldworthy.engine.evaluate import BLOCK
from fieldworthy.match.components import EACH
from fieldworthy.match.state import REASONS
from fieldworthy.match.timeline import ENDINGS
from robots import EXAMPLES

SOLO = changed("driven: 100 s}", "driven: 100 s, solo: 60 s}", SEASON)
WHOLE = BLOCK - BLOCK % EACH  # runs of a block


def test_it_prints_a_timeline_and_a_spread(tmp_path):
    ended = run("match", written(tmp_path), "--runs", 200)
    assert (ended.code, ended.err) == (0, "")
    lines = ended.out.splitlines()
    rows = [line for line in lines if " s  score" in line]
    assert len(rows) == 4
    assert [line.split()[6] for line in rows] == ["2"] * 4
    assert "8 points if every try works." in lines
    # 5 of 10 in practice: four tries of 2 points at a mean chance of a half; sd of the sum 2 sqrt(1.54), 4 errors
    mean = next(float(line.split()[0]) for line in lines if "are to be expected" in line)
    assert mean == pytest.approx(4.0, abs=4 * 2.5 / 40**0.5)
    assert "\x1b" not in ended.out


@pytest.mark.parametrize("part", ["whole", "autonomous", "driven", "solo"])
def test_json_fits_its_schema(tmp_path, part):
    auton = changed("  driven:\n", "  autonomous: [{action: score, at: goal}]\n  driven:\n")
    ended = run("match", written(tmp_path, auton, SOLO), "--json", "--runs", 50, "--part", part)
    assert (ended.code, ended.err) == (0, "")
    data = json.loads(ended.out)
    Draft202012Validator(json.loads(run("schema", "match").out)).validate(data)
    assert (data["format"], data["part"], data["runs"], data["asked"]) == ("fieldworthy match 2", part, 50, 50)
    assert sum(e["points"] for e in data["timeline"]["events"]) == data["timeline"]["points"]
    assert len(data["timeline"]["events"]) == {"whole": 5, "autonomous": 1, "driven": 4, "solo": 4}[part]


def test_the_table_can_be_read_back(tmp_path):
    file = tmp_path / "timeline.csv"
    assert run("match", written(tmp_path), "--runs", 1, "--csv", file).code == 0
    rows = list(csv.DictReader(file.read_text().splitlines()))
    data = json.loads(run("match", written(tmp_path), "--runs", 1, "--json").out)
    events = data["timeline"]["events"]
    assert [row["action"] for row in rows] == [e["action"] for e in events]
    assert [float(row["ends [s]"]) for row in rows] == pytest.approx([e["ends"] for e in events], abs=0.051)
    column = next(name for name in rows[0] if name.startswith("gauge of tank left afterwards"))
    scale = {"kPa": 1e3, "bar": 1e5, "psi": 6894.757}[column.rpartition("[")[2].rstrip("]")]
    assert [float(row[column]) for row in rows] == pytest.approx(
        [e["pressure"]["left"] / scale for e in events], abs=0.51 if scale == 1e3 else 0.051
    )


def test_the_table_is_in_the_units_of_the_robot_file(tmp_path):
    """The example's file says bar: so do its screen and its table."""
    file = tmp_path / "timeline.csv"
    assert run("match", EXAMPLES / "mk1.yaml", "--runs", 1, "--csv", file).code == 0
    heads = file.read_text(encoding="utf-8").splitlines()[0]
    assert "gauge of tank left afterwards [bar]" in heads
    assert "kPa" not in heads
    assert "charge drawn so far [Ah]" in heads


def test_the_same_seed_gives_the_same_bytes_and_another_others(tmp_path):
    file = written(tmp_path)
    first = run("match", file, "--runs", 300, "--json").out
    assert run("match", file, "--runs", 300, "--json").out == first
    assert run("match", file, "--runs", 300, "--json", "--seed", 1).out != first


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--runs", "0"], "greater than or equal to 1"),
        (["--runs", "-5"], "greater than or equal to 1"),
        (["--part", "autonomus"], "did you mean 'autonomous'?"),
        (["--part", "second half"], "expected one of whole, autonomous, driven, solo"),
        (["--seed", "-1"], "greater than or equal to 0"),
    ],
)
def test_bad_options_end_with_2(tmp_path, arguments, says):
    ended = run("match", written(tmp_path), *arguments)
    assert (ended.code, ended.out) == (2, "")
    assert says in " ".join(ended.err.replace("│", " ").split())


FINISH = "\n  finish: {reserve: 10 s, steps: [{action: score, at: goal}]}"

BAD = [
    ("strokes: {clamp: 1}", "motors: {clmp: 10 %}", "10 %}", "actions.score.motors.clmp", "did you mean 'clamp'?"),
    ("{action: score, at: goal}", "{action: scor, at: goal}", "scor,", "plan.driven[0].repeat[0].action", "'score'?"),
    ("{action: score, at: goal}", "{action: score, at: gaol}", "gaol", "plan.driven[0].repeat[0].at", "'goal'?"),
    ("score: {time: 2 s", "score: {time: 101 s", "score, at", "plan.driven[0].repeat[0].action", "takes 101 s"),
    ("    - times: 4\n      repeat:", "    - repeat:", "- {action", "plan.driven[0].repeat", "'times' or 'until'"),
]


@pytest.mark.parametrize(("old", "new", "word", "key", "says"), BAD)
def test_a_bad_plan_ends_with_2_and_says_where(tmp_path, old, new, word, key, says):
    text = changed(old, new)
    ended = run("match", written(tmp_path, text))
    assert (ended.code, ended.out) == (2, "")
    (problem,) = ended.problems
    assert problem[1:3] == place(word, text)
    assert problem[3].startswith(f"{key}: ")
    assert says in problem[3]


def test_an_action_longer_than_its_period_and_a_reserve_longer_than_the_match(tmp_path):
    auton = changed("  driven:\n", "  autonomous:\n    - {action: score, at: goal}\n  driven:\n")
    text = changed("score: {time: 2 s", "score: {time: 21 s", auton)
    (problem,) = run("match", written(tmp_path, text)).problems
    assert problem[3].startswith("plan.autonomous[0].action: expected an action that fits into the 20 s")
    finish = changed("  start: start", "  start: start" + FINISH.replace("10 s", "101 s"))
    (problem,) = run("match", written(tmp_path, finish)).problems
    assert problem[3].startswith("plan.finish.reserve: expected at most the 100 s")


def test_places_outside_the_field(tmp_path):
    season = changed("goal: [1 m, 0 m]", "goal: [1.9 m, 0 m]", SEASON)
    (problem,) = run("match", written(tmp_path, season=season)).problems
    assert problem[:3] == ("season.yaml", *place("1.9 m", season))
    assert problem[3].startswith("field.places.goal[0]: expected a place inside the field")


def test_no_plan_and_no_solo_run(tmp_path):
    without = ROBOT[: ROBOT.index("plan:")]
    (problem,) = run("match", written(tmp_path, without)).problems
    assert problem[3].startswith("plan: this key is missing")
    (problem,) = run("match", written(tmp_path), "--part", "solo").problems
    assert "how long a run alone on the field lasts" in problem[3]


def test_an_interruption_prints_what_it_has(tmp_path, monkeypatch):
    played = []
    from fieldworthy.match import forecast

    module = sys.modules[forecast.__module__]
    monkeypatch.setattr(module, "play_runs", _after_one(module.play_runs, played))
    ended = run("match", written(tmp_path), "--runs", 10_000, "--json")
    assert ended.code == 130
    data = json.loads(ended.out)
    assert (data["runs"], data["asked"]) == (WHOLE, 10_000)
    assert ended.err == f"interrupted after {WHOLE} of 10000 runs\n"
    played.clear()
    assert f"{WHOLE:,} matches" in run("match", written(tmp_path), "--runs", 10_000).out


def _after_one(play, played):
    def interrupted(*arguments, **options):
        if played:
            raise KeyboardInterrupt
        played.append(1)
        return play(*arguments, **options)

    return interrupted


def test_every_reason_has_its_words():
    assert set(ENDINGS) == set(REASONS)


@pytest.mark.long
def test_commands_that_play_no_match_do_not_start_the_compiler(tmp_path):
    file = written(tmp_path)
    for words in (["check", str(file)], ["schema", "match"]):
        code = f"import sys; from fieldworthy.cli import main\ntry: main({words!r})\nexcept SystemExit: pass\n"
        code += "sys.exit('numba' in sys.modules)"
        assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0


def test_rounds_with_nothing_left_to_take_are_told_once(tmp_path):
    """Two balls for one robot, then 38 s of a round that fails at once and waits half a second: not 150 rows of it."""
    steps = "\n".join(f"        - {{action: {name}, at: goal}}" for name in ("take", "score", "wait"))
    one = "        - {action: score, at: goal}"
    plan = changed("    - times: 4\n", "    - until: 40 s\n", changed(one, steps))
    act = "actions:\n  take: {time: 1 s, takes: 1, object: ball}\n  wait: {time: 500 ms}\n"
    robot, season = (
        changed("actions:\n", act, plan),
        changed("ball: {mass: 80 g,", "ball: {supply: 2, mass: 80 g,", SEASON),
    )
    file = written(tmp_path, robot, season)
    lines = run("match", file, "--runs", 1).out.splitlines()
    events = json.loads(run("match", file, "--runs", 1, "--json").out)["timeline"]["events"]
    scored = sum(e["points"] > 0 for e in events)
    assert scored == 2
    assert len(events) > 100
    rows = [line for line in lines if re.match(r" *[\d.]+ s +[\d.]+ s  ", line)]
    (again,) = [line for line in lines if "times more" in line]
    left, more = len(events) - len(rows), int(re.search(r"(\d+) times more", again)[1])
    assert len(rows) < 3 * scored + 3 + 3
    assert (left, "these 3 rows" in again) == (3 * more, True)
    # the driven period begins after 20 s
    assert 58.0 <= float(re.search(r"until ([\d.]+) s", again)[1]) <= 60.5


def test_a_timeline_of_the_example_stays_a_table_of_80_columns():
    lines = run("match", EXAMPLES / "mk1.yaml", "--runs", 1).out.splitlines()
    head = next(i for i, line in enumerate(lines) if line.split()[:3] == ["from", "to", "action"])
    rows = [line for line in lines[head + 1 :] if re.match(r" *[\d.]+ s +[\d.]+ s  ", line)]
    events = json.loads(run("match", EXAMPLES / "mk1.yaml", "--runs", 1, "--json").out)["timeline"]["events"]
    assert len(rows) == len(events) > 10
    assert max(map(len, (lines[head], *rows))) <= 80
    ends = {line.index(event["action"]) for line, event in zip(rows, events, strict=True)}
    assert len(ends) == 1  # its columns line up
    failed = [
        ENDINGS[e["reason"]].event for e in events if e["reason"] not in ("done", "luck") and ENDINGS[e["reason"]].event
    ]
    assert [line.strip(" ↳") for line in lines if "↳" in line] == failed

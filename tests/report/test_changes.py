"""The change log and the decision: what changed, what moved by how much, and a matrix worked by hand."""

import pytest

from fieldworthy.decide.compare import compare
from fieldworthy.decide.matrix import criteria, leading, matrix
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.report.blocks import Table
from fieldworthy.report.changelog import changelog, edits, moves
from fieldworthy.report.choice import Decision, choice
from fieldworthy.report.formulas import style_of
from fieldworthy.robot.words import unstated
from robots import example, load


@pytest.fixture
def pair(tmp_path):
    """A robot, and the same a kilogram heavier, its box 5 mm higher, without a pose."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    season = {"limits": {"mass": "7.5 kg"}}
    # on the scales, for a guess of 7 kg would be too near to 7.5 kg to tell
    light = {"mass": {"value": "7 kg", "basis": "measured"}}
    older = load(tmp_path / "a", {"parts": {"box": light}}, season)
    box = {"mass": {"value": "8 kg", "basis": "measured"}, "position": ["0.02 m", "0.01 m", "0.125 m"]}
    return older, load(tmp_path / "b", {"parts": {"box": box}}, season)


def test_what_changed_key_by_key(pair):
    assert edits(*pair) == [
        ("parts.box.mass", "7 kg, basis measured", "8 kg, basis measured"),
        ("parts.box.position", "0.02 m, 0.01 m, 0.12 m", "0.02 m, 0.01 m, 0.125 m"),
    ]
    assert edits(pair[0], pair[0]) == []


def test_what_came_and_went(tmp_path):
    for name in "ab":
        (tmp_path / name).mkdir()
    older = load(tmp_path / "a")
    newer = load(tmp_path / "b", {"rollers": {"front": {"position": ["0.2 m", "0 m"], "clearance": "5 mm"}}})
    # the small robot has no rollers at all: the whole group is new
    assert edits(older, newer) == [("rollers", "–", "with front")]
    assert edits(newer, older) == [("rollers", "with front", "–")]


def test_a_new_thing_is_told_once(tmp_path):
    for name in "ab":
        (tmp_path / name).mkdir()
    plate = {"mass": "1 kg", "position": ["0 m", "0 m", "0.1 m"], "size": ["0.1 m", "0.1 m", "0.1 m"]}
    older, newer = load(tmp_path / "a"), load(tmp_path / "b", {"parts": {"plate": plate}})
    told = "mass 1 kg; position 0 m, 0 m, 0.1 m; size 0.1 m, 0.1 m, 0.1 m"
    assert edits(older, newer) == [("parts.plate", "–", told)]


def test_season_and_own_classes_count_too(tmp_path):
    for name in "ab":
        (tmp_path / name).mkdir()
    older = load(tmp_path / "a", season={"limits": {"mass": "7.5 kg"}})
    newer = load(tmp_path / "b", {"catalogue": {"wheels": {"test wheel": {"grip": 0.9}}}}, {"limits": {"mass": "9 kg"}})
    assert edits(older, newer) == [
        ("season.limits.mass", "7.5 kg", "9 kg"),
        ("catalogue.wheels.test wheel.grip", "0.8", "0.9"),
    ]


def test_what_moved_and_by_how_much(pair):
    """7 kg of 7.5 kg held; 8 kg do not: up by 1 kg, and that comes first, since its verdict changed."""
    reports = [evaluate(loaded, samples=100) for loaded in pair]
    moved = moves(*reports)
    assert moved[0].id == "limits.mass"
    assert [m.before.value for m in moved[:1]] == pytest.approx([7.0])
    assert [m.after.value for m in moved[:1]] == pytest.approx([8.0])
    height = next(m for m in moved if m.id == "balance.centre_height")
    assert height.after.value - height.before.value == pytest.approx(0.005)
    assert moves(reports[0], reports[0]) == []


def test_the_log_says_so_in_its_tables(pair):
    section = changelog(*((loaded, evaluate(loaded, samples=100)) for loaded in pair))
    changed, moved = [b for b in section.blocks if isinstance(b, Table)]
    assert [c if isinstance(c, str) else c.text for c in changed.rows[0]] == [
        "mass of part 'box'", "7 kg, basis measured", "8 kg, basis measured"]  # fmt: skip
    first = [c if isinstance(c, str) else c.text for c in moved.rows[0]]
    assert first[:4] == ["Robot: mass", "7 kg (holds)", "8 kg (short)", "+1"]


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("mechanisms.clamp.toggle", "mechanism 'clamp', toggle"),
        ('catalogue.wheels."rubber wheel, 2.75 in"', "class of wheels 'rubber wheel, 2.75 in'"),
        ("air.cylinders.tray", "cylinder 'tray'"),
        ("hours_left", "hours left"),
    ],
)
def test_what_came_or_went_is_named_as_people_do(key, words):
    assert unstated(key) == words


@pytest.fixture(scope="module")
def decided():
    variants = (example("mk1"), example("mk2"))
    reports = tuple(evaluate(v, samples=0) for v in variants)
    return variants, reports, compare(variants, runs=200)


def test_the_matrix_by_hand(decided):
    """Scores from the comparison's own numbers, worked here; the total is their weighted mean."""
    _, reports, found = decided
    weights = {"points": 3.0, "hours": 1.0}
    made = matrix(found, reports, weights)
    rows = {c.name: c for c in made.criteria}
    points = [found.difference[0].first_points, found.difference[0].points]
    assert rows["points"].scores == pytest.approx([p / max(points) for p in points])
    assert rows["mass"].scores == pytest.approx([8054 / 8522, 1.0])  # the parts lists add up to these
    assert rows["hours"].scores == pytest.approx([1.0, 1 - 11 / 14])  # 0 and 11 of 14 hours
    for i, total in enumerate(made.totals):
        assert total == pytest.approx((3 * rows["points"].scores[i] + rows["hours"].scores[i]) / 4)
    assert not rows["air"].counts
    assert set(criteria()) == set(rows)


def test_a_row_that_is_not_known_for_all_does_not_count(tmp_path):
    for name in "ab":
        (tmp_path / name).mkdir()
    plan = {
        "actions": {"go": {"time": "1 s", "task": "score"}},
        "plan": {"start": "a", "driven": [{"times": 3, "repeat": [{"action": "go", "at": "b"}]}]},
    }
    season = {"tasks": {"score": {"points": 2}}}
    variants = [load(tmp_path / name, {**plan, "robot": name}, season) for name in "ab"]
    reports = [evaluate(v, samples=0) for v in variants]
    made = matrix(compare(variants, runs=20), reports)
    counting = {c.name for c in made.criteria if c.counts}
    assert counting == {"points", "reliability"}  # no limit of mass, no hours left, no air
    assert made.totals[0] == pytest.approx(made.totals[1])
    assert "does not decide it" in leading(made)


def test_who_leads_depends_on_the_weights(decided):
    variants, reports, found = decided
    by_points = matrix(found, reports, {"points": 1.0})
    by_hours = matrix(found, reports, {"hours": 1.0})
    assert leading(by_points).startswith("By these weights Heron mk2 leads with 1.00")
    assert leading(by_hours).startswith("By these weights Heron mk1 leads with 1.00")
    decision = Decision(variants, reports, found, by_points)
    pages = choice(decision, style_of(variants[0]))
    used = [b for b in pages[0].blocks if isinstance(b, Table)][-1]
    assert ["mass", "9000 g", "8522 g", "8054 g"] in [list(row) for row in used.rows]  # the parts lists add up to these
    titles = [s.title for s in choice(decision, style_of(variants[0]))]
    assert titles == ["The decision: Heron mk1, Heron mk2", "The decision: forecast and recommendation"]

"""Draws of the tolerances against scipy's normal distribution, and the promises that make runs comparable."""

import math
import subprocess
import sys

import numpy as np
import pytest
from scipy import stats

from edge import SEASON, changed, run, written
from fieldworthy.decide.change import CandidateEvaluator
from fieldworthy.engine import evaluate as sampling
from fieldworthy.engine.evaluate import BLOCK, Cases, batches, evaluate, nudge, sampled
from fieldworthy.files import Quantity
from fieldworthy.robot import load_robot
from robots import EXAMPLES, example_copy

BLOCKS = 16
N = BLOCK * BLOCKS
LENGTH = Quantity(0.4, "length", "mm", 0.01)


def many(quantity, key="parts.frame.mass", seed=0):
    return np.concatenate([sampled(quantity, key, seed, block, BLOCK) for block in range(BLOCKS)])


def test_the_tolerance_is_the_half_width_of_a_95_percent_interval():
    drawn = many(LENGTH)
    inside = np.count_nonzero(np.abs(drawn - LENGTH.si) <= LENGTH.tolerance)
    # binomial with chance 0.95; four of its standard deviations either way
    low, high = stats.binom.interval(1 - 6.3e-5, N, 0.95)
    assert low <= inside <= high


def test_mean_and_deviation_are_those_of_a_normal_cut_at_three():
    drawn = (many(LENGTH) - LENGTH.si) / (LENGTH.tolerance / stats.norm.ppf(0.975))
    # what is beyond three deviations is moved to three: variance by integrating over scipy's density
    variance = stats.norm.expect(lambda z: z**2, lb=-3, ub=3) + 2 * 9 * stats.norm.sf(3)
    assert drawn.mean() == pytest.approx(0, abs=4 / math.sqrt(N))
    assert drawn.std() == pytest.approx(math.sqrt(variance), rel=4 / math.sqrt(2 * N))
    assert (drawn.min(), drawn.max()) == (pytest.approx(-3), pytest.approx(3))
    assert np.count_nonzero(drawn >= 3 - 1e-9) == pytest.approx(N * stats.norm.sf(3), abs=4 * math.sqrt(N * 0.00135))


def test_the_whole_shape_is_normal():
    drawn = (many(LENGTH) - LENGTH.si) / (LENGTH.tolerance / stats.norm.ppf(0.975))
    inner = drawn[np.abs(drawn) < 3 - 1e-9]
    assert stats.kstest(inner, stats.truncnorm(-3, 3).cdf).pvalue > 1e-4


@pytest.mark.parametrize(
    "quantity",
    [
        Quantity(0.01, "length", "mm", 0.05, low=0.0),
        Quantity(0.95, "ratio", "1", 0.5, low=0.0, high=1.0),
        Quantity(0.0, "ratio", "1", 0.5, low=0.0, high=1.0),
        Quantity(1.0, "ratio", "1", 0.5, low=0.0, high=1.0),
        Quantity(293.0, "temperature", "degC", 100.0, low=253.15, high=323.15),
    ],
)
def test_no_draw_leaves_the_bounds(quantity):
    drawn = many(quantity)
    assert quantity.low <= drawn.min() <= drawn.max() <= quantity.high
    if quantity.low < quantity.si < quantity.high:  # 'more than 0' stays more than 0
        assert drawn.min() > quantity.low
        assert drawn.max() < quantity.high
    assert drawn.std() > 0


def test_a_share_beyond_the_bound_stands_at_the_bound():
    quantity = Quantity(0.01, "length", "mm", 0.0392, low=0.0)  # a deviation of 20 mm: half a deviation above 0
    at_bound = np.count_nonzero(many(quantity) <= 0.001 * quantity.si)
    chance = stats.norm.cdf((0.001 * 0.01 - 0.01) / (0.0392 / stats.norm.ppf(0.975)))
    assert at_bound == pytest.approx(N * chance, abs=4 * math.sqrt(N * chance * (1 - chance)))


def test_draws_of_different_keys_seeds_and_blocks_are_uncorrelated():
    base = many(LENGTH)
    others = [many(LENGTH, key="parts.frame.mast"), many(LENGTH, seed=1), np.roll(base, BLOCK)]
    for other in others:
        # the correlation of independent normal draws has a deviation of 1/sqrt(n)
        assert np.corrcoef(base, other)[0, 1] == pytest.approx(0, abs=4.5 / math.sqrt(N))


def test_a_longer_run_repeats_the_shorter_one():
    for short, long in ((10, 100), (100, BLOCK), (1, 2)):
        a = Cases(3, 0, short, []).draw(("a", 0), LENGTH)
        b = Cases(3, 0, long, []).draw(("a", 0), LENGTH)
        assert (a.size, b.size) == (1 + short, 1 + long)
        np.testing.assert_array_equal(a, b[: 1 + short])


def test_draws_do_not_depend_on_what_else_is_drawn():
    alone = Cases(0, 0, 50, [("a",)])
    among = Cases(0, 0, 50, [("z",), ("a",), ("b",)])
    for path in (("z",), ("b",), ("c",)):
        among.draw(path, LENGTH)
    np.testing.assert_array_equal(alone.draw(("a",), LENGTH)[alone.sampled], among.draw(("a",), LENGTH)[among.sampled])


def test_a_batch_is_nominal_then_one_nudge_each_then_samples():
    cases = Cases(0, 0, 5, [("a",), ("b",)])
    a, b = cases.draw(("a",), LENGTH), cases.draw(("b",), LENGTH)
    assert a.size == b.size == cases.size == 8
    assert cases.sampled == slice(3, 8)
    assert (a[0], b[0]) == (LENGTH.si, LENGTH.si)
    assert (a[2], b[1]) == (LENGTH.si, LENGTH.si)
    assert a[1] - LENGTH.si == pytest.approx(nudge(LENGTH))
    assert b[2] - LENGTH.si == pytest.approx(nudge(LENGTH))
    assert np.all(a[3:] != LENGTH.si)


@pytest.mark.parametrize(("samples", "tolerance"), [(0, 0.01), (5, 0.0), (0, 0.0)])
def test_what_no_case_moves_stays_a_plain_number(samples, tolerance):
    drawn = Cases(0, 0, samples, []).draw(("a",), Quantity(0.4, "length", "mm", tolerance))
    assert drawn == 0.4
    assert isinstance(drawn, float)


@pytest.mark.parametrize(
    "quantity",
    [
        LENGTH,
        Quantity(0.0, "length", "mm", 0.0),
        Quantity(1.0, "ratio", "1", 0.1, low=0.0, high=1.0),
        Quantity(0.0, "ratio", "1", 0.1, low=0.0, high=1.0),
        Quantity(323.15, "temperature", "degC", 3.0, low=253.15, high=323.15),
        Quantity(-0.2, "length", "mm", 0.01),
    ],
)
def test_a_nudge_is_small_not_nothing_and_stays_inside(quantity):
    step = nudge(quantity)
    assert step != 0
    assert quantity.si + step != quantity.si
    assert quantity.low <= quantity.si + step <= quantity.high
    assert abs(step) <= max(0.002 * max(abs(quantity.si), quantity.tolerance), 0.011)


def test_draws_are_kept_from_being_written_over():
    drawn = Cases(0, 0, 5, []).draw(("a",), LENGTH)
    with pytest.raises(ValueError, match="read-only"):
        drawn[0] = 1.0


@pytest.mark.parametrize(("samples", "nudges"), [(0, 0), (0, 700), (300, 0), (300, 700), (BLOCK + 300, 50)])
def test_each_nudge_and_each_sample_stands_in_one_batch_and_is_drawn_as_ever(monkeypatch, samples, nudges):
    paths = [("parts", f"p{i}", "mass") for i in range(nudges)]
    quantity = Quantity(0.4, "length", "mm", 0.01)
    one = paths[5] if paths else ("parts", "other", "mass")

    def drawn():
        found = list(batches(7, samples, paths, 20))
        assert [path for cases in found for path in cases.nudged] == paths
        own = [np.broadcast_to(cases.draw(one, quantity), (cases.size,)) for cases in found]
        assert all(a[0] == quantity.si for a in own)
        moved = np.concatenate([a[1 : 1 + len(c.nudged)] for a, c in zip(own, found, strict=True)])
        return len(found), moved, np.concatenate([a[c.sampled] for a, c in zip(own, found, strict=True)])

    whole, moved, taken = drawn()
    monkeypatch.setattr(sampling, "ROOM", 2000)
    parted, moved_too, taken_too = drawn()
    assert whole == max(1, math.ceil(samples / BLOCK))
    assert parted > whole or samples + nudges == 0
    assert len(moved) == nudges
    assert len(taken) == samples
    assert np.array_equal(moved, moved_too)
    assert np.array_equal(taken, taken_too)


def test_a_report_does_not_depend_on_how_its_cases_are_parted(monkeypatch):
    loaded = load_robot(EXAMPLES / "mk1.yaml")
    whole = evaluate(loaded, 300)
    monkeypatch.setattr(sampling, "ROOM", 200 * len(loaded.quantities))
    assert evaluate(loaded, 300) == whole


def test_candidates_do_not_depend_on_how_they_are_parted(monkeypatch):
    evaluator = CandidateEvaluator(load_robot(EXAMPLES / "mk1.yaml"))
    keys = list(evaluator.now)
    moves = [{("drive", "stages", 0, "efficiency"): 0.5 + 0.002 * i} for i in range(230)]
    whole = evaluator.batch(moves, keys)
    assert len(np.unique(whole, axis=1).T) > 100
    monkeypatch.setattr(sampling, "ROOM", 100)
    assert np.array_equal(evaluator.batch(moves, keys), whole)


def test_an_angle_with_a_tolerance_turns_parts_without_one(tmp_path):
    lift = "  lift: {mass: 1 kg, position: [0 mm, 0 mm, 200 mm], size: [60 mm, 200 mm, 200 mm], rides: lift}"
    number = "{{value: {}, tolerance: 0 {}}}"
    place, size = ([number.format(f"{v} mm", "mm") for v in each] for each in ((0, 0, 200), (60, 200, 200)))
    exact = "  lift: {{mass: {}, position: [{}], size: [{}], rides: lift}}"
    exact = exact.format(number.format("1 kg", "kg"), ", ".join(place), ", ".join(size))
    robot = changed("turn: 10 deg", "turn: {value: 10 deg, tolerance: 2 deg}")
    sizes = "stowed_size: [450 mm, 450 mm, 450 mm]"
    season = changed(sizes, f"{sizes}, extended_size: [450 mm, 450 mm, 600 mm]", SEASON)
    file = written(tmp_path, changed(lift, exact, robot), season)
    report = evaluate(load_robot(file), BLOCK + 50)
    assert report.samples == BLOCK + 50
    extended = next(f for f in report.findings if f.id == "limits.extended_size.height")
    # worked by hand: the upper corner of a part 200 mm high and 60 mm long, turned about its middle at 200 mm
    turn = math.radians(10)
    assert extended.value == pytest.approx(200 + 100 * math.cos(turn) + 30 * math.sin(turn))


def many_parts(folder, count):
    """The example with as many parts more, small ones."""
    file = example_copy(folder)
    table = folder / "mk1_parts.csv"
    rows = [f"more {i},1,{i % 40 * 5 - 100},{i % 37 * 5 - 90},{50 + i % 100},10,10,5,chassis,1,estimate\n"
            for i in range(count)]  # fmt: skip
    table.write_text(table.read_text("utf-8").rstrip("\n") + "\n" + "".join(rows), "utf-8")
    return file, len(load_robot(EXAMPLES / "mk1.yaml").nominal.parts)


def test_more_parts_than_the_bound_are_refused_at_their_line(tmp_path):
    file, own = many_parts(tmp_path, 2999)
    ended = run("check", file)
    assert ended.code == 2
    ((name, line, _, says),) = ended.problems
    assert name == "mk1_parts.csv"
    assert line == len((EXAMPLES / "mk1_parts.csv").read_text("utf-8").splitlines()) + 3000 - own + 1
    assert f"expected at most 3,000 parts (found {2999 + own:,})" in says


_PEAK = """
import resource, sys
from fieldworthy.cli import main
try:
    main(["check", *sys.argv[1:], "--exit-zero"])
except SystemExit as ended:
    assert not ended.code
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
sys.stderr.write(str(peak // (1024 if sys.platform == "linux" else 2**20)))
"""


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="the system does not tell the peak there")
@pytest.mark.parametrize("shape", ["--json", "--all"])
def test_three_thousand_parts_are_checked_within_a_gigabyte(tmp_path, shape):
    _, own = many_parts(tmp_path, 0)
    file, _ = many_parts(tmp_path, 3000 - own)
    done = subprocess.run([sys.executable, "-c", _PEAK, str(file), shape], capture_output=True, text=True, check=True)
    assert int(done.stderr) < 1000, "MB at the peak"
    assert len(done.stdout) > 10_000

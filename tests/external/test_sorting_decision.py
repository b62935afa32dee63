"""Thresholds, votes and ejection against scipy's optimisers and distributions, and simulated sorting."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from fieldworthy.physics.colour import colour, sorting
from fieldworthy.physics.contact import timing
from reference import case

TURN = 2.0 * np.pi
WRONG = (
    "sorter",
    "Share of readings, and of votes of several, that name the wrong colour",
    "Monte Carlo, 300,000 pieces and more",
    "three classes, spreads of 14 to 40 degrees; votes of 3 to 25 readings, correlation 0.02 to 1",
    "share",
)


def wound(x, mean, sd):
    """Wrapped normal density by scipy."""
    return sum(stats.norm(mean + TURN * k, sd).pdf(x) for k in range(-3, 4))


def test_threshold_of_the_reference_case():
    # threshold-0: scipy's crossing of two densities on the short arc; equal priors
    ref = case("threshold-0")
    g = ref["given"]
    means = np.radians([g["mean1_deg"], g["mean2_deg"]])
    sds = np.radians([g["sd1_deg"], g["sd2_deg"]])
    arcs = sorting.sectors(means, sds)
    ((start, width),) = arcs.of(0)
    upper = np.degrees(colour.wrap(start + width))
    assert upper == pytest.approx(ref["expect"]["threshold_deg"], rel=ref["rel_tol"])
    error = sorting.misclassification(means, sds, arcs).mean()
    assert error == pytest.approx(ref["expect"]["error"], rel=1e-6)


def test_equal_error_threshold_of_the_reference_case():
    # COL-05: textbook split from memory, its error by scipy's normal distribution
    ref = case("COL-05")
    g, want = ref["inputs"], ref["expected"]
    args = np.radians([g["mu1_deg"], g["s1_deg"], g["mu2_deg"], g["s2_deg"]])
    threshold, z = sorting.equal_error_threshold(*args)
    assert np.degrees(threshold) == pytest.approx(want["t_equal_error"]["value"], rel=1e-9)
    assert z == pytest.approx(want["z"]["value"], rel=1e-9)
    assert stats.norm.sf(z) == pytest.approx(want["error_each"]["value"], rel=1e-3)


@pytest.mark.parametrize(
    ("means", "sds", "priors"),
    [
        ([20.0, 60.0], [8.0, 14.0], [0.5, 0.5]),
        ([350.0, 40.0], [10.0, 10.0], [0.9, 0.1]),
        ([10.0, 100.0, 230.0], [20.0, 15.0, 25.0], [0.2, 0.5, 0.3]),
    ],
)
def test_thresholds_are_of_least_error(means, sds, priors):
    # scipy's bounded search over each threshold between neighbours, of the weighted error on wound
    # densities summed on a fine grid of that arc. 1e-3 rad: the least is flat
    m, s, p = np.radians(means), np.radians(sds), np.array(priors)
    arcs = sorting.sectors(m, s, p)
    order = np.argsort(m)
    for i, j in zip(order, np.roll(order, -1), strict=True):
        arc = float(colour.wrap(m[j] - m[i]))
        x = m[i] + np.linspace(0.0, arc, 20_001)
        step = arc / 20_000
        lost_i = np.cumsum((p[i] * wound(x, m[i], s[i]))[::-1])[::-1] * step
        lost_j = np.cumsum(p[j] * wound(x, m[j], s[j])) * step

        def error(t, x=x, both=lost_i + lost_j):
            return np.interp(t, x, both)

        best = minimize_scalar(error, bounds=(x[0], x[-1]), method="bounded", options={"xatol": 1e-7}).x
        ((start, width),), ((behind, _),) = arcs.of(i), arcs.of(j)
        upper = start + width
        if p[i] * wound(upper, m[i], s[i]) > 1e-8:  # flatter than that, a search finds only rounding
            assert colour.distance(upper, best) == pytest.approx(0.0, abs=1e-3)
        assert colour.distance(upper, behind) == pytest.approx(0.0, abs=1e-9)
    assert arcs.width.sum() == pytest.approx(TURN, rel=1e-12)


def test_a_class_too_rare_to_be_worth_a_guess():
    # scipy: nowhere on the circle does the rare narrower class's weighted density reach the common one's
    m, s, p = np.array([1.0, 1.2]), np.array([0.3, 0.25]), np.array([0.9999, 0.0001])
    x = np.linspace(0.0, TURN, 10_001)
    assert (p[0] * wound(x, 1.0, 0.3) > p[1] * wound(x, 1.2, 0.25)).all()
    arcs = sorting.sectors(m, s, p)
    assert arcs.of(1) == []
    assert (arcs.decide(x) == 0).all()
    assert sorting.misclassification(m, s, arcs) == pytest.approx([0.0, 1.0], abs=1e-12)


def test_classes_that_cannot_be_told_apart():
    # by symmetry: whatever the rule, half of the pieces of two equal classes are taken for the other
    m, s = np.array([2.0, 2.0]), np.array([0.2, 0.2])
    arcs = sorting.sectors(m, s)
    assert arcs.width.sum() == pytest.approx(TURN, rel=1e-12)
    assert sorting.misclassification(m, s, arcs).mean() == pytest.approx(0.5, rel=1e-9)


def best_by_grid(m, s, p, count):
    """Hues of a fine grid, the class with the largest weighted wound density at each, and by how much it leads."""
    x = (np.arange(count) + 0.5) * TURN / count
    each = np.array([w * wound(x, a, b) for a, b, w in zip(m, s, p, strict=True)])
    ranked = np.sort(each, axis=0)
    return x, each.argmax(axis=0), ranked[-1], ranked[-1] - ranked[-2]


@pytest.mark.long
@pytest.mark.parametrize("classes", [2, 3, 4, 5])
def test_every_hue_goes_to_the_class_that_is_likeliest_there(classes):
    # scipy's densities on a grid of 36,000 hues: their argmax, and the error of the rule that no other beats
    rng = np.random.default_rng(classes)
    m, s = rng.uniform(0.0, TURN, (classes, 40)), np.exp(rng.uniform(np.log(0.02), np.log(1.2), (classes, 40)))
    p = rng.dirichlet(np.full(classes, 2.0), 40).T
    arcs = sorting.sectors(m, s, p)
    errors = (p * sorting.misclassification(m, s, arcs)).sum(axis=0)
    assert arcs.width.sum(axis=0) == pytest.approx(np.full(40, TURN), rel=1e-12)
    several = 0
    for i in range(40):
        x, best, height, lead = best_by_grid(m[:, i], s[:, i], p[:, i], 36_000)
        one = sorting.sectors(m[:, i], s[:, i], p[:, i])
        told = one.decide(x)
        assert (told == best)[lead > 1e-9].all()
        assert errors[i] == pytest.approx(1.0 - height.sum() * TURN / len(x), abs=2e-7)
        several += any(len(one.of(k)) > 1 for k in range(classes))
    # two classes part the circle in two; of more, some case has a class on both sides of another
    assert several > 3 if classes > 2 else several == 0


def test_a_broad_class_owns_both_sides_of_a_narrow_one_between_three():
    # brentq on scipy's densities: a narrow class within a broad one, and a third elsewhere
    m, s = np.radians([100.0, 110.0, 250.0]), np.radians([5.0, 40.0, 15.0])
    arcs = sorting.sectors(m, s)
    ((start, width),), broad = arcs.of(0), arcs.of(1)
    assert len(broad) == 2
    ends = [
        brentq(lambda x: wound(x, m[0], s[0]) - wound(x, m[1], s[1]), *np.radians(e)) for e in ((80, 100), (100, 130))
    ]
    assert [start, start + width] == pytest.approx(ends, abs=1e-9)


def test_misclassification_against_drawn_hues(evidence):
    # 400,000 drawn hues a class, decided by the arcs; three standard errors at 5 % are 0.001
    m, s = np.radians([355.0, 40.0, 220.0]), np.radians([18.0, 14.0, 40.0])
    arcs = sorting.sectors(m, s)
    rng = np.random.default_rng(9)
    for i in range(3):
        drawn = np.mod(rng.normal(m[i], s[i], 400_000), TURN)
        wrong = (arcs.decide(drawn) != i).mean()
        evidence(*WRONG, sorting.misclassification(m, s, arcs)[i], wrong)
        assert sorting.misclassification(m, s, arcs)[i] == pytest.approx(wrong, abs=1e-3)


def test_samples_on_a_passing_object():
    # STP-05, counting; then a plain count of readings over 10,001 phases
    ref = case("STP-05")
    g, want = ref["inputs"], ref["expected"]
    args = g["object_length_mm"] / 1e3, g["v_m_s"], g["sample_period_ms"] / 1e3
    least, mean, most = sorting.sample_count(*args)
    assert (least, most) == (want["min_samples"]["value"], want["max_samples"]["value"])
    phase = np.linspace(0.0, 1.0, 10_001, endpoint=False) * args[2]
    counted = np.floor((args[0] / args[1] - phase) / args[2]) + 1.0
    assert mean == pytest.approx(counted.mean(), abs=1e-3)
    # Three whole periods are three readings though 0.03 / 0.01 is not quite 3 in binary
    assert sorting.sample_count(0.03, 1.0, 0.01)[0] == 3.0


@pytest.mark.parametrize("count", [1, 2, 3, 5, 8, 15])
def test_majority_against_the_binomial_distribution(count):
    # scipy's binom: more than half wrong, and half of the ties
    p = np.array([0.0, 0.01, 0.2, 0.5, 0.8, 1.0])
    spread = stats.binom(count, p)
    want = spread.sf(count / 2) + (0.5 * spread.pmf(count // 2) if count % 2 == 0 else 0.0)
    assert sorting.majority_error(p, count) == pytest.approx(want, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize(
    ("count", "correlation"), [(3, 0.2), (5, 0.02), (5, 0.5), (9, 0.8), (25, 0.1), (5, 0.999), (5, 1.0)]
)
def test_votes_of_correlated_readings_against_drawn_noise(count, correlation, evidence):
    # 300,000 objects with shared and own normal noise; four standard errors at 10 % are 0.0022
    rng = np.random.default_rng(10)
    own, shared = rng.normal(size=(count, 300_000)), rng.normal(size=300_000)
    reading = np.sqrt(correlation) * shared + np.sqrt(1.0 - correlation) * own
    margin = 1.2
    wrong = reading > margin
    voted = (wrong.sum(axis=0) > count / 2).mean()
    one = stats.norm.sf(margin)
    evidence(*WRONG, sorting.majority_error(one, count, correlation), voted)
    assert sorting.majority_error(one, count, correlation) == pytest.approx(voted, abs=2.2e-3)


@pytest.mark.parametrize("count", [3, 9, 31])
@pytest.mark.parametrize("correlation", [0.02, 0.25, 0.6, 0.99])
def test_votes_of_correlated_readings_against_quadrature(count, correlation):
    # scipy's quad over the shared noise of its own binomial tail, told where the step lies
    error, half = 0.05, (count + 1) // 2
    z = stats.norm.ppf(error)

    def given_shared(u):
        single = stats.norm.cdf((z + np.sqrt(correlation) * u) / np.sqrt(1.0 - correlation))
        return stats.norm.pdf(u) * stats.binom.sf(half - 1, count, single)

    step = min(-z / np.sqrt(correlation), 8.0)
    want = quad(given_shared, -9.0, 9.0, points=[step], limit=200)[0]
    assert sorting.majority_error(error, count, correlation) == pytest.approx(want, abs=1e-5)


def test_no_reading_decides_at_random():
    assert sorting.majority_error(0.01, 0) == 0.5


@pytest.mark.parametrize("decision", [0.02, 0.09, 0.14])
def test_eject_window_against_a_scan_in_time(decision):
    # Two objects and the release point scanned in 1 microsecond steps: when neither neighbour is there but
    # this one is
    distance, length, spacing, speed, actuator = 0.15, 0.06, 0.14, 1.1, 0.03
    t = np.arange(-0.2, 0.4, 1e-6)
    nose = speed * t
    before_gone = nose + spacing - length > distance
    here_not_yet = nose < distance
    ready = t >= decision + actuator
    window = timing.eject_window(distance, length, spacing, speed, decision, actuator)
    free = before_gone & here_not_yet & ready
    assert max(window.margin, 0.0) == pytest.approx(free.sum() * 1e-6, abs=3e-6)
    # it aims at the middle of the whole window, or as early as it can where that is later
    whole = t[before_gone & here_not_yet]
    assert window.aim == pytest.approx(max(whole.mean(), decision + actuator), abs=2e-6)


@pytest.mark.parametrize("ready", [0.0, 0.02, 0.04, 0.06])
def test_eject_chance_against_drawn_moments(ready):
    # 400,000 drawn moments round the aim; three errors of a share of a half are 0.0024. An ejector that is in place
    # before it was thought to be is not too late: only the ends of the window count
    window = timing.EjectWindow(0.0, 0.05, ready)
    moments = np.random.default_rng(8).normal(window.aim, 0.008, 400_000)
    assert timing.eject_chance(window, 0.008) == pytest.approx(((moments > 0.0) & (moments < 0.05)).mean(), abs=2.4e-3)


def test_spare_and_chance_are_one_model():
    # what holds by its spare time is in time for 95 % or more; what is not in time for 95 % does not hold
    rng = np.random.default_rng(9)
    opens, width, scatter = rng.uniform(-0.1, 0.1, 400), rng.uniform(0.0, 0.1, 400), rng.uniform(1e-3, 0.03, 400)
    window = timing.EjectWindow(opens, opens + width, opens + rng.uniform(-0.1, 0.15, 400))
    chance, holds = timing.eject_chance(window, scatter), window.spare >= timing.needed_spare(window, scatter)
    assert holds.any()
    assert (~holds).any()
    assert np.all(chance[holds] >= 0.95 - 1e-12)
    assert np.all(chance[~holds] < 0.95 + 1e-12)
    # both ends as near: two-sided; the other end far away: one-sided
    needed = timing.needed_spare(timing.EjectWindow(0.0, 0.0392, 0.0), 0.01)
    assert needed == pytest.approx(0.01 * stats.norm.ppf(0.975), rel=1e-4)
    needed = timing.needed_spare(timing.EjectWindow(-9.0, 0.05, 0.03), 0.01)
    assert needed == pytest.approx(0.01 * stats.norm.ppf(0.95), rel=1e-12)


def wrapped(x, mean, sd):
    """Density of a normal wrapped round 360 degrees."""
    return sum(stats.norm.pdf(x, mean + 360.0 * k, sd) for k in range(-4, 5))


@pytest.mark.parametrize(
    ("means", "sds"),
    [
        ((100, 110), (5, 60)),
        ((100, 100.5), (5, 40)),
        ((350, 10), (3, 30)),
        ((200, 120), (35, 8)),
        ((20, 240), (10, 15)),
    ],
)
def test_thresholds_err_as_little_as_any_could(means, sds):
    # the least error of all rules, by the larger of both densities on a grid of hues: a broad class may win on both
    # sides of a narrow one
    hues = np.linspace(0.0, 360.0, 72_001)[:-1]
    least = 1.0 - np.max([wrapped(hues, m, s) for m, s in zip(means, sds, strict=True)], axis=0).sum() * 0.005 / 2
    mean, sd = np.radians(np.array(means, dtype=float)), np.radians(np.array(sds, dtype=float))
    arcs = sorting.sectors(mean, sd)
    assert sorting.misclassification(mean, sd, arcs).mean() == pytest.approx(least, abs=3e-4)
    assert arcs.width.sum() == pytest.approx(2.0 * np.pi, rel=1e-12)


def test_outcome_against_simulated_objects():
    # 500,000 objects; three standard errors of a share of a half are 0.0021
    rng = np.random.default_rng(12)
    unwanted = rng.random(500_000) < 0.4
    taken = np.where(unwanted, rng.random(500_000) >= 0.05, rng.random(500_000) < 0.02)
    thrown = taken & (rng.random(500_000) < 0.9)
    found = timing.outcome(0.4, 0.05, 0.02, 0.9)
    for share, seen in (
        (found.kept_right, ~unwanted & ~thrown),
        (found.kept_wrong, unwanted & ~thrown),
        (found.thrown_right, unwanted & thrown),
        (found.thrown_wrong, ~unwanted & thrown),
    ):
        assert share == pytest.approx(seen.mean(), abs=2.1e-3)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: sorting.sectors(np.array([1.0]), np.array([0.1])), "two classes"),
        (lambda: sorting.sectors(np.array([1.0, 7.0]), np.array([0.1, 0.1])), "means"),
        (lambda: sorting.sectors(np.array([1.0, 2.0]), np.array([0.1, 0.0])), "sds"),
        (lambda: sorting.sectors(np.array([1.0, 2.0]), np.array([0.1, 0.1]), np.array([1.0, 0.0])), "priors"),
        (lambda: sorting.equal_error_threshold(-1.0, 0.1, 1.0, 0.1), "mean_1"),
        (lambda: sorting.sample_count(0.1, 1.0, 0.0), "sample_period"),
        (lambda: sorting.majority_error(1.2, 3), "error"),
        (lambda: sorting.majority_error(0.1, -1), "count"),
        (lambda: timing.eject_window(0.1, 0.1, 0.1, 0.0, 0.1, 0.1), "speed"),
        (lambda: timing.eject_chance(timing.EjectWindow(0.0, 1.0, 0.5), 0.0), "scatter"),
        (lambda: timing.outcome(0.4, 0.1, 0.1, 1.1), "ejected"),
    ],
)
def test_bad_input_is_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()

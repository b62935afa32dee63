"""The background of a colour sensor: exhaustive search, chart colours, and the trade's word for yellow."""

import numpy as np
import pytest

from chart import chart
from fieldworthy.physics.colour import colour, sorting
from fieldworthy.physics.colour.sorting import sectors

TURN = 2.0 * np.pi
NOISE = 0.02  # of a full-scale channel


def hexagon(name):
    return float(colour.from_rgb(chart()[name])[0]), float(colour.noise(chart()[name], NOISE))


def standing_out(circle, name):
    """Detectability of red and blue before a patch of the chart."""
    (red, red_sd), (blue, blue_sd) = circle("red"), circle("blue")
    return float(sorting.detectability(*circle(name), np.array([red, blue]), np.array([red_sd, blue_sd])))


@pytest.mark.parametrize(
    ("means", "sds", "own"),
    [
        ([358.0, 228.0], [4.0, 4.0], 3.0),
        ([358.0, 228.0], [3.0, 30.0], 1.0),
        ([20.0, 40.0], [5.0, 9.0], 2.0),
        ([0.0, 120.0, 250.0], [5.0, 12.0, 8.0], 4.0),
        ([10.0], [5.0], 4.0),
    ],
)
def test_best_hue_against_an_exhaustive_search(means, sds, own):
    # Every hundredth of a degree, steps worked in complex numbers; the search can miss the top by half a step
    m, s, b = np.radians(means), np.radians(sds), np.radians(own)
    grid = np.radians(np.arange(0.0, 360.0, 0.01))
    steps = np.abs(np.angle(np.exp(1j * (grid - m[:, None])))) / np.sqrt((s[:, None] ** 2 + b**2) / 2.0)
    worst = steps.min(axis=0)
    found, clear = sorting.best_hue(m, s, b)
    assert clear == pytest.approx(worst.max(), rel=2e-3)
    assert sorting.detectability(found, b, m, s) == pytest.approx(clear, rel=1e-9)


def test_yellow_is_right_on_the_painters_wheel():
    # Common practice, no source: face the sensor at yellow when sorting red from blue. On the painter's
    # wheel (red, yellow, blue a third of a turn apart; from memory) that is exactly the middle of the
    # longer arc
    found, _ = sorting.best_hue(np.array([0.0, TURN * 2 / 3]), np.array([0.1, 0.1]), 0.1)
    assert found == pytest.approx(TURN / 3, rel=1e-12)
    # On the opponent circle (a quarter apart) the middle lies between yellow and green, which draw level
    red_blue = np.array([0.0, TURN * 3 / 4]), np.array([0.1, 0.1])
    yellow, green = (sorting.detectability(TURN * q, 0.1, *red_blue) for q in (0.25, 0.5))
    assert yellow == pytest.approx(green, rel=1e-12)
    assert sorting.best_hue(*red_blue, 0.1)[0] == pytest.approx(TURN * 3 / 8, rel=1e-12)


def test_with_channel_noise_a_dull_green_loses_to_a_bright_yellow():
    # Where the noise comes from the channels, a bright yellow reads steadier than green, and the lead
    # shrinks. Drawn noisy readings decide: the step over the pooled deviation of 100,000 hues of each
    # patch, scipy-free
    rng = np.random.default_rng(13)

    def drawn(name):
        readings = chart()[name][:, None] + rng.normal(0.0, NOISE, (3, 100_000))
        angle = np.exp(1j * colour.from_rgb(np.maximum(readings, 0.0))[0])
        return np.angle(angle.mean()), np.sqrt(-2.0 * np.log(np.abs(angle.mean())))

    def clear(name):
        h, s = drawn(name)
        return min(abs(np.angle(np.exp(1j * (h - m)))) / np.sqrt((s**2 + t**2) / 2) for m, t in (red, blue))

    red, blue = drawn("red"), drawn("blue")
    for name in ("yellow", "green", "foliage", "yellow green"):
        # 6 %: first order in the noise, and readings stop at zero
        assert standing_out(hexagon, name) == pytest.approx(clear(name), rel=0.06)
    assert standing_out(hexagon, "foliage") < standing_out(hexagon, "yellow") < standing_out(hexagon, "green")


def test_a_grey_background_is_no_background():
    # Its hue is noise: no step of any size is large against it
    assert sorting.detectability(1.0, np.inf, np.array([0.1, 4.0]), np.array([0.1, 0.1])) == 0.0
    grey = next(name for name in chart() if name.startswith("neutral 5"))
    assert standing_out(hexagon, grey) == pytest.approx(0.0, abs=0.5)


def test_edges_before_yellow_and_before_green():
    # While a blue object moves before yellow the mixture turns through red (COL-04: 4.8 degrees at 0.3 of
    # yellow), so for part of its edge blue reads as red; before green neither object ever reads as the
    # other. Own mixing loop beside it
    names = ["red", "blue", "yellow"]
    for behind in ("yellow", "green"):
        names[2] = behind
        lin = [colour.decode(chart()[n]) for n in names]
        means = np.array([float(colour.from_rgb(x)[0]) for x in lin])
        arcs = sectors(means, np.full(3, np.radians(5.0)))
        for own in (0, 1):
            other, wrong = 1 - own, 0
            for f in (np.arange(400) + 0.5) / 400:
                h = colour.from_rgb(lin[2] + f * (lin[own] - lin[2]))[0]
                near = [abs(np.angle(np.exp(1j * (h - m)))) for m in means]
                wrong += int(np.argmin(near)) == other
            share = sorting.false_share(lin[2], lin[own], own, arcs, steps=400)
            assert share == pytest.approx(wrong / 400, abs=0.003)
            assert (share > 0.0) == (behind == "yellow" and own == 1)


def test_batch_equals_case_by_case():
    means = np.radians([[358.0, 10.0], [228.0, 240.0], [100.0, 130.0]])
    sds = np.radians([5.0, 8.0, 6.0])
    best, clear = sorting.best_hue(means, sds, np.array([0.05, 0.1]))
    arcs = sectors(means, sds)
    lin = np.array([[0.6, 0.2], [0.1, 0.1], [0.1, 0.6]])
    share = sorting.false_share(np.array([0.5, 0.4, 0.05]), lin, 0, arcs)
    for i, own in enumerate((0.05, 0.1)):
        assert (best[i], clear[i]) == sorting.best_hue(means[:, i], sds, own)
        alone = sectors(means[:, i], sds)
        assert arcs.start[:, i] == pytest.approx(alone.start, rel=1e-12)
        assert share[i] == sorting.false_share(np.array([0.5, 0.4, 0.05]), lin[:, i], 0, alone)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: sorting.detectability(-0.1, 0.1, np.array([1.0]), np.array([0.1])), "background"),
        (lambda: sorting.detectability(0.1, 0.0, np.array([1.0]), np.array([0.1])), "background_sd"),
        (lambda: sorting.best_hue(np.array([]), np.array([]), 0.1), "at least one class"),
        (lambda: sorting.best_hue(np.array([9.0]), np.array([0.1]), 0.1), "means"),
        (lambda: sorting.false_share(np.ones(3), np.ones(3), 0, sectors([0.1, 1.0], [0.1, 0.1]), 0), "steps"),
    ],
)
def test_bad_input_is_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def test_hue_of_a_background_must_lie_on_the_circle():
    with pytest.raises(ValueError, match="mean_2"):
        colour.check(mean_2=6.5)

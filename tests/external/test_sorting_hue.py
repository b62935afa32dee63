"""Circular statistics, hue circles and hue noise against scipy, colorsys and colour-science."""

import colorsys
import warnings

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from chart import chart
from fieldworthy.physics.colour import colour
from reference import case

TURN = 2.0 * np.pi
PATCHES = ("blue", "green", "red", "yellow", "magenta", "cyan")


def degrees_apart(a, b):
    return abs((a - b + 180.0) % 360.0 - 180.0)


def test_mean_and_deviation_of_the_reference_case():
    # COL-07, strength B: scipy circmean, circstd; the plain mean of the same hues is 145.8
    ref = case("COL-07")
    samples = np.radians(ref["inputs"]["hues_deg"])
    assert np.degrees(colour.circmean(samples)) == pytest.approx(ref["expected"]["circmean"]["value"], abs=1e-6)
    assert np.degrees(colour.circstd(samples)) == pytest.approx(ref["expected"]["circstd"]["value"], abs=1e-6)


@pytest.mark.parametrize(("centre", "spread"), [(0.0, 0.1), (3.0, 0.6), (6.2, 1.2)])
def test_mean_and_deviation_against_scipy(centre, spread):
    samples = np.mod(np.random.default_rng(3).normal(centre, spread, (40, 5)), TURN)
    assert colour.distance(colour.circmean(samples), stats.circmean(samples, axis=0)) == pytest.approx(0.0, abs=1e-12)
    assert colour.circstd(samples) == pytest.approx(stats.circstd(samples, axis=0), rel=1e-10)


def test_samples_that_cancel_have_no_bounded_deviation():
    assert colour.circstd(np.array([0.0, np.pi])) > 8.0
    assert colour.circstd(np.array([1.0, 1.0])) == pytest.approx(0.0, abs=1e-7)


@pytest.mark.parametrize("sd", [0.1, 0.8, 2.0, 2.6])
def test_wrapped_normal_against_many_windings(sd):
    # scipy's normal density summed over 41 windings; 1e-7 where the windings change to harmonics
    x = np.linspace(0.0, TURN, 37)
    want = sum(stats.norm(1.0 + TURN * k, sd).pdf(x) for k in range(-20, 21))
    assert colour.wrapped_normal(x, 1.0, sd) == pytest.approx(want, rel=1e-6)


@pytest.mark.parametrize(
    ("start", "width", "sd"), [(0.5, 1.0, 0.4), (3.0, 2.0, 0.3), (5.9, 0.9, 1.2), (4.0, 6.0, 2.0), (2.0, 0.0, 0.5)]
)
def test_arc_probability_against_quadrature(start, width, sd):
    # scipy's quad of the wound density; relative, so it holds in the tails too
    want = sum(quad(stats.norm(1.0 + TURN * k, sd).pdf, start, start + width)[0] for k in range(-9, 10))
    assert colour.arc_probability(start, width, 1.0, sd) == pytest.approx(want, rel=1e-7, abs=1e-14)


def test_hexagonal_hue_of_the_reference_colours():
    # COL-08, strength B: colorsys of the standard library
    assert case("COL-08")["expected"]
    for name, want in case("COL-08")["expected"].items():
        rgb = np.array([float(x) for x in name.strip("()").split(",")])
        assert np.degrees(colour.from_rgb(rgb)[0]) == pytest.approx(want["value"], abs=1e-6)


def test_hexagonal_cone_against_colorsys():
    # Multiples of 1/8 among them, so that two channels are often equal
    rgb = np.vstack(
        [np.random.default_rng(1).random((300, 3)), np.random.default_rng(2).integers(0, 8, (300, 3)) / 8.0]
    ).T
    found = np.array(colour.from_rgb(rgb))
    want = np.array([colorsys.rgb_to_hsv(*pixel) for pixel in rgb.T]).T
    assert found[0] / TURN == pytest.approx(want[0], abs=1e-12)
    assert found[1:] == pytest.approx(want[1:], abs=1e-12)


@pytest.mark.parametrize("patch", PATCHES)
def test_hue_of_chart_patches_on_the_hexagon(patch):
    # COL-02, strength B: colour-science; a chart's colours are not a sensor's response
    want = case("COL-02")["expected"]
    rgb = chart()[patch]
    encoded, linear = np.degrees(colour.from_rgb(rgb)[0]), np.degrees(colour.from_rgb(colour.decode(rgb))[0])
    assert degrees_apart(encoded, want[f"H_sRGB_{patch}"]["value"]) < 0.01
    assert degrees_apart(linear, want[f"H_linear_{patch}"]["value"]) < 0.01


@pytest.mark.parametrize("patch", PATCHES)
def test_hue_of_chart_patches_in_cielab(patch):
    # COL-01, strength B: colour-science. Cyan lies outside sRGB, so clipping turns it; there the same
    # clipped colour is taken through colour-science's own way to CIELAB
    found = np.degrees(colour.lab_hue(chart()[patch])[0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour as science

        d50 = science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
        xyz = science.sRGB_to_XYZ(chart()[patch], illuminant=d50, chromatic_adaptation_transform="Bradford")
        _, a, b = science.XYZ_to_Lab(xyz, d50)
    assert degrees_apart(found, np.degrees(np.arctan2(b, a))) < 0.05
    assert colour.lab_hue(chart()[patch])[1] == pytest.approx(np.hypot(a, b), rel=1e-3)
    if patch != "cyan":
        assert degrees_apart(found, case("COL-01")["expected"][f"h_ab_{patch}"]["value"]) < 0.3


@pytest.mark.parametrize("name", ["hue-blue", "hue-red", "hue-yellow"])
def test_hues_of_the_first_set_of_cases(name):
    # colour-science too, adapted another way: within the half per cent of a turn that the case states
    ref = case(name)
    rgb = chart()[ref["given"]["patch"]]
    tolerance = ref["rel_tol"] * 360.0
    assert degrees_apart(np.degrees(colour.from_rgb(rgb)[0]), ref["expect"]["hsv_hue_deg"]) < tolerance
    assert degrees_apart(np.degrees(colour.lab_hue(rgb)[0]), ref["expect"]["lab_hue_deg"]) < tolerance


def test_hue_of_a_spot_partly_covered():
    # COL-04, strength B: colour-science patches mixed in linear light
    want = case("COL-04")["expected"]
    lin = {name: colour.decode(rgb) for name, rgb in chart().items()}
    grey = next(rgb for name, rgb in lin.items() if name.startswith("neutral 5"))
    for thing in ("red", "blue"):
        for f in (0.05, 0.25, 0.5, 1.0):
            found = np.degrees(colour.from_rgb(colour.mix(grey, lin[thing], f))[0])
            assert degrees_apart(found, want[f"H_lin_{thing}_f{f}"]["value"]) < 0.3
    for f in ("0", "0.1", "0.3", "0.5", "0.7", "0.9", "1.0"):
        found = np.degrees(colour.from_rgb(colour.mix(lin["blue"], lin["yellow"], float(f)))[0])
        assert degrees_apart(found, want[f"H_lin_blue_to_yellow_f{f}"]["value"]) < 0.3


@pytest.mark.parametrize("patch", PATCHES)
def test_hue_noise_against_noisy_readings(patch):
    # 200,000 readings with channel noise 0.01, hue of each by the tested circle, deviation by scipy. First
    # order in the noise: 2 %, of which sampling is 0.3 %. Readings are not clipped at zero, so dark
    # channels are lifted first
    rgb = 0.1 + 0.8 * chart()[patch]
    readings = rgb[:, None] + np.random.default_rng(6).normal(0.0, 0.01, (3, 200_000))
    assert colour.noise(rgb, 0.01) == pytest.approx(stats.circstd(colour.from_rgb(readings)[0]), rel=0.02)


def test_a_grey_has_no_hue():
    grey = np.array([0.4, 0.4, 0.4])
    assert colour.noise(grey, 0.01) == np.inf
    assert colour.from_rgb(grey)[:2] == (0.0, 0.0)
    assert colour.from_rgb(np.zeros(3)) == (0.0, 0.0, 0.0)
    # A grey a hundredth off neutral: scipy's spread of noisy hues is most of a turn, first order says so too
    pale = np.array([0.41, 0.40, 0.40])
    readings = pale[:, None] + np.random.default_rng(7).normal(0.0, 0.01, (3, 50_000))
    assert stats.circstd(colour.from_rgb(readings)[0]) > 0.8
    assert colour.noise(pale, 0.01) > 0.8


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: colour.circmean(np.array([0.1, 7.0])), "hues"),
        (lambda: colour.circmean(np.array([])), "sample"),
        (lambda: colour.circstd(np.array([-0.1])), "hues"),
        (lambda: colour.wrapped_normal(0.1, 0.1, 0.0), "sd"),
        (lambda: colour.arc_probability(0.1, 7.0, 0.1, 0.1), "width"),
        (lambda: colour.from_rgb(np.array([0.1, 0.2])), "rgb"),
        (lambda: colour.from_rgb(np.array([0.1, 0.2, -0.1])), "rgb"),
        (lambda: colour.mix(np.ones(3), np.ones(3), 1.1), "coverage"),
        (lambda: colour.noise(np.ones(3), -0.1), "channel_sd"),
    ],
)
def test_bad_input_is_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()

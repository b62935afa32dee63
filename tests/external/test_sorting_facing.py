"""The trade's word on yellow and colours by hue, against colour-science and an exhaustive search."""

import warnings

import numpy as np
import pytest

from fieldworthy.physics.colour import colour, sorting
from fieldworthy.physics.contact.timing import decision_time


def science():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of an optional plotting library
        import colour as found
    return found


def test_colours_by_hue_against_colour_science():
    hues = np.linspace(0.0, 1.0, 37)[:-1]
    for saturation, value in ((1.0, 1.0), (0.6, 0.5), (0.1, 0.9), (0.0, 0.3)):
        want = science().HSV_to_RGB(np.stack(np.broadcast_arrays(hues, saturation, value), axis=-1)).T
        found = sorting.to_rgb(2.0 * np.pi * hues, saturation, value)
        assert found == pytest.approx(want, abs=1e-12)
        if saturation > 0.0:
            assert np.asarray(colour.from_rgb(found)[0]) == pytest.approx(2.0 * np.pi * hues, abs=1e-12)


def test_pure_hues():
    # hexagon: sixths of a turn (HSV by colour-science); CIELAB: Lab of the sRGB primaries under D50 by colour-science
    cs = science()
    lab = sorting.pure_hues("cielab")
    white = cs.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    for name, rgb in (("red", (1, 0, 0)), ("yellow", (1, 1, 0)), ("green", (0, 1, 0)), ("blue", (0, 0, 1))):
        assert sorting.pure_hues("hexagonal")[name] == pytest.approx(2 * np.pi * cs.RGB_to_HSV(np.array(rgb, float))[0])
        xyz = cs.sRGB_to_XYZ(np.array(rgb, float), white, chromatic_adaptation_transform="Bradford")
        want = np.arctan2(*cs.XYZ_to_Lab(xyz, white)[:0:-1]) % (2 * np.pi)
        # 0.002 rad: matrices rounded to four digits and more
        assert lab[name] == pytest.approx(want, abs=0.002)
    with pytest.raises(ValueError, match="painter, hexagonal or cielab"):
        sorting.pure_hues("wheel")


@pytest.mark.parametrize("circle", ["painter", "hexagonal", "cielab"])
def test_facing_against_an_exhaustive_search(circle):
    where, sd, back = sorting.pure_hues(circle), 0.2, 0.08
    grid = np.radians(np.arange(0.0, 360.0, 0.01))

    def clear(at, own=back):
        steps = [np.abs(np.angle(np.exp(1j * (at - where[c])))) for c in ("red", "blue")]
        return np.minimum(*steps) / np.sqrt((sd**2 + own**2) / 2)

    found = sorting.facing(circle, sd, back)
    assert found.yellow == pytest.approx(clear(where["yellow"]), rel=1e-9)
    assert found.green == pytest.approx(clear(where["green"]), rel=1e-9)
    assert found.best == pytest.approx(clear(grid).max(), rel=1e-3)
    assert found.hue == pytest.approx(grid[np.argmax(clear(grid))], abs=2e-4)
    if circle == "painter":
        # Common practice, no source: yellow. On the painter's wheel it is exactly so, and green is behind
        assert found.yellow == pytest.approx(found.best, rel=1e-12)
        assert found.breakeven == 0.0
    else:
        # a green whose readings spread by so much is as good as that yellow, tried by putting it in
        assert clear(where["green"], found.breakeven) == pytest.approx(clear(where["yellow"]), rel=1e-9)
        assert found.best / found.yellow == pytest.approx({"hexagonal": 2.0, "cielab": 2.0}[circle], rel=0.15)


def test_facing_broadcasts():
    whole = sorting.facing("hexagonal", np.array([0.1, 0.3]), np.array([0.05, 0.2]))
    for i, (sd, back) in enumerate(((0.1, 0.05), (0.3, 0.2))):
        alone = sorting.facing("hexagonal", sd, back)
        for name in ("yellow", "green", "best", "hue", "breakeven"):
            assert getattr(whole, name)[i] == getattr(alone, name)


def test_decision_time_against_clocked_readings():
    # readings on a clock of random phase, counted from when the spot is covered: the slowest of many trials
    rng = np.random.default_rng(3)
    covered, period = 0.008 / 1.5, 0.01
    phases = rng.uniform(0.0, period, 20_000)
    want = np.max(covered + phases + 2 * period) + 0.012
    # 0.1 %: twenty thousand phases come that near to the worst
    assert decision_time(0.008, 1.5, 3.0, period, 0.012) == pytest.approx(want, rel=1e-3)


def test_bad_input_is_named():
    with pytest.raises(ValueError, match="angle"):
        sorting.to_rgb(-0.1, 0.5, 0.5)
    with pytest.raises(ValueError, match="saturation"):
        sorting.to_rgb(1.0, 1.5, 0.5)

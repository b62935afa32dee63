"""Colours of the themes against WCAG 2.2 and against how colour-blind readers see them."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest

from fieldworthy.drawing import THEMES
from fieldworthy.drawing.style import legible

# from memory: below about 2 nobody sees a difference of CIEDE2000, from about 10 on it is seen at a glance
AT_A_GLANCE = 10.0
DEFICIENCIES = (None, "Protanomaly", "Deuteranomaly", "Tritanomaly")


def decoded(colour: str) -> np.ndarray:
    """Linear sRGB; WCAG 2.2, definition of relative luminance (its threshold 0.04045 as corrected in 2021)."""
    encoded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    low, high = sorted(float(decoded(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def seen(colour: str, deficiency: str | None) -> np.ndarray:
    """CIE Lab as seen with a full deficiency; Machado et al. 2009, the matrices as colour-science carries them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of an optional plotting library
        import colour as science

        matrix = np.eye(3) if deficiency is None else np.asarray(science.matrix_cvd_Machado2009(deficiency, 1.0))
        linear = np.clip(matrix @ decoded(colour), 0.0, 1.0)
        return np.asarray(science.XYZ_to_Lab(science.sRGB_to_XYZ(science.cctf_encoding(linear))))


def difference(one: str, other: str, deficiency: str | None) -> float:
    """CIEDE2000."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour as science

        return float(science.delta_E(seen(one, deficiency), seen(other, deficiency), method="CIE 2000"))


def test_the_formula_gives_what_the_standard_prints():
    # WCAG 2.2: black on white is 21 to 1; #767676 on white is the usual example of just over 4.5, from memory
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert 4.5 < contrast("#767676", "#ffffff") < 4.6


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_text_is_read_on_paper_and_on_blocks(theme):
    for text in (theme.ink, theme.quiet, theme.good, theme.caution, theme.bad, *theme.series):
        for ground in (theme.paper, theme.block):
            assert contrast(text, ground) >= 4.5, (text, ground)  # WCAG 2.2, 1.4.3, AA


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_outlines_are_seen(theme):
    for ground in (theme.paper, theme.block):
        assert contrast(theme.edge, ground) >= 3.0  # WCAG 2.2, 1.4.11, AA


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_lines_and_verdicts_are_told_apart_by_colour_blind_readers(theme, deficiency):
    assert len(theme.series) > 1
    for group in (theme.series, (theme.good, theme.caution, theme.bad)):
        for one, other in itertools.combinations(group, 2):
            assert difference(one, other, deficiency) >= AT_A_GLANCE, (one, other)


@pytest.mark.parametrize("colour", ["#b06a3c", "#ffff00", "#3b2a8c", "#000000", "#ffffff", "#00ff66"])
@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_a_colour_of_the_file_is_made_legible_and_stays_what_it_is(theme, colour):
    """WCAG 2.2, 1.4.3, by the contrast above; what can be read already is left alone."""
    found = legible(colour, theme.paper)
    assert contrast(found, theme.paper) >= 4.5
    if contrast(colour, theme.paper) >= 4.5:
        assert found == colour

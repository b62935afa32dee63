"""Colours of a reference chart, as colour-science carries them; a chart's colours are not a sensor's response."""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np


@cache
def chart():
    """Encoded sRGB of ColorChecker patches by colour-science: its data set, Bradford to D65, clipped to the gamut."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of an optional plotting library
        import colour as science

        data = science.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
        white = science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        found = {}
        for name, xyy in data.data.items():
            xyz = science.chromatic_adaptation(
                science.xyY_to_XYZ(xyy),
                science.xy_to_XYZ(data.illuminant),
                science.xy_to_XYZ(white),
                method="Von Kries",
                transform="Bradford",
            )
            found[name] = np.clip(science.XYZ_to_sRGB(xyz), 0.0, 1.0)
    return found

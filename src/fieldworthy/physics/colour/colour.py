"""Colour of an RGB sensor as a hue on two circles, mixtures of light, and the noise of a measured hue.

The hexagonal cone (HSV) is what sensors and their libraries report; CIELAB is nearer to what people see.
Angles are in radians from 0 to 2 pi; the channels lie on the leading axis, cases on the trailing ones.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.colour.hue import wrap

# sRGB to CIE XYZ as seen under D50 (Bradford), the profile connection space of ICC; from memory
_TO_XYZ = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)
_WHITE = _TO_XYZ.sum(axis=1)


def from_rgb(rgb: Array) -> tuple[Real, Real, Real]:
    """Hue, saturation and value on the hexagonal cone.

    Parameters
    ----------
    rgb : Array
        Red, green and blue on the leading axis, from 0, on any common scale [-].

    Returns
    -------
    tuple[Real, Real, Real]
        Hue, 0 for a grey [rad]; saturation [-]; value, on the scale of the input [-].

    Raises
    ------
    ValueError
        If there are not three channels, or one is negative.

    References
    ----------
    smith1978: Color gamut transform pairs.
    """
    _check_rgb(rgb)
    red, green, blue = np.asarray(rgb, dtype=float)
    top, bottom = np.maximum(np.maximum(red, green), blue), np.minimum(np.minimum(red, green), blue)
    chroma = top - bottom
    safe = np.where(chroma > 0.0, chroma, 1.0)
    warm = (green - blue) / safe
    sixth = np.where(
        top == red,
        np.where(warm < 0.0, warm + 6.0, warm),
        np.where(top == green, (blue - red) / safe + 2.0, (red - green) / safe + 4.0),
    )
    # A red a rounding error short of a whole turn is at its start
    angle = np.where((chroma > 0.0) & (sixth < 6.0), sixth, 0.0) * (np.pi / 3.0)
    saturation = chroma / np.where(top > 0.0, top, 1.0)
    return angle[()], saturation[()], top[()]


def _check_rgb(rgb: Array) -> None:
    if np.ndim(rgb) < 1 or len(rgb) != 3:
        msg = "rgb must hold red, green and blue on its leading axis"
        raise ValueError(msg)
    require.not_negative(rgb=rgb)


def lab_hue(rgb: Array) -> tuple[Real, Real]:
    """Hue and chroma of an encoded sRGB colour on the CIELAB circle (D50).

    Parameters
    ----------
    rgb : Array
        Encoded red, green and blue on the leading axis, 0 to 1 [-].

    Returns
    -------
    tuple[Real, Real]
        Hue, 0 for a grey [rad]; chroma, on CIELAB's scale [-].

    Raises
    ------
    ValueError
        If there are not three channels, or one is negative.

    References
    ----------
    cie15: CIE 15 Colorimetry, CIELAB (from memory).
    """
    _check_rgb(rgb)
    a, b = _opponents(np.asarray(rgb, dtype=float))
    chroma = np.hypot(a, b)
    return wrap(np.where(chroma > 1e-3, np.arctan2(b, a), 0.0)), chroma


def _opponents(rgb: Array) -> tuple[Array, Array]:
    """CIELAB's red-green and yellow-blue coordinates of an encoded sRGB colour."""
    xyz = np.tensordot(_TO_XYZ / _WHITE[:, None], decode(rgb), axes=1)
    f = np.where(xyz > (6.0 / 29.0) ** 3, np.cbrt(xyz), xyz * (29.0 / 6.0) ** 2 / 3.0 + 4.0 / 29.0)
    return 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])


def decode(rgb: Array) -> Array:
    """Linear light of encoded sRGB.

    Parameters
    ----------
    rgb : Array
        Encoded channels, 0 to 1 [-].

    Returns
    -------
    Array
        Linear channels [-].

    References
    ----------
    iec61966: IEC 61966-2-1, sRGB (from memory).
    """
    bright = np.maximum(rgb, 0.04045)
    linear: Array = np.where(rgb <= 0.04045, np.asarray(rgb) / 12.92, ((bright + 0.055) / 1.055) ** 2.4)
    return linear


def mix(background: Array, thing: Array, coverage: Real) -> Array:
    """Linear light from a spot that an object covers in part.

    Parameters
    ----------
    background, thing : Array
        Linear red, green and blue on the leading axis [-].
    coverage : Real
        Share of the spot that the object covers [-].

    Returns
    -------
    Array
        Linear channels of the mixture [-].

    Raises
    ------
    ValueError
        If the coverage lies outside 0 to 1.

    References
    ----------
    practice: additive mixture of light.
    """
    require.fraction(coverage=coverage)
    mixed: Array = np.asarray(background) * (1.0 - coverage) + np.asarray(thing) * coverage
    return mixed


def noise(rgb: Array, channel_sd: Real) -> Real:
    """Standard deviation of the hexagonal hue from equal, independent noise in the three channels.

    Parameters
    ----------
    rgb : Array
        Red, green and blue on the leading axis, on any common scale [-].
    channel_sd : Real
        Standard deviation of each channel, on the same scale [-].

    Returns
    -------
    Real
        Standard deviation of the hue, infinite for a grey [rad].

    Raises
    ------
    ValueError
        If there are not three channels, one is negative, or the noise is negative.

    Notes
    -----
    (pi / 3) sd sqrt(2 (1 - f + f^2)) / C, C the largest less the smallest channel, f where the middle one
    lies between them. First order: good while it is below about 0.3 rad. The hue of a pale thing is noise.

    References
    ----------
    smith1978: Color gamut transform pairs; the derivative is ours.
    """
    _check_rgb(rgb)
    require.not_negative(channel_sd=channel_sd)
    low, middle, high = np.sort(np.asarray(rgb, dtype=float), axis=0)
    chroma = high - low
    safe = np.where(chroma > 0.0, chroma, 1.0)
    f = (middle - low) / safe
    sd = np.pi / 3.0 * channel_sd * np.sqrt(2.0 * (1.0 - f + f**2)) / safe
    return np.where(chroma > 0.0, sd, np.inf)[()]

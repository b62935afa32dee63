"""Colour as a sensor sees it: hue as an angle, its statistics, and hue out of red, green and blue.

Angles are in radians from 0 to 2 pi. Samples and classes lie on the leading axis, cases on the trailing ones.

The hexagonal cone (HSV) is what sensors and their libraries report; CIELAB is nearer to what people see.
Angles are in radians from 0 to 2 pi; the channels lie on the leading axis, cases on the trailing ones.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.chance import normal

TURN = 2.0 * np.pi
_WIDE = 0.75 * np.pi  # past this the wrapped normal is flat within 13 %


def windings(sd: Real) -> range:
    """Turns of the circle that a wrapped normal reaches: what is left out is past nine deviations.

    Parameters
    ----------
    sd : Standard deviation, at most 0.75 pi [rad]

    Returns
    -------
    Whole turns [-].
    """
    return range(-1, 2) if np.max(sd) < 0.7 else range(-3, 4)


def check(**hues: Real) -> None:
    """Refuse a hue that does not lie on the circle.

    Parameters
    ----------
    **hues : Hues by name, 0 to 2 pi [rad]

    Raises
    ------
    ValueError : If a hue lies outside 0 to 2 pi; the message names it
    """
    for name, value in hues.items():
        h = np.asarray(value)
        if not np.all((h >= 0.0) & (h <= TURN)):
            msg = f"{name} must be a hue on the circle, 0 to 2 pi rad, got {value!r}"
            raise ValueError(msg)


def wrap(angle: Real) -> Real:
    """Bring any angle onto the circle.

    Parameters
    ----------
    angle : Angle [rad]

    Returns
    -------
    The same direction, 0 or more and less than 2 pi [rad].

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    turned = np.mod(angle, TURN)
    return np.where(turned < TURN, turned, 0.0)[()]  # a tiny negative angle rounds up to a whole turn


def difference(hue: Real, origin: Real) -> Real:
    """Signed shortest way from one hue to another.

    Parameters
    ----------
    hue, origin : Where to, and from where [rad]

    Returns
    -------
    Angle, -pi or more and less than pi, positive towards growing hue [rad].

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    return np.mod(np.asarray(hue) - origin + np.pi, TURN) - np.pi


def distance(hue: Real, other: Real) -> Real:
    """Shortest angle between two hues.

    Parameters
    ----------
    hue, other : The two hues [rad]

    Returns
    -------
    Angle, 0 to pi [rad].

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    return np.abs(difference(hue, other))


def align(*leading: Real) -> tuple[Array, ...]:
    """Give arrays that share a leading axis as many trailing axes as the deepest of them has.

    Parameters
    ----------
    *leading : Arrays with classes (or channels) on the leading axis; a scalar stays one [-]

    Returns
    -------
    tuple of Array
        The same values, ready to broadcast over cases [-].
    """
    arrays = [np.asarray(x, dtype=float) for x in leading]
    deep = max(x.ndim for x in arrays)
    return tuple(x.reshape(x.shape + (1,) * (deep - x.ndim)) if x.ndim else x for x in arrays)


def resultant(hues: Array) -> tuple[Array, Array]:
    """Direction and length of the mean of samples on the circle.

    Parameters
    ----------
    hues : Samples on the leading axis [rad]

    Returns
    -------
    Mean hue [rad]; length of the mean vector, 1 for equal samples and 0 for evenly scattered ones [-].

    Raises
    ------
    ValueError : If there are no samples or a hue lies outside the circle

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    if np.ndim(hues) < 1 or len(hues) < 1:
        msg = "hues: a class needs at least one sample"
        raise ValueError(msg)
    check(hues=hues)
    vector = np.mean(np.exp(1j * np.asarray(hues)), axis=0)
    return np.asarray(wrap(np.angle(vector))), np.minimum(np.abs(vector), 1.0)


def circmean(hues: Array) -> Real:
    """Circular mean of samples.

    Parameters
    ----------
    hues : Samples on the leading axis [rad]

    Returns
    -------
    Mean hue; without meaning where the samples cancel [rad].

    Raises
    ------
    ValueError : If there are no samples or a hue lies outside the circle

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    return resultant(hues)[0][()]


def circstd(hues: Array) -> Real:
    """Circular standard deviation of samples.

    That of the wrapped normal with the same mean length R; it has no correction for few samples.

    Parameters
    ----------
    hues : Samples on the leading axis [rad]

    Returns
    -------
    sqrt(-2 ln R), infinite where the samples cancel [rad].

    Raises
    ------
    ValueError : If there are no samples or a hue lies outside the circle

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    length = resultant(hues)[1]
    logarithm = np.log(length, out=np.full(np.shape(length), -np.inf), where=length > 0.0)
    return np.sqrt(-2.0 * np.minimum(logarithm, 0.0))[()]


def wrapped_normal(hue: Real, mean: Real, sd: Real) -> Real:
    """Density of the normal distribution wrapped round the circle.

    Sum of the windings that reach the place; past 0.75 pi of standard deviation the first two harmonics instead.

    Parameters
    ----------
    hue, mean, sd : Where, and the mean; standard deviation [rad]

    Returns
    -------
    Density [1/rad].

    Raises
    ------
    ValueError : If the standard deviation is not positive

    References
    ----------
    mardia: Directional Statistics, ch. 3 (from memory).
    """
    require.positive(sd=sd)
    d, narrow = np.asarray(difference(hue, mean)), np.minimum(sd, _WIDE)
    total = np.zeros(())
    for k in windings(narrow):
        total = total + np.exp(-0.5 * ((d + TURN * k) / narrow) ** 2)
    rho = np.exp(-0.5 * np.asarray(sd) ** 2)
    flat = (1.0 + 2.0 * rho * np.cos(d) + 2.0 * rho**4 * np.cos(2.0 * d)) / TURN
    density: Array = np.where(np.asarray(sd) < _WIDE, total / (narrow * np.sqrt(TURN)), flat)
    return density[()]


def arc_probability(start: Real, width: Real, mean: Real, sd: Real) -> Real:
    """Probability that a wrapped normal hue falls on an arc.

    Parameters
    ----------
    start, width, mean : Hue at which the arc begins; extent of the arc towards growing hue, 0 to 2 pi; mean hue [rad]
    sd : Standard deviation, at most 0.75 pi; a larger one counts as that [rad]

    Returns
    -------
    Probability, exact far into the tails [-].

    Raises
    ------
    ValueError : If the width lies outside 0 to 2 pi or the standard deviation is not positive

    References
    ----------
    mardia: Directional Statistics, ch. 3 (from memory).
    """
    require.positive(sd=sd)
    check(width=width)
    spread = np.minimum(sd, _WIDE)
    a = np.asarray(difference(start, mean)) / spread
    step, span = TURN / spread, width / spread
    total = np.zeros(())
    for k in windings(spread):
        low = a + k * step
        high = low + span
        flip = low + high > 0.0  # work in the tail that is nearer, so that small probabilities keep their digits
        total = total + normal.cdf(np.where(flip, -low, high)) - normal.cdf(np.where(flip, -high, low))
    return np.clip(total, 0.0, 1.0)


# sRGB to CIE XYZ as seen under D50 (Bradford), the profile connection space of ICC; from memory
_TO_XYZ = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)
_WHITE = _TO_XYZ.sum(axis=1)


def from_rgb(rgb: Array) -> tuple[Real, Real, Real]:
    """Hue, saturation and value on the hexagonal cone.

    Parameters
    ----------
    rgb : Red, green and blue on the leading axis, from 0, on any common scale [-]

    Returns
    -------
    Hue, 0 for a grey [rad]; saturation [-]; value, on the scale of the input [-].

    Raises
    ------
    ValueError : If there are not three channels, or one is negative

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
    rgb : Encoded red, green and blue on the leading axis, 0 to 1 [-]

    Returns
    -------
    Hue, 0 for a grey [rad]; chroma, on CIELAB's scale [-].

    Raises
    ------
    ValueError : If there are not three channels, or one is negative

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
    rgb : Encoded channels, 0 to 1 [-]

    Returns
    -------
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
    background, thing : Linear red, green and blue on the leading axis [-]
    coverage : Share of the spot that the object covers [-]

    Returns
    -------
    Linear channels of the mixture [-].

    Raises
    ------
    ValueError : If the coverage lies outside 0 to 1

    References
    ----------
    practice: additive mixture of light.
    """
    require.fraction(coverage=coverage)
    mixed: Array = np.asarray(background) * (1.0 - coverage) + np.asarray(thing) * coverage
    return mixed


def noise(rgb: Array, channel_sd: Real) -> Real:
    """Standard deviation of the hexagonal hue from equal, independent noise in the three channels.

    (pi / 3) sd sqrt(2 (1 - f + f^2)) / C, C the largest less the smallest channel, f where the middle one
    lies between them. First order: good while it is below about 0.3 rad. The hue of a pale thing is noise.

    Parameters
    ----------
    rgb : Red, green and blue on the leading axis, on any common scale [-]
    channel_sd : Standard deviation of each channel, on the same scale [-]

    Returns
    -------
    Standard deviation of the hue, infinite for a grey [rad].

    Raises
    ------
    ValueError : If there are not three channels, one is negative, or the noise is negative

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

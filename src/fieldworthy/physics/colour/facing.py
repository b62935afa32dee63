"""The trade's word on backgrounds, "face the sensor at yellow when sorting red from blue", worked out by hue circle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.colour import background, colour, hue

_PURE = {"red": (1.0, 0.0, 0.0), "yellow": (1.0, 1.0, 0.0), "green": (0.0, 1.0, 0.0), "blue": (0.0, 0.0, 1.0)}
_PAINTER = {"red": 0.0, "yellow": hue.TURN / 3.0, "green": hue.TURN / 2.0, "blue": hue.TURN * 2.0 / 3.0}


def pure_hues(circle: str) -> dict[str, float]:
    """Return where four pure colours stand on a hue circle.

    Parameters
    ----------
    circle : str
        ``painter``, ``hexagonal`` or ``cielab``.

    Returns
    -------
    dict of str to float
        Hue of red, yellow, green and blue [rad].

    Raises
    ------
    ValueError
        If the circle is none of them.

    References
    ----------
    smith1978: the hexagonal circle.
    cie15: CIELAB.
    artist-wheel: the painter's wheel.
    """
    if circle == "painter":
        return dict(_PAINTER)
    if circle not in ("hexagonal", "cielab"):
        raise ValueError(f"circle must be painter, hexagonal or cielab, got {circle!r}")
    of = colour.from_rgb if circle == "hexagonal" else colour.lab_hue
    return {name: float(of(np.array(rgb))[0]) for name, rgb in _PURE.items()}


def to_rgb(angle: Real, saturation: Real, value: Real) -> Array:
    """Return red, green and blue of a colour on the hexagonal cone.

    Parameters
    ----------
    angle, saturation, value : Real
        Hue, 0 to 2 pi [rad]; saturation and value, 0 to 1 [-].

    Returns
    -------
    Array
        Red, green and blue on the leading axis, 0 to 1 [-].

    Raises
    ------
    ValueError
        If the hue lies outside the circle, or saturation or value outside 0 to 1.

    References
    ----------
    smith1978: Color gamut transform pairs.
    """
    hue.check(angle=angle)
    require.fraction(saturation=saturation, value=value)
    sixth = np.asarray(angle) / (np.pi / 3.0)
    # each channel is a trapezium over the circle, shifted by a third of a turn
    cut = [np.clip(np.abs(np.mod(sixth + k, 6.0) - 3.0) - 1.0, 0.0, 1.0) for k in (0.0, 4.0, 2.0)]
    rgb: Array = np.stack(np.broadcast_arrays(*[value * (1.0 - saturation * (1.0 - c)) for c in cut]))
    return rgb


@dataclass(frozen=True, slots=True)
class Facing:
    """How clearly red and blue stand out before yellow, before green, and before the best hue.

    Attributes
    ----------
    yellow, green, best : Real
        Detectability of the colour that stands out least [-].
    hue : Real
        The best hue [rad].
    breakeven : Real
        Spread of green's readings at which yellow draws level with it, 0 where yellow is never behind [rad].
    """

    yellow: Real
    green: Real
    best: Real
    hue: Real
    breakeven: Real


def facing(circle: str, class_sd: Real, background_sd: Real) -> Facing:
    """Work out what a sensor should face when it sorts red from blue.

    Parameters
    ----------
    circle : str
        ``painter``, ``hexagonal`` or ``cielab``.
    class_sd : Real
        Standard deviation of the readings of either colour [rad].
    background_sd : Real
        Standard deviation of the background's readings, the same for every hue [rad].

    Returns
    -------
    Facing
        Detectabilities and the best hue [-, rad].

    Raises
    ------
    ValueError
        If the circle is unknown or a deviation is not positive.

    Notes
    -----
    A step a at equal spreads s before a background of spread b gives d' = a / sqrt((s^2 + b^2) / 2); green of
    spread g draws level with yellow where s^2 + g^2 = (a_green / a_yellow)^2 (s^2 + b^2).

    References
    ----------
    detection: Detection Theory, unequal variances (from memory).
    """
    where = pure_hues(circle)
    means = np.array([where["red"], where["blue"]])
    sds = np.stack([np.asarray(class_sd, dtype=float)] * 2)
    yellow, green = (background.detectability(where[c], background_sd, means, sds) for c in ("yellow", "green"))
    best_hue, best = background.best_hue(means, sds, background_sd)
    left = (green / yellow) ** 2 * (np.square(class_sd) + np.square(background_sd)) - np.square(class_sd)
    breakeven = np.where(green > yellow, np.sqrt(np.maximum(left, 0.0)), 0.0)[()]
    return Facing(yellow, green, best, best_hue, breakeven)

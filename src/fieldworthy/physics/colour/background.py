"""What a colour sensor should face while no object is before it.

A good background differs from every class by a hue step that is large against the noise of both, and its
mixtures with an object, seen while the object moves into the spot, do not look like another class. Classes
and candidates lie on the leading axis, cases on the trailing ones. Last, the trade's word "face the sensor at yellow
when sorting red from blue", worked out by hue circle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.colour import colour, hue
from fieldworthy.physics.colour.sorting import Sectors


def _scale(sds: Real, background_sd: Real) -> Array:
    """Noise of a hue step: root mean square of the two deviations [rad]."""
    require.positive(sds=sds, background_sd=np.where(np.isinf(background_sd), 1.0, background_sd))
    scale: Array = np.sqrt(0.5 * (np.asarray(sds) ** 2 + np.asarray(background_sd) ** 2))
    return scale


def detectability(background: Real, background_sd: Real, means: Array, sds: Array) -> Array:
    """Smallest hue step between a background and any class, in units of the noise.

    Parameters
    ----------
    background, background_sd : Real
        Hue of the background; standard deviation of its measured hue, infinite for a grey [rad].
    means, sds : Array
        Mean hue of each class, classes on the leading axis; standard deviation of each class [rad].

    Returns
    -------
    Array
        Detectability d' of the class that stands out least, 0 for a grey background [-].

    Raises
    ------
    ValueError
        If a hue lies outside the circle or a deviation is not positive.

    Notes
    -----
    step / sqrt((s_b^2 + s_i^2) / 2).

    References
    ----------
    detection: Detection Theory, unequal variances (from memory).
    """
    hue.check(background=background, means=means)
    mean, sd = hue.align(means, sds)
    steps = np.asarray(hue.distance(background, mean)) / _scale(sd, background_sd)
    smallest: Array = np.min(steps, axis=0)
    return smallest


def best_hue(means: Array, sds: Array, background_sd: Real) -> tuple[Real, Real]:
    """Hue that a background should have, if it could be had in any hue with the same noise.

    Parameters
    ----------
    means, sds : Array
        Mean hue of each class, classes on the leading axis; standard deviation of each class [rad].
    background_sd : Real
        Standard deviation of the background's measured hue [rad].

    Returns
    -------
    tuple[Real, Real]
        Best hue [rad]; its detectability [-].

    Raises
    ------
    ValueError
        If there is no class, a hue lies outside the circle, or a deviation is not positive.

    Notes
    -----
    Exact: the smallest of several saw-tooth functions is largest opposite a class or where two classes,
    one on either side, stand out equally; all such places are tried. For two classes alike it is the
    middle of the longer arc.

    References
    ----------
    detection: Detection Theory, unequal variances (from memory).
    """
    if np.ndim(means) < 1 or len(means) < 1:
        msg = "means must hold at least one class on the leading axis"
        raise ValueError(msg)
    hue.check(means=means)
    mean, sd = hue.align(means, sds)
    mean, scale = np.broadcast_arrays(mean, _scale(sd, background_sd))
    tried = [hue.wrap(m + np.pi) for m in mean]
    for i in range(len(mean)):
        for j in range(len(mean)):
            if i != j:
                arc = np.asarray(hue.wrap(mean[j] - mean[i]))
                tried.append(hue.wrap(mean[i] + arc * scale[i] / (scale[i] + scale[j])))
    candidates = np.stack([np.asarray(t) for t in tried])
    steps = np.min(np.asarray(hue.distance(candidates[:, None], mean[None])) / scale[None], axis=1)
    best = np.argmax(steps, axis=0)[None]
    return np.take_along_axis(candidates, best, 0)[0], np.take_along_axis(steps, best, 0)[0]


def false_share(background: Array, thing: Array, own: int, arcs: Sectors, steps: int = 16) -> Real:
    """Share of an object's edge during which its mixture with the background looks like another class.

    Parameters
    ----------
    background, thing : Array
        Linear red, green and blue of the background and of the object, on the leading axis [-].
    own : int
        Index of the object's class [-].
    arcs : Sectors
        Arcs that decide; the last class is the background.
    steps : int, optional
        Number of coverages tried between none and all [-].

    Returns
    -------
    Real
        Share of the coverage from 0 to 1 at which the mixture falls on another class's arc, the
        background's own not counted [-].

    Raises
    ------
    ValueError
        If the number of steps is below one or a channel is negative.

    Notes
    -----
    Hexagonal hue of the linear mixture.

    References
    ----------
    practice: additive mixture of light.
    """
    require.positive(steps=float(steps))
    behind, before = hue.align(background, thing)
    cover = ((np.arange(steps) + 0.5) / steps).reshape((steps,) + (1,) * (behind.ndim - 1))
    seen = colour.from_rgb(colour.mix(behind[:, None], before[:, None], cover))[0]
    decided = Sectors(arcs.start[:, None], arcs.width[:, None], arcs.owner[:, None], arcs.classes).decide(seen)
    wrong = (decided != own) & (decided != arcs.classes - 1)
    share: Array = np.mean(wrong, axis=0)
    return share


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
    yellow, green = (detectability(where[c], background_sd, means, sds) for c in ("yellow", "green"))
    at_best, best = best_hue(means, sds, background_sd)
    left = (green / yellow) ** 2 * (np.square(class_sd) + np.square(background_sd)) - np.square(class_sd)
    breakeven = np.where(green > yellow, np.sqrt(np.maximum(left, 0.0)), 0.0)[()]
    return Facing(yellow, green, best, at_best, breakeven)

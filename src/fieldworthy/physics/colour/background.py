"""What a colour sensor should face while no object is before it.

A good background differs from every class by a hue step that is large against the noise of both, and its
mixtures with an object, seen while the object moves into the spot, do not look like another class. Classes
and candidates lie on the leading axis, cases on the trailing ones.
"""

from __future__ import annotations

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

"""Sorting by hue: thresholds, votes, errors, and the background that the sensor faces.

Hue classes are normals wrapped round the circle. Classes lie on the leading axis, cases on the trailing ones.

What a colour sensor should face while no object is before it.

A good background differs from every class by a hue step that is large against the noise of both, and its
mixtures with an object, seen while the object moves into the spot, do not look like another class. Classes
and candidates lie on the leading axis, cases on the trailing ones. Last, the trade's word "face the sensor at yellow
when sorting red from blue", worked out by hue circle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.chance import normal
from fieldworthy.physics.colour import colour

_FLAT = 0.75 * np.pi  # a broader class is as flat as one of this spread, within 13 %
_HALF = np.pi * (1.0 + 1e-12)
_NEWTON = 3  # a cut starts within the share of the farther windings from its place, and the digits double
_COUNT_SLACK = 1e-9  # three readings less rounding are three
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(16)  # over noise that all readings of an object share
_LEGENDRE = np.polynomial.legendre.leggauss(24)  # over the median of noise that each reading has for itself


@dataclass(frozen=True, slots=True)
class Sectors:
    """The circle in arcs, each of which decides for one class; a class may own several, one, or none.

    Attributes
    ----------
    start, width : Where each arc begins, and its extent towards growing hue, shape (arcs, cases) [rad]; together they
        make a whole turn, and an arc that a case does not need has no width
    owner : Class that each arc decides for, in the order of the classes
    classes : How many there are
    """

    start: Array
    width: Array
    owner: npt.NDArray[np.intp]
    classes: int

    def decide(self, measured: Real) -> npt.NDArray[np.intp]:
        """Index of the class, from 0, that a measured hue [rad] is taken for.

        Parameters
        ----------
        measured : Hue [rad]

        Returns
        -------
        ndarray of int
            Index [-].

        Raises
        ------
        ValueError : If the hue lies outside the circle
        """
        colour.check(measured=measured)
        deeper = (1,) * max(np.ndim(measured) - self.start.ndim + 1, 0)
        start, width, owner = (x.reshape(x.shape + deeper) for x in (self.start, self.width, self.owner))
        ahead = measured - start
        inside = np.where(ahead < 0.0, ahead + colour.TURN, ahead) < width
        taken = np.argmax(inside, axis=0)[None]
        found: npt.NDArray[np.intp] = np.take_along_axis(np.broadcast_to(owner, inside.shape), taken, 0)[0]
        return found

    def of(self, index: int) -> list[tuple[float, float]]:
        """Start and width of a class's arcs in the first case, the widest first.

        Parameters
        ----------
        index : Of the class, from 0 [-]

        Returns
        -------
        Start and width [rad]; empty for a class that no hue speaks for.
        """
        start, width, owner = (x.reshape(len(x), -1)[:, 0] for x in (self.start, self.width, self.owner))
        own = [(float(start[k]), float(width[k])) for k in range(len(start)) if owner[k] == index and width[k] > 0.0]
        return sorted(own, key=lambda arc: -arc[1])


def sectors(means: Array, sds: Array, priors: Array | None = None) -> Sectors:
    """Arcs of least error: every hue goes to the class whose weighted density is largest there.

    The logarithms of two weighted normals part at the roots of a quadratic. All roots of all pairs, seen the short
    and the long way round, cut the circle into pieces in which one class is ahead; the cuts where the owner changes
    are then polished by Newton's method on the wrapped densities.

    Parameters
    ----------
    means, sds : Mean and standard deviation of each class, classes on the leading axis [rad]; a deviation of more than
        0.75 pi counts as that
    priors : Share of each class among the objects, equal if not given [-]

    Returns
    -------
    The arcs [rad].

    Raises
    ------
    ValueError : If there are fewer than two classes, a mean lies outside the circle, or a deviation or prior is not
        positive

    References
    ----------
    duda: Pattern Classification, ch. 2 (from memory).
    """
    if np.ndim(means) < 1 or len(means) < 2:
        msg = "means must hold at least two classes on the leading axis"
        raise ValueError(msg)
    colour.check(means=means)
    share = np.ones(len(means)) if priors is None else priors
    require.positive(sds=sds, priors=share)
    mean, sd, share = np.broadcast_arrays(*colour.align(means, sds, share))
    classes = (mean, np.minimum(sd, _FLAT), share)
    cuts = _cuts(*classes)
    middle = cuts + 0.5 * (np.append(cuts[1:], cuts[:1] + colour.TURN, axis=0) - cuts)
    owner = np.argmax(_log_density(middle[None], *(x[:, None] for x in classes))[0], axis=0)
    before = np.roll(owner, 1, axis=0)
    count = np.maximum((owner != before).sum(axis=0), 1)
    # the cuts where the owner changes, in order, as many as the case with the most of them has
    picked = np.argsort(owner == before, axis=0, kind="stable")[: int(np.max(count))]
    behind = np.append(middle[-1:] - colour.TURN, middle[:-1], axis=0)
    cuts, low, high, own, other = (np.take_along_axis(x, picked, 0) for x in (cuts, behind, middle, owner, before))
    start = _polished(cuts, (low, high), tuple((own == i, other == i) for i in range(len(mean))), classes)
    rank = np.arange(len(start)).reshape((-1,) + (1,) * (start.ndim - 1))
    end = np.where(rank == count - 1, start[:1] + colour.TURN, np.roll(start, -1, axis=0))
    width = np.where(rank < count, np.clip(end - start, 0.0, colour.TURN), 0.0)
    return Sectors(np.asarray(colour.wrap(start)), width, own, len(mean))


def _cuts(mean: Array, sd: Array, share: Array) -> Array:
    """Hues in rising order at which any two weighted normals are equal, 0 in place of a root that is none."""
    i, j = np.triu_indices(len(mean), 1)
    near = np.asarray(colour.difference(mean[j], mean[i]))
    gap = np.stack([near, near - np.copysign(colour.TURN, near)])
    w_i, w_j = 1.0 / sd[i] ** 2, 1.0 / sd[j] ** 2
    a, b = 0.5 * (w_j - w_i), -w_j * gap
    c = np.log(share[i] * sd[j] / (share[j] * sd[i])) + 0.5 * w_j * gap**2
    inside = b**2 - 4.0 * a * c
    q = -0.5 * (b + np.copysign(np.sqrt(np.maximum(inside, 0.0)), b))
    none = np.full(q.shape, np.inf)
    roots = np.stack([
        np.divide(q, a, out=none.copy(), where=np.abs(q) < colour.TURN * np.abs(a)),
        np.divide(c, q, out=none.copy(), where=np.abs(c) < colour.TURN * np.abs(q)),
    ])  # fmt: skip
    # each class is seen by its nearest winding only
    valid = (inside >= 0.0) & (np.abs(roots) <= _HALF) & (np.abs(roots - gap) <= _HALF)
    at = np.where(valid, colour.wrap(np.where(valid, roots, 0.0) + mean[i]), 0.0)
    return np.sort(at.reshape(-1, *mean.shape[1:]), axis=0)


def _log_density(x: Array, mean: Array, sd: Array, share: Array) -> tuple[Array, Array]:
    """Logarithm of a weighted wrapped normal but for a constant, finite however far out, and its slope [1/rad]."""
    off = np.asarray(colour.difference(x, mean))
    total, pull = np.ones(off.shape), off
    for k in colour.windings(sd):
        if k:
            part = np.exp(-0.5 * colour.TURN * k * (colour.TURN * k + 2.0 * off) / sd**2)
            total, pull = total + part, pull + part * (off + colour.TURN * k)
    return np.log(share / sd) - 0.5 * (off / sd) ** 2 + np.log(total), -pull / (total * sd**2)


def _polished(
    cuts: Array,
    ends: tuple[Array, Array],
    sides: tuple[tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]], ...],
    classes: tuple[Array, Array, Array],
) -> Array:
    """Cuts moved to where the wrapped densities of the classes after and before them are equal."""
    after, before = (
        tuple(np.asarray(sum(np.where(side[n], x[i], 0.0) for i, side in enumerate(sides))) for x in classes)
        for n in (0, 1)
    )
    at = cuts
    for _ in range(_NEWTON):
        (own, rise), (other, fall) = _log_density(at, *after), _log_density(at, *before)
        slope = rise - fall
        step = np.divide(own - other, slope, out=np.zeros(at.shape), where=slope > 0.0)
        at = np.clip(at - step, *ends)
    return at


def equal_error_threshold(mean_1: Real, sd_1: Real, mean_2: Real, sd_2: Real) -> tuple[Real, Real]:
    """Threshold on the shorter arc between two classes at which both are mistaken equally often.

    z = arc / (sd_1 + sd_2).

    Parameters
    ----------
    mean_1, mean_2, sd_1, sd_2 : Mean hues; standard deviations [rad]

    Returns
    -------
    Threshold [rad]; its distance from either mean in standard deviations [-].

    Raises
    ------
    ValueError : If a mean lies outside the circle or a deviation is not positive

    References
    ----------
    duda: Pattern Classification, ch. 2 (from memory).
    """
    colour.check(mean_1=mean_1, mean_2=mean_2)
    require.positive(sd_1=sd_1, sd_2=sd_2)
    way = colour.difference(mean_2, mean_1)
    z = np.abs(way) / (sd_1 + sd_2)
    return colour.wrap(mean_1 + np.sign(way) * z * sd_1), z


def misclassification(means: Array, sds: Array, arcs: Sectors) -> Array:
    """Probability that one reading of each class falls on another class's arcs.

    Parameters
    ----------
    means, sds : Mean and standard deviation of each class, classes on the leading axis [rad]
    arcs : The arcs that decide

    Returns
    -------
    Probability for each class, exact far into the tails [-].

    Raises
    ------
    ValueError : If a deviation is not positive

    References
    ----------
    duda: Pattern Classification, ch. 2 (from memory).
    """
    mean, sd, start, width, owner = colour.align(means, sds, arcs.start, arcs.width, arcs.owner.astype(float))
    falls = colour.arc_probability(start[None], width[None], mean[:, None], sd[:, None])
    own = np.arange(arcs.classes).reshape((-1,) + (1,) * owner.ndim)
    return np.asarray(np.minimum(np.where(owner[None] == own, 0.0, falls).sum(axis=1), 1.0))


def sample_count(length: Real, speed: Real, sample_period: Real) -> tuple[Real, Real, Real]:
    """Count the readings that a passing object gets.

    L / (v T_s), rounded down and up: the phase of the readings is random.

    Parameters
    ----------
    length : Length over which the sensor sees the object alone: the object's less the spot's [m]
    speed, sample_period : Speed of the object under load [m/s]; time between two readings [s]

    Returns
    -------
    Fewest, mean and most readings [-].

    Raises
    ------
    ValueError : If a quantity is not positive

    References
    ----------
    practice: counting.
    """
    require.positive(length=length, speed=speed, sample_period=sample_period)
    count = length / (speed * np.asarray(sample_period))
    return np.floor(count + _COUNT_SLACK), count, np.ceil(count - _COUNT_SLACK)


def majority_error(error: Real, count: Real, correlation: Real = 0.0) -> Real:
    """Probability that the majority of several readings is wrong.

    Upper tail of the binomial distribution as an incomplete beta function, I_p((k + 1) / 2, (k + 1) / 2)
    for odd k; an even count does no better than the odd one below it. With correlation the readings share
    part of normal noise. A little of it is integrated out around independent votes; much of it around the
    median of the rest (24 nodes, absolute error below 1e-5).

    Parameters
    ----------
    error : Probability that one reading is wrong, between two classes [-]
    count : Readings; a tie is settled at random, and without a reading so is everything [-]
    correlation : Correlation of the noise between readings of one object (its place, its own colour, the light) [-]

    Returns
    -------
    Probability [-].

    Raises
    ------
    ValueError : If the error or correlation lies outside 0 to 1, or the count is negative

    References
    ----------
    condorcet: majority vote of independent decisions (from memory).
    """
    require.fraction(error=error, correlation=correlation)
    require.not_negative(count=count)
    half = np.ceil(0.5 * np.floor(count))
    safe = np.maximum(half, 1.0)
    voted = _independent(error, safe)
    if np.any(correlation):
        shared = np.asarray(correlation, dtype=float)
        own_median = np.pi / (4.0 * safe - 4.0 + np.pi)  # about the variance of the median of 2 h - 1 normals
        little = shared <= own_median * (1.0 - shared)
        if np.any(little):
            voted = np.where(little, _little_shared(error, safe, shared), voted)
        if not np.all(little):
            voted = np.where(little, voted, _much_shared(error, safe, shared))
    return np.where(half > 0.0, voted, 0.5)[()]


_MOST_TERMS = 48.0
"""Up to this half of the readings a vote is summed; beyond, the incomplete beta function is quicker."""


def _independent(error: Real, half: Real) -> Array:
    """Majority error of 2 half - 1 independent readings: ``p**h`` times the sum of ``(1-p)**j (h-1+j over j)``."""
    most, least = float(np.max(half)), float(np.min(half))
    if most > _MOST_TERMS:
        from scipy.special import betainc  # noqa: PLC0415  (a slow import, for long votes only)

        return np.asarray(betainc(half, half, error))
    right = 1.0 - np.asarray(error)
    term = total = np.ones_like(right * half)
    for j in range(1, int(most)):
        term = term * right * ((half - 1.0 + j) / j)
        total = total + (term if j < least else np.where(j < half, term, 0.0))
    return np.asarray(np.power(error, half) * total)


def _little_shared(error: Real, half: Real, shared: Array) -> Array:
    """Majority error by integration over the shared noise, votes being independent at each value of it."""
    z, own = normal.ppf(error), np.sqrt(np.maximum(1.0 - shared, 1e-12))
    voted = np.zeros(())
    for node, weight in zip(_NODES, _WEIGHTS / _WEIGHTS.sum(), strict=True):
        voted = voted + weight * _independent(normal.cdf((z + np.sqrt(shared) * node) / own), half)
    return voted


def _much_shared(error: Real, half: Real, shared: Array) -> Array:
    """Majority error by integration over the median of the readings' own noise, the shared noise in closed form."""
    z, root = normal.ppf(error), np.sqrt(np.maximum(shared, 1e-12))
    reach = 5.0 * np.sqrt(np.pi / (4.0 * half - 4.0 + np.pi))
    voted, total = np.zeros(()), np.zeros(())
    for node, weight in zip(*_LEGENDRE, strict=True):
        median = reach * node
        density = weight * np.exp(-0.5 * median**2) * (4.0 * normal.cdf(median) * normal.cdf(-median)) ** (half - 1.0)
        voted = voted + density * normal.cdf((z + np.sqrt(1.0 - shared) * median) / root)
        total = total + density
    return voted / total


def _scale(sds: Real, background_sd: Real) -> Array:
    """Noise of a hue step: root mean square of the two deviations [rad]."""
    require.positive(sds=sds, background_sd=np.where(np.isinf(background_sd), 1.0, background_sd))
    scale: Array = np.sqrt(0.5 * (np.asarray(sds) ** 2 + np.asarray(background_sd) ** 2))
    return scale


def detectability(background: Real, background_sd: Real, means: Array, sds: Array) -> Array:
    """Smallest hue step between a background and any class, in units of the noise.

    step / sqrt((s_b^2 + s_i^2) / 2).

    Parameters
    ----------
    background, background_sd : Hue of the background; standard deviation of its measured hue, infinite for a grey [rad]
    means, sds : Mean hue of each class, classes on the leading axis; standard deviation of each class [rad]

    Returns
    -------
    Detectability d' of the class that stands out least, 0 for a grey background [-].

    Raises
    ------
    ValueError : If a hue lies outside the circle or a deviation is not positive

    References
    ----------
    detection: Detection Theory, unequal variances (from memory).
    """
    colour.check(background=background, means=means)
    mean, sd = colour.align(means, sds)
    steps = np.asarray(colour.distance(background, mean)) / _scale(sd, background_sd)
    smallest: Array = np.min(steps, axis=0)
    return smallest


def best_hue(means: Array, sds: Array, background_sd: Real) -> tuple[Real, Real]:
    """Hue that a background should have, if it could be had in any hue with the same noise.

    Exact: the smallest of several saw-tooth functions is largest opposite a class or where two classes, one on either
    side, stand out equally; all such places are tried. For two classes alike it is the middle of the longer arc.

    Parameters
    ----------
    means, sds : Mean hue of each class, classes on the leading axis; standard deviation of each class [rad]
    background_sd : Standard deviation of the background's measured hue [rad]

    Returns
    -------
    Best hue [rad]; its detectability [-].

    Raises
    ------
    ValueError : If there is no class, a hue lies outside the circle, or a deviation is not positive

    References
    ----------
    detection: Detection Theory, unequal variances (from memory).
    """
    if np.ndim(means) < 1 or len(means) < 1:
        msg = "means must hold at least one class on the leading axis"
        raise ValueError(msg)
    colour.check(means=means)
    mean, sd = colour.align(means, sds)
    mean, scale = np.broadcast_arrays(mean, _scale(sd, background_sd))
    tried = [colour.wrap(m + np.pi) for m in mean]
    for i in range(len(mean)):
        for j in range(len(mean)):
            if i != j:
                arc = np.asarray(colour.wrap(mean[j] - mean[i]))
                tried.append(colour.wrap(mean[i] + arc * scale[i] / (scale[i] + scale[j])))
    candidates = np.stack([np.asarray(t) for t in tried])
    steps = np.min(np.asarray(colour.distance(candidates[:, None], mean[None])) / scale[None], axis=1)
    best = np.argmax(steps, axis=0)[None]
    return np.take_along_axis(candidates, best, 0)[0], np.take_along_axis(steps, best, 0)[0]


def false_share(background: Array, thing: Array, own: int, arcs: Sectors, steps: int = 16) -> Real:
    """Share of an object's edge during which its mixture with the background looks like another class.

    Hexagonal hue of the linear mixture.

    Parameters
    ----------
    background, thing : Linear red, green and blue of the background and of the object, on the leading axis [-]
    own : Index of the object's class [-]
    arcs : Arcs that decide; the last class is the background
    steps : Number of coverages tried between none and all [-]

    Returns
    -------
    Share of the coverage from 0 to 1 at which the mixture falls on another class's arc, the background's own not
    counted [-].

    Raises
    ------
    ValueError : If the number of steps is below one or a channel is negative

    References
    ----------
    practice: additive mixture of light.
    """
    require.positive(steps=float(steps))
    behind, before = colour.align(background, thing)
    cover = ((np.arange(steps) + 0.5) / steps).reshape((steps,) + (1,) * (behind.ndim - 1))
    seen = colour.from_rgb(colour.mix(behind[:, None], before[:, None], cover))[0]
    decided = Sectors(arcs.start[:, None], arcs.width[:, None], arcs.owner[:, None], arcs.classes).decide(seen)
    wrong = (decided != own) & (decided != arcs.classes - 1)
    share: Array = np.mean(wrong, axis=0)
    return share


_PURE = {"red": (1.0, 0.0, 0.0), "yellow": (1.0, 1.0, 0.0), "green": (0.0, 1.0, 0.0), "blue": (0.0, 0.0, 1.0)}
_PAINTER = {"red": 0.0, "yellow": colour.TURN / 3.0, "green": colour.TURN / 2.0, "blue": colour.TURN * 2.0 / 3.0}


def pure_hues(circle: str) -> dict[str, float]:
    """Return where four pure colours stand on a hue circle.

    Parameters
    ----------
    circle : ``painter``, ``hexagonal`` or ``cielab``

    Returns
    -------
    dict of str to float
        Hue of red, yellow, green and blue [rad].

    Raises
    ------
    ValueError : If the circle is none of them

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
    angle, saturation, value : Hue, 0 to 2 pi [rad]; saturation and value, 0 to 1 [-]

    Returns
    -------
    Red, green and blue on the leading axis, 0 to 1 [-].

    Raises
    ------
    ValueError : If the hue lies outside the circle, or saturation or value outside 0 to 1

    References
    ----------
    smith1978: Color gamut transform pairs.
    """
    colour.check(angle=angle)
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
    yellow, green, best : Detectability of the colour that stands out least [-]
    hue : The best hue [rad]
    breakeven : Spread of green's readings at which yellow draws level with it, 0 where yellow is never behind [rad]
    """

    yellow: Real
    green: Real
    best: Real
    hue: Real
    breakeven: Real


def facing(circle: str, class_sd: Real, background_sd: Real) -> Facing:
    """Work out what a sensor should face when it sorts red from blue.

    A step a at equal spreads s before a background of spread b gives d' = a / sqrt((s^2 + b^2) / 2); green of
    spread g draws level with yellow where s^2 + g^2 = (a_green / a_yellow)^2 (s^2 + b^2).

    Parameters
    ----------
    circle : ``painter``, ``hexagonal`` or ``cielab``
    class_sd : Standard deviation of the readings of either colour [rad]
    background_sd : Standard deviation of the background's readings, the same for every hue [rad]

    Returns
    -------
    Detectabilities and the best hue [-, rad].

    Raises
    ------
    ValueError : If the circle is unknown or a deviation is not positive

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

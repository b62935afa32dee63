"""Value of information: what knowing an input, or a number of further tries, would be worth to a decision."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.chance.chance import Beta

_KNOTS = 6  # of the spline of one input; an input moves the benefit gently
_FEW = 30  # draws below which no curve is fitted
_PENALTIES = np.logspace(-4.0, 6.0, 41)
_REDRAWN = 200  # surfaces drawn to know the error
_NODES = 800  # of the belief about a chance


@dataclass(frozen=True, slots=True)
class Worth:
    """A value of information and how well it is known.

    Attributes
    ----------
    value : Expected gain of the decision, corrected for the bias of choosing among noisy estimates [benefit], 0 or more
    error : Its standard error, from the number of draws [benefit]
    """

    value: float
    error: float


@dataclass(frozen=True, slots=True)
class Surface:
    """Conditional mean of several benefits given one or more inputs: a penalised regression spline.

    Attributes
    ----------
    middle, scale : Mean and standard deviation of each input, shape (p,) [inputs]
    knots : Knots of each standardised input, shape (p, m) [-]
    coefficients : Of each basis function and benefit, shape (b, d) [benefit]
    roots : Square roots of the covariance of the coefficients, one benefit each, shape (d, b, b) [benefit]
    residual : Square root of the correlation of the benefits' residuals, shape (d, d) [-]
    """

    middle: Array
    scale: Array
    knots: Array
    coefficients: Array
    roots: Array
    residual: Array

    def basis(self, inputs: Array) -> Array:
        """Basis functions at points.

        Parameters
        ----------
        inputs : Points, shape (n, p) [inputs]

        Returns
        -------
        Shape (n, b) [-].
        """
        return _basis((inputs - self.middle) / self.scale, self.knots)[0]

    def at(self, inputs: Array) -> Array:
        """Conditional means at points.

        Parameters
        ----------
        inputs : Points, shape (n, p) [inputs]

        Returns
        -------
        Shape (n, d) [benefit].
        """
        return np.asarray(self.basis(inputs) @ self.coefficients)

    def redrawn(self, inputs: Array, seed: int = 0) -> Array:
        """Conditional means at points, on surfaces that the draws allow as well.

        Parameters
        ----------
        inputs : Points, shape (n, p) [inputs]
        seed : Fixes the draws

        Returns
        -------
        Shape (200, n, d) [benefit].
        """
        source = np.random.default_rng(seed)
        z = source.standard_normal((_REDRAWN, self.coefficients.shape[0], self.coefficients.shape[1])) @ self.residual.T
        moved = np.einsum("dij,rjd->rid", self.roots, z)
        return np.asarray(self.basis(inputs) @ (self.coefficients + moved))


def _basis(x: Array, knots: Array) -> tuple[Array, Array]:
    """Constant, straight parts, then cubics about knots and products of two inputs; and which of them are penalised."""
    straight = [np.ones((x.shape[0], 1)), x]
    bent = []
    for i in range(x.shape[1]):
        inner = np.abs(knots[i][:, None] - knots[i][None, :]) ** 3
        # the root of the penalty of a thin plate in one dimension: ridge on what stands behind it (Ruppert and others)
        left, strength, right = np.linalg.svd(inner)
        root = (right.T * np.sqrt(strength)) @ left.T
        cubes = np.abs(x[:, i][:, None] - knots[i][None, :]) ** 3
        bent.append(np.linalg.lstsq(root.T, cubes.T, rcond=1e-9)[0].T)
    pairs = [x[:, [i]] * x[:, [j]] for i in range(x.shape[1]) for j in range(i)]
    table = np.concatenate([*straight, *bent, *pairs], axis=1)
    free = 1 + x.shape[1]
    return table, np.arange(table.shape[1]) >= free


def conditional_means(benefits: Array, inputs: Array) -> Surface | None:
    """Fit the mean of benefits given inputs, over draws of everything that is not known.

    Each input enters by a straight line and a penalised cubic spline of six knots, two inputs also by their product;
    the penalty is the one of least generalised cross-validation. Fit for smooth dependence on a few inputs.

    Parameters
    ----------
    benefits : Benefit of each act in each draw, shape (n, d); noise about its mean does no harm [benefit]
    inputs : What would be known, shape (n, p) [inputs]

    Returns
    -------
    Surface or None
        The fitted means [benefit]; None for fewer than 30 draws or inputs that do not vary.

    References
    ----------
    strong2014: the regression estimator. ruppert2003: low-rank thin-plate splines, section 5.5; cross-validation.
    """
    middle, scale = inputs.mean(axis=0), inputs.std(axis=0)
    if inputs.shape[0] < _FEW or not inputs.shape[1] or np.any(scale <= 1e-12 * np.maximum(np.abs(middle), 1e-300)):
        return None
    x = (inputs - middle) / scale
    knots = np.quantile(x, (np.arange(_KNOTS) + 1.0) / (_KNOTS + 1.0), axis=0).T
    knots = knots + 1e-6 * np.arange(_KNOTS)  # an input of few values gives no two knots in one place
    table, bent = _basis(x, knots)
    coefficients, roots = _ridged(table, benefits, bent.astype(float))
    left = benefits - table @ coefficients
    spread = left.std(axis=0)
    alone = left / np.where(spread > 0.0, spread, 1.0)
    values, vectors = np.linalg.eigh(alone.T @ alone / table.shape[0])
    return Surface(middle, scale, knots, coefficients, roots, vectors * np.sqrt(np.maximum(values, 0.0)))


def _ridged(table: Array, wanted: Array, bent: Array) -> tuple[Array, Array]:
    """Coefficients by the penalty of least generalised cross-validation, and a root of their covariance; all targets.

    In the basis in which the table and the penalty are both diagonal, every penalty costs a product only.
    """
    count = table.shape[0]
    gram = table.T @ table
    gram[np.diag_indices_from(gram)] += 1e-9 * float(np.trace(gram)) / gram.shape[0]  # columns may depend on each other
    inverse = np.linalg.inv(np.linalg.cholesky(gram)).T
    strength, turn = np.linalg.eigh(inverse.T @ (inverse * bent[:, None]))
    axes = inverse @ turn
    kept = 1.0 / (1.0 + _PENALTIES[:, None] * np.maximum(strength, 0.0))  # (penalty, axis)
    right = axes.T @ (table.T @ wanted)  # (axis, target)
    total = np.sum(wanted**2, axis=0)
    errors = total - (2.0 * kept - kept**2) @ right**2  # (penalty, target)
    freedom = np.maximum(count - kept.sum(axis=1), 1.0)
    best = np.argmin(np.maximum(errors, 0.0) / freedom[:, None] ** 2, axis=0)
    shrunk = kept[best]  # (target, axis)
    variance = np.maximum(errors[best, np.arange(best.size)], 0.0) / freedom[best]
    roots = axes[None, :, :] * np.sqrt(shrunk * variance[:, None])[:, None, :]
    return axes @ (shrunk.T * right), roots


def information_value(means: Array) -> Array:
    """Value of knowing what conditional means depend on: the mean of the best less the best of the means.

    Parameters
    ----------
    means : Mean benefit of each act given what would be known, shape (..., n, d) over n equally likely answers
        [benefit]

    Returns
    -------
    Shape (...) [benefit], 0 or more.

    References
    ----------
    raiffa1961: expected value of perfect information.
    """
    return np.asarray(means.max(axis=-1).mean(axis=-1) - means.mean(axis=-2).max(axis=-1))


def value_of_knowing(benefits: Array, inputs: Array, seed: int = 0) -> Worth:
    """Value of knowing some inputs perfectly to a choice between acts.

    The conditional means are fitted by regression, so that no draw is nested in another. Their noise makes the best of
    them look better than it is; that bias is measured on redrawn surfaces and taken off.

    Parameters
    ----------
    benefits : Benefit of each act in each draw of everything that is not known, shape (n, d) [benefit]
    inputs : What would be known, drawn with them, shape (n, p) [inputs]
    seed : Fixes the draws that tell the error

    Returns
    -------
    0 where there is one act alone, or nothing can be fitted [benefit].

    References
    ----------
    strong2014: sections 2 and 3.
    """
    reference = int(benefits.mean(axis=0).argmax())
    gaps = benefits - benefits[:, [reference]]
    surface = conditional_means(np.delete(gaps, reference, axis=1), inputs) if benefits.shape[1] > 1 else None
    if surface is None:
        return Worth(0.0, 0.0)
    found = _worth(surface, inputs, information_value, seed)
    gains = surface.at(inputs).max(axis=1, initial=0.0)  # which answers were drawn is luck too
    return Worth(found.value, float(np.hypot(found.error, gains.std() / np.sqrt(gains.size))))


def _worth(surface: Surface, points: Array, value: Callable[[Array], Array], seed: int) -> Worth:
    """A value of the surface at points, and of redrawn ones; the act that the others are held against earns 0."""
    said = float(value(_with_none(surface.at(points))))
    others = value(_with_none(surface.redrawn(points, seed)))
    return Worth(max(said - max(float(others.mean()) - said, 0.0), 0.0), float(others.std()))


def _with_none(means: Array) -> Array:
    return np.concatenate([np.zeros((*means.shape[:-1], 1)), means], axis=-1)


def after_tries(means: Array, rates: Array, tries: int) -> Array:
    """Value of seeing a number of further tries of an action before choosing: the preposterior analysis.

    Each number of successes k has its beta-binomial chance; after it the act with the best posterior mean is taken.

    Parameters
    ----------
    means : Mean benefit of each act given the success rate, shape (..., n, d) [benefit]
    rates : Equally likely success rates of the belief held now, shape (n,) [-]
    tries : Further tries [-]

    Returns
    -------
    Shape (...) [benefit], 0 or more.

    References
    ----------
    raiffa1961: chapter 5, preposterior analysis; bda: section 2.4, Beta belief of a rate.
    """
    from scipy.special import betaln, xlog1py, xlogy  # noqa: PLC0415

    k = np.arange(tries + 1.0)
    ways = -betaln(tries - k + 1.0, k + 1.0) - np.log1p(tries)
    likely = np.exp(ways + xlogy(k, rates[:, None]) + xlog1py(tries - k, -rates[:, None])) / rates.size
    best = (likely.T @ means).max(axis=-1).sum(axis=-1)
    return np.asarray(best - means.mean(axis=-2).max(axis=-1))


def equally_likely(belief: Beta, count: int = _NODES) -> Array:
    """Success rates that are equally likely by a belief: the middles of as many equal shares.

    Parameters
    ----------
    belief : What is held of the rate [-]
    count : How many [-]

    Returns
    -------
    Shape (count,) [-].
    """
    places: Real = (np.arange(count) + 0.5) / count
    return belief.quantile(places)


def value_of_tries(benefits: Array, drawn: Array, belief: Beta, tries: int | None, seed: int = 0) -> Worth:
    """Value of a number of further tries of an action to a choice between acts.

    Parameters
    ----------
    benefits : Benefit of each act in each draw of everything that is not known, shape (n, d) [benefit]
    drawn : Success rate of the action in each draw, shape (n,) [-]
    belief : The belief that the rates were drawn from [-]
    tries : Further tries; None for so many that the rate is known [-]
    seed : Fixes the draws that tell the error

    Returns
    -------
    0 where there is one act alone, or nothing can be fitted [benefit].

    References
    ----------
    raiffa1961: chapter 5. strong2014: the conditional means by regression.
    """
    reference = int(benefits.mean(axis=0).argmax())
    gaps = benefits - benefits[:, [reference]]
    surface = conditional_means(np.delete(gaps, reference, axis=1), drawn[:, None]) if benefits.shape[1] > 1 else None
    if surface is None:
        return Worth(0.0, 0.0)
    rates = equally_likely(belief)
    if tries is None:
        return _worth(surface, rates[:, None], information_value, seed)
    return _worth(surface, rates[:, None], lambda means: after_tries(means, rates, tries), seed)

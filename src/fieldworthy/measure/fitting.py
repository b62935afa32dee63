"""The fitting core: robust least squares with bounds, intervals, and what the readings cannot tell apart.

Residuals come whitened: observed less predicted, over the standard deviation that one reading is known to have. So a
sum of squares near the number of readings means that the model fits as well as the readings allow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array
from fieldworthy.files.document import KeyPath
from fieldworthy.units import digits

Residual = Callable[[Array], Array]
"""Takes the parameters in their order, shape (p,); gives the whitened residuals of the readings, shape (n,)."""
Slopes = Callable[[Array], Array]
"""Takes the parameters, shape (p,); gives the slopes of the whitened residuals, shape (n, p)."""
PER_95 = 1.959963984540054
"""Standard normal quantile at 97.5 %: half width of a 95 % interval over its standard deviation."""
TRUST = 20.0
"""A stated reading error counts as much as the scatter of this many readings: it is known to about a sixth."""
_BEND = 2.0  # standard deviations at which a residual begins to count less than its square
_MOST = 400  # evaluations; a fit that needs more than some dozens is lost
_STEPS = 120  # of a search that lowers its damping by itself: nonsense on a scale takes more and gains nothing by it
_LOST, _PATIENCE = 1e-3, 5  # gain of a step, and steps in a row that gain no more: the end where nothing fits anyway
_STEP = 1e-5  # spans: of slopes that nobody gives
_FLAT = 0.1  # of the loss's first slope: a far reading bends it less, and must not make a step too bold
_STUCK = 1e10  # damping: no step is small enough to go down
_SOUND = 1e-4  # least pivot of a matrix with ones on its diagonal: above it triangles lose no digit that counts
_TINY = 1e-16  # share of the largest eigenvalue below which a direction is not seen at all
_FAR = 5.0  # standard deviations of one reading that no honest reading is off by
_HOPELESS = 100.0  # times their error: beyond that a number tells no more
_NARROWED = 0.95  # of the file's interval: readings that leave it wider than that tell less than the file
_TOLD = 0.7  # the same of a number that readings alone do not tell: it must owe them half of what is known of it
_DRAWN = 2.576  # standard deviations, 99 of 100: a prior that is drawn farther is contradicted
_PARTNER = 0.2  # of the largest share of a blind direction: parameters with less than this are not named


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number to be found.

    Attributes
    ----------
    name : In the words of a sentence
    start : Where the search begins [SI]
    span : Half width beyond which an answer is worth nothing [SI]: what anyone would have guessed without measuring
    low, high : Bounds [SI]
    given : Standard deviation with which `start` is known already, such as a tape's reading [SI]; None where it is
        not
    """

    name: str
    start: float
    span: float
    low: float = -math.inf
    high: float = math.inf
    given: float | None = None

    def __post_init__(self) -> None:
        if not (self.span > 0.0 and math.isfinite(self.span) and self.low <= self.start <= self.high):
            msg = f"{self.name}: expected a positive span and a start within the bounds, got {self}"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """What a fit has found.

    Attributes
    ----------
    parameters : As asked
    values : The parameters found [SI]
    covariance : Of the values [SI]
    dof : Degrees of freedom of Student's t behind the intervals [-]; infinite spread where it is 0
    residuals : Whitened, at the values found
    scatter : Root mean square of the residuals over the degrees of freedom [-]: 1 where the readings are as good as
        stated; nan where none are left over
    at_bound : Names of parameters that stand at one of their bounds
    """

    parameters: tuple[Parameter, ...]
    values: Array
    covariance: Array
    dof: float
    residuals: Array
    scatter: float
    at_bound: tuple[str, ...]

    def _place(self, name: str) -> int:
        return [p.name for p in self.parameters].index(name)

    def _half_width(self, gradient: Array) -> float:
        """Half width of the 95 % interval of what changes with the parameters by this gradient.

        Only the readings' part of a variance comes from a scatter; what was given beforehand is known. The degrees of
        freedom of the sum are those of Welch and Satterthwaite (JCGM 100:2008, G.4; from memory).
        """
        from scipy.special import stdtrit  # noqa: PLC0415  scipy is loaded only where something is fitted

        if self.dof <= 0:
            return math.inf
        felt = self.covariance @ gradient
        variance = max(float(gradient @ felt), 0.0)
        known = sum((float(f) / p.given) ** 2 for f, p in zip(felt, self.parameters, strict=True) if p.given)
        share = 1.0 - min(known / variance, 0.999) if variance > 0.0 else 1.0
        return float(stdtrit(self.dof / share**2, 0.975)) * math.sqrt(variance)

    @property
    def unexplained(self) -> bool:
        """Whether half of the readings or more stay far from the best fit: the model cannot have led to them."""
        return _unexplained(self.residuals)

    @property
    def missed(self) -> str:
        """How many times their own error the readings are missed by, as a sentence has it."""
        return f"{digits(self.scatter, 2)} times" if self.scatter < _HOPELESS else f"over {_HOPELESS:.0f} times"

    def value(self, name: str) -> float:
        """Give one parameter."""
        return float(self.values[self._place(name)])

    def half_width(self, name: str) -> float:
        """Give the half width of one parameter's 95 % interval."""
        return self._half_width(np.eye(len(self.parameters))[self._place(name)])

    def deviation(self, name: str) -> float:
        """Give one parameter's standard deviation."""
        i = self._place(name)
        return math.sqrt(max(float(self.covariance[i, i]), 0.0))

    def derived(self, quantity: Callable[[Array], float]) -> tuple[float, float]:
        """Give a quantity that follows from the parameters, with the half width of its 95 % interval."""
        steps = np.maximum(1e-3 * np.sqrt(np.diag(self.covariance)), 1e-9 * np.abs(self.values) + 1e-15)
        slope = [
            (quantity(self.values + step) - quantity(self.values - step)) / (2.0 * step.sum())
            for step in np.diag(steps)
        ]
        return float(quantity(self.values)), self._half_width(np.array(slope))

    def why_not(self, name: str) -> str | None:
        """Say why one parameter cannot be told from the readings."""
        i = self._place(name)
        if name in self.at_bound:
            return "the best fit stands at the end of what is possible, so the readings do not pin it down"
        if self.half_width(name) <= self.parameters[i].span:
            return None
        if self.dof <= 0:
            return "there are as many unknowns as readings, so nothing is left to tell the spread"
        partners = self._partners(i)
        if partners:
            return f"only a combination of {name} and {' and '.join(partners)} can be told"
        return "the readings leave it wider than anyone would guess without them"

    def _partners(self, i: int) -> list[str]:
        """Parameters that make up for a change of this one, along the direction that blurs it most."""
        span = np.array([p.span for p in self.parameters])
        spread, directions = np.linalg.eigh(self.covariance / np.outer(span, span))
        blindest = int(np.argmax(np.abs(directions[i]) * np.sqrt(np.maximum(spread, 0.0))))
        parts = np.abs(directions[:, blindest]) / max(float(np.abs(directions[:, blindest]).max()), 1e-12)
        return [p.name for j, p in enumerate(self.parameters) if j != i and parts[j] > _PARTNER]


@dataclass(frozen=True, slots=True)
class Belief:
    """What the robot file says of one parameter of a fit.

    Attributes
    ----------
    parameter : Its name in the fit
    key : Where the file says it
    kind : A key of `fieldworthy.units.KINDS`
    value, deviation : Value and standard deviation [SI]
    """

    parameter: str
    key: KeyPath
    kind: str
    value: float
    deviation: float


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """What readings and file say together, beside what the readings say alone.

    Attributes
    ----------
    together : The fit with the beliefs that stand; the one of the readings alone where there are none
    alone : The fit of the readings alone
    used : The beliefs that stand, by parameter: those that the readings do not contradict
    """

    together: Solution
    alone: Solution
    used: Mapping[str, Belief]

    def why_not(self, name: str) -> str | None:
        """Say why one parameter cannot be told: neither by the readings alone, nor better than the file knows it."""
        why = self.alone.why_not(name)
        belief = self.used.get(name)
        if belief is None:
            return why
        share = _NARROWED if why is None else _TOLD
        if self.together.half_width(name) < share * PER_95 * belief.deviation:
            return None
        return why or "the file knows it better than these readings tell it"


def weighed(
    residual: Residual, parameters: Sequence[Parameter], beliefs: Sequence[Belief], slopes: Slopes | None = None
) -> Weighed:
    """Fit parameters to readings, with what the file believes of them as the prior.

    Notes
    -----
    Gaussian priors, each one more residual ``(value - believed) / deviation``. A belief that the readings contradict
    is left out and the readings alone count: where both 95 % intervals together do not explain the difference, or,
    for a number that only the prior pins down, where it is drawn away farther than 99 of 100 honest priors would be
    (the shift of a linear Gaussian posterior has the variance of the prior less that of the posterior).
    """
    alone = solve(residual, parameters, slopes=slopes)
    used = {b.parameter: b for b in beliefs if b.deviation > 0.0 and not _contradicted(alone, b)}
    loose = {p.name: p.given or math.inf for p in parameters}
    used = {name: belief for name, belief in used.items() if belief.deviation < loose.get(name, 0.0)}
    if alone.unexplained:
        used = {}
    while used:
        together = _with_beliefs(residual, alone, used, slopes)
        drawn = {name: _drawn(together, belief) for name, belief in used.items()}
        worst = max(drawn, key=lambda name: drawn[name])
        if drawn[worst] <= _DRAWN:
            return Weighed(together, alone, used)
        del used[worst]
    return Weighed(alone, alone, {})


def _contradicted(alone: Solution, belief: Belief) -> bool:
    """Whether the readings tell a number, and another one than the file."""
    name = belief.parameter
    if name not in {p.name for p in alone.parameters} or alone.why_not(name) is not None:
        return False
    return abs(alone.value(name) - belief.value) > math.hypot(alone.half_width(name), PER_95 * belief.deviation)


def _drawn(together: Solution, belief: Belief) -> float:
    """How far a belief is drawn away, in standard deviations of how far an honest one would be."""
    left = together.deviation(belief.parameter) ** 2
    width = math.sqrt(max(belief.deviation**2 - left, 1e-4 * belief.deviation**2))
    return abs(together.value(belief.parameter) - belief.value) / width


def _with_beliefs(residual: Residual, alone: Solution, used: Mapping[str, Belief], slopes: Slopes | None) -> Solution:
    """Fit again with beliefs; where the readings tell everything, one linear step from their own fit will do."""
    parameters = [
        replace(p, start=min(max(used[p.name].value, p.low), p.high), given=used[p.name].deviation)
        if p.name in used else p for p in alone.parameters
    ]  # fmt: skip
    if any(alone.why_not(p.name) is not None for p in alone.parameters):
        return solve(residual, parameters, slopes=slopes)
    span = np.array([p.span for p in parameters])
    believed = np.array([used[p.name].value if p.name in used else p.start for p in parameters]) / span
    weight = np.diag([(q.span / (q.given or math.inf)) ** 2 - (p.span / (p.given or math.inf)) ** 2
                      for p, q in zip(alone.parameters, parameters, strict=True)])  # fmt: skip
    seen = np.linalg.inv(alone.covariance / np.outer(span, span))
    covariance = np.linalg.inv(seen + weight)
    values = covariance @ (seen @ (alone.values / span) + weight @ believed) * span
    values = np.clip(values, [p.low for p in parameters], [p.high for p in parameters])
    off = np.asarray(residual(values), dtype=np.float64)
    return replace(
        alone, parameters=tuple(parameters), values=values, covariance=covariance * np.outer(span, span),
        dof=alone.dof + len(used), residuals=off,
    )  # fmt: skip


def solve(
    residual: Residual, parameters: Sequence[Parameter], *, known: bool = True, robust: bool = True,
    slopes: Slopes | None = None,
) -> Solution:  # fmt: skip
    """Fit parameters to readings.

    Notes
    -----
    Pseudo-Huber loss with its bend at two standard deviations. The covariance is that of an M-estimator,
    ``kappa^2 (J' J)^-1`` with ``kappa^2 = mean psi^2 / (mean psi')^2``; with known errors the two means are those of
    the residuals and those of `TRUST` normal ones together, so that few readings do not make a spread of their own.
    With the plain square and unknown errors it is the textbook ``s^2 (J' J)^-1`` with n - p degrees of freedom.
    """
    chosen = tuple(parameters)
    if not known and any(p.given is not None for p in chosen):
        raise ValueError("a parameter can be given beforehand only where the readings' error is known")
    problem = _Problem(residual, chosen, robust, slopes)
    values = problem.found(1.0) if known or not robust else problem.found_with_scale()
    return problem.solution(values, known)


def stepped(residual: Residual, parameters: Sequence[Parameter], moves: Array | None = None) -> Slopes:
    """Slopes of residuals that take many sets of parameters at once, by a step of each to both sides.

    Notes
    -----
    `moves` says which reading each parameter can move at all, shape (n, p). Parameters that move no reading in common
    are stepped together: hundreds of weighings, each with unknowns of its own, need no more steps than one.
    """
    step = np.array([1e-6 * p.span for p in parameters])
    together = np.arange(step.size) if moves is None else _together(moves)
    steps = np.zeros((int(together.max(initial=-1)) + 1, step.size))
    steps[together, np.arange(step.size)] = step

    def slopes(values: Array) -> Array:
        """Central differences, all from one batch."""
        both = residual(np.concatenate((values + steps, values - steps)))
        found = np.asarray((both[: len(steps)] - both[len(steps) :])[together] / (2.0 * step)[:, None]).T
        return found if moves is None else np.where(moves, found, 0.0)

    return slopes


def _together(moves: Array) -> npt.NDArray[np.intp]:
    """Which parameters can be stepped together: the number of the first group without a reading in common."""
    taken: list[Array] = []
    found = np.zeros(moves.shape[1], dtype=np.intp)
    for i, column in enumerate(moves.T):
        place = next((g for g, rows in enumerate(taken) if not (rows & column).any()), len(taken))
        if place == len(taken):
            taken.append(np.zeros_like(column))
        taken[place] = taken[place] | column
        found[i] = place
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """Readings and parameters, with the parameters counted in their spans."""

    residual: Residual
    parameters: tuple[Parameter, ...]
    robust: bool
    slopes: Slopes | None

    @property
    def _span(self) -> Array:
        return np.array([p.span for p in self.parameters])

    @property
    def _given(self) -> list[int]:
        return [i for i, p in enumerate(self.parameters) if p.given is not None]

    def _all(self, unit: Array, scale: float) -> Array:
        """Residuals of the readings, then of what is given beforehand."""
        values = unit * self._span
        before = [(values[i] - p.start) / (p.given or 1.0) for i, p in enumerate(self.parameters) if p.given]
        return np.concatenate((np.asarray(self.residual(values), dtype=np.float64) / scale, before))

    @property
    def _ends(self) -> tuple[Array, Array]:
        """Bounds, counted in spans."""
        return np.array([p.low for p in self.parameters]) / self._span, np.array(
            [p.high for p in self.parameters]
        ) / self._span

    def _slopes(self, unit: Array, scale: float) -> Array:
        """Slopes of `_all`, for parameters counted in their spans; by small steps to both sides if none are given."""
        if self.slopes is not None:
            seen = np.asarray(self.slopes(unit * self._span), dtype=np.float64) * self._span / scale
        else:
            low, high = self._ends
            columns = []
            for i in range(unit.size):
                up, down = unit.copy(), unit.copy()
                up[i], down[i] = min(unit[i] + _STEP, high[i]), max(unit[i] - _STEP, low[i])
                off = np.asarray(self.residual(up * self._span)) - np.asarray(self.residual(down * self._span))
                columns.append(off / (up[i] - down[i]) / scale)
            seen = np.array(columns).T
        before = np.array([p.span / p.given if p.given else 0.0 for p in self.parameters])
        return np.concatenate((seen, np.diag(before)[before > 0.0]))

    def _search(self, start: Array, scale: float) -> Array:
        """Parameters at the least sum of plain squares, to the last digit."""
        from scipy.optimize import least_squares  # noqa: PLC0415

        low, high = self._ends
        free = not (np.isfinite(low).any() or np.isfinite(high).any())
        found = least_squares(
            self._all, start, self._slopes if self.slopes else "3-point", (low, high), args=(scale,), x_scale="jac",
            max_nfev=_MOST, method="lm" if free and self._all(start, scale).size >= start.size else "trf",
            ftol=1e-12, xtol=1e-12, gtol=1e-12,
        )  # fmt: skip
        return np.asarray(found.x, dtype=np.float64)

    def _loss(self, off: Array, *, robust: bool) -> tuple[float, Array, Array]:
        """Half the loss, and its first and second slope by each residual over the residual itself.

        Pseudo-Huber for readings, the plain square for what is given beforehand.
        """
        root = np.ones_like(off)
        if robust:
            readings = self._readings(off)
            root[: readings.size] = np.sqrt(1.0 + (readings / _BEND) ** 2)
        return float(np.sum(off**2 / (1.0 + root))), 1.0 / root, root**-3.0

    def _readings(self, off: Array) -> Array:
        """The residuals of the readings alone, without those of what is given beforehand."""
        return off[: off.size - len(self._given)]

    def _tried(self, unit: Array, scale: float) -> Array:
        """Residuals of parameters that may make no sense; nan then."""
        try:
            return self._all(unit, scale)
        except (ValueError, FloatingPointError):
            return np.full(1, np.nan)

    def _march(self, unit: Array, scale: float, *, robust: bool, near: float) -> Array:
        """Levenberg's and Marquardt's steps to the least loss; one that would leave the bounds ends at them."""
        low, high = self._ends
        damp, off = 1e-3, self._all(unit, scale)
        if not np.all(np.isfinite(off)):
            raise ValueError("residuals are not finite where the search begins")
        slow = 0
        for _ in range(_STEPS):
            loss, first, second = self._loss(off, robust=robust)
            slopes = self._slopes(unit, scale)
            uphill = slopes.T @ (first * off)
            free = ~((unit <= low) & (uphill > 0.0) | (unit >= high) & (uphill < 0.0))
            bend = (slopes * np.maximum(second, _FLAT * first)[:, None]).T @ slopes
            inside = np.ix_(free, free)
            brake = np.maximum(np.diag(bend), 1e-18 * max(float(np.diag(bend).max(initial=0.0)), 1e-30))
            while damp < _STUCK:
                step = np.zeros_like(unit)
                step[free] = _downhill((bend + np.diag(damp * brake))[inside], uphill[free])
                tried = np.clip(unit + step, low, high)
                with np.errstate(all="ignore"):
                    there = self._tried(tried, scale)
                    better = self._loss(there, robust=robust)[0] if there.size == off.size else math.nan
                if better <= loss:
                    break
                damp = max(10.0 * damp, 1e-12)
            else:
                return unit
            unit, off, damp = tried, there, max(0.1 * damp, 1e-15)
            slow = slow + 1 if loss - better <= _LOST * loss and _unexplained(self._readings(off)) else 0
            if loss - better <= near * loss or slow == _PATIENCE:
                return unit
        return unit

    def found(self, scale: float, start: Array | None = None) -> Array:
        """Search for the least sum from a start."""
        if start is None:
            start = np.array([p.start for p in self.parameters]) / self._span
        if self._all(start, scale).size == len(self._given):
            raise ValueError("there is no reading to fit")
        if not self.robust:
            return self._search(start, scale)
        return self._march(self._march(start, scale, robust=False, near=1e-3), scale, robust=True, near=1e-13)

    def found_with_scale(self) -> Array:
        """Robust fit while the scatter is not known: found from the middle residual, again after each fit."""
        unit = self._search(np.array([p.start for p in self.parameters]) / self._span, 1.0)
        for _ in range(4):
            unit = self.found(self._scale(unit), unit)
        return unit

    def _scale(self, unit: Array) -> float:
        residuals = np.asarray(self.residual(unit * self._span))
        left = max(residuals.size - len(self.parameters), 1)
        middle = 1.482602218505602 * float(np.median(np.abs(residuals))) * math.sqrt(residuals.size / left)
        return middle if middle > 0.0 else max(float(np.abs(residuals).max()), 1e-300)

    def solution(self, unit: Array, known: bool) -> Solution:
        """Values at the least sum, with their covariance."""
        scale = self._scale(unit) if not known and self.robust else 1.0
        residuals = np.asarray(self.residual(unit * self._span), dtype=np.float64)
        n, free = residuals.size, len(self.parameters) - len(self._given)
        left = max(n - free, 0)
        jacobian = self._slopes(unit, 1.0)
        spread = self._spread(residuals / scale, left, known) * scale**2
        before = np.array([0.0 if p.given is None else (p.span / p.given) ** 2 for p in self.parameters])
        seen = jacobian[:n].T @ jacobian[:n] / spread if spread > 0 else np.zeros((before.size,) * 2)
        covariance = _inverse(seen + np.diag(before)) * np.outer(self._span, self._span)
        scatter = math.sqrt(float(residuals @ residuals) / left) if left else math.nan
        at_bound = tuple(p.name for p, u in zip(self.parameters, unit, strict=True) if _ends(p, float(u)))
        dof = left + TRUST if known else float(left)
        return Solution(self.parameters, unit * self._span, covariance, dof, residuals, scatter, at_bound)

    def _spread(self, r: Array, left: int, known: bool) -> float:
        """Variance of one reading as the estimate feels it, in the residuals' own unit."""
        if not self.robust:
            extra, count = (TRUST, TRUST) if known else (0.0, 0.0)
            return float(r @ r + extra) / max(left + count, 1e-9)
        root = np.sqrt(1.0 + (r / _BEND) ** 2)
        squares, slopes = float(np.sum((r / root) ** 2)), float(np.sum(root**-3.0))
        square, slope = _normal_means()
        if known:
            return ((squares + TRUST * square) / (left + TRUST)) / ((slopes + TRUST * slope) / (r.size + TRUST)) ** 2
        mean = slopes / r.size
        small = 1.0 + (r.size - left) / r.size * (1.0 - mean) / max(mean, 1e-9)
        return small**2 * squares / max(left, 1e-9) / max(mean, 1e-9) ** 2


def _unexplained(readings: Array) -> bool:
    return bool(np.mean(np.abs(readings) > _FAR) >= 0.5)


def _downhill(bend: Array, uphill: Array) -> Array:
    """Newton's step; by triangles where the matrix is well told, twenty times as fast as by its singular values."""
    size = np.sqrt(np.maximum(np.diag(bend), 1e-300))
    even = bend / np.outer(size, size)
    try:
        if np.diag(np.linalg.cholesky(even)).min() > _SOUND:
            return np.asarray(-np.linalg.solve(even, uphill / size) / size)
    except (np.linalg.LinAlgError, ValueError):  # blind directions, or nothing that is free
        pass
    try:
        return np.asarray(np.linalg.lstsq(bend, -uphill, rcond=1e-15)[0])
    except np.linalg.LinAlgError:  # slopes beyond what numbers hold tell no way down
        return np.zeros_like(uphill)


def _ends(parameter: Parameter, unit: float) -> bool:
    value, near = unit * parameter.span, 1e-6 * parameter.span
    return value - parameter.low < near or parameter.high - value < near


def _inverse(information: Array) -> Array:
    """Inverse of a symmetric matrix; directions that it does not see get a variance too large to be useful."""
    values, directions = np.linalg.eigh(information)
    values = np.maximum(values, max(float(values[-1]) * _TINY, 1e-30))
    return np.asarray((directions / values) @ directions.T)


@cache
def _normal_means() -> tuple[float, float]:
    """Means of psi squared and of its slope over standard normal residuals."""
    x, w = np.polynomial.hermite_e.hermegauss(80)
    root = np.sqrt(1.0 + (x / _BEND) ** 2)
    w = w / w.sum()
    return float(w @ (x / root) ** 2), float(w @ root**-3.0)

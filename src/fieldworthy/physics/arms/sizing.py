"""The smallest standard cylinder that swings an arm far enough and is strong enough, and what the next buys.

Candidates lead, cases trail: strokes first, then bores. Air is counted as free air of ISO 8778 (100 kPa, 20
C) for one stroke out and one back, at the pressure in the cylinder, tubing not included.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import SMALL, ratio, refuse_unsized
from fieldworthy.physics.arms.linkage import (
    Balance,
    Drive,
    Elastic,
    Rocker,
    Weight,
    passive_torque,
    reachable,
    sweep,
    swing,
)

STANDARD_STROKES = (0.025, 0.050, 0.075)
"""Strokes of usual small cylinders [m] (common practice, no source)."""

P_ANR = 100e3
"""Absolute pressure of the reference atmosphere, ISO 8778 [Pa]."""


@dataclass(frozen=True, slots=True)
class Candidates:
    """What the candidates are tried with.

    Parameters
    ----------
    strokes, bores : Strokes, rising, shape ``(k,)`` [m]; bores, rising, shape ``(m,)`` [m]
    rods : Rod diameters that belong to the bores, shape ``(m,)`` [m]
    dead_length : Pin to pin length of the retracted cylinder less its stroke, taken as the same for all [m]

    Raises
    ------
    ValueError : If a stroke or bore is not positive or not rising, or a rod is not thinner than its bore
    """

    strokes: Array
    bores: Array
    rods: Array
    dead_length: Real

    def __post_init__(self) -> None:
        refuse_unsized(dead_length=self.dead_length)
        for name in ("strokes", "bores"):
            sizes = np.asarray(getattr(self, name))
            if sizes.ndim != 1 or not (sizes > 0.0).all() or not (np.diff(sizes) > 0.0).all():
                msg = f"{name} must be positive and rising, got {getattr(self, name)!r}"
                raise ValueError(msg)
        rods = np.asarray(self.rods)
        if rods.shape != np.shape(self.bores) or not ((rods >= 0.0) & (rods < self.bores)).all():
            msg = f"rods must be thinner than their bores, got {self.rods!r}"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Task:
    """What the cylinder has to do.

    Parameters
    ----------
    swing, p_gauge : Angle through which the arm must swing [rad]; gauge pressure in the cylinder as it does so [Pa]
    p_ambient_abs, efficiency : Absolute pressure of the surroundings [Pa]; share of the force that reaches the pin [-]
    friction_torque, margin : Friction of the pivot [N m]; force margin asked for, available over demand less 1 [-]
    """

    swing: Real
    p_gauge: Real
    p_ambient_abs: Real = 101325.0
    efficiency: Real = 1.0
    friction_torque: Real = 0.0
    margin: Real = 0.0


@dataclass(frozen=True, slots=True)
class Trial:
    """How every candidate does.

    Parameters
    ----------
    swing : Angle of the usable stroke, shape ``(k, *cases)`` [rad]
    margin : Least force margin of both ways along it, shape ``(k, m, *cases)`` [-]
    air : Free air of one stroke out and back, same shape [m3]
    fits : Whether it reaches and has the margin asked for, same shape [-]
    """

    swing: Array
    margin: Array
    air: Array
    fits: npt.NDArray[np.bool_]


def free_air(bore: Real, rod: Real, stroke: Real, p_gauge: Real, p_ambient_abs: Real = 101325.0) -> Array:
    """Return the free air that a cylinder takes to go out and back.

    Swept volume of both sides at the absolute pressure, at 20 C throughout.

    Parameters
    ----------
    bore, rod, stroke : Bore [m]; rod diameter [m]; stroke [m]
    p_gauge, p_ambient_abs : Gauge pressure in the cylinder [Pa]; absolute pressure of the surroundings [Pa]

    Returns
    -------
    Volume at 100 kPa and 20 C [m3].

    References
    ----------
    iso8778: standard reference atmosphere.
    """
    area = 0.25 * np.pi * (2.0 * np.square(bore) - np.square(rod))
    return np.asarray(area * stroke * (np.asarray(p_gauge) + p_ambient_abs) / P_ANR)


def try_candidates(
    rocker: Rocker,
    candidates: Candidates,
    task: Task,
    weights: tuple[Weight, ...] = (),
    bands: tuple[Elastic, ...] = (),
) -> Trial:
    """Try every stroke and bore on an arm.

    The demand per newton does not depend on the bore, so the stroke is swept once for each stroke only.

    Parameters
    ----------
    rocker : Where the pins are; its own closed length and stroke are replaced by the candidates' [-]
    candidates : Strokes, bores and rods [-]
    task : Swing, pressure and margin asked for [-]
    weights : What the arm carries, itself included [-]
    bands : Elastic assist [-]

    Returns
    -------
    Swing, margin, air, and whether it fits, for each [-].
    """
    rows = [_one_stroke(rocker, candidates, s, task, weights, bands) for s in candidates.strokes]
    swung, margins, air = (np.stack(np.broadcast_arrays(*column)) for column in zip(*rows, strict=True))
    fits = (margins >= task.margin) & (swung >= task.swing)[:, None]
    return Trial(swung, margins, np.broadcast_to(air, margins.shape), fits)


def _one_stroke(
    rocker: Rocker,
    candidates: Candidates,
    stroke: float,
    task: Task,
    weights: tuple[Weight, ...],
    bands: tuple[Elastic, ...],
) -> tuple[Array, Array, Array]:
    """Return swing, margins and air of all bores at one stroke."""
    one = np.atleast_1d(stroke)
    made = replace(rocker, closed=np.atleast_1d(candidates.dead_length) + one, stroke=one)
    at = sweep(made)
    unit = Balance(at, Drive(1.0, 1.0, 1.0, task.friction_torque), passive_torque(at, weights, bands))
    force = np.asarray(task.p_gauge) * task.efficiency
    bores, rods = (np.reshape(x, (-1, 1)) for x in (candidates.bores, candidates.rods))
    push, pull = 0.25 * np.pi * bores**2 * force, 0.25 * np.pi * (bores**2 - rods**2) * force
    worst = np.minimum(_spare(push, unit.use_out.max(axis=0)), _spare(pull, unit.use_in.max(axis=0)))
    swung = np.where(reachable(made), swing(made), 0.0)
    return swung, worst, free_air(bores, rods, stroke, task.p_gauge, task.p_ambient_abs)


def _spare(force: Array, need: Array) -> Array:
    """Return the margin of a force over a need in newtons."""
    return ratio(force, np.where(need > SMALL, need, 0.0)) - 1.0


@dataclass(frozen=True, slots=True)
class Choice:
    """The candidate that does with the least air.

    Parameters
    ----------
    stroke, bore : Its place among the strokes, -1 where none fits [-]; its place among the bores, -1 where none fits
        [-]
    margin, air : Its force margin, -1 where none fits [-]; its free air, infinite where none fits [m3]
    """

    stroke: npt.NDArray[np.int_]
    bore: npt.NDArray[np.int_]
    margin: Array
    air: Array


def smallest(trial: Trial) -> Choice:
    """Return the fitting candidate that takes the least air.

    Parameters
    ----------
    trial : How every candidate does [-]

    Returns
    -------
    One for each case [-].
    """
    k, m = trial.fits.shape[:2]
    cost = np.where(trial.fits, trial.air, np.inf).reshape((k * m, *trial.fits.shape[2:]))
    best = cost.argmin(axis=0)
    return _at(trial, best // m, best % m, np.isfinite(cost.min(axis=0)))


def next_up(trial: Trial, choice: Choice) -> tuple[Choice, Choice]:
    """Return what the next stroke and the next bore would do instead.

    Parameters
    ----------
    trial : How every candidate does [-]
    choice : One of them for each case, from `smallest` [-]

    Returns
    -------
    tuple of Choice
        The next stroke with the same bore, and the next bore with the same stroke; as where none fits when
        there is no larger one [-].
    """
    k, m = trial.fits.shape[:2]
    chosen = choice.stroke >= 0
    longer = _at(trial, choice.stroke + 1, choice.bore, chosen & (choice.stroke + 1 < k))
    return longer, _at(trial, choice.stroke, choice.bore + 1, chosen & (choice.bore + 1 < m))


def _at(trial: Trial, stroke: npt.NDArray[np.int_], bore: npt.NDArray[np.int_], there: npt.NDArray[np.bool_]) -> Choice:
    """Look up one candidate for each case."""
    i, j = np.where(there, stroke, 0), np.where(there, bore, 0)
    cases = tuple(np.indices(i.shape))
    return Choice(
        np.where(there, i, -1),
        np.where(there, j, -1),
        np.where(there, trial.margin[(i, j, *cases)], -1.0),
        np.where(there, trial.air[(i, j, *cases)], np.inf),
    )

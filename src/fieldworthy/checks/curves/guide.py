"""Straight guides: how near they are to locking, and the force that moves the load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.finding import Array
from fieldworthy.checks.showing import first
from fieldworthy.checks.slide import forces
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.guide import Guide, force_to_move, shortest_guide
from fieldworthy.robot.model.linkage import Slide

_POINTS = 81


@dataclass(frozen=True, slots=True)
class GuideCurves:
    """A carriage on a straight guide.

    Attributes
    ----------
    name : str
        Of the mechanism.
    load : float
        Force against the motion, without friction [N].
    length : float
        Between the pads, as it is [m].
    least : float
        At which it locks however hard it is pushed [m].
    needed : float
        Force that moves it; infinite where it locks [N].
    has : float or None
        What its cylinder gives late in the plan [N]; None without one.
    lengths, forces : ndarray of shape (k,)
        Other lengths between the pads, and the force needed with each; infinite where it locks [m, N].
    """

    name: str
    load: float
    length: float
    least: float
    needed: float
    has: float | None
    lengths: Array
    forces: Array


def guide_curves(subject: Subject) -> dict[str, GuideCurves]:
    """Show every straight guide of a robot.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    dict of str to GuideCurves
        By mechanism [SI].
    """
    subject = subject.nominal
    found = {name: spec for name, spec in subject.robot.mechanisms.items() if isinstance(spec, Slide)}
    return {name: _curves(subject, name, spec) for name, spec in found.items()}


def _curves(subject: Subject, name: str, spec: Slide) -> GuideCurves:
    needed, has = forces(subject, spec)
    length, least = first(spec.length), first(shortest_guide(np.abs(spec.drive_offset), spec.friction))
    lengths = np.linspace(0.3 * min(length, least) if least > 0.0 else 0.3 * length, 2.0 * max(length, least), _POINTS)
    guide = Guide(lengths, first(spec.friction), first(spec.width))
    other = force_to_move(guide, first(spec.load), first(spec.load_offset), first(spec.drive_offset))
    return GuideCurves(
        name, first(spec.load), length, least, first(needed), None if has is None else first(has), lengths,
        np.broadcast_to(np.asarray(other, dtype=float), lengths.shape),
    )  # fmt: skip

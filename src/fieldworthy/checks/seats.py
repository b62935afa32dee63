"""The ways an object can seat in a clamp: its outline, each distinct side and corner, and how far it may be off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.stance import flat
from fieldworthy.checks.subject import Subject
from fieldworthy.physics import clamp as clamping
from fieldworthy.physics.outline import (
    Circle,
    Outline,
    Polygon,
    corner_angles,
    flat_lengths,
    greatest_width,
    rectangle,
    regular_polygon,
)
from fieldworthy.robot.model import Clamp
from fieldworthy.season.model import GameObject


def outline_of(thing: GameObject) -> Outline:
    """Take the outline of an object's base.

    Parameters
    ----------
    thing : GameObject
        The object [SI].

    Returns
    -------
    Polygon or Circle
        About the object's middle [m].
    """
    base = thing.base
    if base is not None and base.corners is not None:
        return Polygon(flat(list(base.corners)))
    if base is not None and base.sides is not None:
        assert base.across_flats is not None, "sides come with their width"
        return regular_polygon(base.sides, base.across_flats)
    if thing.shape != "box":
        return Circle(0.5 * np.asarray(thing.size[0]))
    return rectangle(thing.size[0], thing.size[1])


@dataclass(frozen=True, slots=True)
class Place:
    """One way an object can seat.

    Attributes
    ----------
    kind : str
        ``side``, ``corner`` or ``round``.
    label : str
        Kind and number, for an id.
    index : int
        Of the side or corner.
    yaw : float or ndarray
        The object's turn on this seat [rad].
    size : float
        Nominal length of the side [m] or angle of the corner [rad]; 0 for a round base.
    limit : float
        Nominal turn to the next seat [rad].
    """

    kind: str
    label: str
    index: int
    yaw: Real
    size: float
    limit: float


def places(outline: Outline, nominal: Outline) -> list[Place]:
    """List the ways an object can seat; those that are alike, or mirror images, once.

    Parameters
    ----------
    outline, nominal : Polygon or Circle
        Over cases, and as the file states it [m].

    Returns
    -------
    list of Place
        Sides, then corners [-].
    """
    if isinstance(outline, Circle) or isinstance(nominal, Circle):
        return [Place("round", "round", 0, 0.0, 0.0, np.pi)]
    lengths = np.round(_plain(flat_lengths(nominal)), 6)
    angles = np.round(_plain(corner_angles(nominal)), 6)
    count, found = len(lengths), []
    turn = [float(min(np.pi - angles[i], np.pi - angles[(i + 1) % count]) / 2.0) for i in range(count)]
    sides: dict[tuple[float, ...], int] = {}
    corners: dict[tuple[float, ...], int] = {}
    for i in range(count):
        sides.setdefault((lengths[i], *sorted((angles[i], angles[(i + 1) % count]))), i)
        corners.setdefault((angles[i], *sorted((lengths[i - 1], lengths[i]))), i)
    for number, i in enumerate(sides.values(), 1):
        found.append(Place("side", f"side {number}", i, clamping.flat_yaw(outline, i), float(lengths[i]), turn[i]))
    for number, i in enumerate(corners.values(), 1):
        yaw = clamping.corner_yaw(outline, i)
        found.append(Place("corner", f"corner {number}", i, yaw, float(angles[i]), float(np.pi - angles[i]) / 2.0))
    return found


def _plain(values: Array) -> Array:
    return values if values.ndim == 1 else values[:, 0]


def jaw_of(spec: Clamp) -> clamping.Seat:
    """Take stops and jaw in plan.

    Parameters
    ----------
    spec : Clamp
        As the file gives it [SI].

    Returns
    -------
    clamp.Seat
        In plan [m].
    """
    throat = np.inf if spec.throat is None else spec.throat
    return clamping.Seat(spec.stop_gap, throat, spec.jaw_reach, spec.jaw_width, spec.hook)


def under_jaw(spec: Clamp, thing: GameObject, outline: Outline, place: Place, off: float) -> Array:
    """Find how much rim is under the jaw, with the object turned and off to a side as far as it may be.

    Parameters
    ----------
    spec : Clamp
        As the file gives it [SI].
    thing : GameObject
        What it grips [SI].
    outline : Polygon or Circle
        Its base [m].
    place : Place
        How it seats [-].
    off : float
        Share of the errors in turn and place that counts; 0 where it stands just right [-].

    Returns
    -------
    ndarray
        Least over the seat itself and the four combinations of both errors, no more than the rim's overhang; no less
        than the jaw's reach below 0, where it is beside the jaw [m].
    """
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    jaw, yaw, side = jaw_of(spec), np.asarray(spec.yaw_error) * off, np.asarray(spec.side_error) * off
    depth = np.minimum(clamping.engagement(jaw, outline, place.yaw, 0.0), thing.rim.overhang)
    for a, b in ((-1, -1), (-1, 1), (1, -1), (1, 1)) if off > 0.0 else ():
        depth = np.minimum(depth, clamping.engagement(jaw, outline, place.yaw + a * yaw, b * side))
    worst: Array = np.maximum(depth, -np.asarray(spec.jaw_reach))
    return worst


def best_place(subject: Subject, name: str) -> str:
    """Choose the seat that is judged: of those that must work, the one with most rim under the jaw.

    Parameters
    ----------
    subject : Subject
        With nominal numbers [SI].
    name : str
        Of the clamp [-].

    Returns
    -------
    str
        Its label; the longest side of those that catch alike [-].
    """
    spec = subject.robot.mechanisms[name]
    assert isinstance(spec, Clamp), "asked for with a clamp only"
    thing = subject.season.objects[spec.object]
    outline = outline_of(thing)
    wanted = [p for p in places(outline, outline) if spec.grips in ("any", p.kind) or p.kind == "round"]
    return max(wanted, key=lambda p: (round(float(under_jaw(spec, thing, outline, p, 1.0)), 9), p.size)).label


def windows(subject: Subject, name: str, place: Place) -> tuple[float, float]:
    """Find how far the object may be turned, or be off to a side, and still be caught: the smaller way of both.

    Parameters
    ----------
    subject : Subject
        With nominal numbers [SI].
    name : str
        Of the clamp [-].
    place : Place
        How it seats [-].

    Returns
    -------
    tuple of float
        Turn [rad] and shift [m]; 0 where the seat itself does not catch.
    """
    return subject.remember(("clamp window", name, place.label), lambda: _windows(subject, name, place))


def _windows(subject: Subject, name: str, place: Place) -> tuple[float, float]:
    spec = subject.robot.mechanisms[name]
    assert isinstance(spec, Clamp), "asked for with a clamp only"
    outline = outline_of(subject.season.objects[spec.object])
    jaw = jaw_of(spec)
    at = next(p.yaw for p in places(outline, outline) if p.label == place.label)
    aside = clamping.sideways_window(jaw, outline, at, 0.5 * float(greatest_width(outline)))
    turn = place.limit
    if place.kind != "round":
        found = clamping.yaw_window(jaw, outline, at, place.limit)
        turn = float(np.minimum(found.below, found.above))
    return turn, float(np.minimum(aside.below, aside.above))

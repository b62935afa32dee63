"""A clamp that hooks the rim of an object's base: the plan, the heights, and what it holds.

Plan view: x points away from the robot, y to its left, with the line through the two stops at x = 0. The robot backs
onto the object until a stop or the wall behind the stops touches it, then the jaw comes down a little way out from
the stops. The object is caught when its rim lies under the whole width of the jaw by at least the hook's depth.

A clamp is a pinch point that closes faster than a hand leaves it: release the air before work. A jaw under load lets go
suddenly: stand clear of the line of pull.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import ratio, refuse, refuse_unsized
from fieldworthy.physics.statics.support import Outline, Polygon, corner_angles, front, nearest, normals

SCAN = 8
"""Steps in which a window is searched for its first end; one that opens and shuts within a step goes unseen."""

FINENESS = 2.0**-20
"""Share of such a step to which the end is then found."""

AT_ONCE = 2048
"""Trials that are worked out at once: few cases are cut finely, many are halved."""


@dataclass(frozen=True, slots=True)
class Seat:
    """What the object is backed against and the jaw that comes down on it, in plan.

    Parameters
    ----------
    stop_gap : Distance between the two stops [m]
    throat : Free depth behind the line of the stops, up to a wall; 0 for a plain bar, infinite for none [m]
    jaw_reach, jaw_width : How far out from the line of the stops the jaw comes down, its inner face; width of the jaw
        [m]
    hook : Least depth of rim under the jaw that counts as caught [m]
    jaw_at : Middle of the jaw, or of one of its prongs, from the middle between the stops towards y [m]

    Raises
    ------
    ValueError : If a scalar stop_gap, jaw_reach or jaw_width is not positive, or throat or hook is negative
    """

    stop_gap: Real
    throat: Real
    jaw_reach: Real
    jaw_width: Real
    hook: Real
    jaw_at: Real = 0.0

    def __post_init__(self) -> None:
        refuse_unsized(stop_gap=self.stop_gap, jaw_reach=self.jaw_reach, jaw_width=self.jaw_width)
        refuse(np.asarray(self.throat) >= 0.0, lambda: f"throat must not be negative, got {self.throat!r}")
        refuse(np.asarray(self.hook) >= 0.0, lambda: f"hook must not be negative, got {self.hook!r}")


def flat_yaw(polygon: Polygon, side: int) -> Array:
    """Return the turn that brings a side flat against the stops.

    Parameters
    ----------
    polygon : The object's base
    side : Which side, from corner ``side`` to the next [-]

    Returns
    -------
    Yaw, -pi to pi [rad].
    """
    return _wrap(np.pi - normals(polygon)[side])


def corner_yaw(polygon: Polygon, corner: int) -> Array:
    """Return the turn that points a corner into the throat, its two sides sloping alike.

    Parameters
    ----------
    polygon : The object's base
    corner : Which corner [-]

    Returns
    -------
    Yaw, -pi to pi [rad].
    """
    half = 0.5 * (np.pi - corner_angles(polygon)[corner])
    return _wrap(np.pi - normals(polygon)[corner] + half)


def _wrap(angle: Array) -> Array:
    """Bring an angle into -pi to pi."""
    return np.asarray(np.mod(angle + np.pi, 2.0 * np.pi) - np.pi)


def engagement(seat: Seat, outline: Outline, yaw: Real, sideways: Real) -> Array:
    """Return how deep the rim lies under the jaw once the robot has backed up to the object.

    The near face is convex, so of all the places along the jaw one of its ends is the shallowest. The object
    rests where it is: that a push may turn it square against the stops is not counted on, but both stops must
    have the object before them, or one alone turns it away. Backed hard, a flat side also turns away once the
    object's centre lies outside the stops.

    Parameters
    ----------
    seat : Stops and jaw in plan
    outline : The object's rim, about the point that ``sideways`` measures
    yaw, sideways : The object's turn from x towards y [rad]; the object's place towards y [m]

    Returns
    -------
    Depth at the shallower end of the jaw [m]; negative where the jaw comes down in front of the rim, minus infinity
    where it comes down beside the object, or where it is backed against one stop alone.
    """
    half_gap, half_jaw, aside = 0.5 * np.asarray(seat.stop_gap), 0.5 * np.asarray(seat.jaw_width), np.asarray(sideways)
    left, right = seat.jaw_at - half_jaw - aside, seat.jaw_at + half_jaw - aside
    lines = np.broadcast_arrays(-half_gap - aside, half_gap - aside, left, right)
    face = front(outline, yaw, np.stack(lines))
    stops, wall = -np.minimum(face[0], face[1]), -np.asarray(seat.throat) - nearest(outline, yaw)
    touch = np.maximum(stops, wall)
    # backed against one stop alone, with nothing behind the other, it turns away
    met = np.where(wall > stops, np.isfinite(wall), np.isfinite(np.maximum(face[0], face[1])))
    depth = seat.jaw_reach - np.maximum(face[2], face[3]) - np.where(met, touch, 0.0)
    return np.where(met, depth, -np.inf)


@dataclass(frozen=True, slots=True)
class Window:
    """How far the object may be off to either side and still be caught.

    Parameters
    ----------
    below, above : Reach of the window to the negative and to the positive side, 0 or more [rad] or [m]
    """

    below: Array
    above: Array


def yaw_window(seat: Seat, outline: Outline, yaw: Real, limit: Real, sideways: Real = 0.0) -> Window:
    """Return how far the object may be turned from a seat and still be caught.

    Parameters
    ----------
    seat : Stops and jaw in plan
    outline : The object's rim
    yaw : The seat's own turn, from `flat_yaw` or `corner_yaw` [rad]
    limit, sideways : How far to look to either side, usually half way to the next seat [rad]; the object's place
        towards y [m]

    Returns
    -------
    To either side, at most ``limit``, zero where the seat itself is not caught [rad].
    """

    def spare(turn: Array) -> Array:
        return np.asarray(engagement(seat, outline, yaw + turn, sideways) - seat.hook)

    return Window(_first_end(lambda t: spare(-t), limit), _first_end(spare, limit))


def sideways_window(seat: Seat, outline: Outline, yaw: Real, limit: Real) -> Window:
    """Return how far the object may be off to the side of a seat and still be caught.

    Parameters
    ----------
    seat : Stops and jaw in plan
    outline : The object's rim
    yaw : The object's turn, the seat's own with or without an error [rad]
    limit : How far to look to either side, half the object's width being enough [m]

    Returns
    -------
    To either side, at most ``limit``, zero where the seat itself is not caught [m].
    """

    def spare(shift: Array) -> Array:
        return np.asarray(engagement(seat, outline, yaw, shift) - seat.hook)

    return Window(_first_end(lambda s: spare(-s), limit), _first_end(spare, limit))


def _first_end(spare: Callable[[Array], Array], limit: Real) -> Array:
    """Return the first place from 0 on where the spare turns negative, the limit where it never does."""
    at_rest = spare(np.zeros(np.shape(limit))) >= 0.0
    width = np.where(at_rest, limit, 0.0)
    low, width = _cut(spare, np.zeros(width.shape), width, SCAN)
    whole = low >= np.asarray(limit) * (1.0 - 0.5 / SCAN)
    width = np.where(whole, 0.0, width)
    parts = int(np.clip(AT_ONCE // max(low.size, 1), 2, 64))
    for _ in range(int(np.ceil(np.log(FINENESS) / -np.log(parts)))):
        low, width = _cut(spare, low, width, parts)
    return low


def _cut(spare: Callable[[Array], Array], low: Array, width: Array, parts: int) -> tuple[Array, Array]:
    """Narrow a bracket to the part in which the spare first turns negative; to its end where it never does."""
    part = width / parts
    steps = np.arange(1.0, parts + 1.0).reshape((parts,) + (1,) * low.ndim)
    held = np.logical_and.accumulate(spare(low + steps * part) >= 0.0, axis=0).sum(axis=0)
    return low + held * part, part


@dataclass(frozen=True, slots=True)
class Heights:
    """The clamp from the side.

    Parameters
    ----------
    open : Height of the open jaw's lower edge above the floor [m]
    closed, rim_top : Height to which that edge comes down when nothing is under it; height of the rim's upper face [m]
    rim_thickness : Thickness of the rim, from its upper face to what is below [m]

    Raises
    ------
    ValueError : If a scalar rim_top or rim_thickness is not positive, or the open jaw is not above the closed one
    """

    open: Real
    closed: Real
    rim_top: Real
    rim_thickness: Real

    def __post_init__(self) -> None:
        refuse_unsized(rim_top=self.rim_top, rim_thickness=self.rim_thickness)
        refuse(
            np.asarray(np.greater(self.open, self.closed)),
            lambda: f"open {self.open!r} m must be above closed {self.closed!r} m",
        )


def entry_clearance(heights: Heights) -> Array:
    """Return the gap between the open jaw and the rim that has to pass beneath it.

    Parameters
    ----------
    heights : The clamp from the side

    Returns
    -------
    Gap, negative where the jaw hits the rim [m].
    """
    return np.asarray(np.subtract(heights.open, heights.rim_top))


def bite(heights: Heights) -> Array:
    """Return the stroke that is left in the jaw when it meets the rim, so that it presses.

    Parameters
    ----------
    heights : The clamp from the side

    Returns
    -------
    Overtravel below the rim's upper face, negative where the closed jaw stays above it and holds nothing [m].
    """
    return np.asarray(np.subtract(heights.rim_top, heights.closed))


def hook_drop(heights: Heights, lip: Real) -> Array:
    """Return how far a lip below the jaw reaches down behind the rim.

    Parameters
    ----------
    heights : The clamp from the side
    lip : How far the lip stands below the jaw's lower edge [m]

    Returns
    -------
    Overlap of lip and rim, at most the rim's thickness, zero where the jaw does not come down to the rim [m].
    """
    depth = np.minimum(lip, heights.rim_thickness)
    return np.asarray(np.where(bite(heights) >= 0.0, depth, np.maximum(depth + bite(heights), 0.0)))


def lift_height(heights: Heights, jaw_travel: Real) -> Array:
    """Return how high the clamp lifts what it holds with the travel that closing leaves.

    The jaw first crosses the gap to the rim; the rest carries the object with it.

    Parameters
    ----------
    heights : The clamp from the side
    jaw_travel : Whole travel of the jaw's tip over the stroke, stroke times gain [m]

    Returns
    -------
    Lift [m], zero where the stroke is used up in closing.

    References
    ----------
    practice: 25 mm strokes are usual in clamps, 50 mm ones buy lift height and a gap for loose pieces (common
        practice, no source).
    """
    spare = np.asarray(jaw_travel) - np.maximum(entry_clearance(heights), 0.0)
    return np.asarray(np.maximum(spare, 0.0))


def release_clearance(open_height: Real, surface: Real, size: Real, squeeze: Real = 0.0) -> Array:
    """Return the room in which a loose object slides out from under the open jaw.

    Parameters
    ----------
    open_height, surface, size : Height of the open jaw's lower edge; height of what the loose object lies on; the
        object's free height [m]
    squeeze : Share of that by which it yields, 0 to below 1 [-]

    Returns
    -------
    Gap less the compressed size [m]; positive where it slides out, negative where it stays trapped.
    """
    return np.asarray(np.subtract(open_height, surface) - np.asarray(size) * (1.0 - np.asarray(squeeze)))


def hook_gain(face_angle: Real, friction: Real) -> Array:
    """Return the pull that a hook's face withstands for each newton that holds the jaw down.

    A pull F raises a jaw with F tan(b - phi), phi = atan(mu): the gain is 1 / tan(b - phi), infinite for b <=
    phi; for a flat jaw it is mu.

    Parameters
    ----------
    face_angle : Angle between the face that the rim pulls against and the upright: 0 is square to the pull, pi/2 a flat
        jaw that only rubs, negative undercut [rad]
    friction : Coefficient of friction between face and rim [-]

    Returns
    -------
    Pull over down-force [-], infinite where the face holds itself and only strength limits it.

    Raises
    ------
    ValueError : If a scalar friction is negative or the face is turned past pi/2

    References
    ----------
    meriam_statics: wedges.
    """
    refuse(np.asarray(friction) >= 0.0, lambda: f"friction must not be negative, got {friction!r}")
    refuse(np.asarray(face_angle) <= 0.5 * np.pi, lambda: f"face_angle must be at most pi/2, got {face_angle!r}")
    slip = np.asarray(face_angle) - np.arctan(friction)
    return ratio(np.cos(slip), np.sin(slip))


def holding_force(down_force: Real, gain: Real, seat_friction: Real, resting_weight: Real = 0.0) -> Array:
    """Return the pull at which the object comes out of the clamp.

    Hook or jaw above and friction below both resist: F = N gain + mu (N + W).

    Parameters
    ----------
    down_force, gain : Force of the jaw on the rim [N]; pull held per newton of it, from `hook_gain` [-]
    seat_friction, resting_weight : Coefficient of friction under the object, or the gain of a hook there [-]; weight of
        the object that rests on the same seat [N]

    Returns
    -------
    Pull [N]; infinite for a hook that holds itself while the jaw is down at all.
    """
    down = np.maximum(np.asarray(down_force, dtype=float), 0.0)
    on, borne = down > 0.0, down + resting_weight
    above = np.where(on, gain, 0.0) * np.where(on, down, 1.0)
    below = np.where(borne > 0.0, seat_friction, 0.0) * np.where(borne > 0.0, borne, 1.0)
    return np.asarray(above + below)


def sideways_force(press: Real, friction: Real, hook_friction: Real) -> Array:
    """Return the pull along a rim that slips out of a jaw above it and a hook below it.

    Both faces rub, each pressed with the same force: F = N (mu + mu').

    Parameters
    ----------
    press : Force of the jaw on the rim, and so of the hook from below [N]
    friction, hook_friction : Coefficient of friction of jaw on rim, and of hook on rim [-]

    Returns
    -------
    Pull [N].

    References
    ----------
    meriam_statics: dry friction.
    """
    return np.maximum(press, 0.0) * np.add(friction, hook_friction)


def reached_way(force: Real, rate: Real, whole: Real) -> Array:
    """Return how far a jaw goes before the springs against it stop it.

    It stops where x = F / c, with the force F and the rate c.

    Parameters
    ----------
    force : Force that moves it, where it stands open [N]
    rate : By how much less is left of that for each metre of its way [N/m]
    whole : All of its way, to the end of its stroke [m]

    Returns
    -------
    Way [m], from nothing to all of it.

    References
    ----------
    meriam_statics: equilibrium on springs.
    """
    stops = ratio(np.maximum(force, 0.0), np.maximum(rate, 0.0))
    return np.minimum(np.where(np.asarray(force) > 0.0, stops, 0.0), whole)


def edge_overlap(tip: Real, skirt: Real, short: Real) -> Array:
    """Return how far a hook's tip stands up behind the edge of a rim that turns down.

    Parameters
    ----------
    tip, skirt : How far the tip stands over the hook's own face; how far the edge turns down [m]
    short : How far that face stays below the edge, 0 where it bears it [m]

    Returns
    -------
    Overlap, negative where the tip stays below the edge [m].
    """
    return np.minimum(np.subtract(tip, short), skirt)


def jaw_force(p_gauge: Real, per_pressure: Real, spring: Real = 0.0) -> Array:
    """Return the jaw's force at a pressure.

    Parameters
    ----------
    p_gauge : Gauge pressure at the cylinder [Pa]
    per_pressure : Jaw force per pressure: piston area times efficiency times lever ratio [N/Pa]
    spring : Force of springs or bands that close the jaw without air; negative where they open it [N]

    Returns
    -------
    Force on the rim, not below zero [N].
    """
    return np.maximum(spring + np.asarray(per_pressure) * p_gauge, 0.0)


def slip_pressure(
    pull: Real, per_pressure: Real, spring: Real, gain: Real, seat_friction: Real, resting_weight: Real = 0.0
) -> Array:
    """Return the gauge pressure at which a pull takes the object out of the clamp.

    The holding force is a straight line in the pressure; this inverts it.

    Parameters
    ----------
    pull, per_pressure : A rival's pull, at most all the grip of its wheels [N]; jaw force per pressure [N/Pa]
    spring, gain : Jaw force without air [N]; pull held per newton of jaw force, from `hook_gain` [-]
    seat_friction, resting_weight : Coefficient of friction under the object [-]; weight of the object that rests on the
        seat [N]

    Returns
    -------
    Pressure below which it slips [Pa]; 0 where the springs or the weight hold alone, infinite where no pressure helps.
    """
    mu, weight = np.asarray(seat_friction), np.asarray(resting_weight)
    left = np.asarray(pull) - np.where(weight > 0.0, mu, 0.0) * weight
    need = np.where(left > 0.0, left, 0.0) / np.maximum(np.asarray(gain) + mu, 1e-300)
    missing = need - spring
    return np.where((left <= 0.0) | (missing <= 0.0), 0.0, ratio(np.maximum(missing, 0.0), per_pressure))


def over_centre_angle(past: Real, link: Real) -> Array:
    """Return the angle of a toggle's link whose knee stands past the centre by a distance.

    Parameters
    ----------
    past : How far the knee is past the line through the outer pins, onto its stop; negative before it [m]
    link : Length of the link [m]

    Returns
    -------
    Angle past the centre [rad].
    """
    return np.arcsin(np.clip(np.asarray(past) / np.maximum(link, 1e-300), -1.0, 1.0))


def over_centre_release(load: Real, past: Real, link: Real, other: Real, stop_force: Real = 0.0) -> Array:
    """Return the force at the knee that unlocks a toggle which stands past its centre.

    F = Q (tan(a) + tan(b)). The object is squeezed further by `over_centre_squeeze` on the way through the
    centre, so the load is highest there. Pin friction, which helps to hold, is left out.

    Parameters
    ----------
    load : Force that the clamped object keeps on the links [N]
    past, link : How far the knee is past the centre; negative before it; length of the one link [m]
    other, stop_force : Length of the other [m]; force of a spring that holds the knee to its stop [N]

    Returns
    -------
    Force across the line to lift the knee off its stop [N]; where negative the clamp springs open by itself when air is
    let out.
    """
    a, b = over_centre_angle(past, link), over_centre_angle(past, other)
    return np.asarray(np.asarray(load) * (np.tan(a) + np.tan(b)) + stop_force)


def over_centre_peak(preload: Real, stiffness: Real, past: Real, link: Real, other: Real) -> Array:
    """Return the largest force at the knee on its way from the first touch through the centre.

    With c = 1 / l + 1 / m and the knee at d, small angles: F = Q c d, Q = k c (d0^2 - d^2) / 2, where d0^2 =
    past^2 + 2 P / (k c) is the first touch; its peak k c^2 d0^3 / (3 sqrt(3)) is at d0 / sqrt(3). Holds to a few
    percent while d0 is under a third of a link; pin friction, which adds to it, is left out.

    Parameters
    ----------
    preload : Force along the links once the knee rests on its stop [N]
    stiffness : Of object, jaw and frame together along the links [N/m]
    past, link, other : How far the knee stands past the centre on its stop; length of the one link; length of the other
        [m]

    Returns
    -------
    Force across the line [N].
    """
    bend = 1.0 / np.maximum(link, 1e-6) + 1.0 / np.maximum(other, 1e-6)
    spring = np.maximum(np.asarray(stiffness) * bend, 1e-9)
    touch = np.sqrt(np.square(past) + 2.0 * np.asarray(preload) / spring)
    return np.asarray(spring * bend * touch**3 / (3.0 * np.sqrt(3.0)))

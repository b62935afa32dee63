"""Tracking: what is judged of where the robot believes to be, and the constants of its wheels."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, first, unknown
from fieldworthy.engine.system import Constant, Constants, Found, Quantities, Stated
from fieldworthy.physics.contact.rolling import Foam, contact_speed, flight_length, sinkage, step_force
from fieldworthy.physics.odometry.covariance import Budget, Placement, Relocation, budget, ellipse, wall_contact
from fieldworthy.physics.odometry.odometry import (
    Gyro,
    Path,
    Tilt,
    Tracking,
    TrackingWheel,
    path_through,
    tilt_in_play,
)
from fieldworthy.robot.model.machine import Gyro as GyroSpec
from fieldworthy.robot.model.machine import TrackingWheel as WheelSpec
from fieldworthy.vehicle import state
from fieldworthy.vehicle.schedule import Beat

_SOURCES = ("kelly2004",)
_COMPARED = (0.0508, 0.06985)
"""Diameters that the trade compares, 2.0 in and 2.75 in [m]."""


@dataclass(frozen=True, slots=True)
class Route:
    """The autonomous path of the plan.

    Attributes
    ----------
    names : Place of each waypoint, the start left out
    path : Turns and straights [m, rad, s]
    speed : Mean speed of the moves, at which seams are crossed [m/s]
    """

    names: tuple[str, ...]
    path: Path
    speed: float


def _errors(context: Context) -> Iterator[Outcome]:
    """Judge whether the robot knows its place well enough where it acts in the autonomous period."""
    if context.robot.tracking is None:
        return
    way = route(context)
    if way is None:
        because = "The plan has no autonomous way from place to place, so there is nothing to track."
        yield unknown("tracking.position", "tracking", "length", because, ("plan.autonomous",))
    else:
        yield from _positions(context, way)


def _seams(context: Context) -> Iterator[Outcome]:
    """Judge whether the tracking wheels stay down over the seams of the field."""
    tracking = context.robot.tracking
    for name, wheel in tracking.wheels.items() if tracking is not None else ():
        yield from _wheel_over_seams(context, name, wheel)
        yield from _tilts(context, name, wheel)


def route(context: Context) -> Route | None:
    """Lay the autonomous path through the places of the plan."""
    beats = [b for b in state.schedule(context) if b.period == "autonomous" and b.distance > 0.0]
    pose = state.driving_pose(context)
    if not beats or pose is None or context.robot.plan is None:
        return None
    places = context.season.field.places
    points = np.array([[first(c) for c in places[name]] for name in (beats[0].came_from, *(b.place for b in beats))])
    heading = math.atan2(*(points[1] - points[0])[::-1])
    moving = max(sum(b.begins - b.leaves for b in beats), 1e-3)
    speed = sum(b.distance for b in beats) / moving
    laid = path_through(points, heading, speed, 2.0 * math.pi * speed)
    return Route(tuple(b.place for b in beats), replace(laid, time=_times(beats, laid.time)), speed)


def _times(beats: Sequence[Beat], laid: Array) -> Array:
    """Time of each motion as the plan has it: the gyro drifts while the robot stands as well, before it turns."""
    pairs = laid.reshape(len(beats), 2)
    drives = np.array([b.begins - b.leaves for b in beats])
    stands = np.array([b.leaves for b in beats]) - np.array([0.0, *(b.begins for b in beats[:-1])])
    times = pairs / pairs.sum(axis=1, keepdims=True) * drives[:, None]
    times[:, 0] += stands
    return np.asarray(times.reshape(-1))


def tracking_setup(context: Context, speed: Real) -> Tracking:
    """Take the tracking set-up from the robot."""
    spec = context.robot.tracking
    assert spec is not None
    nominal = context.nominal.robot.tracking
    assert nominal is not None
    wheels = tuple(_wheel(context, wheel, nominal.wheels[name], speed) for name, wheel in spec.wheels.items())
    gyro = None if spec.gyro is None else _gyro(spec.gyro)
    return Tracking(wheels=wheels, gyro=gyro, unseen=spec.unseen_drift)


def _gyro(gyro: GyroSpec) -> Gyro:
    return Gyro(scale_sd=gyro.scale_error, drift_sd=gyro.drift, noise=gyro.noise)


def _wheel(context: Context, wheel: WheelSpec, nominal: WheelSpec, speed: Real) -> TrackingWheel:
    field = context.season.field
    pressed, give = _pressed(wheel), _give(context, wheel)
    missed = flight_length(wheel.diameter / 2.0, field.seam_step, pressed, wheel.sprung_mass, speed, give)
    tilt = tilt_of(context, wheel)
    # half the seams go up, and a flight is never longer than a tile
    lifts = np.where(missed > 0.0, 0.5 / field.tile, 0.0)
    # sizes are nominal here: how far they may be off is counted by their standard deviations, not twice
    return TrackingWheel(
        direction=wheel.direction, diameter=nominal.diameter, offset=nominal.offset, along=nominal.along,
        diameter_sd=wheel.diameter_error, offset_sd=np.hypot(wheel.offset_error, tilt.swing),
        toe_sd=np.hypot(wheel.toe_error, tilt.angle),
        counts=float(wheel.counts), runout=wheel.runout, wobble=wheel.wobble, slip_sd=wheel.slip,
        lift_rate=lifts, lift_length=np.minimum(missed, field.tile),
    )  # fmt: skip


def tilt_of(context: Context, wheel: WheelSpec) -> Tilt:
    """How far a wheel tilts in its play as it scrubs, one way or the other: none where the file gives no play.

    Scrubbing sideways with mu N it is turned over by mu N r, and its load keeps it upright with N b / 2 at the most.
    """
    if wheel.play is None:
        return Tilt(np.zeros(()), np.zeros(()))
    radius = wheel.diameter / 2.0
    depth = sinkage(radius, wheel.width, _pressed(wheel), _foam(context)).depth
    found = tilt_in_play(wheel.play, wheel.bearing_span, (radius, wheel.width), depth)
    return Tilt(found.angle, np.where(wheel.scrub * radius > 0.5 * wheel.width, found.swing, 0.0))


def _tilts(context: Context, name: str, wheel: WheelSpec) -> Iterator[Outcome]:
    """What a wheel's play does to where it touches and which way it points."""
    if wheel.play is None:
        return
    tilt, lever = tilt_of(context, wheel), wheel.scrub * wheel.diameter / np.maximum(wheel.width, 1e-6)
    numbers: dict[str, tuple[Real, str]] = {
        "play": (wheel.play, "length"), "span": (wheel.bearing_span, "length"), "tilt": (tilt.angle, "angle"),
        "swing": (tilt.swing, "length"), "lever": (lever, "count"),
    }  # fmt: skip
    text = "Play of {play} in bearings {span} apart lets tracking wheel '{name}' turn out of line by {tilt}. "
    if first(lever) > 1.0:
        text += (
            "Scrubbing in a turn tilts it with {lever} times what its load rights it with, so its contact swings "
            "{swing} to either side."
        )
    else:
        text += "Its load keeps it upright while it scrubs, which tilts it with {lever} times what rights it."
    yield Outcome(f"tracking.tilt.{name}", f"tracking wheel {name}", tilt.angle, None, "angle",
                  Message(text, "", numbers, {"name": name}), sources=("johnson1985", "plane-geometry"))  # fmt: skip


def _pressed(wheel: WheelSpec) -> Real:
    # a wheel that is not pressed down at all would fly for ever; a hundredth of a newton stands for its own weight
    return np.maximum(wheel.down_force, 0.01)


def _foam(context: Context) -> Foam:
    field = context.season.field
    return Foam(field.foam_modulus, field.foam_thickness, field.foam_loss)


def _give(context: Context, wheel: WheelSpec) -> Array:
    """How far the tiles follow a wheel up: the depth to which it stands in them, less what they do not give back."""
    foam = _foam(context)
    depth = sinkage(wheel.diameter / 2.0, wheel.width, wheel.down_force, foam).depth
    return np.asarray(depth * (1.0 - np.asarray(foam.loss)))


def _relocations(context: Context, way: Route) -> list[Relocation]:
    spec = context.robot.tracking
    assert spec is not None
    found = []
    for item in spec.relocations:
        for i, name in enumerate(way.names):
            if name == item.at:
                found.append(wall_contact(i, item.wall, item.error, item.heading_error, taken=item.use == "taken"))
    return found


def tracked(context: Context, way: Route, *, relocate: bool = True) -> Budget:
    """Spread of the tracked pose at the waypoints of the autonomous path."""
    spec = context.robot.tracking
    assert spec is not None
    placement = Placement(x_sd=spec.start_error, y_sd=spec.start_error, heading_sd=spec.start_heading_error)
    fixes = _relocations(context, way) if relocate else []
    return budget(tracking_setup(context, way.speed), way.path, placement, fixes)


def reach_95(found: Budget) -> tuple[Array, Array, Array]:
    """Distance within which the robot is in 95 % of runs, at the worst side of its ellipse."""
    shape = ellipse(found.total)
    bias = np.hypot(found.mean[:, 0], found.mean[:, 1])
    return np.asarray(shape.major + bias), np.asarray(shape.major), np.asarray(shape.minor)


def _positions(context: Context, way: Route) -> Iterator[Outcome]:
    spec = context.robot.tracking
    assert spec is not None
    found = tracked(context, way)
    reach, major, minor = reach_95(found)
    worst = max(range(len(way.names)), key=lambda i: first(reach[i]))
    parts = found.position_variance()
    leading = int(np.argmax([first(p[worst]) for p in parts]))
    share = parts[leading][worst] / np.maximum(parts.sum(axis=0)[worst], 1e-18)
    words = {"place": way.names[worst], "source": SAID[found.sources[leading]]}
    numbers = {"reach": (reach[worst], "length"), "wanted": (spec.wanted, "length"), "share": (share, "share")}
    text = "At '{place}' the position error stays within {reach} in 95 % of runs"
    yield Outcome(
        "tracking.position", f"waypoint {words['place']}", reach[worst], spec.wanted, "length",
        Message(text + "; {wanted} is allowed. The largest share ({share}) comes from {source}.",
                text + ", more than the {wanted} allowed. The largest share ({share}) comes from {source}.",
                numbers, words),
        "at most", sources=_SOURCES,
    )  # fmt: skip
    yield from _each(way, found, major, minor)
    yield from _sources(way, found, worst)
    if spec.relocations:
        yield from _without(context, way, reach, worst)


SAID = {
    "start": "placing the robot",
    "diameter": "the size of the tracking wheels",
    "offset": "the offsets of the tracking wheels",
    "toe": "the direction of the tracking wheels",
    "slip": "slip of the tracking wheels",
    "runout": "wheels that run out of true",
    "wobble": "wobble of the wheels",
    "lift-off": "wheels that lift off at seams",
    "resolution": "the sensors' resolution",
    "unseen": "sideways drift that no wheel sees",
    "gyro scale": "the gyro's scale",
    "gyro drift": "the gyro's drift",
    "gyro noise": "the gyro's noise",
    "relocation": "finding its place anew",
}
"""How each source of error is called in a sentence."""


def _each(way: Route, found: Budget, major: Array, minor: Array) -> Iterator[Outcome]:
    heading = np.sqrt(found.total[:, 5])
    for i, name in enumerate(way.names):
        numbers = {"a": (major[i], "length"), "b": (minor[i], "length"), "turn": (1.96 * heading[i], "angle")}
        text = (
            "At waypoint {number}, '{place}', the position error's 95 % ellipse is {a} by {b} (half axes); "
            "heading within {turn}."
        )
        message = Message(text, "", numbers, {"place": name, "number": str(i + 1)})
        yield Outcome(
            f"tracking.ellipse.{i + 1}", f"waypoint {name}", major[i], None, "length", message, sources=_SOURCES
        )


def _sources(way: Route, found: Budget, worst: int) -> Iterator[Outcome]:
    """Every source that matters at the worst waypoint, the largest first."""
    parts = np.sqrt(np.maximum(found.position_variance()[:, worst], 0.0))
    order = sorted(range(len(found.sources)), key=lambda i: -first(parts[i]))
    for i in order[:5]:
        if first(parts[i]) > 0.0:
            words = {"place": way.names[worst], "source": SAID[found.sources[i]]}
            text = "At '{place}', {source} alone gives a position error of {sd} (standard deviation)."
            message = Message(text, "", {"sd": (parts[i], "length")}, words)
            yield Outcome(f"tracking.source.{found.sources[i]}", f"waypoint {way.names[worst]}", parts[i], None,
                          "length", message, sources=_SOURCES)  # fmt: skip


def _without(context: Context, way: Route, reach: Array, worst: int) -> Iterator[Outcome]:
    alone = reach_95(tracked(context, way, relocate=False))[0][worst]
    text = "Without finding its place anew the robot's error at '{place}' would be {alone} instead of {reach}"
    if first(alone) < first(reach[worst]):
        text += ": what it takes from the wall is less exact than what it tracks, so fuse the two (`use: fused`)"
    message = Message(
        text + ".",
        "",
        {"alone": (alone, "length"), "reach": (reach[worst], "length")},
        {"place": way.names[worst]},
    )
    yield Outcome("tracking.relocation", f"waypoint {way.names[worst]}", alone, None, "length", message,
                  sources=("thrun2005",))  # fmt: skip


def _wheel_over_seams(context: Context, name: str, wheel: WheelSpec) -> Iterator[Outcome]:
    """Seams and soft tiles under one wheel, and against the sizes that the trade compares."""
    field, pose = context.season.field, state.driving_pose(context)
    if pose is not None and context.robot.parts:
        top = state.performance(context, pose).top_speed
        radius, step = wheel.diameter / 2.0, field.seam_step
        stays = contact_speed(radius, step, wheel.down_force, wheel.sprung_mass, _give(context, wheel))
        numbers = {"stays": (stays, "speed"), "top": (top, "speed"), "step": (step, "length"),
                   "radius": (radius, "length")}  # fmt: skip
        holds = "Tracking wheel '{name}' stays down over a {step} seam up to {stays}; the robot reaches {top}."
        if not np.isfinite(first(stays)):
            holds = "Tracking wheel '{name}' crosses level seams, which lift it at no speed; the robot reaches {top}."
        short = "Tracking wheel '{name}' leaves the floor at a {step} seam above {stays}, and the robot reaches {top}."
        if first(step) >= first(radius):
            short = "Tracking wheel '{name}' does not get over a {step} seam, as high as its radius of {radius}."
        yield Outcome(f"tracking.seam.{name}", f"tracking wheel {name}", stays, top, "speed",
                      Message(holds, short, numbers, {"name": name}), sources=("practice",))  # fmt: skip
    yield from _sizes(context, name, wheel)


def _sizes(context: Context, name: str, wheel: WheelSpec) -> Iterator[Outcome]:
    """Climbing force and sinkage of this wheel, beside a 2.0 in and a 2.75 in one under the same load."""
    step, foam = context.season.field.seam_step, _foam(context)
    radii = (wheel.diameter / 2.0, *(d / 2.0 for d in _COMPARED))
    climb = [step_force(r, step, 1.0) for r in radii]
    deep = [sinkage(r, wheel.width, wheel.down_force, foam).depth for r in radii]
    # at level seams nothing pushes back, and one as high as the wheel stops it: neither has a ratio
    compared = (climb[2] > 0.0) & np.isfinite(climb[1])
    harder = np.where(compared, climb[1], 1.0) / np.where(compared, climb[2], 1.0) - 1.0
    numbers = {
        "own": (climb[0], "share"), "small": (climb[1], "share"), "large": (climb[2], "share"),
        "sinks": (deep[0], "length"), "more": (deep[1] / np.maximum(deep[2], 1e-12) - 1.0, "share"),
        "harder": (harder, "share"), "step": (step, "length"),
    }  # fmt: skip
    force = step_force(radii[0], step, wheel.down_force)
    worked = Worked("seam", {"F": (force, "force"), "R": (radii[0], "length"), "s": (step, "length"),
                             "W": (wheel.down_force, "force")})  # fmt: skip
    pushed = (
        "At a seam, wheel '{name}' is pushed back with {own} of its load (2.0 in: {small}, 2.75 in: {large}) and "
        "sinks {sinks} into the tile"
    )
    if first(step) >= first(radii[0]):
        pushed = "A seam of {step} stops wheel '{name}', which sinks {sinks} into the tile"
    elif first(step) >= min(radii[1:]):
        pushed = "At a seam, wheel '{name}' is pushed back with {own} of its load and sinks {sinks} into the tile"
    elif first(step) <= 0.0:
        pushed = "At a level seam nothing pushes wheel '{name}' back; it sinks {sinks} into the tile"
    ratio = "is pushed back {harder} harder and sinks" if first(np.where(compared, 1.0, 0.0)) else "sinks"
    text = f"{pushed}. The trade says that small wheels dig in: a 2.0 in wheel {ratio} {{more}} deeper than a "
    message = Message(text + "2.75 in one.", "", numbers, {"name": name})
    yield Outcome(f"tracking.dig.{name}", f"tracking wheel {name}", climb[0], None, "ratio", message,
                  sources=("johnson1985", "practice"), worked=(worked,))  # fmt: skip


def check(context: Context) -> Iterator[Outcome]:
    """Judge how far off the robot is from where it thinks it is, and whether tracking wheels cross the seams."""
    yield from _seams(context)  # first, since a search that asks for them alone need not wait for the rest
    yield from _errors(context)


def computed(context: Context, _quantities: Quantities) -> Iterator[Constant]:
    """Counts of each tracking wheel, and the way on one."""
    tracking = context.robot.tracking
    for name, wheel in tracking.wheels.items() if tracking is not None else ():
        key, counts = f"tracking.wheels.{name}", float(wheel.counts)
        about = f"counts on one turn of tracking wheel '{name}'"
        yield Constant(("tracking", name, "counts"), counts, "count", about, f"{key}.counts", "exact")
        way = math.pi * first(wheel.diameter) / counts
        yield Constant(("tracking", name, "travel per count"), way, "length", f"way of '{name}' on one count", key)


CONSTANTS = Constants(
    (
        Stated("tracking.wheels.*.diameter", "tracking/{0}/wheel diameter", "diameter of tracking wheel '{0}'"),
        Stated("tracking.wheels.*.offset", "tracking/{0}/offset",
               "how far tracking wheel '{0}' is from the turning centre"),
        Stated("tracking.gyro.drift", "tracking/gyro drift", "drift of the gyro at rest"),
    ),
    (Found("tracking.seam.*", "stays", "tracking/{0}/seam speed", "above it wheel '{0}' jumps at a seam"),),
    computed,
)  # fmt: skip

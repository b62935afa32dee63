"""What scales say of the whole robot, laid over what its parts list adds up to; and the worst of several poses."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.statics.rigidbody import RigidBody, assemble, combine, lift, rotate_y, translate
from fieldworthy.robot.model.machine import CHASSIS, Move, Part, Pose, Weighed
from fieldworthy.robot.model.season import Season

Vector = tuple[Real, Real, Real]


def stacked(values: Sequence[Real]) -> Array:
    """Stack numbers that may or may not vary over cases."""
    shape = np.broadcast_shapes(*{getattr(value, "shape", ()) for value in values})
    out = np.empty((len(values), *shape))
    for i, value in enumerate(values):
        out[i] = value
    return out


def aligned(arrays: Sequence[Array]) -> list[Array]:
    """Give all stacks an axis of cases where one of them has it."""
    most = max(array.ndim for array in arrays)
    return [array if array.ndim == most else array[:, None] for array in arrays]


def stacked_vectors(vectors: Sequence[Vector]) -> Array:
    """Stack vectors whose components may or may not vary over cases."""
    flat = stacked([c for vector in vectors for c in vector])
    return flat.reshape(len(vectors), 3, *flat.shape[1:])


@dataclass(frozen=True, slots=True)
class Group:
    """The parts that ride together, as one body and one box.

    Attributes
    ----------
    body : Mass, centre of gravity and inertia [kg, m, kg m2]
    corners : Lowest and highest corner of each part [m]
    """

    body: RigidBody
    corners: Array


def group_of(parts: Iterable[Part]) -> Group:
    """Assemble parts that ride together."""
    parts = list(parts)
    mass = stacked([part.mass * part.count for part in parts])
    position = stacked_vectors([part.position for part in parts])
    size = stacked_vectors([part.size for part in parts])
    trailing = max(position.ndim, size.ndim) - 2
    half = size.reshape(size.shape + (1,) * (trailing - size.ndim + 2)) / 2
    middle = position.reshape(position.shape + (1,) * (trailing - position.ndim + 2))
    return Group(assemble(mass, position, size), np.stack((middle - half, middle + half), axis=1))


def moved(body: RigidBody, move: Move | None) -> RigidBody:
    """Move a body as a pose says."""
    if move is None:
        return body
    if move.pivot is not None:
        body = rotate_y(body, move.turn, stacked(move.pivot))
    return translate(body, stacked(move.shift)) if move.shift is not None else body


def load_bodies(pose: Pose, season: Season) -> list[RigidBody]:
    """Make a body of everything that the robot carries in a pose."""
    bodies = []
    for carried in pose.carries.values():
        thing = season.objects[carried.object]
        mass = stacked([thing.mass * carried.count])
        body = assemble(mass, stacked_vectors([carried.position]), stacked_vectors([thing.size]))
        bodies.append(moved(body, pose.moves.get(carried.rides)))
    return bodies


def body_in(season: Season, assembled: dict[str, Group], pose: Pose) -> RigidBody:
    """Assemble the whole robot in one pose, with what it carries."""
    own = [moved(group.body, pose.moves.get(name)) for name, group in assembled.items()]
    return combine([*own, *load_bodies(pose, season)])


def extent_in(assembled: dict[str, Group], pose: Pose) -> tuple[Array, Array]:
    """Find the box around the robot's parts in one pose."""
    lows, highs = [], []
    for name, group in assembled.items():
        low, high = _box(group.corners, pose.moves.get(name))
        lows.append(low)
        highs.append(high)
    return _outermost(lows, np.minimum), _outermost(highs, np.maximum)


def _outermost(corners: Sequence[Array], pick: np.ufunc) -> Array:
    first, *rest = corners
    for corner in rest:
        a, b = (first[:, None], corner) if first.ndim < corner.ndim else (first, corner)
        first = pick(a, b[:, None] if b.ndim < a.ndim else b)
    return first


def _box(corners: Array, move: Move | None) -> tuple[Array, Array]:
    low, high = corners[:, 0], corners[:, 1]
    if move is None:
        return low.min(axis=0), high.max(axis=0)
    if move.pivot is not None:
        low, high = _turned(corners, move)
    low, high = low.min(axis=0), high.max(axis=0)
    if move.shift is None:
        return low, high
    shift = stacked(move.shift)
    if shift.ndim > low.ndim:
        low, high = low[:, None], high[:, None]
    shift = shift[:, None] if shift.ndim < low.ndim else shift
    return low + shift, high + shift


def _turned(corners: Array, move: Move) -> tuple[Array, Array]:
    """Turn the four corners of each part's side view about the pivot and take the box around them."""
    assert move.pivot is not None
    px, _, pz = move.pivot
    cos, sin = np.cos(move.turn), np.sin(move.turn)
    if corners.ndim == 3 and any(np.ndim(number) for number in (px, pz, move.turn)):
        corners = corners[..., None]  # parts without tolerance that turn by an angle or about a place with one
    x = np.stack([corners[:, i, 0] for i in (0, 0, 1, 1)]) - px
    z = np.stack([corners[:, i, 2] for i in (0, 1, 0, 1)]) - pz
    turned_x, turned_z = x * cos + z * sin + px, z * cos - x * sin + pz
    y_low, y_high = (
        np.broadcast_to(corners[:, 0, 1], turned_x[0].shape),
        np.broadcast_to(corners[:, 1, 1], turned_x[0].shape),
    )
    low = np.stack([turned_x.min(axis=0), y_low, turned_z.min(axis=0)], axis=1)
    high = np.stack([turned_x.max(axis=0), y_high, turned_z.max(axis=0)], axis=1)
    return low, high


def outline_in(assembled: dict[str, Group], pose: Pose) -> Array:
    """List the corners of all parts in the robot's side view, in one pose."""
    pairs = []
    for name, group in assembled.items():
        x = np.concatenate([group.corners[:, i, 0] for i in (0, 0, 1, 1)])
        z = np.concatenate([group.corners[:, i, 2] for i in (0, 1, 0, 1)])
        pairs.append(side_moved(x, z, pose.moves.get(name)))
    trailing = max(np.ndim(c) for pair in pairs for c in pair) - 1
    shape = np.broadcast_shapes(*(np.shape(c)[1:] for pair in pairs for c in pair))
    columns = []
    for axis in (0, 1):
        same = [c.reshape(c.shape + (1,) * (trailing + 1 - c.ndim)) for c in (np.asarray(pair[axis]) for pair in pairs)]
        columns.append(np.concatenate([np.broadcast_to(c, (len(c), *shape)) for c in same]))
    return np.stack(columns, axis=1)


def side_moved(x: Array, z: Array, move: Move | None) -> tuple[Array, Array]:
    """Turn and shift points of the side view as a pose moves their group."""
    if move is None:
        return x, z
    if move.pivot is not None:
        px, _, pz = move.pivot
        cos, sin = np.cos(move.turn), np.sin(move.turn)
        dx, dz = _against(x, px) - px, _against(z, pz) - pz
        x, z = dx * cos + dz * sin + px, dz * cos - dx * sin + pz
    if move.shift is not None:
        x = _against(x, move.shift[0]) + move.shift[0]
        z = _against(z, move.shift[2]) + move.shift[2]
    return x, z


def _against(points: Array, other: Real) -> Array:
    """Give points an axis of cases where the other number has one."""
    return points[:, None] if np.ndim(other) and points.ndim == 1 else points


def whole(assembled: Mapping[str, Group], moves: Mapping[str, Move]) -> RigidBody:
    """Assemble the robot with nothing on board."""
    return combine([moved(group.body, moves.get(name)) for name, group in assembled.items()])


def corrected(
    assembled: dict[str, Group], weighed: Weighed, moves: Mapping[str, Move], nominal: Mapping[str, Group]
) -> dict[str, Group]:
    """Lay what scales said over the parts list.

    Notes
    -----
    Weighed less listed is added to mass and first moment; the chassis's own inertia grows with its mass, as if what is
    missing were spread like the rest of it. Parts that change after the weighing change the robot by as much.
    """
    mass, centre = _listed(weighed, moves, nominal)
    true_mass = mass if weighed.mass is None else weighed.mass
    true = [c if w is None else w for c, w in zip(centre, (weighed.x, weighed.y, weighed.z), strict=True)]
    extra = true_mass - mass
    moment = stacked([true_mass * t - mass * c for t, c in zip(true, centre, strict=True)])
    chassis = assembled[CHASSIS]
    return assembled | {CHASSIS: dataclasses.replace(chassis, body=_with(chassis.body, extra, moment))}


def _listed(weighed: Weighed, moves: Mapping[str, Move], nominal: Mapping[str, Group]) -> tuple[Real, tuple[Real, ...]]:
    """Mass and centre of gravity that the parts added up to when the robot was weighed."""
    then = weighed.listed
    if then is not None:
        return then.mass, (then.x, then.y, then.z)
    body = whole(nominal, moves)
    return float(body.mass), tuple(float(c) for c in body.cg)


def _with(body: RigidBody, extra: Real, moment: Array) -> RigidBody:
    """A body with mass and first moment added to it; its inertia grows as its mass does."""
    trailing = max(np.ndim(body.mass), body.cg.ndim - 1, body.inertia.ndim - 2, np.ndim(extra), moment.ndim - 1)
    mass = np.asarray(body.mass + extra, dtype=np.float64)
    cg = (body.mass * lift(body.cg, 1, trailing) + lift(moment, 1, trailing)) / mass
    return RigidBody(mass, cg, lift(body.inertia, 2, trailing) * (mass / body.mass))


@dataclass(frozen=True, slots=True)
class Worst:
    """Which of several rows is the worst, case by case.

    Attributes
    ----------
    row : By case
    """

    row: npt.NDArray[np.intp]

    @classmethod
    def of(cls, scores: Sequence[Real]) -> Worst:
        """Take the row with the lowest score."""
        return cls(np.asarray(np.argmin(stacked(scores), axis=0)))

    @property
    def nominal(self) -> int:
        """The row of the nominal case."""
        return int(self.row.flat[0])

    def take(self, values: Sequence[Real]) -> Array:
        """Take each case's value out of its own row."""
        wide = stacked(values)
        shape = np.broadcast_shapes(wide.shape[1:], self.row.shape)
        wide = np.broadcast_to(wide.reshape(len(wide), *(wide.shape[1:] or (1,) * len(shape))), (len(wide), *shape))
        return np.asarray(np.take_along_axis(wide, np.broadcast_to(self.row, shape)[None], axis=0)[0])

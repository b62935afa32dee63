"""A climber on its bar: the side view of the robot with its hooks drawn down, and how it hangs there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fieldworthy.checks.bodies import Group, outline_in, stacked
from fieldworthy.checks.climbforce import travel_of
from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.showing import first
from fieldworthy.checks.stance import floor_contacts
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.hanging import Hang, Wall, critical_hook_x, free_attitude, hang, lowest_point, rest_attitude
from fieldworthy.physics.liftoff import LiftRamp, lift_off, lift_ramp
from fieldworthy.physics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.body import CHASSIS, Move, Pose
from fieldworthy.robot.model.climber import Climber

_STEPS = 7  # attitudes between standing level and hanging; the force is smooth in between
_DIRECTIONS = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
_NEAR = 0.02  # m; a part this far inside the robot's outline is never its lowest, whatever the tolerances


@dataclass(frozen=True, slots=True)
class Hung:
    """A climber on its bar, the hooks drawn all the way down.

    Attributes
    ----------
    name : str
        Of the mechanism.
    spec : Climber
        As the file gives it [SI].
    weight : float or ndarray
        Weight of the robot [N].
    cg : ndarray of shape (2,) or (2, n)
        Centre of gravity in the side view [m].
    hook : ndarray of shape (2,) or (2, n)
        Where the hooks touch the bar, in the robot [m].
    bar : float or ndarray
        Height of that contact over the floor [m].
    ramp : LiftRamp
        From the floor to hanging free, the hooks not drawn down yet [rad, m, N].
    first_off : float
        Contact that lifts first, nominal: +1 front, -1 rear, 0 both [-].
    """

    name: str
    spec: Climber
    weight: Real
    cg: Array
    hook: Array
    bar: Real
    ramp: LiftRamp
    first_off: float

    @property
    def wall(self) -> Wall:
        """The face that the rest leans on [m, -]; that of the bar itself where there is no rest."""
        rest = self.spec.rest
        return Wall() if rest is None else Wall(rest.ahead, 1.0 if rest.face == "behind" else -1.0)

    def resting(self, shift: Real = 0.0) -> Hang | None:
        """Find how it hangs with its rest.

        Parameters
        ----------
        shift : float or ndarray
            How far hook and rest are moved forward together, for a question of what would be [m].

        Returns
        -------
        Hang or None
            None without a rest [rad, N, -].
        """
        rest = self.spec.rest
        if rest is None:
            return None
        hook = stacked([self.hook[0] + shift, self.hook[1]])
        return hang(self.weight, hook, self.cg, stacked([rest.position[0] + shift, rest.position[1]]), self.wall)

    def attitude(self) -> Array:
        """Find the attitude in which it hangs.

        Returns
        -------
        ndarray
            Rotation about +y, positive nose down [rad].
        """
        resting = self.resting()
        return free_attitude(self.hook, self.cg) if resting is None else resting.attitude

    def reaches(self) -> bool:
        """Say whether the rest reaches its face at all, nominal.

        Returns
        -------
        bool
            False too where there is no rest [-].
        """
        resting = self.resting()
        return resting is not None and first(resting.holds) != 0.0

    def lets_go(self) -> Array:
        """Find the place of the hook at which the rest lets go, at the attitude in which it touches its face.

        Returns
        -------
        ndarray
            Forward position; the centre of gravity itself where there is no rest [m].
        """
        rest = self.spec.rest
        at = 0.0 if rest is None else rest_attitude(self.hook, stacked(rest.position), self.wall)
        return critical_hook_x(self.hook[1], self.cg, at)


def hung(subject: Subject, name: str, spec: Climber) -> Hung:
    """Hang the robot on its bar.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    name : str
        Of the climber [-].
    spec : Climber
        The climber [SI].

    Returns
    -------
    Hung
        Weight, centre of gravity and hook with the hooks drawn down, and the ramp from the floor [SI].
    """
    body = subject.body(spec.pose)
    weight = body.mass * STANDARD_GRAVITY
    travel = travel_of(subject, spec)
    rides = subject.groups.get(spec.rides) if spec.rides != CHASSIS else None
    share = 0.0 if rides is None else rides.body.mass / body.mass
    cg = stacked([body.cg[0], body.cg[2] - share * travel])
    hook = stacked([spec.hook[0], spec.hook[1] - travel])
    off, stands = _first_off(subject, weight, spec.hook[0], body.cg[0])
    ramp = lift_ramp(weight, stacked(spec.hook), stacked([body.cg[0], body.cg[2]]), stacked([stands, 0.0]), _STEPS)
    return Hung(name, spec, weight, cg, hook, subject.season.structures[spec.structure].height, ramp, first(off))


def _first_off(subject: Subject, weight: Real, hook: Real, cg: Real) -> tuple[Array, Real]:
    """Which end lifts first, and where the other one stands."""
    xs = stacked([x for x, _ in floor_contacts(subject.robot)])
    rear = xs.min(axis=0)
    front = np.maximum(xs.max(axis=0), rear + 1e-6)  # contacts in one line across stand on a point of the side view
    off = lift_off(weight, hook, cg, front, rear).first
    return off, np.where(off > 0.0, rear, front)


def lowest(subject: Subject, at: Hung) -> Array:
    """Find how high the lowest corner of all parts hangs.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    at : Hung
        The climber on its bar [SI].

    Returns
    -------
    ndarray
        Over the floor; negative where it would still stand on it [m].
    """
    kept = subject.nominal.remember(("outer parts", at.name), lambda: _outer_parts(subject.nominal, at.name))
    groups = {name: Group(group.body, group.corners[kept[name]]) for name, group in subject.groups.items()}
    return lowest_point(outline_in(groups, drawn_down(subject, at.spec)), at.hook, at.attitude(), at.bar)


def _outer_parts(subject: Subject, name: str) -> dict[str, npt.NDArray[np.bool_]]:
    """The parts that can be the lowest one at some attitude: those near the outline of the side view."""
    spec = subject.robot.mechanisms[name]
    assert isinstance(spec, Climber)
    points = outline_in(subject.groups, drawn_down(subject, spec))
    along = np.outer(points[:, 0], np.cos(_DIRECTIONS)) + np.outer(points[:, 1], np.sin(_DIRECTIONS))
    near = (along > along.max(axis=0) - _NEAR).any(axis=1)
    kept, start = {}, 0
    for group, members in subject.groups.items():
        count = len(members.corners)
        corners = near[start : start + 4 * count].reshape(4, count).any(axis=0)
        kept[group] = corners if corners.any() else np.arange(count) == 0
        start += 4 * count
    return kept


def drawn_down(subject: Subject, spec: Climber) -> Pose:
    """Move the hooks' group of the climbing pose down by the lift's travel.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    spec : Climber
        The climber [SI].

    Returns
    -------
    Pose
        The pose in which it hangs [SI].
    """
    pose = subject.robot.poses[spec.pose]
    if spec.rides == CHASSIS:
        return pose
    move = pose.moves.get(spec.rides, Move(turn=0.0, pivot=None, shift=None))
    x, y, z = move.shift or (0.0, 0.0, 0.0)
    return replace(pose, moves={**pose.moves, spec.rides: replace(move, shift=(x, y, z - travel_of(subject, spec)))})

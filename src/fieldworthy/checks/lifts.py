"""Cylinder-driven lifts: every finding about each."""

from __future__ import annotations

from collections.abc import Iterator

from fieldworthy.checks import lift
from fieldworthy.checks.arms import target, timed
from fieldworthy.checks.finding import Outcome
from fieldworthy.checks.liftsize import size
from fieldworthy.checks.subject import Subject
from fieldworthy.robot.model.linkage import Lift


def check(subject: Subject) -> Iterator[Outcome]:
    """Judge every cylinder-driven lift.

    Parameters
    ----------
    subject : Subject
        Robot and season over cases [SI].

    Yields
    ------
    Outcome
        Pins, swing, dead point, lever, force, time, target, rest and sizing [-].
    """
    for name, spec in subject.robot.mechanisms.items():
        if isinstance(spec, Lift):
            at = lift.lifted(subject, name, spec)
            yield from lift.judged(at)
            yield from timed("lift", name, spec, lift.raising_time(subject, at), "at the lowest pressure of the plan")
            yield from target(subject, name, spec, at.turned(at.high))
            yield _sized(subject.nominal, name)


def _sized(base: Subject, name: str) -> Outcome:
    """The cylinder that would do, found once for all batches."""
    spec = base.robot.mechanisms[name]
    if not isinstance(spec, Lift):
        raise TypeError(f"{name} is no lift")
    return base.remember(("lift size", name), lambda: size(base, lift.lifted(base, name, spec)))

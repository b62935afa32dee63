"""What scales said belongs to the parts list that they were read with: a variant's other parts count on top."""

from __future__ import annotations

import dataclasses
from typing import Any

from fieldworthy.engine.context import Context
from fieldworthy.files.declare import Spec, schema_of
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.body import Listed, Weighed
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import whole


def keep_weights(weighed: Loaded, variant: Loaded) -> Loaded:
    """Tie a variant's weights to the parts list of the robot that was weighed.

    A variant that gives other weights, or says itself what its parts added up to then, stays as it is.
    """
    own, then = variant.nominal.weighed, weighed.nominal.weighed
    if own is None or then is None or own.listed is not None or own != dataclasses.replace(then, listed=None):
        return variant
    spec: Any = variant.robot
    known: Any = weighed.robot
    listed = known.weighed.listed if then.listed is not None else _listed(weighed, then)
    said = spec.weighed.model_copy(update={"listed": listed})
    return dataclasses.replace(variant, robot=spec.model_copy(update={"weighed": said}))


def _listed(weighed: Loaded, scales: Weighed) -> Spec:
    """What the parts of a robot add up to, as its file would say it."""
    moves = weighed.nominal.poses[scales.pose].moves if scales.pose is not None else {}
    body = whole(state.listed_groups(Context(weighed.nominal, weighed.nominal_season)), moves)
    x, y, z = (f"{float(c)!r} m" for c in body.cg)
    return schema_of(Listed).model_validate({"mass": f"{float(body.mass)!r} kg", "x": x, "y": y, "z": z})

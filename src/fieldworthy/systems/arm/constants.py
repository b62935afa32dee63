"""Constants of motor arms: gearing, voltage for a speed, and what holds them."""

from __future__ import annotations

from collections.abc import Iterator

from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Constant, Constants, Context, Found, Quantities
from fieldworthy.systems.arm.check import driven
from fieldworthy.systems.arm.model import MotorArm


def computed(context: Context, _quantities: Quantities) -> Iterator[Constant]:
    """Gearing and voltages of motor-driven arms."""
    for name, spec in context.robot.mechanisms.items():
        if not isinstance(spec, MotorArm):
            continue
        at = driven(context, name, spec)
        ratio, line, key = first(at.drive.reduction), at.motor.line, f"mechanisms.{name}"
        about = f"motor turns for one turn of '{name}'"
        yield Constant((name, "ratio"), ratio, "ratio", about, f"{key}.stages", "exact")
        gain = first(line.rated_voltage / line.free_speed) * ratio
        yield Constant((name, "speed gain"), gain, "V*s/rad", f"voltage for the speed of '{name}'; tune it", key)


CONSTANTS = Constants(
    (),
    (
        Found("arm.time.*", "value", "{0}/time up", "time until '{0}' is up"),
        Found(
            "arm.holding.*", "value", "{0}/holding share", "share of the torque at standstill that holds '{0}' still"
        ),
    ),
    computed,
)

"""The declaration of a robot file, by subsystem."""

from fieldworthy.robot.model.air import Air, Cylinder, Supply, Tank
from fieldworthy.robot.model.body import Ballast, Carried, Contact, Listed, Move, Part, Pose, Roller, Weighed
from fieldworthy.robot.model.catalogue import (
    Battery,
    Catalogue,
    CylinderClass,
    MotorClass,
    TankClass,
    ValveClass,
    WheelClass,
)
from fieldworthy.robot.model.drive import Drive, Stage, Targets, Wheel
from fieldworthy.robot.model.mechanism import Mechanism, MotorUse, Plain, SharedMotor
from fieldworthy.robot.model.plan import Action, Plan, Practice, Repeat, Step
from fieldworthy.robot.model.robot import Robot

__all__ = [
    "Action",
    "Air",
    "Ballast",
    "Battery",
    "Carried",
    "Catalogue",
    "Contact",
    "Cylinder",
    "CylinderClass",
    "Drive",
    "Listed",
    "Mechanism",
    "MotorClass",
    "MotorUse",
    "Move",
    "Part",
    "Plain",
    "Plan",
    "Pose",
    "Practice",
    "Repeat",
    "Robot",
    "Roller",
    "SharedMotor",
    "Stage",
    "Step",
    "Supply",
    "Tank",
    "TankClass",
    "Targets",
    "ValveClass",
    "Weighed",
    "Wheel",
    "WheelClass",
]

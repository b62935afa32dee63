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
from fieldworthy.robot.model.clamp import Clamp, Toggle
from fieldworthy.robot.model.drive import Drive, Stage, Targets, Wheel
from fieldworthy.robot.model.grabber import CylinderArm, Grabber
from fieldworthy.robot.model.grabber import MotorArm as GrabberMotor
from fieldworthy.robot.model.intake import Chain as ChainDrive
from fieldworthy.robot.model.intake import Hold, Hooks, Intake, IntakeStage, Rollers
from fieldworthy.robot.model.mechanism import Mechanism, Plain
from fieldworthy.robot.model.motors import MotorUse
from fieldworthy.robot.model.plan import Action, Plan, Practice, Repeat, Step
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.sorter import HueClass, Sorter

__all__ = [
    "Action",
    "Air",
    "Ballast",
    "Battery",
    "Carried",
    "Catalogue",
    "ChainDrive",
    "Clamp",
    "Contact",
    "Cylinder",
    "CylinderArm",
    "CylinderClass",
    "Drive",
    "Grabber",
    "GrabberMotor",
    "Hold",
    "Hooks",
    "HueClass",
    "Intake",
    "IntakeStage",
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
    "Rollers",
    "Sorter",
    "Stage",
    "Step",
    "Supply",
    "Tank",
    "TankClass",
    "Targets",
    "Toggle",
    "ValveClass",
    "Weighed",
    "Wheel",
    "WheelClass",
]

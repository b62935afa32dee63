"""What a robot is: the declaration of its file, defaults and catalogue; reads and writes, computes nothing."""

from fieldworthy.robot.files import Loaded, load_robot, refusals
from fieldworthy.robot.model import Robot

__all__ = ["Loaded", "Robot", "load_robot", "refusals"]

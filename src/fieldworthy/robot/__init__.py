"""What a robot is: the declaration of its file, defaults and catalogue; reads and writes, computes nothing."""

from fieldworthy.robot.loading import Loaded, load_robot, load_season, refusals
from fieldworthy.robot.model.robot import Robot

__all__ = ["Loaded", "Robot", "load_robot", "load_season", "refusals"]

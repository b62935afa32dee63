"""A robot in, findings out: one module a subsystem, each over a whole batch of cases.

What belongs here turns the robot's description into numbers for the physics room and the physics' answers into
outcomes with a sentence. Formulas belong into ``physics``, words about files into ``schema``.
"""

from fieldworthy.checks.checker import Checker
from fieldworthy.checks.evaluate import evaluate
from fieldworthy.checks.finding import Assumption, Fact, Finding, Outcome, Report, Say

__all__ = ["Assumption", "Checker", "Fact", "Finding", "Outcome", "Report", "Say", "evaluate"]

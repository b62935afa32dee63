"""fieldworthy: what a competition robot will do at its next event, computed and explained."""

__version__ = "0.1.0"

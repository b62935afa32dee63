"""What a season is: limits, field, objects, tasks and periods; reads files, computes nothing."""

from fieldworthy.season.files import load_season
from fieldworthy.season.model import Season

__all__ = ["Season", "load_season"]

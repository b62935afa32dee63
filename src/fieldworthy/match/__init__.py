"""A plan in, timelines and score distributions out; the inner loop is compiled.

Importing this room does not start the compiler; playing the first match does.
"""

from fieldworthy.match.forecast import Forecast, Runs, Tally, blocks, forecast, play_runs, summed
from fieldworthy.match.setup import PARTS, CannotPlay, Part, Setup, setup, with_chance
from fieldworthy.match.timeline import WHY, Event, Timeline, played, timeline

__all__ = [
    "PARTS",
    "WHY",
    "CannotPlay",
    "Event",
    "Forecast",
    "Part",
    "Runs",
    "Setup",
    "Tally",
    "Timeline",
    "blocks",
    "forecast",
    "play_runs",
    "played",
    "setup",
    "summed",
    "timeline",
    "with_chance",
]
